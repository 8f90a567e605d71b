"""What runs of one line and the changeovers before them cost at least, whatever tooling was kept and whatever
work was hidden.

Of a changeover between two runs these are certain:

- What differs at stations that both need is changed while the web stands, for a station in use is not set
  beforehand. Every split of these tasks counts: more stops, or more web that is past a station when its stop
  is made, which others in the same stop only put off. What no other job needs at a place, and does not stand
  there as the plan begins, is changed too; that may be hidden, but its register metres remain.
- Another stock is spliced, and heads are lifted over the splice. Behind it lies a strip no shorter than the
  register of any station that is set or comes back (of all of them where a line registers in turn), and than
  another substrate takes to settle.
- A change of job takes its time and its least strip, a low-migration row that begins or ends its cleaning.

All of it holds for a line that is held and for one that is run out. Runs that may be joined have no
changeover at all. Lots of a job are set up as the whole job is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from solver.layout import MS_PER_MIN
from solver.lots import may_split
from solver.plant import AspectRule
from solver.run_plan import RunPlan
from solver.search.compile import CompiledLine
from solver.search.decode import Decoder
from solver.search.kernels.tables import BEFORE, END, NEVER_MS, Floats, Ints
from solver.search.moved_runs import moved_eur, moved_first_eur
from solver.sequence import MOST_LOTS, Mode
from solver.setups import Setups
from solver.tooling import present_loaded

MOST_PLANS = 600
"""More choices of stations than this are not compared with each other."""
MOST_SPLITS = 3_000_000
"""Of more changeovers, counted with every split of theirs, the splits are not looked at."""
ROUNDING_MS = 1e-6
"""Times are rounded to the ms behind sums in floating point."""
EMPTY_NUMBER = 0
"""What stands for nothing in a slot."""

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LineLeast:
    """The least of a line's runs and changeovers, over all stations that its jobs may run at.

    Parameters
    ----------
    jobs, splits
        (runs,) jobs that the line can run, by number, and whether they may be split.
    run_eur
        (runs,) what all of a job costs to run.
    late_eur
        (runs,) what the lateness of a job costs if nothing runs before it.
    between_eur
        (runs before, runs) a changeover, and the run behind it where that is all of its job.
    first_eur
        (runs,) the same of the line's first changeover.
    behind_eur
        (runs,) what comes behind the line's last run.
    time_ms
        (runs,) all of a job and the changeovers before it, in open time.
    need_um
        (runs,) what all of a job takes of its stock, but for what its changeovers waste.
    """

    jobs: Ints
    splits: Bools
    run_eur: Floats
    late_eur: Floats
    between_eur: Floats
    first_eur: Floats
    behind_eur: Floats
    time_ms: Floats
    need_um: Floats


@dataclass(frozen=True, slots=True)
class _Changeovers:
    """Least money and time of changeovers, (before, after)."""

    eur: Floats
    ms: Floats

    def joined(self, same: Bools) -> _Changeovers:
        """Nothing at all between runs that may be one."""
        return _Changeovers(np.where(same, 0.0, self.eur), np.where(same, 0.0, self.ms))


def line_least(compiled: CompiledLine) -> LineLeast | None:
    """The least of a line; None where there are too many choices of stations to look at."""
    plans = np.array(
        [plan for first, last in compiled.job_plans.tolist() for plan in range(first, last)], np.int64
    )
    if len(plans) > MOST_PLANS:
        return None
    if not len(plans):
        none = np.zeros(0)
        return LineLeast(
            none.astype(np.int64), none > 0, none, none, np.zeros((0, 0)), none, none, none, none
        )
    return _Line(compiled, plans).least()


class Choices(NamedTuple):
    """All plans of the jobs that can run, job by job, and where those of every job begin."""

    plans: Ints
    starts: Ints


def choices(compiled: CompiledLine) -> Choices | None:
    """None where there are too many choices of stations to look at, or no two jobs."""
    ranges = [(int(first), int(last)) for first, last in compiled.job_plans if last > first]
    plans = np.array([plan for first, last in ranges for plan in range(first, last)], np.int64)
    if len(ranges) < 2 or len(plans) > MOST_PLANS:
        return None
    return Choices(plans, np.cumsum([0, *(last - first for first, last in ranges)])[:-1])


def least_changeovers(compiled: CompiledLine, chosen: Choices) -> tuple[Floats, Floats]:
    """(before, after) money and time in ms of a changeover between two jobs at least, whichever their
    stations; the last row is for the first job.
    """
    return _Line(compiled, chosen.plans).changeovers()


class _Line:
    """A line's plans of whole jobs; those of a job stand together."""

    def __init__(self, compiled: CompiledLine, plans: Ints) -> None:
        self._compiled = compiled
        self._plans = plans
        sizes = compiled.job_plans[:, 1] - compiled.job_plans[:, 0]
        self._jobs: Ints = np.flatnonzero(sizes)
        sizes = sizes[self._jobs]
        self._starts = np.cumsum(sizes) - sizes
        self._owner = np.repeat(np.arange(len(self._jobs)), sizes)
        problem = compiled.problem
        self._splits: Bools = np.array([may_split(problem, job) for job in self._jobs.tolist()], np.bool_)[
            self._owner
        ]
        self._rows = compiled.tables.plans[plans]

    def least(self) -> LineLeast:
        between, first = self._between(), self._first()
        change_ms = self._least_change_ms(between, first)
        run_eur = self._least_run_eur()
        with_run_eur = np.where(self._splits, 0.0, run_eur)
        behind_ms = self._compiled.tables.line[0]["clean_down_out_ms"] * (self._rows["low_migration"] > 0)
        return LineLeast(
            jobs=self._jobs,
            splits=self._splits[self._starts],
            run_eur=self._of_jobs(run_eur),
            late_eur=self._of_jobs(self._least_late_eur(change_ms)),
            between_eur=self._of_jobs(np.minimum.reduceat(between.eur + with_run_eur, self._starts, axis=0)),
            first_eur=self._of_jobs(first.eur + with_run_eur),
            behind_eur=self._of_jobs(behind_ms * float(self._compiled.web.path[0]["ms_eur"])),
            time_ms=self._of_jobs(change_ms + self._least_work_ms()),
            need_um=self._of_jobs(self._least_need_um()),
        )

    def changeovers(self) -> tuple[Floats, Floats]:
        """Money and time of changeovers between jobs, and in the last row of the line's first one."""
        between, first = self._between(), self._first()

        def of_jobs(between: Floats, first: Floats) -> Floats:
            by_job = self._of_jobs(np.minimum.reduceat(between, self._starts, axis=0))
            return np.vstack([by_job, self._of_jobs(first)])

        return of_jobs(between.eur, first.eur), of_jobs(between.ms, first.ms)

    def _of_jobs(self, of_plans: Floats) -> Floats:
        """The least over every job's plans, along the last axis."""
        least: Floats = np.minimum.reduceat(of_plans, self._starts, axis=-1)
        return least

    def _between(self) -> _Changeovers:
        """Changeovers between the plans, and what runs cost that the sequence in force has elsewhere."""
        certain = certain_changeovers(self._compiled, self._plans, self._plans)
        return _Changeovers(certain.eur + moved_eur(self._rows["job"], self._rows), certain.ms)

    def _first(self) -> _Changeovers:
        """The same of the line's first changeover to every plan, (plans,)."""
        first, rows = self._first_changeover(), self._compiled.tables.plans
        moved_first = moved_first_eur(rows[list(self._compiled.started)], self._rows)
        return _Changeovers(first.eur + moved_first, first.ms)

    def _first_changeover(self) -> _Changeovers:
        compiled = self._compiled
        if compiled.state[BEFORE] >= 0:
            started = np.array([compiled.state[BEFORE]], np.int64)
            certain = certain_changeovers(compiled, started, self._plans)
            first = _Changeovers(certain.eur[0], certain.ms[0])
        else:
            first = self._run_out()
        if len(compiled.plant.lines) > 1:
            return first
        # Of a single line nothing else decides when a whole job begins as the first, and how.
        known = _first_alone(compiled, self._plans)
        return _Changeovers(
            np.where(self._splits, first.eur, known.eur), np.where(self._splits, first.ms, known.ms)
        )

    def _run_out(self) -> _Changeovers:
        """From the present state, without waiting: a wait, and tools that other lines take away, only add."""
        compiled, line = self._compiled, self._compiled.line
        setups = Setups(compiled.problem, compiled.plant.weights)
        holding = tuple(setups.number(loaded) for loaded in present_loaded(line))
        if line.present.cold:
            holding = setups.cold(line, holding)
        eur, ms = np.zeros(len(self._plans)), np.zeros(len(self._plans))
        for at, number in enumerate(self._plans):
            plan: RunPlan = compiled.plans[number]
            clean_ms = (
                line.clean_down_in_ms if plan.job.low_migration and not line.present.low_migration else 0
            )
            setting = setups.setting(plan, holding)
            setup = setups.setup(plan, None, setting, (), Mode.RUN_OUT, line.present.cold, clean_ms)
            eur[at], ms[at] = setup.eur, setup.changeover.duration_ms
        return _Changeovers(eur, ms)

    def _least_change_ms(self, between: _Changeovers, first: _Changeovers) -> Floats:
        """(plans,) the shortest changeover there can be before each; a split job's lots may be joined."""
        by_job = np.minimum.reduceat(between.ms, self._starts, axis=0)
        by_job[self._owner, np.arange(len(self._plans))] = np.inf
        least: Floats = np.minimum(by_job.min(axis=0), first.ms)
        return np.where(self._splits, 0.0, least)

    def _least_work_ms(self) -> Floats:
        """(plans,) time of all runs of each job; a doff for as many labels as fill a reel in every lane."""
        split_ms = np.zeros(len(self._plans))
        for at, number in enumerate(self._plans):
            plan = self._compiled.plans[number]
            split_ms[at] = self._split_web_um(plan) * MS_PER_MIN / plan.layout.speed_um_min
            if plan.job.labels_per_reel:
                across = self._compiled.problem.dies[plan.job.die].across
                doffs = _labels(plan) / (plan.job.labels_per_reel * across)
                split_ms[at] += self._compiled.line.doff_ms * doffs
        return np.where(self._splits, np.maximum(0.0, split_ms - MOST_LOTS), self._rows["work_ms"])

    def _least_run_eur(self) -> Floats:
        """(plans,) money of all runs of each job."""
        price_eur = self._compiled.scheduler.weighing.running_eur_per_ms[self._compiled.line_idx]
        return np.where(self._splits, self._least_work_ms() * price_eur, self._rows["run_eur"])

    def _least_need_um(self) -> Floats:
        """(plans,) what all runs of each job take of its stock."""
        split_um = np.array([self._split_web_um(self._compiled.plans[number]) for number in self._plans])
        return np.where(self._splits, split_um, self._rows["own_need_um"])

    def _split_web_um(self, plan: RunPlan) -> float:
        """Web of a job, however it is split: without what rounding up to repeats, reels and rolls adds to
        every lot, for that is not the same in all ways to split it.

        web ≥ labels / (across × around) × repeat / (1 − spoilage)
        """
        problem, line = self._compiled.problem, self._compiled.line
        die = problem.dies[plan.job.die]
        material = problem.substrates[plan.job.substrate].material_class
        sold = 1 - float(line.spoilage.get(material, line.default_spoilage))
        return _labels(plan) * die.repeat_um / (die.across * die.around * sold)

    def _least_late_eur(self, change_ms: Floats) -> Floats:
        """(plans,) what the lateness of each job costs if it runs as early as it can. Lots of a job may run
        on all lines at once: the last one ends no earlier than if all took the same time.
        """
        lines = self._compiled.plant.lines
        ready_ms = self._rows["ready_ms"].astype(np.float64)
        ends_ms = through_closures_ms(
            self._compiled.tables.closures,
            np.maximum(ready_ms, float(self._compiled.state[END])),
            change_ms + self._least_work_ms(),
        )
        first_free_ms = min(float(line.state[END]) for line in lines)
        split_ends_ms = np.maximum(ready_ms, first_free_ms) + self._least_work_ms() / min(
            MOST_LOTS, len(lines)
        )
        ends_ms = np.where(self._splits, split_ends_ms, ends_ms)
        late_ms = np.where(self._rows["due_ms"] < NEVER_MS, ends_ms - self._rows["due_ms"], 0.0) - ROUNDING_MS
        late_eur: Floats = (late_ms > 0) * self._rows["late_once_eur"]
        late_eur += np.maximum(0.0, late_ms) * self._rows["late_ms_eur"]
        return late_eur


