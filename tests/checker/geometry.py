"""What a changeover costs in web and minutes: stops, splice, strip and spoil, for every split.

Coordinates count from the outgoing run's last sellable metre and grow upstream.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from solver.plant import Line
from solver.sequence import Stop, Task
from tests.checker.make_ready import make_ready_ms
from tests.checker.rounding import MS_PER_MIN, half_up
from tests.checker.tooling import SPLICE_TABLE

Split = tuple[tuple[Task, ...], ...]
Interval = tuple[int, int]


@dataclass(frozen=True)
class WebCase:
    """A changeover as the web sees it.

    Parameters
    ----------
    used
        Stations the incoming run uses, in web order.
    stopped
        Tasks that stop the web, in web order.
    register_um
        Web to register by station: of its task, stopped or hidden, or of coming back.
    spliced, settles
        Whether there is a splice; whether to another substrate.
    least_strip_um
        The strip that every change of job takes.
    jets_before_um, jets_after_um
        Positions of the inkjets that the outgoing and the incoming run use.
    start_up_um, fixed_ms
        Start-up metres; time that no split changes (job change, start-up, clean-down).
    """

    line: Line
    used: tuple[int, ...]
    stopped: tuple[Task, ...] = ()
    register_um: dict[int, int] = field(default_factory=dict)
    spliced: bool = False
    settles: bool = False
    run_out: bool = False
    least_strip_um: int = 0
    jets_before_um: tuple[int, ...] = ()
    jets_after_um: tuple[int, ...] = ()
    start_up_um: int = 0
    fixed_ms: int = 0


@dataclass(frozen=True)
class Prices:
    """Weighed prices that a split is chosen by."""

    outgoing_eur_per_um: Fraction
    incoming_eur_per_um: Fraction
    changeover_eur_per_ms: Fraction


@dataclass(frozen=True)
class Outcome:
    """What one split costs."""

    stops: tuple[Stop, ...]
    last_stations: tuple[int, ...]
    splice_at_um: int | None
    strip_um: int
    spoil_before: tuple[Interval, ...]
    spoil_after: tuple[Interval, ...]
    splice_um: int
    start_up_um: int
    duration_ms: int

    @property
    def outgoing_um(self) -> int:
        """Waste priced as outgoing stock: the blank up to the splice, and print spoiled before 0."""
        return (self.splice_at_um or 0) + covered_um(self.spoil_before)

    @property
    def incoming_um(self) -> int:
        """Waste priced as incoming stock."""
        strip_um = self.strip_um - (self.splice_at_um or 0)
        return strip_um + covered_um(self.spoil_after) + self.splice_um + self.start_up_um

    @property
    def waste_um(self) -> int:
        return self.outgoing_um + self.incoming_um


def splits(tasks: tuple[Task, ...]) -> Iterator[Split]:
    """Every way to cut the tasks into consecutive groups."""
    if not tasks:
        yield ()
        return
    for size in range(1, len(tasks) + 1):
        for rest in splits(tasks[size:]):
            yield (tasks[:size], *rest)


def cheapest(case: WebCase, prices: Prices) -> Outcome:
    """The split with the least cost, ties by fewer stops, less waste, then stops further upstream."""
    if case.run_out:
        return run_out(case)
    return min((held(case, split) for split in splits(case.stopped)), key=lambda result: rank(result, prices))


def rank(result: Outcome, prices: Prices) -> tuple[Fraction, int, int, tuple[int, ...]]:
    """What splits are compared by; the least wins."""
    eur = (
        prices.outgoing_eur_per_um * result.outgoing_um
        + prices.incoming_eur_per_um * result.incoming_um
        + prices.changeover_eur_per_ms * result.duration_ms
    )
    return eur, len(result.stops), result.waste_um, result.last_stations


def held(case: WebCase, split: Split) -> Outcome:
    """A changeover on held web: every group is one stop, made at its last station."""
    stopped_at = {task.station_idx: group[-1].x_um for group in split for task in group}
    splice_at_um = stopped_at.get(SPLICE_TABLE, 0) if case.spliced else None
    strip_um = strip(case, stopped_at, splice_at_um)
    restarts = [group[-1].x_um for group in split]
    return _outcome(
        case,
        tuple(made_stop(case.line, group[-1].x_um, group) for group in split),
        tuple(group[-1].station_idx for group in split),
        splice_at_um,
        strip_um,
        spoil_below(restarts, case.jets_before_um, case.line.restart_um),
        spoil_above(restarts, case.jets_after_um, case.line.restart_um, strip_um),
    )


def run_out(case: WebCase) -> Outcome:
    """A changeover after the outgoing job was run out: one stop at the last station, no spoil."""
    end_um = case.line.stations[-1].x_um
    reached = dict.fromkeys(case.used, end_um)
    splice_at_um = end_um if case.spliced else None
    stop = made_stop(case.line, end_um, case.stopped)
    strip_um = strip(case, reached, splice_at_um)
    return _outcome(case, (stop,), (len(case.line.stations) - 1,), splice_at_um, strip_um, (), ())


def _outcome(
    case: WebCase,
    stops: tuple[Stop, ...],
    last_stations: tuple[int, ...],
    splice_at_um: int | None,
    strip_um: int,
    spoil_before: tuple[Interval, ...],
    spoil_after: tuple[Interval, ...],
) -> Outcome:
    passed_um = strip_um + covered_um(spoil_before) + covered_um(spoil_after)
    duration_ms = (
        sum((stop.duration_ms for stop in stops), Fraction(0))
        + case.fixed_ms
        + Fraction(passed_um * MS_PER_MIN, case.line.setup_speed_um_min)
    )
    return Outcome(
        stops=stops,
        last_stations=last_stations,
        splice_at_um=splice_at_um,
        strip_um=strip_um,
        spoil_before=spoil_before,
        spoil_after=spoil_after,
        splice_um=case.line.splice_um if case.spliced else 0,
        start_up_um=case.start_up_um,
        duration_ms=half_up(duration_ms),
    )


def made_stop(line: Line, at_x_um: int, tasks: tuple[Task, ...]) -> Stop:
    """A stop takes itself and the make-ready of its tasks on the line's hands."""
    ready_ms = make_ready_ms([task.duration_ms for task in tasks], line.hands)
    return Stop(at_x_um, tasks, line.stop_ms + ready_ms)


