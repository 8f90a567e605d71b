"""The web ledger: every µm of every line is accounted for, once."""

from __future__ import annotations

from collections import Counter

from solver.sequence import Piece, PieceKind, Stock
from tests.checker.complaints import differs
from tests.checker.expected import ExpectedChangeover, ExpectedRun
from tests.checker.geometry import covered_um
from tests.checker.money import runs_of_line
from tests.checker.state import Replay

CHANGEOVER = "changeover"
ROLL_END = "roll end"
CLOSURE = "closure"
RUN = "run"

Ledger = tuple[tuple[Piece, ...], ...]
Lengths = Counter[tuple[str, PieceKind, Stock | None]]
"""µm by cause, kind and stock."""


def ledger_complaints(play: Replay, ledger: Ledger) -> list[str]:
    """Contiguity, lengths and order of every line's web, and the total of every stock."""
    lines = play.problem.plant.lines
    complaints = differs("ledger", "number of lines", len(ledger), len(lines))
    for line_idx, (line, pieces) in enumerate(zip(lines, ledger, strict=False)):
        where = f"ledger of {line.id}"
        runs = runs_of_line(play, line_idx)
        complaints += contiguity_complaints(where, line.id, pieces)
        complaints += lengths_complaints(where, pieces, runs)
        complaints += job_complaints(where, pieces, runs)
        complaints += order_complaints(where, pieces, runs)
        complaints += place_complaints(where, pieces, runs)
    return complaints + stock_complaints(play, ledger)


def contiguity_complaints(where: str, line_id: str, pieces: tuple[Piece, ...]) -> list[str]:
    """Pieces follow on each other from 0, none empty, all of the line."""
    complaints = []
    reached_um = 0
    for place, piece in enumerate(pieces, start=1):
        complaints += differs(f"{where}, piece {place}", "start in µm", piece.from_um, reached_um)
        complaints += differs(f"{where}, piece {place}", "line", piece.line, line_id)
        if piece.to_um <= piece.from_um:
            complaints.append(f"{where}, piece {place}: is empty")
        reached_um = piece.to_um
    return complaints


def changeover_lengths(
    cause: str, changeover: ExpectedChangeover, outgoing: Stock | None, incoming: Stock
) -> Lengths:
    """What a changeover leaves on the web."""
    outcome = changeover.outcome
    blank_um = outcome.splice_at_um or 0
    lengths: Lengths = Counter()
    lengths[cause, PieceKind.BLANK, outgoing] += blank_um
    lengths[cause, PieceKind.RESTART, outgoing] += covered_um(outcome.spoil_before)
    lengths[cause, PieceKind.STRIP, incoming] += outcome.strip_um - blank_um
    lengths[cause, PieceKind.RESTART, incoming] += covered_um(outcome.spoil_after)
    lengths[cause, PieceKind.SPLICE, incoming] += outcome.splice_um
    lengths[cause, PieceKind.START_UP, incoming] += outcome.start_up_um
    return lengths


def run_lengths(run: ExpectedRun) -> Lengths:
    """All that one run, its changeover, its roll ends and its closures leave on the web."""
    lengths: Lengths = Counter()
    for version in run.versions:
        lengths[RUN, PieceKind.SELLABLE, run.stock] += version.good_um
        lengths[RUN, PieceKind.SPOILAGE, run.stock] += version.web_um - version.good_um
    if run.changeover is not None:
        lengths.update(changeover_lengths(CHANGEOVER, run.changeover, run.outgoing, run.stock))
    for end in run.ends:
        lengths.update(changeover_lengths(ROLL_END, end, run.stock, run.stock))
    for closure in run.interruptions:
        start_up_um = run.line.start_up_um if closure.cold else 0
        lengths[CLOSURE, PieceKind.RESTART, run.stock] += closure.waste_um - start_up_um
        lengths[CLOSURE, PieceKind.START_UP, run.stock] += start_up_um
    return lengths