def through_closures_ms(closures: Ints, begins_ms: Floats, open_ms: Floats) -> Floats:
    """When so much open time has gone by since an instant, instant by instant; what closures interrupt is
    taken up again at no cost.
    """
    at_ms, left_ms = begins_ms.copy(), open_ms.copy()
    for start_ms, end_ms in closures:
        goes_on = (at_ms + left_ms > start_ms) & (at_ms < end_ms)
        left_ms -= goes_on * np.maximum(0.0, start_ms - at_ms)
        at_ms = np.where(goes_on, float(end_ms), at_ms)
    return at_ms + left_ms


def _labels(plan: RunPlan) -> int:
    return sum(version.target for version in plan.layout.versions)


def certain_changeovers(compiled: CompiledLine, before: Ints, after: Ints) -> _Changeovers:
    """What is certain of the changeovers between plans of a line; see the head of this module."""
    return _Certain(compiled, before, after).changeovers()


class _Certain:
    """Changeovers between plans of a line, (before, after)."""

    def __init__(self, compiled: CompiledLine, before: Ints, after: Ints) -> None:
        self._compiled = compiled
        web, rows = compiled.web, compiled.tables.plans
        self._path = web.path[0]
        self._before, self._after = rows[before], rows[after]
        self._shapes = self._before["shape"], self._after["shape"]
        self._shape = len(before), len(after)
        self._values = _values(compiled, before), _values(compiled, after)
        self._only = _needed_by_one(compiled)[:, after]
        stocks = [web.price_stocks[shapes] for shapes in self._shapes]
        self._stocks = stocks
        self._spliced: Bools = stocks[0][:, None] != stocks[1][None, :]

    def changeovers(self) -> _Changeovers:
        web = self._compiled.web
        tasks = [self._station(station_idx) for station_idx in range(len(web.stations))]
        self._task_ms = [task_ms for task_ms, _ in tasks]
        self._register_um = [register_um for _, register_um in tasks]
        sum_ms, longest_ms = sum(self._task_ms), np.maximum.reduce(self._task_ms)
        self._work_ms = np.maximum(longest_ms, sum_ms / float(self._path["hands"]))
        self._lifted_um = [self._lifted(station_idx) for station_idx in range(len(web.stations))]
        self._behind_um = np.maximum(self._strip_um(None), self._settles() * float(self._path["settle_um"]))
        least = _Changeovers(np.full(self._shape, np.inf), np.full(self._shape, np.inf))
        for stops, stop_x_um in self._splits():
            split = self._split(stops, stop_x_um)
            least = _Changeovers(np.minimum(least.eur, split.eur), np.minimum(least.ms, split.ms))
        classes = self._before["join_class"][:, None], self._after["join_class"][None, :]
        return least.joined((classes[0] == classes[1]) & (classes[0] > 0))

    def _settles(self) -> Bools:
        before, after = (self._compiled.web.substrates[shapes] for shapes in self._shapes)
        return np.asarray(self._spliced & (before[:, None] != after[None, :]), np.bool_)

    def _splits(self) -> Iterator[tuple[Floats, list[Floats]]]:
        """Every way to part the certain tasks into stops: how many, and for every station where its stop is
        made at the earliest, -1 where it has no such task. Where there are too many, one that costs no more
        than any.
        """
        standing = [idx for idx, task_ms in enumerate(self._task_ms) if task_ms.any()]
        ways = 1 << max(0, len(standing) - 1)
        if ways * self._work_ms.size > MOST_SPLITS:
            _, stop_x_um = self._stops(standing, ways - 1)
            yield (self._work_ms > 0).astype(np.float64), stop_x_um
            return
        for cuts in range(ways):
            yield self._stops(standing, cuts)

    def _stops(self, standing: list[int], cuts: int) -> tuple[Floats, list[Floats]]:
        """The stops where those up to some stations, given as bits, are parted from those behind."""
        x_um = self._compiled.web.stations["x_um"]
        nowhere = np.full(self._shape, -1.0)
        stops, stop_x_um = np.zeros(self._shape), [nowhere] * len(x_um)
        here_um = nowhere
        for place in range(len(standing) - 1, -1, -1):
            station_idx = standing[place]
            if cuts >> place & 1:
                here_um = nowhere
            has = self._task_ms[station_idx] > 0
            begins = has & (here_um < 0)
            stops = stops + begins
            here_um = np.where(begins, float(x_um[station_idx]), here_um)
            stop_x_um[station_idx] = np.where(has, here_um, -1.0)
        return stops, stop_x_um

    def _split(self, stops: Floats, stop_x_um: list[Floats]) -> _Changeovers:
        """The least of changeovers whose certain tasks are done in these stops, each there or later."""
        path, web = self._path, self._compiled.web
        behind_um = self._behind_um
        splice_um = self._spliced * np.maximum(0.0, stop_x_um[0])
        strip_um = np.maximum(self._strip_um(stop_x_um), splice_um + behind_um)
        strip_um = np.maximum(strip_um, float(path["job_change_um"]))
        unit = float(path["unit"])
        ms = self._work_ms + stops * (path["stop_units"] / unit) + path["job_change_units"] / unit
        ms += strip_um * (path["passing_units"] / unit)
        ms = np.floor(ms + 0.5 - ROUNDING_MS) + self._clean_ms()
        outgoing_eur, incoming_eur = (web.um_eur[stocks] for stocks in self._stocks)
        # Of the strip, what lies before the splice is outgoing stock: that may be the cheaper one.
        blank_eur = np.minimum(outgoing_eur[:, None], incoming_eur[None, :])
        wasted_eur = (behind_um + self._spliced * float(path["splice_um"])) * incoming_eur[None, :]
        wasted_eur += (strip_um - behind_um) * blank_eur
        return _Changeovers(ms * float(path["ms_eur"]) + wasted_eur, ms)

    def _strip_um(self, stop_x_um: list[Floats] | None) -> Floats:
        """The strip that the stations ask for; without stops, what of it lies behind the splice."""
        splice_um = 0.0 if stop_x_um is None else self._spliced * np.maximum(0.0, stop_x_um[0])
        strip_um = first_um = np.zeros(self._shape)
        for station_idx in range(1, len(self._register_um)):  # the splice table sets nothing on the web
            register_um = self._register_um[station_idx]
            first_um = np.maximum(first_um, splice_um + self._lifted_um[station_idx])
            if stop_x_um is not None:
                first_um = np.maximum(first_um, self._past_um(station_idx, stop_x_um[station_idx]))
            if self._path["registers_in_turn"]:
                strip_um = np.maximum(strip_um, first_um) + register_um
            else:
                strip_um = np.maximum(strip_um, first_um + register_um)
        return strip_um

    def _past_um(self, station_idx: int, stop_x_um: Floats) -> Floats:
        """Web that is past a station when its stop is made, less the most that the line can pull back."""
        path, station = self._path, self._compiled.web.stations[station_idx]
        x_um, reclaimed_um = float(station["x_um"]), np.zeros(self._shape)
        if path["zone_from_um"] <= station["x_um"] <= path["zone_to_um"]:
            reach_um = np.maximum(0.0, np.minimum(stop_x_um, float(path["zone_to_um"])) - x_um)
            reclaimed_um = np.minimum(float(path["pull_back_um"]), reach_um + float(station["lift_um"]))
        return np.where(stop_x_um >= 0, stop_x_um - x_um - reclaimed_um, 0.0)

    def _station(self, station_idx: int) -> tuple[Floats, Floats]:
        """Time that a station's task takes while the web stands, and the register metres of the station."""
        web = self._compiled.web
        used = [web.used[shapes, station_idx] > 0 for shapes in self._shapes]
        comes_back = ~used[0][:, None] & used[1][None, :]
        register_um = comes_back * float(web.stations[station_idx]["reengage_um"])
        task_ms = np.zeros(self._shape)
        if station_idx == 0:
            threading = web.threading[self._shapes[0]][:, self._shapes[1]]
            task_ms += threading[:, :, 0] / float(self._path["unit"])
        stands = np.ones(self._shape, np.bool_)
        if web.stations[station_idx]["hideable"]:
            stands &= used[0][:, None]
        for slot_idx, slot in enumerate(self._compiled.slots.slots):
            if slot.station_idx == station_idx:
                changed_ms = self._changed_ms(slot_idx)
                task_ms += changed_ms * stands
                changed_um = (changed_ms > 0) * float(slot.aspect.register_um)
                np.maximum(register_um, changed_um, out=register_um)
        return task_ms, register_um

    def _lifted(self, station_idx: int) -> Floats:
        """How far behind a splice the stations up to one can begin, heads lifted, whatever the line pulls
        back; 0 where nothing is spliced.
        """
        web, path = self._compiled.web, self._path
        x_um = web.stations["x_um"]
        in_zone = (path["zone_from_um"] <= x_um) & (x_um <= path["zone_to_um"])
        lift_um = np.maximum(0, web.stations["lift_um"] - in_zone * path["pull_back_um"]).astype(np.float64)
        lift_um[0] = 0.0
        upstream = x_um <= x_um[station_idx]
        lifted: Floats = (web.used[self._shapes[1]] * (lift_um * upstream)).max(axis=1)
        return self._spliced * lifted[None, :]

    def _changed_ms(self, slot_idx: int) -> Floats:
        """Time of a change in a slot that is certain, hidden or not; 0 where it is not."""
        slot = self._compiled.slots.slots[slot_idx]
        before, after = (values[slot_idx] for values in self._values)
        both = (before >= 0)[:, None] & (after >= 0)[None, :]
        times_ms = np.array([float(time) for time in slot.times])
        if slot.aspect.rule is AspectRule.WASH_UP:
            codes = np.zeros((len(slot.numbers), len(slot.numbers)), np.int64)
            for (held, value), code in slot.codes.items():
                codes[held, value] = code
            washed_ms: Floats = times_ms[codes[before[:, None], after[None, :]]] * both
            return washed_ms
        if slot.aspect.rule is AspectRule.ADDED:
            # What an inkjet's channels lack may have been awake before.
            return np.zeros(self._shape)
        changed = both & (before[:, None] != after[None, :])
        if slot.station_idx > 0:
            changed |= (before < 0)[:, None] & self._only[slot_idx][None, :]
        changed_ms: Floats = changed * times_ms[1]
        return changed_ms

    def _clean_ms(self) -> Floats:
        """Cleaning where a row of low-migration runs begins or ends."""
        line = self._compiled.tables.line[0]
        low = self._before["low_migration"][:, None] > 0, self._after["low_migration"][None, :] > 0
        begins, ends = ~low[0] & low[1], low[0] & ~low[1]
        cleaned: Floats = begins * float(line["clean_down_in_ms"]) + ends * float(line["clean_down_out_ms"])
        return cleaned


