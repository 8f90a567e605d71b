"""Reasons of a sequence: every figure told is one that costing every single move gives."""

from __future__ import annotations

from collections.abc import Callable
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass, replace
from functools import cache

import pytest

from solver.account import account
from solver.calendar import Calendar
from solver.costing import Outcome, ScheduledCosting
from solver.explain import Reasons, explain
from solver.explain_places import RunReasons, faults_of, late_jobs
from solver.feasibility import first_placement
from solver.holds import Awaited, holds
from solver.locks import AtPosition, Before, FixedStart, OnLine, Started, Together
from solver.other_places import Extent
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import Order, Run, Sequence
from solver.weights import GOALS, Weights
from tests.builders.days import H_MS, MIN_MS, DayShape, drawn_day, drawn_lots, drawn_order
from tests.builders.every_order import every_order
from tests.builders.single_moves import Moved, every_single_move
from tests.examples import first

SMALL = DayShape(jobs=6, lines=2)
SEEDS = first((36, 50, 2, 0, 1, 3, 4, 5))
"""Of the first two days the cheapest remedy of a late job makes another late."""
MANY_STATIONS = 2
"""Seed of a day on which some jobs have several station choices."""


def reasons_of(problem: Problem, order: Order, goal: str = "balanced") -> tuple[Sequence, Reasons]:
    scheduler = Scheduler(problem, GOALS[goal])
    return account(problem, order, GOALS[goal]), explain(scheduler, order)


@cache
def drawn(seed: int, goal: str = "balanced") -> tuple[Sequence, Reasons, tuple[Moved, ...]]:
    """A drawn day's drawn order with its reasons, and every single move, costed by the account."""
    problem = drawn_day(seed, SMALL)
    sequence, reasons = reasons_of(problem, drawn_order(problem, seed), goal)
    return sequence, reasons, tuple(every_single_move(problem, sequence.order, GOALS[goal]))


def run_reasons(reasons: Reasons, job: str) -> RunReasons:
    return next(run for run in reasons.runs if run.job == job)


def run_of(sequence: Sequence, job: str) -> Run:
    return next(run for run in sequence.runs if run.job == job)


