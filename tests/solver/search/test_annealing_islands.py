"""Islands that look for the order of a queue: what they find, what they keep, and what it depends on."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import cache
from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account_with
from solver.baselines import as_entered, by_due_time
from solver.locks import AtPosition, Before, FixedStart, Lock, Started, Together
from solver.problem import Problem
from solver.search.annealing_islands import AnnealingIsland, annealing_islands, dispatching
from solver.search.compile import CompiledLine, compiled_line
from solver.search.islands import no_halt
from solver.search.kernels.tables import Ints
from solver.search.plant_search import PlantFound, plain_starts, search_plant
from solver.search.stop import Stop
from solver.sequence import Order
from solver.weights import Weights
from tests.builders.days import MIN_MS, DayShape, drawn_day, on_one_line, one_line_day, with_scarce_cylinders
from tests.builders.decoded import drawn_numbers
from tests.builders.scored import scored
from tests.examples import examples, first

MOST_ORDERS = 1000
SEEDS = st.integers(min_value=0, max_value=10**9)


@pytest.mark.parametrize("seed", first(range(6)))
def test_the_best_of_all_orders_and_stations_is_found(seed: int) -> None:
    compiled = compiled_line(_small_day(seed), Weights())
    assert _score(_found(compiled, 20_000)) == pytest.approx(_least(compiled), rel=1e-9)


@pytest.mark.parametrize(
    "locks",
    [
        (AtPosition("j0", 3),),
        (Before("j4", "j1"), Before("j1", "j0")),
        (Together(("j0", "j2", "j5")),),
        (FixedStart("j3", 200 * MIN_MS),),
        (FixedStart("j3", 90 * MIN_MS), AtPosition("j0", 1), Together(("j1", "j2")), Before("j5", "j4")),
    ],
    ids=["a position", "orders of two", "neighbours", "a start", "all kinds"],
)
def test_locks_come_before_money(locks: tuple[Lock, ...]) -> None:
    compiled, least = _under(locks)
    assert least[0] == 0
    assert _score(_found(compiled, 20_000)) == pytest.approx(least, rel=1e-9)


def test_the_best_is_not_the_same_without_these_locks() -> None:
    assert _under((AtPosition("j0", 3),))[1] != _under(())[1]


@examples(25)
@given(SEEDS, st.booleans())
def test_changes_cost_what_was_reckoned_and_the_best_what_the_account_says(seed: int, scarce: bool) -> None:
    day = on_one_line(drawn_day(seed, DayShape(jobs=40, lines=2)), seed % 2)
    compiled = compiled_line(on_one_line(with_scarce_cylinders(day), 0) if scarce else day, Weights())
    if not compiled.plans:
        return
    for island in _islands(compiled, seed)[:2]:
        island.advance(1500)
        assert island.misjudged == 0
        assert island.best[0] == pytest.approx(_of_best(compiled, island), rel=1e-9)


@pytest.mark.parametrize("seed", first([1, 7]))
def test_so_they_do_in_a_long_queue_with_every_feature(seed: int) -> None:
    compiled = compiled_line(one_line_day(seed, 150), Weights())
    island = _islands(compiled, seed)[0]
    island.advance(8000)
    assert island.misjudged == 0
    assert island.best[0] == pytest.approx(_of_best(compiled, island), rel=1e-9)


def test_the_result_is_the_same_for_any_number_of_threads() -> None:
    compiled = compiled_line(one_line_day(5, 30), Weights())
    found = [_found(compiled, 30_001, threads) for threads in (1, 2, 4)]
    assert len({_score(each) for each in found}) == 1
    assert len({each.order for each in found}) == 1


def test_so_it_is_under_locks_and_its_faults_are_those_of_the_account() -> None:
    day = one_line_day(5, 30)
    locks = (AtPosition("j0", 9), Before("j4", "j1"), Together(("j2", "j5", "j6")), AtPosition("j7", 9))
    compiled = compiled_line(Problem(day.plant, day.jobs, _named(locks, day)), Weights())
    found = [_found(compiled, 30_001, threads) for threads in (1, 2, 4)]
    assert len({(_score(each), each.order) for each in found}) == 1
    assert _score(found[0]) == pytest.approx(_of_order(compiled, found[0].order), rel=1e-9)


def test_the_work_is_exact_and_more_of_it_never_makes_a_result_worse() -> None:
    compiled = compiled_line(one_line_day(5, 30), Weights())
    found = [_found(compiled, work) for work in (0, 1, 777, 20_003)]
    assert [each.work for each in found] == [0, 1, 777, 20_003]
    assert [_score(each) for each in found] == sorted(map(_score, found), reverse=True)


def test_what_is_found_does_not_depend_on_how_work_is_dealt_out() -> None:
    compiled = compiled_line(one_line_day(5, 30), Weights())
    at_once, bit_by_bit = _islands(compiled, 0)[0], _islands(compiled, 0)[0]
    at_once.advance(3000)
    for work in (1, 0, 499, 1500, 1000):
        bit_by_bit.advance(work)
    assert at_once.best[0] == bit_by_bit.best[0]
    assert list(at_once.best[1]) == list(bit_by_bit.best[1])


def test_the_best_is_never_worse_than_an_order_adopted() -> None:
    compiled = compiled_line(one_line_day(8, 25), Weights())
    island = _islands(compiled, 0)[0]
    rng = random.Random(8)
    for _ in range(20):
        before = island.best[0]
        numbers = drawn_numbers(compiled, rng)
        island.adopt(compiled.plant.numbered([numbers.tolist()]))
        island.advance(5)
        assert island.best[0] <= min(before, _accounted(compiled, numbers))


def test_a_search_starts_no_worse_than_from_the_orders_it_is_given() -> None:
    compiled = compiled_line(drawn_one_line(11), Weights())
    orders = plain_starts(compiled.plant)
    for island in annealing_islands(compiled.plant, orders, 0, no_halt()):
        assert island.best[0] <= min(_of_order(compiled, compiled.plant.order(order)) for order in orders)


def test_a_raised_flag_ends_an_advance_early() -> None:
    compiled = compiled_line(one_line_day(5, 30), Weights())
    halt = no_halt()
    island = annealing_islands(compiled.plant, plain_starts(compiled.plant), 0, halt)[0]
    halt[0] = 1
    assert island.advance(10**9) < 1000


def test_dispatching_leaves_all_islands_with_its_best_order() -> None:
    compiled = compiled_line(one_line_day(5, 60), Weights())
    islands = annealing_islands(compiled.plant, plain_starts(compiled.plant), 0, no_halt())
    before = islands[0].best[0]
    tried = 0
    for stage in dispatching(islands):
        for task in stage:
            task()
        tried += len(stage)
    assert tried == 7
    assert islands[0].best[0] < before
    assert len({(island.best[0], tuple(island.best[1])) for island in islands}) == 1
    for island in islands:
        assert island.best[0] == pytest.approx(_of_best(compiled, island), rel=1e-9)
        island.advance(500)
        assert island.misjudged == 0


def test_a_raised_flag_ends_dispatching_and_the_island_keeps_its_order() -> None:
    compiled = compiled_line(one_line_day(5, 60), Weights())
    halt = no_halt()
    island = annealing_islands(compiled.plant, plain_starts(compiled.plant), 0, halt)[0]
    score, order = island.best[0], island.best[1].copy()
    halt[0] = 1
    assert island.dispatch(10.0, 0.3) == pytest.approx(score, rel=1e-9)
    assert list(island.best[1]) == list(order)
    halt[0] = 0
    assert island.dispatch(10.0, 0.3) < score
    island.advance(500)
    assert island.misjudged == 0
    assert island.best[0] == pytest.approx(_of_best(compiled, island), rel=1e-9)


def test_a_search_without_any_work_has_the_best_of_its_starts() -> None:
    compiled = compiled_line(one_line_day(5, 30), Weights())
    starts = plain_starts(compiled.plant)
    found = search_plant(compiled.plant, starts, Stop(work=0), 0, 1)
    assert (found.faults, found.eur) == pytest.approx(
        min(_of_order(compiled, compiled.plant.order(order)) for order in starts)
    )


@pytest.mark.parametrize("seed", range(5))
def test_the_plain_starts_of_a_line_are_the_baselines(seed: int) -> None:
    day = drawn_one_line(seed)
    started = Started(day.jobs[1].id, day.plant.lines[0].id, -20 * MIN_MS, -5 * MIN_MS, 30 * MIN_MS)
    for problem in (day, Problem(day.plant, day.jobs, (started,))):
        compiled = compiled_line(problem, Weights())
        orders = [compiled.plant.order(numbers) for numbers in plain_starts(compiled.plant)]
        assert orders == [by_due_time(problem), as_entered(problem)]


def drawn_one_line(seed: int) -> Problem:
    """A drawn day of one line; some of its jobs may never be able to start."""
    return on_one_line(drawn_day(seed, DayShape(jobs=20, lines=1)), 0)


def _small_day(seed: int) -> Problem:
    """A day of up to six jobs with few enough orders to try them all."""
    day = on_one_line(drawn_day(seed, DayShape(jobs=12, lines=1)), 0)
    jobs = day.jobs[:6]
    while sum(1 for _ in _all_orders(compiled_line(Problem(day.plant, jobs), Weights()))) > MOST_ORDERS:
        jobs = jobs[:-1]
    return Problem(day.plant, jobs)


@cache
def _under(locks: tuple[Lock, ...]) -> tuple[CompiledLine, tuple[float, float]]:
    """A day of six jobs under locks, and what the best of all its orders costs."""
    day = one_line_day(3, 6)
    compiled = compiled_line(Problem(day.plant, day.jobs, _named(locks, day)), Weights())
    return compiled, _least(compiled)


def _named(locks: tuple[Lock, ...], day: Problem) -> tuple[Lock, ...]:
    """Locks on j0, j1 … as locks on the first, second … job of a day."""

    def name(job: str) -> str:
        return day.jobs[int(job[1:])].id

    found: list[Lock] = []
    for lock in locks:
        match lock:
            case AtPosition():
                found.append(AtPosition(name(lock.job), lock.position))
            case Before():
                found.append(Before(name(lock.job), name(lock.then)))
            case Together():
                found.append(Together(tuple(name(job) for job in lock.jobs)))
            case FixedStart():
                found.append(FixedStart(name(lock.job), lock.start_ms))
            case _:
                raise ValueError(f"no such lock is drawn here: {lock}")
    return tuple(found)


def _all_orders(compiled: CompiledLine) -> Iterator[Ints]:
    choices = [range(first, last) for first, last in compiled.job_plans.tolist() if last > first]
    for plans in product(*choices):
        for order in permutations(plans):
            yield np.array(order, np.int64)


def _least(compiled: CompiledLine) -> tuple[float, float]:
    """Of all orders as the scheduler scores them; the account says the same of the best."""
    orders = list(map(compiled.order, _all_orders(compiled)))
    scores = [(each.faults, each.eur) for each in (scored(compiled.scheduler, order) for order in orders)]
    least = min(scores)
    assert least == pytest.approx(_of_order(compiled, orders[scores.index(least)]), rel=1e-9)
    return least


def _accounted(compiled: CompiledLine, numbers: Ints) -> tuple[float, float]:
    """Faults and weighed cost as the account has them."""
    return _of_order(compiled, compiled.order(numbers))


def _of_best(compiled: CompiledLine, island: AnnealingIsland) -> tuple[float, float]:
    return _of_order(compiled, compiled.plant.order(island.best[1]))


def _of_order(compiled: CompiledLine, order: Order) -> tuple[float, float]:
    sequence = account_with(compiled.scheduler, order)
    faults = len(sequence.left_out) + len(sequence.broken_locks)
    return float(faults), float(sequence.weighed_eur)


def _islands(compiled: CompiledLine, seed: int) -> list[AnnealingIsland]:
    return annealing_islands(compiled.plant, plain_starts(compiled.plant), seed, no_halt())


def _found(compiled: CompiledLine, work: int, threads: int = 1) -> PlantFound:
    return search_plant(compiled.plant, plain_starts(compiled.plant), Stop(work=work), 4, threads)


def _score(found: PlantFound) -> tuple[float, float]:
    return found.faults, found.eur
