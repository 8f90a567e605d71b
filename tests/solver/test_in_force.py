"""Runs that a sequence moves while another one is in force: which they are, and what they cost."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_in_force
from solver.explain_difference import Cause, cost_items, difference
from solver.feasibility import first_placement
from solver.in_force import InForce, RunInForce
from solver.ledger import web_ledger
from solver.locks import Lock, Started
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import Lot, Order, Placement, Sequence
from solver.weights import GOALS, Weights
from tests.builders.days import MIN_MS, DayShape, drawn_day, drawn_lots
from tests.builders.drawn_locks import under_drawn_locks
from tests.builders.in_force import in_force_of, while_drawn_in_force, while_in_force
from tests.builders.scored import scored
from tests.builders.textbook import TextbookJob, textbook_problem
from tests.checker.check import check_sequence
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))
PRICE_EUR = Fraction(10)


def shop(jobs: str, *in_force: str, locks: tuple[Lock, ...] = ()) -> Problem:
    """Jobs of a letter each on two like lines, while these rows of letters are in force on them."""
    one = textbook_problem([TextbookJob(job) for job in jobs], locks=())
    line = one.plant.lines[0]
    plant = replace(one.plant, lines=(replace(line, id="1"), replace(line, id="2")), moved_run_eur=PRICE_EUR)
    rows = tuple(tuple(RunInForce(job) for job in row) for row in in_force)
    splittable = tuple(
        replace(job, least_lot=1, versions=tuple(replace(each, quantity=9) for each in job.versions))
        for job in one.jobs
    )
    return Problem(plant, splittable, locks, InForce(rows) if in_force else None)


def ordered(problem: Problem, *rows: str) -> Order:
    """Rows of letters as an order; a letter that is there twice stands for the two lots of its job."""
    seen: set[str] = set()
    order: list[tuple[Placement, ...]] = []
    for line_idx, row in enumerate(rows):
        placements = []
        for job in row:
            placed = first_placement(problem, line_idx, problem.job_idx[job])
            assert placed is not None
            if "".join(rows).count(job) == 2:
                placed = replace(placed, lot=Lot(4, 9) if job in seen else Lot(0, 4))
            seen.add(job)
            placements.append(placed)
        order.append(tuple(placements))
    return tuple(order)


def moved_in(problem: Problem, *rows: str) -> str:
    """The jobs of moved runs, in line order; what the account says of them is right."""
    sequence = account(problem, ordered(problem, *rows), Weights())
    assert check_sequence(problem, sequence, Weights(), web_ledger(problem, sequence)) == []
    moved = [run.job for run in sequence.runs if run.moved]
    assert sequence.cost.moved_eur == len(moved) * PRICE_EUR
    return "".join(moved)


def test_what_stands_behind_the_job_that_it_stood_behind_is_not_moved() -> None:
    problem = shop("abcdef", "abc", "def")
    assert moved_in(problem, "abc", "def") == ""


def test_two_runs_that_change_places_move_themselves_and_the_one_behind() -> None:
    problem = shop("abcde", "abcde", "")
    assert moved_in(problem, "acbde", "") == "cbd"


def test_a_run_on_another_line_is_moved_even_behind_the_same_job() -> None:
    problem = shop("abcdef", "abc", "def")
    assert moved_in(problem, "", "defabc") == "a" + "bc"


def test_the_first_of_a_line_is_moved_behind_anything_and_what_comes_to_its_place() -> None:
    problem = shop("abc", "abc", "")
    assert moved_in(problem, "bac", "") == "bac"
    assert moved_in(problem, "bc", "a") == "ba"


def test_a_new_job_is_never_moved_but_the_run_behind_it_is() -> None:
    problem = shop("abcn", "abc", "")
    assert moved_in(problem, "anbc", "") == "b"
    assert moved_in(problem, "abcn", "") == ""
    assert moved_in(problem, "abc", "n") == ""


def test_jobs_that_are_done_are_left_out_of_what_is_in_force() -> None:
    problem = shop("bd", "abxyd", "z")
    assert moved_in(problem, "bd", "") == ""
    assert moved_in(problem, "db", "") == "db"


def test_a_started_run_counts_as_any_other_before_and_is_not_moved_itself() -> None:
    locks = (Started("b", "1", -20 * MIN_MS, -5 * MIN_MS, MIN_MS),)
    assert moved_in(shop("abc", "bca", "", locks=locks), "bca", "") == ""
    assert moved_in(shop("abc", "abc", "", locks=locks), "bac", "") == "ac"
    assert moved_in(shop("abc", "ca", "", locks=locks), "bca", "") == "c"


def test_a_lot_stays_behind_any_job_that_a_lot_of_its_job_followed_there() -> None:
    whole = shop("abcd", "", "")
    problem = while_in_force(whole, in_force_of(whole, ordered(whole, "abcb", "d")), PRICE_EUR)
    assert moved_in(problem, "abcb", "d") == ""
    assert moved_in(problem, "acb", "d") == "c"
    assert moved_in(problem, "ab", "cd") == "cd"
    assert moved_in(problem, "abc", "db") == "b"


def test_without_a_sequence_in_force_nothing_is_moved() -> None:
    problem = while_in_force(shop("abc"), None, PRICE_EUR)
    assert moved_in(problem, "cab", "") == ""


def test_moved_runs_cost_the_same_under_every_goal_and_belong_to_what_an_order_can_change() -> None:
    problem = shop("abcd", "abcd", "")
    free = while_in_force(problem, None, PRICE_EUR)
    order = ordered(problem, "acbd", "")
    for weights in GOALS.values():
        sequence, plain = account(problem, order, weights), account(free, order, weights)
        assert sequence.weighed_eur - plain.weighed_eur == 3 * PRICE_EUR
        assert sequence.cost.controllable_eur - plain.cost.controllable_eur == 3 * PRICE_EUR
        assert sequence.cost.total_eur - plain.cost.total_eur == 3 * PRICE_EUR


def test_a_difference_tells_moved_runs_line_by_line() -> None:
    problem = shop("abcdef", "abc", "def")
    here, there = (
        account(problem, ordered(problem, *rows), Weights()) for rows in (("cba", "def"), ("ab", "cdef"))
    )
    found = difference(problem, here, there, Weights())
    moved = {item.line: amount for item, amount in found.parts if item.cause is Cause.MOVED}
    assert [(line, int(moved[line].amount), int(moved[line].eur)) for line in ("1", "2")] == [
        ("1", 3, 30),
        ("2", -2, -20),
    ]
    assert sum(amount.eur for _, amount in found.parts) == found.total_eur
    assert sum(amount.weighed_eur for _, amount in found.parts) == found.weighed_eur


DAY = DayShape(jobs=9, splits=True)


def locked_day(seed: int, lines: int) -> Problem:
    """A drawn day under drawn locks, while a drawn sequence of most of its jobs is in force."""
    return while_drawn_in_force(under_drawn_locks(drawn_day(seed, replace(DAY, lines=lines)), seed), seed)


def near_in_force(problem: Problem, seed: int) -> Order:
    """As in force, but for a run of every line at another place there; started runs stay first."""
    rng, order = random.Random(seed), as_in_force(problem)
    assert order is not None
    started = {problem.job_idx[lock.job] for lock in problem.locks if isinstance(lock, Started)}
    rows = [list(placements) for placements in order]
    for row in rows:
        free = [at for at, placed in enumerate(row) if placed.job_idx not in started]
        if free:
            row.insert(rng.choice(free), row.pop(rng.choice(free)))
    return tuple(map(tuple, rows))


def assert_right(problem: Problem, order: Order, weights: Weights) -> Sequence:
    """The checker accepts the account of an order, its parts add up, and the scheduler's cost is the same."""
    sequence = account(problem, order, weights)
    assert check_sequence(problem, sequence, weights, web_ledger(problem, sequence)) == []
    items = cost_items(problem, sequence, weights).values()
    assert sum(amount.eur for amount in items) == sequence.cost.total_eur
    assert sum(amount.weighed_eur for amount in items) == sequence.weighed_eur
    fast = scored(Scheduler(problem, weights), order)
    assert fast.eur == pytest.approx(float(sequence.weighed_eur), rel=1e-9, abs=1e-6)
    return sequence