@pytest.mark.parametrize("goal", ["balanced", "on-time-first"])
@pytest.mark.parametrize("seed", SEEDS)
def test_the_cheapest_other_place_told_is_the_cheapest_of_all(seed: int, goal: str) -> None:
    sequence, reasons, moves = drawn(seed, goal)
    assert reasons.extent is Extent.ALL
    for run in sequence.runs:
        others = [
            after
            for job, _, _, after in moves
            if job == run.job and faults_of(after, sequence.order) <= faults_of(sequence, sequence.order)
        ]
        told = run_reasons(reasons, run.job)
        assert told.places == sum(job == run.job for job, *_ in moves)
        assert (told.cheapest is None) == (not others)
        if told.cheapest is not None:
            least = min(after.weighed_eur - sequence.weighed_eur for after in others)
            assert float(told.cheapest.extra_weighed_eur) == pytest.approx(float(least), abs=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_a_run_costs_to_end_earlier_is_the_least_of_all_places_where_it_does(seed: int) -> None:
    sequence, reasons, moves = drawn(seed)
    for run in sequence.runs:
        earlier = [
            after.weighed_eur - sequence.weighed_eur
            for job, _, _, after in moves
            if job == run.job
            and faults_of(after, sequence.order) == 0
            and run_of(after, run.job).end_ms < run.end_ms
        ]
        told = run_reasons(reasons, run.job)
        assert (told.earlier is None) == (not earlier)
        if told.earlier is not None:
            assert told.earlier.end_ms is not None
            assert told.earlier.end_ms < run.end_ms
            assert float(told.earlier.extra_weighed_eur) == pytest.approx(float(min(earlier)), abs=1e-6)
        elif told.places:
            assert told.forbidden is not None or told.hold_ahead is not None


@pytest.mark.parametrize("seed", SEEDS)
def test_a_remedy_makes_the_job_on_time_at_the_cost_told_and_none_is_cheaper(seed: int) -> None:
    sequence, reasons, moves = drawn(seed)
    assert [late.job for late in reasons.late] == list(late_jobs(sequence))
    for late in reasons.late:
        on_time = [
            after
            for *_, after in moves
            if faults_of(after, sequence.order) == 0 and run_of(after, late.job).lateness_ms == 0
        ]
        assert (late.remedy is None) == (not on_time)
        if late.remedy is not None:
            least = min(after.weighed_eur for after in on_time) - sequence.weighed_eur
            assert float(late.remedy.extra_weighed_eur) == pytest.approx(float(least), abs=1e-6)
            assert late.job in late.remedy.on_time
            harmless = [
                after.weighed_eur - sequence.weighed_eur
                for after in on_time
                if set(late_jobs(after)) <= set(late_jobs(sequence))
            ]
            assert (late.harmless is None) == (not harmless)
            if late.harmless is not None:
                assert late.harmless.late == ()
                assert float(late.harmless.extra_weighed_eur) == pytest.approx(float(min(harmless)), abs=1e-6)
        else:
            possible = [after for *_, after in moves if faults_of(after, sequence.order) == 0]
            ends_ms = [run_of(after, late.job).end_ms for after in possible]
            assert late.soonest_end_ms == min([*ends_ms, late.end_ms])


def test_some_drawn_late_jobs_have_a_remedy_and_some_have_none() -> None:
    late = [one for seed in SEEDS for one in drawn(seed)[1].late]
    assert {one.remedy is not None for one in late} == {True, False}
    harming = [one for one in late if one.remedy and one.remedy.late]
    assert {one.harmless is not None for one in harming} == {True, False}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_late_runs_time_is_told_to_the_millisecond(seed: int) -> None:
    problem = drawn_day(seed, replace(SMALL, jobs=7))
    _, reasons = reasons_of(problem, drawn_order(problem, seed))
    for late in reasons.late:
        assert late.time.total_ms == late.end_ms
        assert late.lateness_ms == late.end_ms - late.press_due_ms
        assert late.chain[-1] == late.job
        assert late.time.waiting_ms >= 0


@pytest.mark.parametrize("seed", SEEDS)
def test_a_late_job_by_itself_ends_when_it_would_in_a_queue_of_its_own(seed: int) -> None:
    problem = drawn_day(seed, SMALL)
    for late in drawn(seed)[1].late:
        assert late.alone is not None
        lone = replace(problem, jobs=(problem.jobs[problem.job_idx[late.job]],), locks=())
        costed = (account(lone, order, Weights()) for order in every_order(lone))
        assert late.alone.end_ms == min(sequence.runs[0].end_ms for sequence in costed)


# Split jobs


@pytest.mark.parametrize("seed", first(range(10)))
def test_lots_are_moved_one_by_one_and_a_split_job_is_on_time_with_the_last_of_them(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=4, lines=2, splits=True))
    sequence, reasons = reasons_of(problem, drawn_lots(problem, seed))
    moves = list(every_single_move(problem, sequence.order, Weights()))
    assert sum(told.places for told in reasons.runs) == len(moves)
    assert [late.job for late in reasons.late] == sorted(late_jobs(sequence), key=_last_run(sequence))
    for late in reasons.late:
        assert late.end_ms == max(run.end_ms for run in sequence.runs if run.job == late.job)
        on_time = [
            after.weighed_eur - sequence.weighed_eur
            for *_, after in moves
            if faults_of(after, sequence.order) == 0 and late.job not in late_jobs(after)
        ]
        assert (late.remedy is None) == (not on_time)
        if late.remedy is not None:
            assert late.job in late.remedy.on_time
            assert float(late.remedy.extra_weighed_eur) == pytest.approx(float(min(on_time)), abs=1e-6)


def _last_run(sequence: Sequence) -> Callable[[str], int]:
    """Where in the sequence a job's last run to end stands."""
    runs = sequence.runs
    return lambda job: max((run.end_ms, at) for at, run in enumerate(runs) if run.job == job)[1]


def test_some_drawn_job_is_in_lots_and_late() -> None:
    days = [drawn_day(seed, DayShape(jobs=4, lines=2, splits=True)) for seed in range(10)]
    sequences = [account(problem, drawn_lots(problem, seed), Weights()) for seed, problem in enumerate(days)]
    assert any(run.lot is not None and run.lateness_ms for one in sequences for run in one.runs)


# What a start waits for


def free_day(seed: int = 4) -> Problem:
    """Jobs j0 to j7 that all run on both lines, whenever, from stock without end."""
    free = drawn_day(seed, DayShape(jobs=8, lines=2, closures=False, limited_stock=False))
    wide = tuple(
        replace(line, web_width_um=330_000, print_width_um=330_000, max_reel_diameter_um=None)
        for line in free.plant.lines
    )
    dies = tuple(replace(die, max_liner_um=None, copies=None) for die in free.plant.dies)
    cylinders = tuple(replace(cylinder, copies=None) for cylinder in free.plant.cylinders)
    jobs = tuple(replace(job, ready_ms=0) for job in free.jobs)
    return Problem(replace(free.plant, lines=wide, dies=dies, cylinders=cylinders), jobs)


def test_a_run_behind_another_waits_for_its_line() -> None:
    problem = free_day()
    sequence, reasons = reasons_of(problem, drawn_order(problem, 1))
    for line in sequence.lines:
        for before, run in zip(line.runs, line.runs[1:], strict=False):
            hold = run_reasons(reasons, run.job).hold
            assert (hold.awaited, hold.until_ms, hold.job) == (Awaited.LINE, before.end_ms, before.job)


