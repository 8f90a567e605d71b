"""The account: the full costing of a sequence, the truth that everything else must match."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from solver.feasibility import reasons, stations_fit
from solver.lock_keeping import PlacedJob, broken_locks
from solver.lots import gaps, lot_faults, total_labels
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import Cost, LeftOut, LineRuns, Lot, Order, Run, Sequence, Stock
from solver.setups import outgoing_stock
from solver.timeline import Event, State
from solver.weights import Weights


def account(problem: Problem, order: Order, weights: Weights) -> Sequence:
    """Cost an order of runs exactly.

    Parameters
    ----------
    order
        Placements for every line of the plant, in the plant's order. Jobs that are not in it are
        left out, with the reasons why no line can run them, or that the order does not place them; so are
        labels that none of a split job's lots hold.

    Raises
    ------
    ValueError
        Where the order has another number of lines, names a job twice, splits it as it may not be
        split, or places it where it cannot run.
    """
    return account_with(Scheduler(problem, weights), order)


def account_with(scheduler: Scheduler, order: Order) -> Sequence:
    """The account through a scheduler that already knows many changeovers."""
    problem = scheduler.problem
    _check_order(problem, order)
    plans = [
        [scheduler.plan(line_idx, placement) for placement in placements]
        for line_idx, placements in enumerate(order)
    ]
    state = scheduler.run(plans, priced=False)
    if state is None:
        raise RuntimeError("a schedule without a limit always comes out")
    return _sequence(scheduler, state)


def _check_order(problem: Problem, order: Order) -> None:
    lines = problem.plant.lines
    if len(order) != len(lines):
        raise ValueError(f"the order has {len(order)} lines, the plant has {len(lines)}")
    for line_idx, placements in enumerate(order):
        for placement in placements:
            job = problem.jobs[placement.job_idx]
            why = placement_faults(problem, line_idx, placement.job_idx, placement.stations)
            if why:
                raise ValueError(f"job {job.id} cannot run on {lines[line_idx].id}: {'; '.join(why)}")
    for job_idx, lots in placed_lots(order).items():
        _check_lots(problem, job_idx, lots)


def placed_lots(order: Order) -> dict[int, list[Lot | None]]:
    """By job: what of it the order places; None for all of it."""
    lots: dict[int, list[Lot | None]] = {}
    for placements in order:
        for placement in placements:
            lots.setdefault(placement.job_idx, []).append(placement.lot)
    return lots


def _check_lots(problem: Problem, job_idx: int, placed: list[Lot | None]) -> None:
    job = problem.jobs[job_idx]
    lots = [lot for lot in placed if lot is not None]
    if len(placed) > 1 and len(lots) < len(placed):
        raise ValueError(f"the order places job {job.id} twice")
    if lots:
        why = lot_faults(problem, job_idx, (*lots, *gaps(total_labels(problem, job_idx), lots)))
        if why:
            raise ValueError(f"job {job.id} {'; '.join(why)}")


def placement_faults(
    problem: Problem, line_idx: int, job_idx: int, stations: tuple[int, ...]
) -> tuple[str, ...]:
    """Why a job cannot run on a line at these stations; empty when it can."""
    placement = (line_idx, job_idx, stations)
    if placement in problem.able:
        return ()
    why = reasons(problem, line_idx, job_idx)
    if why:
        return why
    if not stations_fit(problem, line_idx, job_idx, stations):
        line = problem.plant.lines[line_idx]
        named = ", ".join(
            line.stations[idx].id if 0 <= idx < len(line.stations) else str(idx) for idx in stations
        )
        return (f"its layers and die cannot be done at {named} in this order",)
    problem.able.add(placement)
    return ()


def _sequence(scheduler: Scheduler, state: State) -> Sequence:
    problem = scheduler.problem
    events_by_line: list[list[Event]] = [[] for _ in problem.plant.lines]
    for event in state.events:
        events_by_line[event.plan.line_idx].append(event)
    ending = ending_events(events_by_line)
    lines = tuple(
        _line_runs(scheduler, state, line_idx, events, ending)
        for line_idx, events in enumerate(events_by_line)
    )
    waste_um = _waste_um(problem, lines)
    late_eur = sum((run.late_eur for line in lines for run in line.runs if run.late_eur), Fraction(0))
    cost = _cost(problem, lines, waste_um, late_eur)
    return Sequence(
        lines=lines,
        left_out=_left_out(problem, state),
        broken_locks=_broken_locks(scheduler, state),
        cost=cost,
        weighed_eur=_weighed_eur(problem, scheduler.weights, lines, waste_um, late_eur),
    )


def _broken_locks(scheduler: Scheduler, state: State) -> tuple[str, ...]:
    locks = scheduler.problem.locks
    return tuple(map(str, broken_locks(locks, placed_jobs(scheduler, state)))) if locks else ()


def ending_events(events_by_line: list[list[Event]]) -> dict[int, Event]:
    """By job: the run that ends it; of lots that end at one time the first in line order."""
    ending: dict[int, Event] = {}
    for event in (event for events in events_by_line for event in events):
        job_idx = event.plan.placement.job_idx
        if job_idx not in ending or event.end_ms > ending[job_idx].end_ms:
            ending[job_idx] = event
    return ending


def placed_jobs(scheduler: Scheduler, state: State) -> Iterable[PlacedJob]:
    """Where and when every placed job runs."""
    problem = scheduler.problem
    positions: dict[int, int] = {}
    for event in state.events:
        line_idx = event.plan.line_idx
        positions[line_idx] = positions.get(line_idx, 0) + (event.changeover is not None)
        yield PlacedJob(
            job=event.plan.job.id,
            line=problem.plant.lines[line_idx].id,
            position=positions[line_idx],
            start_ms=event.start_ms,
            end_ms=event.end_ms,
        )


WHOLE: list[Lot | None] = [None]
"""What is placed of a job of which all is."""


def _left_out(problem: Problem, state: State) -> tuple[LeftOut, ...]:
    placed: dict[int, list[Lot | None]] = {}
    for event in state.events:
        placed.setdefault(event.plan.placement.job_idx, []).append(event.plan.lot)
    dropped: dict[int, dict[Lot | None, str]] = {}
    for drop in state.dropped:
        dropped.setdefault(drop.plan.placement.job_idx, {})[drop.plan.lot] = drop.reason
    left_out: list[LeftOut] = []
    for job_idx in range(len(problem.jobs)):
        here = placed.get(job_idx, [])
        if here != WHOLE:
            left_out += _left_out_of(problem, job_idx, here, dropped.get(job_idx, {}))
    return tuple(left_out)


def _left_out_of(
    problem: Problem, job_idx: int, placed: list[Lot | None], dropped: dict[Lot | None, str]
) -> Iterator[LeftOut]:
    """A job left out, or its lots and labels that are; nothing where all of it is placed."""
    job = problem.jobs[job_idx]
    if not placed:
        yield LeftOut(job.id, tuple(dropped.values()) or _unplaced_reasons(problem, job_idx))
        return
    if None in placed:
        return
    for lot, reason in dropped.items():
        yield LeftOut(job.id, (reason,), lot)
    parts = [lot for lot in (*placed, *dropped) if lot is not None]
    for lot in gaps(total_labels(problem, job_idx), parts):
        yield LeftOut(job.id, (f"the order does not place its {lot}",), lot)


def _unplaced_reasons(problem: Problem, job_idx: int) -> tuple[str, ...]:
    """Why a job is not in the order: the reasons of each line, if no line can run it."""
    by_line = {
        line.id: reasons(problem, line_idx, job_idx) for line_idx, line in enumerate(problem.plant.lines)
    }
    if all(by_line.values()):
        return tuple(f"{line}: {'; '.join(why)}" for line, why in by_line.items())
    return ("the order does not place it",)


def _line_runs(
    scheduler: Scheduler, state: State, line_idx: int, events: list[Event], ending: dict[int, Event]
) -> LineRuns:
    line = scheduler.problem.plant.lines[line_idx]
    runs = tuple(
        _run(scheduler.problem, event, before, ends_job=ending[event.plan.placement.job_idx] is event)
        for before, event in zip((None, *events), events, strict=False)
    )
    waiting_ms = 0
    if runs:
        first_ms = max(0, state.first_start_ms or 0)
        open_ms = line.calendar.open_between(first_ms, runs[-1].end_ms)
        busy_ms = sum(
            run.run_ms
            + run.roll_end_ms
            + run.interruption_ms
            + (run.changeover.duration_ms if run.changeover else 0)
            for run in runs
        )
        started_setup_ms = _started_setup_ms(scheduler, line_idx, events)
        waiting_ms = open_ms - busy_ms - started_setup_ms
    last = events[-1].plan if events else None
    return LineRuns(
        line=line.id,
        runs=runs,
        waiting_ms=waiting_ms,
        clean_down_ms=scheduler.trailing_clean_down_ms(line_idx, last),
    )


def _started_setup_ms(scheduler: Scheduler, line_idx: int, events: list[Event]) -> int:
    """Open time after the plan's start in which a started run is still being set up."""
    first = events[0]
    if first.changeover is not None:
        return 0
    calendar = scheduler.problem.plant.lines[line_idx].calendar
    return calendar.open_between(0, min(first.print_start_ms, first.end_ms))


