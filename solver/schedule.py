"""A sequence in time: orders of runs become starts, ends, changeovers and costs.

Repeatedly the line whose next changeover can start earliest is taken, ties by line order; so starts
never decrease, and a shared die goes to whoever can start first.
"""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Sequence as SequenceOf
from fractions import Fraction

from solver.closures import through_closures
from solver.copies import Fetch, copies_free_ms, fetches, moved, present_copies
from solver.fits import Fits
from solver.locks import Before, FixedStart, Started
from solver.plant import Line
from solver.problem import Problem
from solver.run_plan import RunPlan
from solver.sequence import Interruption, Mode, Placement, Stock
from solver.setups import Setting, Setup
from solver.timeline import Deadlock, Dropped, Event, LineState, State
from solver.tooling import present_loaded
from solver.weighing import Weighing
from solver.weights import Weights

Plans = SequenceOf[SequenceOf[RunPlan]]
"""Run plans in order, for every line."""


class Scheduler:
    """Places orders of runs in time, for one problem under one goal.

    Parameters
    ----------
    fits
        What is remembered of other queues on the same plant under the same goal; None: nothing.
    """

    def __init__(self, problem: Problem, weights: Weights, fits: Fits | None = None) -> None:
        self.problem = problem
        self.weights = weights
        self._fits = Fits(problem, weights) if fits is None else fits
        self.setups = self._fits.setups
        self._plans: dict[tuple[int, Placement], RunPlan] = {}
        self._splits = False
        self._lines = problem.plant.lines
        self.weighing = Weighing(problem, weights)
        self._fixed: dict[int, int] = {}
        for lock in problem.locks:
            if isinstance(lock, FixedStart):
                job_idx = problem.job_idx[lock.job]
                self._fixed[job_idx] = max(lock.start_ms, self._fixed.get(job_idx, 0))
        self._earlier: dict[int, list[int]] = {}
        for lock in problem.locks:
            if isinstance(lock, Before):
                then = problem.job_idx[lock.then]
                self._earlier.setdefault(then, []).append(problem.job_idx[lock.job])
        self._started = {
            problem.job_idx[lock.job]: lock for lock in problem.locks if isinstance(lock, Started)
        }
        self._stocked = problem.followed_stocks
        self._supply = {
            stock: (stocked.on_hand_um or 0, stocked.deliveries) for stock, stocked in self._stocked.items()
        }

    def plan(self, line_idx: int, placement: Placement) -> RunPlan:
        """The plan of a placement on a line, worked out once."""
        key = (line_idx, placement)
        plan = self._plans.get(key)
        if plan is None:
            plan = self._plans[key] = self._fits.plan(self.problem, line_idx, placement)
            self._splits |= plan.lot is not None
        return plan

    def present(self) -> State:
        """All lines as the plan begins."""
        return State(
            lines=[
                LineState(
                    holding=tuple(self.setups.number(loaded) for loaded in present_loaded(line)),
                    before=None,
                    print_start_ms=line.present.free_at_ms,
                    end_ms=line.present.free_at_ms,
                    clean=line.present.low_migration,
                )
                for line in self._lines
            ],
            copies=present_copies(self.problem),
            drawn=dict.fromkeys(self._stocked, 0),
            next_idx=[0] * len(self._lines),
            events=[],
            pending=[None] * len(self._lines),
        )

    def run(
        self,
        plans: Plans,
        state: State | None = None,
        limit_eur: float = float("inf"),
        keep: list[State] | None = None,
        *,
        priced: bool = True,
    ) -> State | None:
        """Place every run, from a state on; None once the cost is sure to be above the limit.

        Parameters
        ----------
        state
            Where to go on; it is changed. None for the lines' present state.
        limit_eur
            Weighed cost above which the order is of no interest.
        keep
            When given, gets a snapshot before every step.
        priced
            False where nobody wants to know the cost, which then is that of no runs.

        A run that can never start is left out, a lock that makes all lines wait for each other is
        given up, and the schedule made again: the order of what remains gives the same sequence. With a
        limit both end it.

        A step adds its own cost, in which a lot carries its share of its job's late prices. What a late
        split job costs beyond that is added behind the last step, with the clean-downs; it is never below
        0, so no limit ends an order too early.
        """
        if state is None:
            state = self.begin(plans)
            state.priced = priced
        while True:
            fault = self._run_once(plans, state, limit_eur, keep)
            if fault is None:
                break
            if limit_eur < float("inf"):
                return None
            dropped, unbound = state.dropped, state.unbound
            if isinstance(fault, Dropped):
                dropped = (*dropped, fault)
            else:
                unbound |= {fault.plan.placement.job_idx}
            state = self.begin(plans, dropped, unbound)
            state.priced = priced
            if keep is not None:
                keep.clear()
        for line_idx, line_state in enumerate(state.lines):
            state.eur += (
                self.trailing_clean_down_ms(line_idx, line_state.before)
                * self.weighing.stopped_eur_per_ms[line_idx]
            )
        if self._splits:
            state.eur += self.weighing.split_late_eur((event.plan, event.end_ms) for event in state.events)
        return None if state.eur > limit_eur else state

    def _run_once(
        self, plans: Plans, state: State, limit_eur: float, keep: list[State] | None
    ) -> Dropped | Deadlock | None:
        """Place every run that has not been dropped; the first that never can start ends it."""
        is_limited = limit_eur < float("inf")
        left_eur = self._left_eur(plans, state) if is_limited else 0.0
        while True:
            if keep is not None:
                keep.append(state.snapshot())
            step = self._next_step(plans, state)
            if not isinstance(step, Event):
                return step
            self.place(state, step)
            if is_limited:
                left_eur -= self.weighing.floor_eur(step.plan)
                if state.eur + left_eur > limit_eur:
                    state.eur = float("inf")
                    return None

    def _left_eur(self, plans: Plans, state: State) -> float:
        """What the runs still to be placed cost at least."""
        return sum(
            self.weighing.floor_eur(plan)
            for line_idx, line_plans in enumerate(plans)
            for plan in line_plans[state.next_idx[line_idx] :]
        )

    def trailing_clean_down_ms(self, line_idx: int, last: RunPlan | None) -> int:
        """Cleaning behind a line's last run, when that was low-migration work."""
        return self._lines[line_idx].clean_down_out_ms if last and last.job.low_migration else 0

    def begin(
        self, plans: Plans, dropped: tuple[Dropped, ...] = (), unbound: frozenset[int] = frozenset()
    ) -> State:
        """All lines as the plan begins, with started runs placed."""
        state = self.present()
        state.dropped, state.unbound = dropped, unbound
        for line_idx, line_plans in enumerate(plans):
            if line_plans:
                lock = self._started.get(line_plans[0].placement.job_idx)
                if lock is not None and lock.line == self._lines[line_idx].id:
                    self.place(state, self._started_event(state, line_plans[0], lock))
                    state.first_start_ms = 0
        return state

    def _next_step(self, plans: Plans, state: State) -> Event | Dropped | Deadlock | None:
        """The run that can start earliest, or one that never can; None when none is left."""
        best: Event | None = None
        blocked: RunPlan | None = None
        for line_idx, line_plans in enumerate(plans):
            plan = self._following(line_plans, state, line_idx)
            if plan is None:
                continue
            if self._waits_for_another(plans, state, plan):
                blocked = blocked or plan
                continue
            step = state.pending[line_idx]
            if step is None or step.plan is not plan:
                step = state.pending[line_idx] = self.next_step(state, plan)
            if isinstance(step, Dropped):
                return step
            if best is None or step.start_ms < best.start_ms:
                best = step
        if best is None and blocked is not None:
            return Deadlock(blocked)
        return best

    def _following(self, line_plans: SequenceOf[RunPlan], state: State, line_idx: int) -> RunPlan | None:
        """A line's next run that has not been dropped."""
        while state.next_idx[line_idx] < len(line_plans):
            plan = line_plans[state.next_idx[line_idx]]
            if not state.dropped or not any(drop.plan is plan for drop in state.dropped):
                return plan
            state.next_idx[line_idx] += 1
        return None

    def _waits_for_another(self, plans: Plans, state: State, plan: RunPlan) -> bool:
        """Whether a run that must end before this one starts is still to be placed."""
        earlier = self._earlier.get(plan.placement.job_idx)
        if not earlier or plan.placement.job_idx in state.unbound:
            return False
        dropped = {drop.plan for drop in state.dropped}
        return any(
            later.placement.job_idx in earlier and later not in dropped
            for line_idx, line_plans in enumerate(plans)
            for later in line_plans[state.next_idx[line_idx] :]
        )

    def next_step(self, state: State, plan: RunPlan) -> Event | Dropped:
        """The earliest the plan can be placed after a state, or why it never can."""
        line = self._lines[plan.line_idx]
        start_ms = max(state.lines[plan.line_idx].end_ms, plan.job.ready_ms)
        if plan.tools:
            start_ms = max(start_ms, copies_free_ms(state.copies, plan))
        if self._fixed or self._earlier:
            start_ms = max(start_ms, self._locked_until_ms(state, plan))
        while True:
            start_ms = line.calendar.next_open(start_ms)
            event = self._placed(state, plan, start_ms)
            if line.calendar.horizon_ms is not None and event.end_ms > line.calendar.horizon_ms:
                return Dropped(plan, f"{_whose_run(plan)} on {line.id} would end beyond the calendar")
            lacking = self._lacking(state, event)
            if lacking is None:
                return event
            later_ms = [
                at_ms
                for at_ms in (
                    *self._arrivals_ms(lacking),
                    *_need_changes_ms(line, state.lines[plan.line_idx]),
                )
                if at_ms > start_ms
            ]
            if not later_ms:
                width = f"{lacking.width_um / 1000:g} mm"
                return Dropped(
                    plan,
                    f"{lacking.substrate} in {width} never suffices for {_whose_run(plan)} on {line.id}",
                )
            start_ms = min(later_ms)

    def fixed_start_ms(self, job_idx: int) -> int:
        """When a job's changeover is fixed to start; 0 where it is not."""
        return self._fixed.get(job_idx, 0)

    def _locked_until_ms(self, state: State, plan: RunPlan) -> int:
        job_idx = plan.placement.job_idx
        until_ms = self.fixed_start_ms(job_idx)
        if job_idx in state.unbound:
            return until_ms
        for earlier in self._earlier.get(job_idx, ()):
            for event in state.events:
                if event.plan.placement.job_idx == earlier:
                    until_ms = max(until_ms, event.end_ms)
        return until_ms

    def _lacking(self, state: State, event: Event) -> Stock | None:
        """A stock that does not suffice at the event's start."""
        for stock, length_um in event.drawn:
            there_um, deliveries = self._supply[stock]
            for delivery in deliveries:
                if delivery.at_ms <= event.start_ms:
                    there_um += delivery.length_um
            if there_um - state.drawn[stock] < length_um:
                return stock
        return None

    def _arrivals_ms(self, stock: Stock) -> Iterator[int]:
        return (delivery.at_ms for delivery in self._stocked[stock].deliveries)

    def _placed(self, state: State, plan: RunPlan, start_ms: int) -> Event:
        """The plan's run with its changeover beginning at `start_ms`."""
        line_idx = plan.line_idx
        line = self._lines[line_idx]
        line_state = state.lines[line_idx]
        before = line_state.before
        wait_ms = start_ms - line_state.end_ms
        run_out = before is None or wait_ms > line.hold_ms
        cold = (line.cold_after_ms is not None and wait_ms > line.cold_after_ms) or (
            before is None and line.present.cold
        )
        fetched = fetches(state.copies, plan, start_ms) if plan.tools else ()
        holding = line_state.holding
        for fetch in fetched:
            if fetch.copy.place is not None and fetch.copy.place[0] == line_idx:
                holding = self.setups.without(holding, fetch.copy.place[1], fetch.copy.place[2])
        if cold:
            holding = self.setups.cold(line, holding)
        setting = self.setups.setting(plan, holding)
        hidden: tuple[int, ...] = ()
        if setting.guarded and before is not None and not run_out and line.hands_while_running:
            hidden = self._hidden(line_state, before, plan, fetched, setting)
        setup = self.setups.setup(
            plan,
            before,
            setting,
            hidden,
            Mode.RUN_OUT if run_out else Mode.HELD,
            cold,
            self._clean_down_ms(line, line_state, plan),
            at_once=wait_ms == 0,
        )
        print_start_ms, end_ms, interruptions = through_closures(
            line, start_ms, setup.changeover.duration_ms, plan.work_ms
        )
        after = setting.after
        if any(interruption.cold for interruption in interruptions):
            after = self.setups.setting(plan, self.setups.cold(line, holding)).after
        return Event(
            plan=plan,
            changeover=setup.changeover,
            wait_ms=wait_ms,
            start_ms=start_ms,
            print_start_ms=print_start_ms,
            end_ms=end_ms,
            run_ms=plan.layout.run_ms,
            interruptions=interruptions,
            holding=after,
            fetched=fetched,
            removed=setting.removed,
            drawn=self._drawn(plan, setup, interruptions) if self._stocked else (),
            eur=(
                setup.eur + self._event_eur(state, plan, start_ms, end_ms, interruptions)
                if state.priced
                else 0.0
            ),
        )

    def _hidden(
        self,
        line_state: LineState,
        before: RunPlan,
        plan: RunPlan,
        fetched: tuple[Fetch, ...],
        setting: Setting,
    ) -> tuple[int, ...]:
        """Stations whose tasks are done while the run before runs: the longest that fit first.

        They must be guarded and not used by that run, and the copies they take must be free when the
        window opens.
        """
        line = self._lines[plan.line_idx]
        opens_ms = max(line_state.print_start_ms, plan.job.ready_ms)
        window_ms = line.calendar.open_between(opens_ms, line_state.end_ms)
        late = {fetch.tool.station_idx for fetch in fetched if fetch.copy.free_ms > opens_ms}
        left_ms: int | Fraction = line.hands_while_running * window_ms
        hidden: list[int] = []
        for station_idx, duration_ms in setting.guarded:
            idle = station_idx not in before.used and station_idx not in late
            if idle and duration_ms <= window_ms and duration_ms <= left_ms:
                hidden.append(station_idx)
                left_ms -= duration_ms
        hidden.sort()
        return tuple(hidden)

    def _clean_down_ms(self, line: Line, line_state: LineState, plan: RunPlan) -> int:
        """Cleaning before a low-migration row begins, or behind one that the plan holds."""
        if plan.job.low_migration:
            return 0 if line_state.clean else line.clean_down_in_ms
        before = line_state.before
        return line.clean_down_out_ms if before is not None and before.job.low_migration else 0

    def _drawn(
        self, plan: RunPlan, setup: Setup, interruptions: tuple[Interruption, ...]
    ) -> tuple[tuple[Stock, int], ...]:
        incoming_um = plan.own_need_um + setup.incoming_waste_um
        for interruption in interruptions:
            incoming_um += interruption.waste_um
        stock, outgoing = plan.stock, setup.outgoing
        if outgoing is None or not setup.outgoing_waste_um:
            return ((stock, incoming_um),) if stock in self._stocked else ()
        if outgoing == stock:
            return ((stock, incoming_um + setup.outgoing_waste_um),) if stock in self._stocked else ()
        both = ((stock, incoming_um), (outgoing, setup.outgoing_waste_um))
        return tuple([drawn for drawn in both if drawn[0] in self._stocked])

    def _event_eur(
        self,
        state: State,
        plan: RunPlan,
        start_ms: int,
        end_ms: int,
        interruptions: tuple[Interruption, ...],
    ) -> float:
        """Weighed cost of a run, the waiting before it and what interrupts it, without its set-up."""
        line_idx = plan.line_idx
        line_state = state.lines[line_idx]
        first_ms = start_ms if state.first_start_ms is None else state.first_start_ms
        idle_from_ms = line_state.end_ms if line_state.before is not None else first_ms
        stopped_ms = plan.work_ms - plan.layout.run_ms
        if idle_from_ms != start_ms:
            stopped_ms += self._lines[line_idx].calendar.open_between(idle_from_ms, start_ms)
        wasted_um = plan.own_need_um - plan.layout.web_um
        for interruption in interruptions:
            wasted_um += interruption.waste_um
            stopped_ms += interruption.duration_ms
        weighing = self.weighing
        return (
            wasted_um * weighing.um_eur(plan.stock)
            + stopped_ms * weighing.stopped_eur_per_ms[line_idx]
            + plan.layout.run_ms * weighing.running_eur_per_ms[line_idx]
            + weighing.late_eur(plan, end_ms)
            + weighing.moved_eur(plan, line_state.before)
        )

    def _started_event(self, state: State, plan: RunPlan, lock: Started) -> Event:
        line = self._lines[plan.line_idx]
        fetched = fetches(state.copies, plan, lock.end_ms)
        line_state = state.lines[plan.line_idx]
        setting = self.setups.setting(plan, line_state.holding)
        run_ms = line.calendar.open_between(max(0, lock.print_start_ms), lock.end_ms)
        eur = run_ms * self.weighing.running_eur_per_ms[plan.line_idx]
        return Event(
            plan=plan,
            changeover=None,
            wait_ms=0,
            start_ms=lock.changeover_start_ms,
            print_start_ms=lock.print_start_ms,
            end_ms=lock.end_ms,
            run_ms=run_ms,
            interruptions=(),
            holding=setting.after,
            fetched=fetched,
            removed=setting.removed,
            drawn=(),
            eur=eur + self.weighing.late_eur(plan, lock.end_ms),
        )

    def place(self, state: State, event: Event) -> None:
        """Place an event: the state becomes the one behind it."""
        plan = event.plan
        line_idx = plan.line_idx
        if state.first_start_ms is None:
            state.first_start_ms = event.start_ms
        state.lines[line_idx] = LineState(
            holding=event.holding,
            before=plan,
            print_start_ms=event.print_start_ms,
            end_ms=event.end_ms,
            clean=plan.job.low_migration,
        )
        moved_keys = {*plan.tool_places, *(key for key, _ in event.removed)}
        if moved_keys:
            self._take_from_others(state, event)
            state.copies = moved(state.copies, plan, event.fetched, event.removed, event.end_ms)
        for stock, length_um in event.drawn:
            state.drawn[stock] += length_um
        first = not state.events
        # A step that fetches nothing has all its copies at its own stations: others' moves are nothing to it.
        for other_idx, step in enumerate(state.pending):
            if step is not None and (
                first
                or other_idx == line_idx
                or not isinstance(step, Event)
                or self._earlier
                or (step.fetched and not moved_keys.isdisjoint(step.plan.tool_places))
                or (event.drawn and self._lacking(state, step) is not None)
            ):
                state.pending[other_idx] = None
        state.next_idx[line_idx] += 1
        state.events.append(event)
        state.eur += event.eur

    def _take_from_others(self, state: State, event: Event) -> None:
        """Empty the places on other lines from which a run takes its dies and cylinders."""
        for fetch in event.fetched:
            place = fetch.copy.place
            if place is not None and place[0] != event.plan.line_idx:
                other = state.lines[place[0]]
                holding = self.setups.without(other.holding, place[1], place[2])
                state.lines[place[0]] = other._replace(holding=holding)
                state.pending[place[0]] = None


def _whose_run(plan: RunPlan) -> str:
    return "its run" if plan.lot is None else f"the run of its {plan.lot}"


def _need_changes_ms(line: Line, line_state: LineState) -> Iterator[int]:
    """When a longer wait changes what a changeover wastes: the job is run out, the line goes cold."""
    yield line_state.end_ms + line.hold_ms + 1
    if line.cold_after_ms is not None:
        yield line_state.end_ms + line.cold_after_ms + 1
