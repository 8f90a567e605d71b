"""Totals of a sequence in natural units: metres, minutes, counts and the indicators of ISO 22400-2."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction

from solver.ledger import web_ledger
from solver.problem import Problem
from solver.sequence import Changeover, LineRuns, PieceKind, Run, Sequence, Stock
from solver.weights import Weights

TIGHTEST_SHOWN = 10


@dataclass(frozen=True, slots=True)
class WasteShare:
    """Wasted web of one kind on one stock."""

    kind: PieceKind
    stock: Stock
    length_um: int

    @property
    def area_m2(self) -> Fraction:
        return Fraction(self.length_um * self.stock.width_um, 10**12)


@dataclass(frozen=True, slots=True)
class Indicators:
    """Time elements in ms and indicators of ISO 22400-2:2014.

    Availability = APT/PBT; effectiveness = PRI × PQ/APT; quality ratio = GQ/PQ; OEE = their product
    (as restated in OPC 40501-1, annex C.2.4). Set-up ratio = AUST/AUPT with AUPT = APT + AUST (from
    memory). None where the denominator is 0.

    Parameters
    ----------
    pbt_ms
        Planned busy time: open time from first start to last end.
    aust_ms
        Actual unit set-up time: changeovers and clean-downs.
    adet_ms
        Actual delay time: waiting, roll ends and closure stops.
    apt_ms
        Actual production time: running.
    planned_ms
        PRI × PQ: the time the produced web takes at each run's planned speed.
    produced_um, good_um
        PQ and GQ.
    """

    pbt_ms: int
    aust_ms: int
    adet_ms: int
    apt_ms: int
    planned_ms: Fraction
    produced_um: int
    good_um: int

    @property
    def availability(self) -> float | None:
        return _ratio(self.apt_ms, self.pbt_ms)

    @property
    def effectiveness(self) -> float | None:
        return _ratio(self.planned_ms, self.apt_ms)

    @property
    def quality_ratio(self) -> float | None:
        return _ratio(self.good_um, self.produced_um)

    @property
    def oee(self) -> float | None:
        factors = (self.availability, self.effectiveness, self.quality_ratio)
        if any(factor is None for factor in factors):
            return None
        product = 1.0
        for factor in factors:
            product *= factor or 0.0
        return product

    @property
    def setup_ratio(self) -> float | None:
        return _ratio(self.aust_ms, self.apt_ms + self.aust_ms)


@dataclass(frozen=True, slots=True)
class Measures:
    """Everything a sequence is judged by.

    Parameters
    ----------
    waste
        Wasted web by kind and stock, spoilage allowance included.
    changeovers
        How many changeovers changed each aspect; "job only" where none did, "joined" where the run runs as
        one with the run before; "roll end" inside runs.
    stops
        Controlled stops, roll ends and closure stops included.
    late_jobs, lateness_ms
        Jobs that end late, and by how much together; a split job ends with its last lot.
    moved_runs
        Runs that the sequence in force has elsewhere.
    tightest
        The jobs with least slack to their press due, in ms, tightest first; negative is late.
    exchange_m_per_min
        Metres of waste that cost as much as one line minute under the weights, by line; None where
        the line has no runs or waste costs nothing.
    indicators
        By line, in the plant's order, and for all lines together.
    """

    waste: tuple[WasteShare, ...]
    changeovers: dict[str, int]
    stops: int
    changeover_ms: int
    waiting_ms: int
    running_ms: int
    roll_end_ms: int
    interruption_ms: int
    clean_down_ms: int
    late_jobs: int
    lateness_ms: int
    moved_runs: int
    tightest: tuple[tuple[str, int], ...]
    makespan_ms: int
    exchange_m_per_min: dict[str, float | None]
    line_indicators: dict[str, Indicators]
    indicators: Indicators

    @property
    def waste_um(self) -> int:
        """Waste the order can change: all but the spoilage allowance."""
        return sum(share.length_um for share in self.waste if share.kind is not PieceKind.SPOILAGE)

    @property
    def waste_m2(self) -> Fraction:
        """Area of `waste_um`."""
        return sum(
            (share.area_m2 for share in self.waste if share.kind is not PieceKind.SPOILAGE), Fraction(0)
        )


def measure(problem: Problem, sequence: Sequence, weights: Weights) -> Measures:
    """Total up a sequence."""
    runs = sequence.runs
    slacks = sorted(_slacks(runs).items(), key=lambda job_slack: (job_slack[1], job_slack[0]))
    line_indicators = {line.line: _indicators(line) for line in sequence.lines}
    return Measures(
        waste=_waste(problem, sequence),
        changeovers=_changeovers_by_kind(runs),
        stops=sum(stops_of(run) for run in runs),
        changeover_ms=sum(run.changeover.duration_ms for run in runs if run.changeover),
        waiting_ms=sum(line.waiting_ms for line in sequence.lines),
        running_ms=sum(run.run_ms for run in runs),
        roll_end_ms=sum(run.roll_end_ms for run in runs),
        interruption_ms=sum(run.interruption_ms for run in runs),
        clean_down_ms=sum(line.clean_down_ms for line in sequence.lines),
        late_jobs=sum(slack_ms < 0 for _, slack_ms in slacks),
        lateness_ms=-sum(min(0, slack_ms) for _, slack_ms in slacks),
        moved_runs=sum(run.moved for run in runs),
        tightest=tuple(slacks[:TIGHTEST_SHOWN]),
        makespan_ms=max((run.end_ms for run in runs), default=0),
        exchange_m_per_min={line.line: exchange_rate(problem, line, weights) for line in sequence.lines},
        line_indicators=line_indicators,
        indicators=_together(line_indicators.values()),
    )


def _slacks(runs: tuple[Run, ...]) -> dict[str, int]:
    """By job with a due time: how much before its press due its last run ends."""
    slacks: dict[str, int] = {}
    for run in runs:
        if run.press_due_ms is not None:
            slack_ms = run.press_due_ms - run.end_ms
            slacks[run.job] = min(slack_ms, slacks.get(run.job, slack_ms))
    return slacks


def _waste(problem: Problem, sequence: Sequence) -> tuple[WasteShare, ...]:
    lengths: Counter[tuple[PieceKind, Stock]] = Counter()
    for pieces in web_ledger(problem, sequence):
        for piece in pieces:
            if piece.kind is not PieceKind.SELLABLE:
                lengths[piece.kind, piece.stock] += piece.length_um
    return tuple(
        WasteShare(kind, stock, length_um)
        for (kind, stock), length_um in sorted(
            lengths.items(), key=lambda item: (item[0][0], item[0][1].substrate, item[0][1].width_um)
        )
    )


def _changeovers_by_kind(runs: tuple[Run, ...]) -> dict[str, int]:
    counts: Counter[str] = Counter()
    for run in runs:
        if run.roll_ends:
            counts["roll end"] += len(run.roll_ends)
        if run.changeover:
            alone = {"joined"} if run.changeover.joined else {"job only"}
            counts.update(changed_aspects(run.changeover) or alone)
    return dict(sorted(counts.items()))


def changed_aspects(changeover: Changeover) -> set[str]:
    """Names of the aspects a changeover changes, in stops or hidden."""
    tasks = [task for stop in changeover.stops for task in stop.tasks] + list(changeover.hidden)
    return {change.aspect for task in tasks for change in task.changes}


def stops_of(run: Run) -> int:
    """Controlled stops of a run and its changeover, roll ends and closures included."""
    stops = len(run.interruptions) + (len(run.changeover.stops) if run.changeover else 0)
    for end in run.roll_ends:
        stops += len(end.changeover.stops)
    return stops


def _indicators(line: LineRuns) -> Indicators:
    setup_ms = line.clean_down_ms + sum(run.changeover.duration_ms for run in line.runs if run.changeover)
    delay_ms = line.waiting_ms + sum(run.roll_end_ms + run.interruption_ms for run in line.runs)
    running_ms = sum(run.run_ms for run in line.runs)
    return Indicators(
        pbt_ms=setup_ms + delay_ms + running_ms,
        aust_ms=setup_ms,
        adet_ms=delay_ms,
        apt_ms=running_ms,
        planned_ms=sum((Fraction(run.web_um * 60_000, run.speed_um_min) for run in line.runs), Fraction(0)),
        produced_um=sum(run.web_um for run in line.runs),
        good_um=sum(run.good_um for run in line.runs),
    )


def _together(parts: Collection[Indicators]) -> Indicators:
    return Indicators(
        pbt_ms=sum(part.pbt_ms for part in parts),
        aust_ms=sum(part.aust_ms for part in parts),
        adet_ms=sum(part.adet_ms for part in parts),
        apt_ms=sum(part.apt_ms for part in parts),
        planned_ms=sum((part.planned_ms for part in parts), Fraction(0)),
        produced_um=sum(part.produced_um for part in parts),
        good_um=sum(part.good_um for part in parts),
    )


def exchange_rate(problem: Problem, line: LineRuns, weights: Weights) -> float | None:
    """Metres of waste that cost as much as a minute of a line; None where it has no runs or waste costs
    nothing.
    """
    web_um: Counter[Stock] = Counter()
    for run in line.runs:
        web_um[run.stock] += run.web_um
    eur = sum(
        (
            length_um * weights.waste_eur_per_um(problem.eur_per_um(stock))
            for stock, length_um in web_um.items()
        ),
        Fraction(0),
    )
    if eur == 0:
        return None
    minute_eur = weights.changeover * problem.plant.lines[problem.line_idx[line.line]].eur_per_ms * 60_000
    return float(minute_eur / (eur / web_um.total()) / 1_000_000)


def _ratio(numerator: int | Fraction, denominator: int) -> float | None:
    return float(Fraction(numerator) / denominator) if denominator else None