def _run(problem: Problem, event: Event, before: Event | None, *, ends_job: bool) -> Run:
    """A run behind another; a job's late cost stands with the run that ends it."""
    plan = event.plan
    before_idx = None if before is None else before.plan.placement.job_idx
    line = problem.plant.lines[plan.line_idx]
    layout = plan.layout
    return Run(
        job_idx=plan.placement.job_idx,
        job=plan.job.id,
        line=line.id,
        placement=plan.placement,
        stations=tuple(line.stations[idx].id for idx in plan.placement.stations),
        stock=plan.stock,
        versions=layout.versions,
        speed_um_min=layout.speed_um_min,
        doffs=layout.doffs,
        foil_reel_ends=layout.foil_reel_ends,
        changeover=event.changeover,
        wait_ms=event.wait_ms,
        changeover_start_ms=event.start_ms,
        print_start_ms=event.print_start_ms,
        end_ms=event.end_ms,
        run_ms=event.run_ms,
        roll_ends=plan.roll_ends if event.changeover else (),
        interruptions=event.interruptions,
        press_due_ms=plan.press_due_ms,
        lateness_ms=0 if plan.press_due_ms is None else max(0, event.end_ms - plan.press_due_ms),
        late_eur=plan.late_eur(event.end_ms) if ends_job else Fraction(0),
        moved=problem.is_moved(plan.line_idx, plan.placement.job_idx, before_idx),
    )