def lengths_complaints(where: str, pieces: tuple[Piece, ...], runs: list[ExpectedRun]) -> list[str]:
    """Per cause, kind and stock the line's pieces are as long as its runs make them."""
    said: Lengths = Counter()
    for piece in pieces:
        said[piece.cause, piece.kind, piece.stock] += piece.length_um
    right: Lengths = Counter()
    for run in runs:
        right.update(run_lengths(run))
    complaints = []
    for cause, kind, stock in dict.fromkeys([*right, *said]):
        what = f"{cause}: {kind} of {stock} in µm"
        complaints += differs(where, what, said[cause, kind, stock], right[cause, kind, stock])
    return complaints


def job_complaints(where: str, pieces: tuple[Piece, ...], runs: list[ExpectedRun]) -> list[str]:
    """Every run has its own pieces: by version what it makes, by cause what it wastes.

    Whether a changeover's blank and spoil are named after the job before or behind it is free.
    """
    said: Counter[tuple[int, str | None, str, PieceKind]] = Counter()
    for piece in pieces:
        if not _between_jobs(piece.cause, piece.kind):
            said[piece.run, piece.version, piece.cause, piece.kind] += piece.length_um
    right: Counter[tuple[int, str | None, str, PieceKind]] = Counter()
    for number, run in enumerate(runs, start=1):
        for version in run.versions:
            right[number, version.version, RUN, PieceKind.SELLABLE] += version.good_um
            right[number, version.version, RUN, PieceKind.SPOILAGE] += version.web_um - version.good_um
        for (cause, kind, _), length_um in run_lengths(run).items():
            if cause != RUN and not _between_jobs(cause, kind):
                right[number, None, cause, kind] += length_um
    complaints = []
    for key in dict.fromkeys([*right, *said]):
        number, version_id, cause, kind = key
        what = f"{cause}: {kind} of run {number}, version {version_id} in µm"
        complaints += differs(where, what, said[key], right[key])
    jobs = ["", *(run.job.id for run in runs)]
    complaints += [
        f"{where}: {piece.job} is not the job of run {piece.run}"
        for piece in pieces
        if not 0 <= piece.run < len(jobs) or piece.job != jobs[piece.run]
    ]
    named = [piece.version for piece in pieces if piece.cause != RUN and piece.version is not None]
    return complaints + [f"{where}: {version} is named where no version is made" for version in named]


def _between_jobs(cause: str, kind: PieceKind) -> bool:
    return cause == CHANGEOVER and kind in (PieceKind.BLANK, PieceKind.RESTART)


def order_complaints(where: str, pieces: tuple[Piece, ...], runs: list[ExpectedRun]) -> list[str]:
    """Sellable web follows the running order of jobs and versions."""
    said = [(piece.run, piece.version) for piece in pieces if piece.kind is PieceKind.SELLABLE]
    right = [(number, version.version) for number, run in enumerate(runs, 1) for version in run.versions]
    return differs(where, "order of versions", list(dict.fromkeys(said)), right)


def place_complaints(where: str, pieces: tuple[Piece, ...], runs: list[ExpectedRun]) -> list[str]:
    """A changeover's strip, blank, splice and start-up lie between the two runs' sellable web."""
    between = (PieceKind.STRIP, PieceKind.BLANK, PieceKind.SPLICE, PieceKind.START_UP)
    said: Counter[int] = Counter()
    place = 0
    for piece in pieces:
        if piece.kind is PieceKind.SELLABLE:
            place = piece.run
        if piece.cause == CHANGEOVER and piece.kind in between:
            said[place] += piece.length_um
    complaints = []
    for place, run in enumerate(runs):
        right = sum(
            length_um
            for (cause, kind, _), length_um in run_lengths(run).items()
            if cause == CHANGEOVER and kind in between
        )
        complaints += differs(where, f"web between runs before {run.name} in µm", said[place], right)
    return complaints


def stock_complaints(play: Replay, ledger: Ledger) -> list[str]:
    """Of every stock the lines hold what the schedule took, and what a started run had drawn."""
    said: Counter[Stock] = Counter()
    for pieces in ledger:
        for piece in pieces:
            said[piece.stock] += piece.length_um
    right = Counter(play.taken)
    for run in play.runs.values():
        if run.changeover is None:
            right[run.stock] += run.web_um
    complaints = []
    for stock in dict.fromkeys([*right, *said]):
        complaints += differs("ledger", f"µm of {stock}", said[stock], right[stock])
    return complaints
