"""Why one sequence costs another sum than another one: the difference by cause, adding up exactly."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from solver.ledger import web_ledger
from solver.problem import Problem
from solver.sequence import Changeover, LineRuns, PieceKind, Sequence, Stock
from solver.stub_cost import StubCost
from solver.weights import Weights


class Cause(StrEnum):
    """What costs."""

    WASTE = "wasted web"
    STOPS = "stops"
    MAKE_READY = "make-ready"
    SETUP_WEB = "web passed while setting up"
    JOB_CHANGE = "changes of job"
    COLD_START = "cold starts"
    CLEANING = "cleaning for low-migration work"
    ROLL_ENDS = "roll ends"
    CLOSURES = "closures inside runs"
    WAITING = "waiting"
    RUNNING = "running"
    LATE = "lateness"
    MOVED = "moved runs"
    STUBS = "stubs"
    """What chosen rolls cost besides their splices."""


@dataclass(frozen=True, slots=True)
class CostItem:
    """What is compared between two sequences.

    Parameters
    ----------
    line
        The line, where the cause belongs to one.
    station
        Of make-ready.
    kind, stock
        Of wasted web.
    job
        Of lateness.
    """

    cause: Cause
    line: str | None = None
    station: str | None = None
    kind: PieceKind | None = None
    stock: Stock | None = None
    job: str | None = None


@dataclass(frozen=True, slots=True)
class Amount:
    """How much of it there is: µm of web, ms of time or moved runs (stubs are money alone); and its money,
    plain and weighed.
    """

    amount: Fraction = Fraction(0)
    eur: Fraction = Fraction(0)
    weighed_eur: Fraction = Fraction(0)

    def __add__(self, other: Amount) -> Amount:
        return Amount(self.amount + other.amount, self.eur + other.eur, self.weighed_eur + other.weighed_eur)

    def __sub__(self, other: Amount) -> Amount:
        return Amount(self.amount - other.amount, self.eur - other.eur, self.weighed_eur - other.weighed_eur)


@dataclass(frozen=True, slots=True)
class Difference:
    """What a sequence costs more than another, by cause.

    Parameters
    ----------
    parts
        By item what it has more, most money first; items without a difference are not there.
    total_eur, controllable_eur, weighed_eur
        The differences of the sequences' own totals. The parts add up to the first and the last exactly,
        all but running to the second.
    only_here, only_there
        Jobs that only this one, only the other runs: then the totals do not compare like with like.
    """

    parts: tuple[tuple[CostItem, Amount], ...]
    total_eur: Fraction
    controllable_eur: Fraction
    weighed_eur: Fraction
    only_here: tuple[str, ...]
    only_there: tuple[str, ...]


def difference(problem: Problem, here: Sequence, there: Sequence, weights: Weights) -> Difference:
    """What `here` costs more than `there`; negative parts are what it costs less."""
    amounts = cost_items(problem, here, weights)
    others = cost_items(problem, there, weights)
    parts = {
        item: amounts.get(item, Amount()) - others.get(item, Amount())
        for item in dict.fromkeys((*amounts, *others))
    }
    jobs, other_jobs = ({run.job for run in sequence.runs} for sequence in (here, there))
    return Difference(
        parts=tuple(
            sorted(
                ((item, amount) for item, amount in parts.items() if amount != Amount()),
                key=lambda part: (-abs(part[1].eur), -abs(part[1].weighed_eur), _key(part[0])),
            )
        ),
        total_eur=here.cost.total_eur - there.cost.total_eur,
        controllable_eur=here.cost.controllable_eur - there.cost.controllable_eur,
        weighed_eur=here.weighed_eur - there.weighed_eur,
        only_here=tuple(sorted(jobs - other_jobs)),
        only_there=tuple(sorted(other_jobs - jobs)),
    )


def cost_items(problem: Problem, sequence: Sequence, weights: Weights) -> dict[CostItem, Amount]:
    """All that a sequence costs, by item: the amounts add up to its total and to its weighed cost."""
    found: defaultdict[CostItem, Amount] = defaultdict(Amount)
    for item, amount in (
        *_waste(problem, sequence, weights),
        *_times(problem, sequence, weights),
        *_lateness(sequence, weights),
        *_moved_runs(problem, sequence),
        *_stubs(sequence),
    ):
        found[item] += amount
    return dict(found)


def _waste(problem: Problem, sequence: Sequence, weights: Weights) -> Iterator[tuple[CostItem, Amount]]:
    for pieces in web_ledger(problem, sequence):
        for piece in pieces:
            if piece.kind in (PieceKind.SELLABLE, PieceKind.SPOILAGE):
                continue
            eur_per_um = problem.eur_per_um(piece.stock)
            yield (
                CostItem(Cause.WASTE, kind=piece.kind, stock=piece.stock),
                Amount(
                    Fraction(piece.length_um),
                    piece.length_um * eur_per_um,
                    piece.length_um * weights.waste_eur_per_um(eur_per_um),
                ),
            )


def _times(problem: Problem, sequence: Sequence, weights: Weights) -> Iterator[tuple[CostItem, Amount]]:
    for line in sequence.lines:
        eur_per_ms = problem.plant.lines[problem.line_idx[line.line]].eur_per_ms
        for item, duration_ms in _line_times(problem, line):
            weight = weights.running if item.cause is Cause.RUNNING else weights.changeover
            eur = duration_ms * eur_per_ms
            yield item, Amount(Fraction(duration_ms), eur, weight * eur)


def _line_times(problem: Problem, line: LineRuns) -> Iterator[tuple[CostItem, int | Fraction]]:
    yield CostItem(Cause.WAITING, line.line), line.waiting_ms
    yield CostItem(Cause.CLEANING, line.line), line.clean_down_ms
    for run in line.runs:
        yield CostItem(Cause.RUNNING, line.line), run.run_ms
        yield CostItem(Cause.ROLL_ENDS, line.line), run.roll_end_ms
        yield CostItem(Cause.CLOSURES, line.line), run.interruption_ms
        if run.changeover is not None:
            yield from _changeover_times(problem, line.line, run.changeover)


def _changeover_times(
    problem: Problem, line_id: str, changeover: Changeover
) -> Iterator[tuple[CostItem, int | Fraction]]:
    """A changeover's time by what it goes to.

    A stop's make-ready, which several hands share, is parted among its stations as one person's minutes
    there are. The web that passes takes what is left, so that nothing is lost in the rounding.
    """
    line = problem.plant.lines[problem.line_idx[line_id]]
    left_ms = Fraction(changeover.duration_ms)
    parts: list[tuple[CostItem, int | Fraction]] = [
        (CostItem(Cause.JOB_CHANGE, line_id), 0 if changeover.joined else line.job_change_ms),
        (CostItem(Cause.COLD_START, line_id), line.start_up_ms if changeover.cold else 0),
        (CostItem(Cause.CLEANING, line_id), changeover.clean_down_ms),
    ]
    for stop in changeover.stops:
        parts.append((CostItem(Cause.STOPS, line_id), line.stop_ms))
        worked_ms = sum((task.duration_ms for task in stop.tasks), Fraction(0))
        for task in stop.tasks:
            share = (stop.duration_ms - line.stop_ms) * task.duration_ms / worked_ms
            parts.append((CostItem(Cause.MAKE_READY, line_id, station=task.station), share))
    for item, duration_ms in parts:
        left_ms -= duration_ms
        yield item, duration_ms
    yield CostItem(Cause.SETUP_WEB, line_id), left_ms


def _lateness(sequence: Sequence, weights: Weights) -> Iterator[tuple[CostItem, Amount]]:
    """Every late job; a split one is as late as the last of its lots."""
    late_ms: dict[str, int] = {}
    for run in sequence.runs:
        late_ms[run.job] = max(run.lateness_ms, late_ms.get(run.job, 0))
        yield (
            CostItem(Cause.LATE, job=run.job),
            Amount(eur=run.late_eur, weighed_eur=weights.late * run.late_eur),
        )
    for job, lateness_ms in late_ms.items():
        yield CostItem(Cause.LATE, job=job), Amount(Fraction(lateness_ms))


def _moved_runs(problem: Problem, sequence: Sequence) -> Iterator[tuple[CostItem, Amount]]:
    """What the sequence in force has elsewhere; no weight scales it."""
    price_eur = problem.plant.moved_run_eur
    for line in sequence.lines:
        moved = sum(run.moved for run in line.runs)
        yield CostItem(Cause.MOVED, line.line), Amount(Fraction(moved), moved * price_eur, moved * price_eur)


def _stubs(sequence: Sequence) -> Iterator[tuple[CostItem, Amount]]:
    """What each sequence's own rolls cost; no weight scales it."""
    stubs = sequence.cost.stubs or StubCost()
    yield CostItem(Cause.STUBS), Amount(eur=stubs.total_eur, weighed_eur=stubs.weighed_eur)


def _key(item: CostItem) -> tuple[str, ...]:
    stock = (item.stock.substrate, str(item.stock.width_um)) if item.stock else ("", "")
    return (item.cause, item.line or "", item.station or "", item.kind or "", *stock, item.job or "")