def _cost(
    problem: Problem, lines: tuple[LineRuns, ...], waste_um: dict[Stock, int], late_eur: Fraction
) -> Cost:
    """Plain money by part."""
    waste_eur = _waste_eur(problem, Weights(), waste_um)
    changeover_eur = waiting_eur = running_eur = Fraction(0)
    for line in lines:
        eur_per_ms = problem.plant.lines[problem.line_idx[line.line]].eur_per_ms
        changeover_eur += eur_per_ms * stopped_ms(line)
        waiting_eur += eur_per_ms * line.waiting_ms
        running_eur += eur_per_ms * sum(run.run_ms for run in line.runs)
    moved_eur = _moved_eur(problem, lines)
    return Cost(
        waste_eur, changeover_eur, waiting_eur, running_eur, late_eur, moved_eur, stubs=problem.stub_cost
    )


def _moved_eur(problem: Problem, lines: tuple[LineRuns, ...]) -> Fraction:
    return problem.plant.moved_run_eur * sum(run.moved for line in lines for run in line.runs)


def _weighed_eur(
    problem: Problem,
    weights: Weights,
    lines: tuple[LineRuns, ...],
    waste_um: dict[Stock, int],
    late_eur: Fraction,
) -> Fraction:
    """What the goal makes of the parts.

    Moved runs, and what chosen rolls cost besides their splices, are weighed by none of its weights: what a
    site wants to pay for keeping to a sequence, and what its stock is worth, is the same under every goal.
    """
    total_eur = _moved_eur(problem, lines) + _waste_eur(problem, weights, waste_um)
    total_eur += weights.late * late_eur
    if problem.stub_cost is not None:
        total_eur += problem.stub_cost.weighed_eur
    for line in lines:
        eur_per_ms = problem.plant.lines[problem.line_idx[line.line]].eur_per_ms
        total_eur += weights.changeover * eur_per_ms * (stopped_ms(line) + line.waiting_ms)
        total_eur += weights.running * eur_per_ms * sum(run.run_ms for run in line.runs)
    return total_eur


def stopped_ms(line: LineRuns) -> int:
    """Changeovers, roll ends, closure stops and the clean-down behind the last run."""
    return line.clean_down_ms + sum(
        run.roll_end_ms + run.interruption_ms + (run.changeover.duration_ms if run.changeover else 0)
        for run in line.runs
    )


def _waste_um(problem: Problem, lines: tuple[LineRuns, ...]) -> dict[Stock, int]:
    """Wasted web by stock; what a line had threaded that nobody knows is not in it."""
    waste_um: dict[Stock, int] = {}
    for line in lines:
        outgoing = outgoing_stock(problem.plant.lines[problem.line_idx[line.line]], None)
        for run in line.runs:
            incoming_um = run.roll_end_waste_um + run.interruption_waste_um
            if run.changeover:
                incoming_um += run.changeover.incoming_waste_um
                if outgoing is not None:
                    outgoing_um = run.changeover.outgoing_waste_um
                    waste_um[outgoing] = waste_um.get(outgoing, 0) + outgoing_um
            waste_um[run.stock] = waste_um.get(run.stock, 0) + incoming_um
            outgoing = run.stock
    return waste_um


def _waste_eur(problem: Problem, weights: Weights, waste_um: dict[Stock, int]) -> Fraction:
    return sum(
        (
            length_um * weights.waste_eur_per_um(problem.eur_per_um(stock))
            for stock, length_um in waste_um.items()
        ),
        Fraction(0),
    )