def _values(compiled: CompiledLine, plans: Ints) -> Ints:
    """(slots, plans) what plans need in every slot; -1 for nothing."""
    values = np.full((len(compiled.slots.slots), len(plans)), -1, np.int64)
    for at, plan in enumerate(plans):
        for need in compiled.slots.needs[plan]:
            values[need.slot, at] = need.value
    return values


def _needed_by_one(compiled: CompiledLine) -> Bools:
    """(slots, plans) whether what a plan needs in a slot is needed there by no other job and does not stand
    there as the plan begins. Lots of a job leave it to each other.
    """
    problem, slots = compiled.problem, compiled.slots
    held = slots.holding(present_loaded(compiled.line))
    jobs: dict[tuple[int, int], set[int]] = {}
    for plan, needs in zip(compiled.plans, slots.needs, strict=True):
        for need in needs:
            jobs.setdefault((need.slot, need.value), set()).add(plan.placement.job_idx)
    only = np.zeros((len(slots.slots), len(compiled.plans)), np.bool_)
    whole = [not may_split(problem, job_idx) for job_idx in range(len(problem.jobs))]
    for idx, (plan, needs) in enumerate(zip(compiled.plans, slots.needs, strict=True)):
        for need in needs:
            once = len(jobs[need.slot, need.value]) == 1 and need.value not in (EMPTY_NUMBER, held[need.slot])
            only[need.slot, idx] = once and whole[plan.placement.job_idx]
    return only


def _first_alone(compiled: CompiledLine, plans: Ints) -> _Changeovers:
    """The changeover of every plan as the first of a plant's only line, (plans,)."""
    decoder = Decoder(compiled)
    known = [decoder.changeover_costs(plans[at : at + 1]) for at in range(len(plans))]
    return _Changeovers(np.array([eur[0] for _, eur in known]), np.array([float(ms[0]) for ms, _ in known]))
