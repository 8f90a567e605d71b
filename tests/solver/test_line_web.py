"""The web that passes the stations: the ledger without what splices cut away."""

from __future__ import annotations

import pytest

from solver.line_web import LineWeb
from solver.sequence import Piece, PieceKind, Stock

PAPER, FILM = Stock("paper", 330_000), Stock("film", 330_000)


def laid(*pieces: tuple[PieceKind, int, int, str | None, str]) -> LineWeb:
    """A web of pieces: kind, length, run, version, cause."""
    made: list[Piece] = []
    for kind, length_um, run, version, cause in pieces:
        from_um = made[-1].to_um if made else 0
        stock = PAPER if run < 2 else FILM
        made.append(Piece("H", from_um, from_um + length_um, kind, stock, f"j{run}", version, cause, run))
    return LineWeb(made)


WEB = laid(
    (PieceKind.STRIP, 10, 1, None, "changeover"),
    (PieceKind.SELLABLE, 50, 1, "a", "run"),
    (PieceKind.RESTART, 3, 1, None, "roll end"),
    (PieceKind.SPLICE, 2, 1, None, "roll end"),
    (PieceKind.STRIP, 5, 1, None, "roll end"),
    (PieceKind.SELLABLE, 30, 1, "a", "run"),
    (PieceKind.SELLABLE, 20, 1, "b", "run"),
    (PieceKind.RESTART, 3, 1, None, "changeover"),
    (PieceKind.BLANK, 4, 1, None, "changeover"),
    (PieceKind.SPLICE, 2, 2, None, "changeover"),
    (PieceKind.STRIP, 6, 2, None, "changeover"),
    (PieceKind.SELLABLE, 40, 2, "a", "run"),
)


def test_what_splices_cut_away_is_not_counted() -> None:
    assert WEB.end_um == 10 + 50 + 3 + 5 + 30 + 20 + 3 + 4 + 6 + 40
    assert [WEB.ledger_um(counted) for counted in (0, 62, 63, 124, 125)] == [0, 62, 65, 126, 129]
    assert [WEB.ledger_end_um(counted) for counted in (0, 63, 64, 125)] == [0, 63, 66, 127]


def test_web_beside_the_plan_is_no_piece_of_it() -> None:
    assert WEB.piece_at(-1) is None
    assert WEB.piece_at(WEB.end_um) is None
    assert (WEB.ledger_um(-7), WEB.ledger_um(WEB.end_um + 7)) == (-7, 175 + 7)
    last = WEB.piece_before(WEB.end_um + 7)
    assert last is not None
    assert last.piece.run == 2
    assert WEB.piece_before(0) is None


def test_a_web_without_any_piece_passes_nothing() -> None:
    empty = LineWeb(())
    assert (empty.end_um, empty.piece_at(0), empty.piece_before(5)) == (0, None, None)
    assert (empty.ledger_um(5), empty.version_begun(5)) == (5, None)


def test_the_last_sellable_metre_lies_behind_spoiled_print_and_before_the_blank() -> None:
    assert [WEB.last_sellable_um(run) for run in (0, 1, 2)] == [0, 121, 171]


def test_a_roll_ends_where_its_splice_lies() -> None:
    assert WEB.roll_ends_um(1) == [63]
    assert WEB.roll_ends_um(2) == []


def test_a_runs_own_web_is_counted_without_its_waste() -> None:
    assert [WEB.run_web_um(1, after) for after in (0, 50, 51, 100)] == [10, 60, 69, 118]


def test_more_web_than_a_run_has_is_refused() -> None:
    with pytest.raises(ValueError, match="run 2 has 40 µm of web, not 41"):
        WEB.run_web_um(2, 41)


def test_versions_reach_over_the_waste_inside_them() -> None:
    spans = [(web.run, web.version, web.from_um, web.to_um) for web in WEB.versions]
    assert spans == [(1, "a", 10, 98), (1, "b", 98, 118), (2, "a", 131, 171)]
    begun = [WEB.version_begun(counted) for counted in (10, 11, 98, 99, 131)]
    assert [web.version if web else None for web in begun] == [None, "a", "a", "b", "b"]