def test_a_run_that_is_not_ready_is_told_until_when() -> None:
    problem = free_day()
    jobs = tuple(replace(job, ready_ms=90 * H_MS) if job.id == "j3" else job for job in problem.jobs)
    late_plates = replace(problem, jobs=jobs)
    _, reasons = reasons_of(late_plates, drawn_order(late_plates, 1))
    told = run_reasons(reasons, "j3")
    assert (told.hold.awaited, told.hold.until_ms) == (Awaited.READY, 90 * H_MS)


def test_what_a_fixed_start_waits_for_is_the_lock_by_name() -> None:
    lock = FixedStart("j3", 90 * H_MS)
    problem = replace(free_day(), locks=(lock,))
    _, reasons = reasons_of(problem, drawn_order(problem, 1))
    assert run_reasons(reasons, "j3").hold.lock is lock


def test_a_lock_on_which_job_ends_first_is_named_with_that_job() -> None:
    problem = free_day()
    order = drawn_order(problem, 1)
    first = problem.jobs[order[0][-1].job_idx].id
    then = problem.jobs[order[1][0].job_idx].id
    lock = Before(first, then)
    sequence, reasons = reasons_of(replace(problem, locks=(lock,)), order)
    hold = run_reasons(reasons, then).hold
    assert (hold.awaited, hold.lock, hold.job) == (Awaited.LOCK, lock, first)
    assert hold.until_ms == run_of(sequence, first).end_ms


def test_a_closed_line_is_told_with_its_opening() -> None:
    problem = free_day()
    closed = Calendar(((0, 7 * H_MS),))
    lines = tuple(replace(line, calendar=closed) for line in problem.plant.lines)
    shut = replace(problem, plant=replace(problem.plant, lines=lines))
    sequence, reasons = reasons_of(shut, drawn_order(shut, 1))
    first = run_reasons(reasons, sequence.lines[0].runs[0].job)
    assert (first.hold.awaited, first.hold.until_ms) == (Awaited.OPENING, 7 * H_MS)


def test_a_die_in_use_is_told_with_the_run_that_has_it() -> None:
    problem = free_day()
    dies = tuple(replace(die, copies=1) for die in problem.plant.dies)
    jobs = tuple(replace(job, die="d0") if job.id in ("j0", "j1") else job for job in problem.jobs)
    scarce = replace(problem, plant=replace(problem.plant, dies=dies), jobs=jobs)
    order = _side_by_side(scarce, "j0", "j1")
    sequence, reasons = reasons_of(scarce, order)
    first, then = sorted((run_of(sequence, "j0"), run_of(sequence, "j1")), key=lambda run: run.end_ms)
    hold = run_reasons(reasons, then.job).hold
    assert (hold.awaited, hold.tool, hold.job) == (Awaited.TOOL, "die d0", first.job)
    assert hold.until_ms == first.end_ms == then.changeover_start_ms


def _side_by_side(problem: Problem, one: str, other: str) -> Order:
    """Two jobs, each first on a line of its own."""
    placements = [
        first_placement(problem, line_idx, problem.job_idx[job]) for line_idx, job in enumerate((one, other))
    ]
    assert None not in placements
    return tuple((placement,) for placement in placements if placement is not None)


@pytest.mark.parametrize("seed", SEEDS)
def test_stock_that_arrives_late_is_told_with_its_delivery(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=7, lines=2))
    sequence, reasons = reasons_of(problem, drawn_order(problem, seed))
    for told in reasons.runs:
        start_ms = run_of(sequence, told.job).changeover_start_ms
        if told.hold.awaited is Awaited.STOCK:
            assert told.hold.stock is not None
            deliveries = problem.followed_stocks[told.hold.stock].deliveries
            assert start_ms == told.hold.until_ms
            assert told.hold.until_ms in [delivery.at_ms for delivery in deliveries]


@pytest.mark.parametrize("seed", first(range(20)))
def test_what_a_run_waits_for_lasts_until_its_start(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=7, lines=2))
    sequence = account(problem, drawn_order(problem, seed), Weights())
    found = holds(Scheduler(problem, Weights()), sequence.order)
    assert len(found) == len(sequence.runs)
    for line_idx, line in enumerate(sequence.lines):
        for run in line.runs:
            assert found[line_idx, run.placement].until_ms == run.changeover_start_ms


def test_drawn_runs_wait_for_everything_there_is_to_wait_for() -> None:
    waits = set()
    for seed in range(30):
        problem = drawn_day(seed, DayShape(jobs=7, lines=2))
        order = account(problem, drawn_order(problem, seed), Weights()).order
        waits |= {hold.awaited for hold in holds(Scheduler(problem, Weights()), order).values()}
    assert waits == set(Awaited) - {Awaited.LOCK, Awaited.STARTED}