def strip(case: WebCase, stopped_at: dict[int, int], splice_at_um: int | None) -> int:
    """Web from the last sellable metre of the outgoing run to the first of the incoming one.

    The splice table counts only through the splice's position.
    """
    least_um = case.least_strip_um
    if splice_at_um is not None:
        settle_um = case.line.settle_um if case.settles else 0
        least_um = max(least_um, splice_at_um + settle_um)
    working = [k for k in case.used if k != SPLICE_TABLE]
    first_um = {k: first_workable_um(case, stopped_at, splice_at_um, k) for k in working}
    reached_um = 0
    for k in working:
        register_um = case.register_um.get(k, 0)
        worked_um = worked_before_um(case.line, first_um, k)
        if case.line.registers_in_turn:
            reached_um = max(reached_um, worked_um) + register_um
        else:
            reached_um = max(reached_um, worked_um + register_um)
    return max(least_um, reached_um)


def worked_before_um(line: Line, first_um: dict[int, int], k: int) -> int:
    """M_k: a station is set on web that all used stations up to its position have worked."""
    x_um = line.stations[k].x_um
    return max(first for j, first in first_um.items() if line.stations[j].x_um <= x_um)


def first_workable_um(case: WebCase, stopped_at: dict[int, int], splice_at_um: int | None, k: int) -> int:
    """first_k = max(s, need_k − reclaim_k): the first coordinate on which k can do its new work."""
    station = case.line.stations[k]
    splice_um = splice_at_um or 0
    past_um = stopped_at[k] - station.x_um if k in stopped_at else 0
    lift_um = station.lift_um if case.spliced else 0
    need_um = max(past_um, splice_um + lift_um)
    if k not in stopped_at or splice_um > past_um:
        return max(splice_um, need_um)
    return max(splice_um, need_um - reclaim_um(case.line, station.x_um, stopped_at[k], lift_um))


def reclaim_um(line: Line, x_um: int, stop_x_um: int, lift_um: int) -> int:
    """Web that a pull-back brings back through a station of the zone, ends included."""
    if not line.pull_back_from_um <= x_um <= line.pull_back_to_um:
        return 0
    return min(line.pull_back_um, max(0, min(stop_x_um, line.pull_back_to_um) - x_um) + lift_um)


def spoil_below(stops_um: list[int], jets_um: tuple[int, ...], restart_um: int) -> tuple[Interval, ...]:
    """Printed web of the outgoing run that its stops spoil: what lies below 0."""
    spans = [(x_um - jet_um, x_um - jet_um + restart_um) for x_um in stops_um for jet_um in jets_um]
    return union([(start, min(end, 0)) for start, end in spans])


def spoil_above(
    stops_um: list[int], jets_um: tuple[int, ...], restart_um: int, strip_um: int
) -> tuple[Interval, ...]:
    """Printed web of the incoming run that its stops spoil: what lies above the strip."""
    spans = [(x_um - jet_um, x_um - jet_um + restart_um) for x_um in stops_um for jet_um in jets_um]
    return union([(max(start, strip_um), end) for start, end in spans])


def union(intervals: list[Interval]) -> tuple[Interval, ...]:
    """The intervals joined: sorted, disjoint, none empty."""
    joined: list[Interval] = []
    for start, end in sorted(interval for interval in intervals if interval[0] < interval[1]):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def covered_um(intervals: tuple[Interval, ...]) -> int:
    """Length of disjoint intervals together."""
    return sum(end - start for start, end in intervals)