@examples(40)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES)
def test_the_independent_checker_accepts_every_account_under_locks(seed: int, lines: int, goal: str) -> None:
    problem = locked_day(seed, lines)
    assert_right(problem, near_in_force(problem, seed), GOALS[goal])


@examples(40)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES)
def test_so_it_does_of_orders_of_lots_near_and_far(seed: int, lines: int, goal: str) -> None:
    problem = while_drawn_in_force(drawn_day(seed, replace(DAY, lines=lines)), seed)
    for order in (near_in_force(problem, seed), drawn_lots(problem, seed + 1)):
        assert_right(problem, order, GOALS[goal])


@examples(40)
@given(SEEDS, st.integers(1, 3))
def test_an_order_is_itself_in_force_without_a_moved_run(seed: int, lines: int) -> None:
    """Of jobs in up to three lots too. Stock lasts, for a run behind one that is left out follows another."""
    free = drawn_day(seed, replace(DAY, lines=lines, limited_stock=False))
    problem = while_in_force(free, in_force_of(free, drawn_lots(free, seed)), PRICE_EUR)
    order = as_in_force(problem)
    assert order is not None
    sequence = account(problem, order, Weights())
    assert [run.job for run in sequence.runs if run.moved] == []
    assert sequence.cost.moved_eur == 0


