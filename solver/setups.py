"""Changeovers worked out once and remembered: a day's search asks for few different ones often."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from solver.changeover import SPLICE_TABLE, Handover, Prices, runs_on
from solver.plant import Line
from solver.problem import Problem
from solver.run_plan import RunPlan
from solver.sequence import Changeover, Mode, Stock, Task
from solver.splits import cheapest_changeover
from solver.tooling import EMPTY, Loaded, Needs, asleep, counted_at, loaded_after, station_task
from solver.weights import Weights

Holding = tuple[int, ...]
"""What every station of a line holds, as numbers of `Setups`."""


@dataclass(frozen=True, slots=True, eq=False)
class Transition:
    """A station set for a run: its task, what it holds then, and the counted tools taken off it.

    `removed` holds (tool key, aspect index).
    """

    task: Task | None
    after: int
    removed: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """A line set for a run, from what its stations held.

    Parameters
    ----------
    held
        A number for what the used stations held.
    tasks
        The tasks that follow, in web order.
    guarded
        Stations whose tasks may be done while the web runs, with their times, longest first, ties
        upstream first. Whole ms are plain integers, which compare faster.
    after
        What all stations hold then.
    removed
        Counted tools taken off, with (line, station, aspect index).
    """

    held: int
    tasks: tuple[Task, ...]
    guarded: tuple[tuple[int, int | Fraction], ...]
    after: Holding
    removed: tuple[tuple[str, tuple[int, int, int]], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Setup:
    """A changeover with what the search asks of it most: its waste by stock and its weighed cost."""

    changeover: Changeover
    outgoing: Stock | None
    outgoing_waste_um: int
    incoming_waste_um: int
    eur: float


MOST_SETTINGS = 200_000
"""Settings kept in memory; beyond them they are worked out anew."""


class Setups:
    """Tasks and changeovers of one problem under one goal, filled on first sight.

    What a station holds is known by a number.
    """

    def __init__(self, problem: Problem, weights: Weights) -> None:
        self._problem = problem
        self._weights = weights
        self._counted = problem.copies
        self._numbers: dict[Loaded, int] = {}
        self._loaded: list[Loaded] = []
        self._transitions: dict[tuple[int, int, int], Transition] = {}
        self._needed: dict[tuple[int, int, Needs, int], Transition] = {}
        self._settings: dict[tuple[int, Holding], Setting] = {}
        self._held: dict[Holding, int] = {}
        self._setups: dict[tuple[object, ...], Setup] = {}
        self._alike: dict[tuple[object, ...], Changeover] = {}

    @property
    def known(self) -> int:
        """How many tasks, settings and changeovers are remembered."""
        return len(self._transitions) + len(self._settings) + len(self._setups)

    def number(self, loaded: Loaded) -> int:
        """The number of what a station holds."""
        number = self._numbers.get(loaded)
        if number is None:
            number = self._numbers[loaded] = len(self._loaded)
            self._loaded.append(loaded)
        return number

    def loaded(self, number: int) -> Loaded:
        """What a station holds, by its number."""
        return self._loaded[number]

    def cold(self, line: Line, numbers: Holding) -> Holding:
        """What a line's stations hold once it has gone cold."""
        return tuple(
            self.number(asleep(station, self._loaded[number])) if station.is_inkjet else number
            for station, number in zip(line.stations, numbers, strict=True)
        )

    def without(self, holding: Holding, station_idx: int, aspect_idx: int) -> Holding:
        """What a line's stations hold once a tool has been taken from one of them."""
        loaded = self._loaded[holding[station_idx]]
        emptied = self.number((*loaded[:aspect_idx], EMPTY, *loaded[aspect_idx + 1 :]))
        return (*holding[:station_idx], emptied, *holding[station_idx + 1 :])

    def setting(self, plan: RunPlan, holding: Holding) -> Setting:
        """A line set for a plan, from what its stations hold."""
        key = (plan.idx, holding)
        setting = self._settings.get(key)
        if setting is None:
            if len(self._settings) >= MOST_SETTINGS:
                self._settings.clear()
            setting = self._settings[key] = self._set(plan, holding)
        return setting

    def _set(self, plan: RunPlan, holding: Holding) -> Setting:
        stations = self._problem.plant.lines[plan.line_idx].stations
        transitions = [
            self._transition(plan, position, holding[station_idx])
            for position, station_idx in enumerate(plan.used)
        ]
        after = list(holding)
        for station_idx, transition in zip(plan.used, transitions, strict=True):
            after[station_idx] = transition.after
        tasks = tuple(transition.task for transition in transitions if transition.task is not None)
        held = tuple(holding[station_idx] for station_idx in plan.used)
        return Setting(
            held=self._held.setdefault(held, len(self._held)),
            tasks=tasks,
            guarded=tuple(
                (task.station_idx, _plain(task.duration_ms))
                for task in sorted(tasks, key=lambda task: (-task.duration_ms, task.station_idx))
                if task.station_idx != SPLICE_TABLE and stations[task.station_idx].guarded
            ),
            after=tuple(after),
            removed=tuple(
                (key, (plan.line_idx, station_idx, aspect_idx))
                for station_idx, transition in zip(plan.used, transitions, strict=True)
                for key, aspect_idx in transition.removed
            ),
        )

    def _transition(self, plan: RunPlan, position: int, number: int) -> Transition:
        """What setting the plan's station at `position` of its used ones takes."""
        key = (plan.idx, position, number)
        transition = self._transitions.get(key)
        if transition is None:
            station_idx, needs = plan.used[position], plan.needs[position]
            needed = (plan.line_idx, station_idx, needs, number)
            transition = self._needed.get(needed)
            if transition is None:
                transition = self._needed[needed] = self._work_out(plan.line_idx, station_idx, needs, number)
            self._transitions[key] = transition
        return transition

    def _work_out(self, line_idx: int, station_idx: int, needs: Needs, number: int) -> Transition:
        line = self._problem.plant.lines[line_idx]
        before = self._loaded[number]
        after = loaded_after(line.stations[station_idx], before, needs)
        return Transition(
            task=station_task(self._problem, line, station_idx, before, needs),
            after=self.number(after),
            removed=tuple(
                (tool.key, tool.aspect_idx)
                for tool in counted_at(line, station_idx, before, self._counted)
                if after[tool.aspect_idx] != before[tool.aspect_idx]
            ),
        )

    def setup(
        self,
        plan: RunPlan,
        before: RunPlan | None,
        setting: Setting,
        hidden: tuple[int, ...],
        mode: Mode,
        cold: bool,
        clean_down_ms: int,
        at_once: bool = False,
    ) -> Setup:
        """The changeover to a plan; `before` is None for the line's present state.

        `hidden` are the indices of the stations set while the run before ran; `at_once` tells that the
        plan follows without any wait, so that it may run as one with the run before.
        """
        before_idx = -1 if before is None else before.idx
        joining = at_once and plan.joins(before)
        key = (plan.idx, before_idx, setting.held, hidden, mode, cold, clean_down_ms, joining)
        setup = self._setups.get(key)
        if setup is None:
            setup = self._set_up(plan, before, setting.tasks, hidden, mode, cold, clean_down_ms, joining)
            self._setups[key] = setup
        return setup

    def _set_up(
        self,
        plan: RunPlan,
        before: RunPlan | None,
        tasks: tuple[Task, ...],
        hidden: tuple[int, ...],
        mode: Mode,
        cold: bool,
        clean_down_ms: int,
        joining: bool,
    ) -> Setup:
        line = self._problem.plant.lines[plan.line_idx]
        outgoing = outgoing_stock(line, before)
        handover = Handover(
            used=plan.used,
            outgoing_used=before.used if before else (),
            stopped=tuple(task for task in tasks if task.station_idx not in hidden),
            hidden=tuple(task for task in tasks if task.station_idx in hidden),
            reengaged=self._reengaged(line, plan, before),
            spliced=outgoing is not None and outgoing != plan.stock,
            another_substrate=outgoing is not None and outgoing.substrate != plan.stock.substrate,
            mode=mode,
            cold=cold,
            clean_down_ms=clean_down_ms,
        )
        joined = joining and runs_on(handover)
        if joined:
            handover = replace(handover, job_change=False)
        prices = self._prices(line, plan.stock, outgoing)
        changeover = self._cheapest(plan.line_idx, handover, prices)
        if joined:
            changeover = replace(changeover, joined=True)
        eur = (
            changeover.outgoing_waste_um * float(prices.outgoing_eur_per_um)
            + changeover.incoming_waste_um * float(prices.incoming_eur_per_um)
            + changeover.duration_ms * float(prices.eur_per_ms)
        )
        return Setup(changeover, outgoing, changeover.outgoing_waste_um, changeover.incoming_waste_um, eur)

    def _cheapest(self, line_idx: int, handover: Handover, prices: Prices) -> Changeover:
        """The cheapest changeover; what it costs hangs on the tasks' shape alone, not on what is loaded.

        Plates and inks differ from job to job, their minutes and metres hardly ever: most handovers have
        the shape of an earlier one, whose stops are taken over.
        """
        shape = (line_idx, _shape(handover), prices)
        alike = self._alike.get(shape)
        line = self._problem.plant.lines[line_idx]
        if alike is None:
            alike = self._alike[shape] = cheapest_changeover(line, handover, prices)
            return alike
        tasks = {task.station_idx: task for task in handover.stopped}
        stops = tuple(
            replace(stop, tasks=tuple(tasks[task.station_idx] for task in stop.tasks)) for stop in alike.stops
        )
        return replace(alike, stops=stops, hidden=handover.hidden)

    def _reengaged(self, line: Line, plan: RunPlan, before: RunPlan | None) -> tuple[int, ...]:
        """Used stations that were thrown off and take web to come back."""
        if before is None:
            thrown_off = {idx for idx in plan.used if line.stations[idx].id in line.present.thrown_off}
        else:
            thrown_off = set(plan.used) - set(before.used)
        return tuple(
            idx
            for idx in plan.used
            if idx in thrown_off and idx != SPLICE_TABLE and line.stations[idx].reengage_um
        )

    def _prices(self, line: Line, incoming: Stock, outgoing: Stock | None) -> Prices:
        weigh = self._weights.waste_eur_per_um
        incoming_eur = weigh(self._problem.eur_per_um(incoming))
        return Prices(
            outgoing_eur_per_um=(
                incoming_eur if outgoing is None else weigh(self._problem.eur_per_um(outgoing))
            ),
            incoming_eur_per_um=incoming_eur,
            eur_per_ms=self._weights.changeover * line.eur_per_ms,
        )


def _shape(handover: Handover) -> Handover:
    """The handover without what its tasks change: only where, how long, and which register."""
    return replace(
        handover,
        stopped=tuple(replace(task, changes=()) for task in handover.stopped),
        hidden=tuple(replace(task, changes=()) for task in handover.hidden),
    )


def _plain(duration_ms: Fraction) -> int | Fraction:
    return duration_ms.numerator if duration_ms.denominator == 1 else duration_ms


def outgoing_stock(line: Line, before: RunPlan | None) -> Stock | None:
    """The stock on the unwind before a changeover; None where nothing is threaded."""
    if before is not None:
        return before.stock
    present = line.present
    if present.substrate is None or present.width_um is None:
        return None
    return Stock(present.substrate, present.width_um)