# Locks that forbid


def test_a_lock_that_forbids_every_earlier_place_is_named() -> None:
    problem = free_day()
    order = drawn_order(problem, 1)
    job = problem.jobs[order[0][2].job_idx].id
    line = problem.plant.lines[0].id
    locks = (AtPosition(job, 3), OnLine(job, line))
    told = run_reasons(reasons_of(replace(problem, locks=locks), order)[1], job)
    assert told.earlier is None
    assert told.cheapest is None
    assert told.forbidden is not None
    assert set(told.forbidden.broken) & set(locks)


def test_jobs_that_stay_together_are_not_told_to_part() -> None:
    problem = free_day()
    order = drawn_order(problem, 1)
    jobs = tuple(problem.jobs[placement.job_idx].id for placement in order[0][:2])
    together = replace(problem, locks=(Together(jobs),))
    _, reasons = reasons_of(together, order)
    for job in jobs:
        told = run_reasons(reasons, job).cheapest
        assert told is not None
        assert told.broken == ()


def test_a_started_run_is_not_moved_and_nothing_goes_ahead_of_it() -> None:
    problem = free_day()
    order = drawn_order(problem, 1)
    job = problem.jobs[order[1][0].job_idx].id
    stations = tuple(problem.plant.lines[1].stations[idx].id for idx in order[1][0].stations)
    started = Started(job, problem.plant.lines[1].id, -30 * MIN_MS, -10 * MIN_MS, 40 * MIN_MS, stations)
    _, reasons = reasons_of(replace(problem, locks=(started,)), order)
    told = run_reasons(reasons, job)
    assert told.hold.awaited is Awaited.STARTED
    assert (told.places, told.cheapest, told.changes) == (0, None, ())
    for other in reasons.runs:
        for place in (other.cheapest, other.earlier):
            assert place is None or place.line != started.line or place.number > 1


# Bounded work


@dataclass
class FewOrders(ScheduledCosting):
    """A costing that affords few orders, and notes how many it was asked for."""

    most: int
    asked: int = 0

    def __init__(self, scheduler: Scheduler, order: Order, most: int) -> None:
        super().__init__(scheduler, order)
        self.most, self.asked = most, 0

    @property
    def most_orders(self) -> int:
        return self.most

    def outcomes(self, orders: SequenceOf[Order]) -> list[Outcome]:
        self.asked += len(orders)
        return super().outcomes(orders)


@pytest.mark.parametrize(
    ("most", "extent"), [(10_000, Extent.ALL), (64, Extent.BEST_STATIONS), (40, Extent.NEAREST)]
)
def test_no_more_orders_are_costed_than_are_afforded(most: int, extent: Extent) -> None:
    problem = free_day(MANY_STATIONS)
    order = drawn_order(problem, 1)
    scheduler = Scheduler(problem, Weights())
    costing = FewOrders(scheduler, order, most)
    reasons = explain(scheduler, order, costing)
    assert reasons.extent is extent
    assert 0 < costing.asked <= most
    assert all(told.places <= reasons.most_places for told in reasons.runs)


def test_the_places_that_look_cheapest_are_hardly_dearer_than_the_cheapest() -> None:
    problem = free_day(MANY_STATIONS)
    order = drawn_order(problem, 1)
    scheduler = Scheduler(problem, Weights())
    few = explain(scheduler, order, FewOrders(scheduler, order, 40))
    every = explain(scheduler, order)
    pairs = [(one.cheapest, other.cheapest) for one, other in zip(few.runs, every.runs, strict=True)]
    dearer = [float(one.extra_weighed_eur - other.extra_weighed_eur) for one, other in pairs if one and other]
    assert len(dearer) == len(order[0]) + len(order[1])
    assert all(eur >= -1e-6 for eur in dearer)
    assert sum(eur < 1e-6 for eur in dearer) >= len(dearer) // 2


@pytest.mark.parametrize("seed", SEEDS)
def test_orders_that_begin_alike_are_costed_as_from_their_beginning(seed: int) -> None:
    problem = drawn_day(seed, SMALL)
    scheduler = Scheduler(problem, Weights())
    order = account(problem, drawn_order(problem, seed), Weights()).order
    costing = ScheduledCosting(scheduler, order)
    for _, _, _, after in drawn(seed)[2]:
        if after.left_out and len(after.runs) < sum(map(len, order)):
            continue
        (outcome,) = costing.outcomes([after.order])
        assert outcome.eur == pytest.approx(float(after.weighed_eur), rel=1e-9, abs=1e-9)
        assert outcome.ends_ms == tuple(tuple(run.end_ms for run in line.runs) for line in after.lines)