def test_some_drawn_orders_move_runs_and_others_keep_them() -> None:
    """What these properties are tried on has both, on lines with and without a started run."""
    met: set[tuple[bool, bool]] = set()
    for seed in range(8):
        problem = locked_day(seed, 2)
        for line in account(problem, near_in_force(problem, seed), Weights()).lines:
            begun = bool(line.runs) and line.runs[0].changeover is None
            met |= {
                (begun, run.moved) for run in line.runs if problem.job_idx[run.job] in problem.jobs_in_force
            }
    assert met == {(begun, moved) for begun in (False, True) for moved in (False, True)}


def test_what_can_no_longer_be_run_so_still_gives_an_order_of_all_jobs() -> None:
    """Stations that are gone, lots that are missing, jobs that are new or done."""
    problem = shop("abcd", "", "")
    stations = first_placement(problem, 0, 0)
    assert stations is not None
    runs = (RunInForce("a", (99,)), RunInForce("b", lot=Lot(0, 4)), RunInForce("gone"))
    order = as_in_force(while_in_force(problem, InForce((runs, (RunInForce("c"),))), PRICE_EUR))
    assert order is not None
    assert order[0][:2] == (stations, replace(stations, job_idx=1))
    assert order[1][0].job_idx == 2
    assert sorted(placed.job_idx for row in order for placed in row) == [0, 1, 2, 3]


def test_lots_in_force_are_fitted_to_the_labels_of_now() -> None:
    problem = shop("ab", "", "")
    runs = (RunInForce("a", lot=Lot(0, 20)), RunInForce("b"), RunInForce("a", lot=Lot(20, 40)))
    order = as_in_force(while_in_force(problem, InForce((runs, ())), PRICE_EUR))
    assert order is not None
    assert [placed.lot for placed in order[0]] == [Lot(0, 4), None, Lot(4, 9)]


def test_contradictions_are_refused() -> None:
    with pytest.raises(ValueError, match="job a is there 2 times"):
        InForce(((RunInForce("a"),), (RunInForce("a", lot=Lot(0, 3)),)))
    with pytest.raises(ValueError, match="job a is there in more than 3 lots"):
        InForce((tuple(RunInForce("a", lot=Lot(at, at + 1)) for at in range(4)),))
    with pytest.raises(ValueError, match="sequence in force: has 1 lines, the plant has 2"):
        shop("ab", "ab")
    with pytest.raises(ValueError, match="moved_run_eur"):
        while_in_force(shop("ab"), None, Fraction(-1))
