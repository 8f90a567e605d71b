"""The web ledger without rolls: every metre of a line's web, in order.

Pieces follow each other without gap from 0. A run's sellable web is cut by what happens inside it:
roll ends, closures, and the print that the next changeover's stops spoil before its end.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from solver.problem import Problem
from solver.sequence import Changeover, LineRuns, Piece, PieceKind, Run, Sequence, Stock
from solver.setups import outgoing_stock

Wasted = tuple[tuple[PieceKind, int, str], ...]
"""Pieces of waste in order: kind, length in µm, cause."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Waste inside a run's web: after how much of it, and which pieces."""

    after_um: int
    pieces: Wasted


def web_ledger(problem: Problem, sequence: Sequence) -> tuple[tuple[Piece, ...], ...]:
    """Every piece of every line's web. Lengths add up to what the runs and their waste take."""
    return tuple(_line_pieces(problem, line) for line in sequence.lines)


def _line_pieces(problem: Problem, line: LineRuns) -> tuple[Piece, ...]:
    web = _Web(line.line)
    press_line = problem.plant.lines[problem.line_idx[line.line]]
    outgoing = outgoing_stock(press_line, None)
    outgoing_job = ""
    for run_idx, run in enumerate(line.runs):
        following = line.runs[run_idx + 1].changeover if run_idx + 1 < len(line.runs) else None
        if run.changeover:
            blank_um = run.changeover.blank_um
            web.add(PieceKind.BLANK, blank_um, outgoing or run.stock, outgoing_job, "changeover")
        web.run += 1
        if run.changeover:
            _add_changeover(web, run.changeover, run)
        _add_run(web, run, following, press_line.restart_um)
        outgoing, outgoing_job = run.stock, run.job
    return tuple(web.pieces)


class _Web:
    """A line's web as it is laid down; `run` is the number of the run that now follows."""

    def __init__(self, line: str) -> None:
        self._line = line
        self._end_um = 0
        self.run = 0
        self.pieces: list[Piece] = []

    def add(
        self, kind: PieceKind, length_um: int, stock: Stock, job: str, cause: str, version: str | None = None
    ) -> None:
        if length_um:
            end_um = self._end_um + length_um
            piece = Piece(self._line, self._end_um, end_um, kind, stock, job, version, cause, self.run)
            self.pieces.append(piece)
            self._end_um = end_um


def _add_changeover(web: _Web, changeover: Changeover, run: Run) -> None:
    """Splice, strip and start-up; the print spoiled behind the strip lies inside the run."""
    web.add(PieceKind.SPLICE, changeover.splice_um, run.stock, run.job, "changeover")
    web.add(PieceKind.START_UP, changeover.start_up_um, run.stock, run.job, "changeover")
    strip_um = changeover.strip_um - changeover.blank_um
    done_um = 0
    for end in run.roll_ends:
        if end.is_on_strip:
            at_um = max(0, strip_um + end.at_um)
            web.add(PieceKind.STRIP, at_um - done_um, run.stock, run.job, "changeover")
            done_um = at_um
            _add_pieces(web, run, _roll_end_pieces(end.changeover))
    web.add(PieceKind.STRIP, strip_um - done_um, run.stock, run.job, "changeover")


def _add_run(web: _Web, run: Run, following: Changeover | None, restart_um: int) -> None:
    """The run's versions with their spoilage allowance, cut by what is wasted inside."""
    cuts = sorted(_cuts(run, following, restart_um), key=lambda cut: cut.after_um)
    done_um = 0
    for version in run.versions:
        for kind, length_um in (
            (PieceKind.SELLABLE, version.good_um),
            (PieceKind.SPOILAGE, version.web_um - version.good_um),
        ):
            end_um = done_um + length_um
            while cuts and cuts[0].after_um < end_um:
                cut = cuts.pop(0)
                web.add(kind, cut.after_um - done_um, run.stock, run.job, "run", version.version)
                done_um = cut.after_um
                _add_pieces(web, run, cut.pieces)
            web.add(kind, end_um - done_um, run.stock, run.job, "run", version.version)
            done_um = end_um
    for cut in cuts:
        _add_pieces(web, run, cut.pieces)


def _add_pieces(web: _Web, run: Run, pieces: Wasted) -> None:
    for kind, length_um, cause in pieces:
        web.add(kind, length_um, run.stock, run.job, cause)


def _cuts(run: Run, following: Changeover | None, restart_um: int) -> Iterator[Cut]:
    web_um = run.web_um
    if run.changeover:
        behind_um = run.changeover.strip_um
        for start_um, end_um in run.changeover.spoil_after:
            yield _spoiled(min(web_um, start_um - behind_um), start_um, end_um)
            behind_um += end_um - start_um
    for end in run.roll_ends:
        if not end.is_on_strip:
            yield Cut(end.at_um, _roll_end_pieces(end.changeover))
    for interruption in run.interruptions:
        work_ms = run.run_ms + run.roll_end_ms
        done_ms = interruption.work_done_ms if interruption.during_run else 0
        after_um = web_um * done_ms // work_ms if work_ms else 0
        start_up_um = interruption.waste_um - restart_um
        pieces = (
            (PieceKind.RESTART, restart_um, "closure"),
            (PieceKind.START_UP, start_up_um, "closure"),
        )
        yield Cut(min(web_um, after_um), pieces)
    if following:
        ahead_um = 0
        for start_um, end_um in reversed(following.spoil_before):
            yield _spoiled(max(0, web_um + end_um + ahead_um), start_um, end_um)
            ahead_um += end_um - start_um


def _spoiled(after_um: int, start_um: int, end_um: int) -> Cut:
    return Cut(after_um, ((PieceKind.RESTART, end_um - start_um, "changeover"),))


def _roll_end_pieces(roll_end: Changeover) -> Wasted:
    return (
        (PieceKind.RESTART, roll_end.spoil_before_um + roll_end.spoil_after_um, "roll end"),
        (PieceKind.SPLICE, roll_end.splice_um, "roll end"),
        (PieceKind.STRIP, roll_end.strip_um, "roll end"),
    )
