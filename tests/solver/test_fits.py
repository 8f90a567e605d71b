"""What is remembered of one queue and used for others on the same plant."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account, account_with
from solver.calendar import Calendar
from solver.cheapest_rolls import cheapest_rolls
from solver.fits import Fits, lasting
from solver.plant import Plant
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.weights import GOALS, Weights
from tests.builders.days import MIN_MS, DayShape, drawn_day, drawn_lots
from tests.builders.drawn_rolls import rolled_day
from tests.builders.in_force import while_drawn_in_force
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
SHAPE = DayShape(jobs=9, lines=2, splits=True)


def another_queue(problem: Problem, seed: int) -> Problem:
    """The same plant later in the day: other hours and less stock, some jobs done, the others in any order,
    due at other times.
    """
    rng = random.Random(f"another {seed}")
    jobs = rng.sample(problem.jobs, rng.randint(3, len(problem.jobs)))
    shift_ms = rng.randrange(600) * MIN_MS
    return Problem(
        later(problem.plant, shift_ms),
        tuple(
            replace(
                job,
                ready_ms=max(0, job.ready_ms - shift_ms),
                due_ms=None if job.due_ms is None else job.due_ms - shift_ms,
            )
            for job in jobs
        ),
    )


def later(plant: Plant, shift_ms: int) -> Plant:
    calendar = Calendar(((shift_ms + 60 * MIN_MS, shift_ms + 90 * MIN_MS),))
    lines = tuple(
        replace(line, calendar=calendar, present=replace(line.present, free_at_ms=shift_ms))
        for line in plant.lines
    )
    substrates = tuple(
        replace(
            substrate,
            widths=tuple(
                stocked
                if stocked.on_hand_um is None
                else replace(stocked, on_hand_um=stocked.on_hand_um * 2 // 3)
                for stocked in substrate.widths
            ),
        )
        for substrate in plant.substrates
    )
    return replace(plant, lines=lines, substrates=substrates)


@examples(40)
@given(SEEDS, st.sampled_from(sorted(GOALS)))
def test_what_other_queues_taught_gives_the_same_account(seed: int, goal: str) -> None:
    first = drawn_day(seed, SHAPE)
    fits = Fits(first, GOALS[goal])
    queues = [another_queue(first, number) for number in (seed, seed + 1)]
    for queue in (first, *queues, while_drawn_in_force(first, seed), *queues):
        order = drawn_lots(queue, seed)
        sequence = account_with(Scheduler(queue, GOALS[goal], fits), order)
        assert sequence == account(queue, order, GOALS[goal])


def test_what_is_known_is_not_worked_out_again() -> None:
    day = drawn_day(5, SHAPE)
    fits, order = Fits(day, Weights()), drawn_lots(day, 5)
    account_with(Scheduler(day, Weights(), fits), order)
    known = fits.known
    assert known > 0
    later_day = Problem(day.plant, tuple(replace(job, due_ms=None) for job in day.jobs[::-1]))
    last = len(day.jobs) - 1
    turned = tuple(
        tuple(replace(placed, job_idx=last - placed.job_idx) for placed in placements) for placements in order
    )
    account_with(Scheduler(later_day, Weights(), fits), turned)
    assert fits.known == known


def test_a_run_with_rolls_chosen_is_not_taken_for_one_of_usual_rolls() -> None:
    plain, order = rolled_day(3, 2)
    rolled, plan = cheapest_rolls(plain, order, Weights())
    fits = Fits(plain, Weights())
    for problem in (plain, rolled, plain):
        assert account_with(Scheduler(problem, Weights(), fits), order) == account(problem, order, Weights())
    assert plan.sequence.cost != account(plain, order, Weights()).cost


def test_a_plant_lasts_whatever_its_hours_and_its_stock() -> None:
    plant = drawn_day(7, SHAPE).plant
    assert later(plant, 60 * MIN_MS) != plant
    assert lasting(later(plant, 60 * MIN_MS)) == lasting(plant)


@pytest.mark.parametrize("change", ["line", "die", "wash-up", "width"])
def test_a_plant_does_not_last_where_something_takes_another_time_or_metre(change: str) -> None:
    plant = drawn_day(7, SHAPE).plant
    line, *lines = plant.lines
    substrate, *substrates = plant.substrates
    changed = {
        "line": replace(plant, lines=(replace(line, stop_ms=line.stop_ms + 1), *lines)),
        "die": replace(plant, dies=(replace(plant.dies[0], copies=9), *plant.dies[1:])),
        "wash-up": replace(plant, wash_up_ms={}),
        "width": replace(plant, substrates=(replace(substrate, widths=substrate.widths[:1]), *substrates)),
    }[change]
    assert lasting(changed) != lasting(plant)
