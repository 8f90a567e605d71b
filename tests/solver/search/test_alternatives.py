"""Alternatives: what is shown beside the best sequence, and what looking for it may take."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import permutations

import pytest

from solver.account import account
from solver.baselines import as_entered, by_due_time
from solver.ledger import web_ledger
from solver.locks import AtPosition, Before
from solver.problem import Problem
from solver.search.alternatives import LIMITS_SHARE, Archive, VariantSearch, completed, with_alternatives
from solver.search.directions import directions
from solver.search.solve import SearchResult, Status, solve
from solver.search.stop import Stop
from solver.sequence import Order
from solver.sequence import Sequence as RunSequence
from solver.trade_offs import are_alike, clearly_beats, dominates, noticed, objectives_of
from solver.weights import GOALS, Weights
from tests.builders.days import DayShape, drawn_day, one_line_day, scarce_line_day
from tests.builders.every_order import every_order
from tests.builders.textbook import open_path_problem
from tests.checker.check import check_sequence

ONE_LINE, SEVERAL_LINES = one_line_day(1, 12), drawn_day(3, DayShape(jobs=12, lines=3))
SMALL = scarce_line_day(1, 5)


def left_out(sequence: RunSequence) -> set[str]:
    return {job.job for job in sequence.left_out}


def found(problem: Problem, goal: str, alternatives: int, work: int, threads: int = 1) -> SearchResult:
    return solve(problem, GOALS[goal], Stop(work=work), 7, threads=threads, alternatives=alternatives)


def entered(problem: Problem) -> RunSequence:
    return account(problem, as_entered(problem), Weights())


def giving(*orders: Order) -> VariantSearch:
    """A search that gives these orders, whatever it is asked."""

    def search(weights: Weights, starts: Sequence[Order], stop: Stop) -> Iterator[Order]:
        yield from orders

    return search


@pytest.mark.parametrize(
    ("problem", "goal", "work"),
    [
        (ONE_LINE, "balanced", 40_000),
        (ONE_LINE, "least-waste", 40_000),
        (SEVERAL_LINES, "balanced", 1_200),
        (SEVERAL_LINES, "on-time-first", 1_200),
        (scarce_line_day(3, 9), "balanced", 20_000),
        (
            Problem(ONE_LINE.plant, ONE_LINE.jobs, (AtPosition(ONE_LINE.jobs[3].id, 1),)),
            "least-changeover-time",
            40_000,
        ),
    ],
)
def test_every_sequence_shown_is_right_and_worth_a_choice(problem: Problem, goal: str, work: int) -> None:
    weights = GOALS[goal]
    best, *others = found(problem, goal, 8, work).sequences
    for sequence in (best, *others):
        assert check_sequence(problem, sequence, weights, web_ledger(problem, sequence)) == []
        assert left_out(sequence) == left_out(best)
        assert sequence.broken_locks == best.broken_locks == ()
        assert sequence.weighed_eur >= best.weighed_eur
    baselines = [account(problem, order(problem), weights) for order in (as_entered, by_due_time)]
    beside = [baseline for baseline in baselines if left_out(baseline) == left_out(best)]
    for one in others:
        assert any(difference < 0 for difference in noticed(objectives_of(one), objectives_of(best)))
        for other in (best, *others, *beside):
            assert not dominates(objectives_of(other), objectives_of(one))
            assert other is one or not are_alike(objectives_of(other), objectives_of(one))


def test_a_day_has_alternatives() -> None:
    """Without any the tests of what is shown would say nothing."""
    assert len(found(ONE_LINE, "least-waste", 8, 40_000).sequences) > 2
    assert len(found(SEVERAL_LINES, "balanced", 8, 1_200).sequences) > 1


@pytest.mark.parametrize(("problem", "work"), [(ONE_LINE, 8_001), (SEVERAL_LINES, 777)])
def test_seed_and_work_alone_decide_what_is_found(problem: Problem, work: int) -> None:
    first = found(problem, "balanced", 4, work, threads=1)
    assert found(problem, "balanced", 4, work, threads=2) == first
    assert first.work <= work + len(problem.jobs), "an order that is begun is costed"


def test_no_more_are_shown_than_asked_for_and_the_best_stays_the_best() -> None:
    for asked in (0, 1, 2):
        result = found(ONE_LINE, "least-waste", asked, 20_000)
        assert len(result.sequences) == 1 + asked
        eur = [sequence.weighed_eur for sequence in result.sequences]
        assert eur == sorted(eur)


@pytest.mark.parametrize("asked", [-1, 9])
def test_more_than_eight_are_refused(asked: int) -> None:
    with pytest.raises(ValueError, match="alternatives must be 0 to 8"):
        solve(ONE_LINE, Weights(), Stop(work=10), alternatives=asked)


def test_nothing_beside_a_queue_of_which_nothing_can_run() -> None:
    plant = replace(SMALL.plant, lines=(replace(SMALL.plant.lines[0], web_width_um=1),))
    result = solve(Problem(plant, SMALL.jobs), Weights(), Stop(work=100), alternatives=3)
    assert result.status is Status.NOTHING_RUNS
    assert len(result.sequences) == 1


def test_where_minutes_alone_count_there_is_nothing_to_trade() -> None:
    """Such a queue is a matrix, and searched by other kernels."""
    cost_min = [
        [None if one == other else (7 * one + 3 * other) % 11 + 1 for other in range(8)] for one in range(8)
    ]
    result = solve(open_path_problem(cost_min), Weights(), Stop(work=20_000), threads=1, alternatives=3)
    assert len(result.sequences) == 1
    assert result.gap == pytest.approx(0, abs=1e-6)


def test_of_every_order_the_ends_are_shown() -> None:
    """By brute force: in no figure is anything worth a choice noticeably better than all that is shown."""
    orders = list(every_order(SMALL))
    everything = [account(SMALL, order, Weights()) for order in orders]
    best = min(everything, key=lambda sequence: sequence.weighed_eur)
    shown = with_alternatives(SMALL, Weights(), best, 8, giving(*orders), Stop(work=100))
    assert shown[0].weighed_eur == best.weighed_eur
    assert len(shown) > 3
    every, told = list(map(objectives_of, everything)), list(map(objectives_of, shown))
    worth = [
        one for one in every if not any(dominates(other, one) or clearly_beats(other, one) for other in every)
    ]
    assert worth
    for one in worth:
        for figure in range(3):
            assert any(noticed(one, other)[figure] >= 0 for other in told)
    assert not any(dominates(other, one) for other in every for one in told[1:])


def test_a_cheaper_order_met_on_the_way_becomes_the_best() -> None:
    orders = list(every_order(SMALL))
    costs = {order: account(SMALL, order, Weights()).weighed_eur for order in orders}
    cheapest = min(orders, key=lambda order: costs[order])
    shown = with_alternatives(SMALL, Weights(), entered(SMALL), 3, giving(cheapest), Stop(work=100))
    assert shown[0] == account(SMALL, cheapest, Weights())


def test_an_order_that_breaks_a_lock_is_never_shown() -> None:
    jobs = [job.id for job in SMALL.jobs]
    locked = Problem(SMALL.plant, SMALL.jobs, tuple(map(Before, jobs[:2], jobs[2:4])))
    orders = list(every_order(locked))
    kept = [order for order in orders if not account(locked, order, Weights()).broken_locks]
    assert 0 < len(kept) < len(orders)
    best = min((account(locked, order, Weights()) for order in kept), key=lambda one: one.weighed_eur)
    shown = with_alternatives(locked, Weights(), best, 8, giving(*orders), Stop(work=100))
    assert shown[0].weighed_eur == best.weighed_eur
    assert all(not sequence.broken_locks for sequence in shown)


def test_an_order_that_leaves_out_another_job_is_never_shown() -> None:
    """It would save metres and minutes by work that is not done."""
    best = account(SMALL, next(iter(every_order(SMALL))), Weights())
    (line,) = best.order
    shorter = [((*line[:place], *line[place + 1 :]),) for place in range(len(line))]
    shown = with_alternatives(SMALL, Weights(), best, 8, giving(*shorter), Stop(work=100))
    assert all(not sequence.left_out for sequence in shown)


def test_the_search_has_most_of_the_limits_and_the_variants_share_the_rest() -> None:
    stop = Stop(work=1000)
    allowed: list[int] = []

    def search(weights: Weights, starts: Sequence[Order], stop: Stop) -> Iterator[Order]:
        assert starts
        left = stop.work_left
        assert left is not None
        allowed.append(left)
        stop.count(left)
        yield starts[0]

    with stop.reserve(LIMITS_SHARE):
        assert stop.work_left == 700
        stop.count(700)
    with_alternatives(ONE_LINE, Weights(), entered(ONE_LINE), 8, search, stop)
    assert stop.done == 1000
    assert max(allowed) - min(allowed) <= 1


def test_what_a_proved_search_leaves_over_is_not_all_spent_on_alternatives() -> None:
    stop = Stop(work=1000)
    stop.count(50)

    def search(weights: Weights, starts: Sequence[Order], stop: Stop) -> Iterator[Order]:
        stop.count(stop.work_left or 0)
        yield starts[0]

    with_alternatives(ONE_LINE, Weights(), entered(ONE_LINE), 8, search, stop)
    assert stop.done == pytest.approx(350, abs=1)


def test_a_cancelled_search_looks_for_no_alternatives() -> None:
    def search(weights: Weights, starts: Sequence[Order], stop: Stop) -> Iterator[Order]:
        raise AssertionError("it was cancelled")

    stop = Stop(work=1000, cancelled=lambda: True)
    best = entered(ONE_LINE)
    assert with_alternatives(ONE_LINE, Weights(), best, 8, search, stop)[0].weighed_eur <= best.weighed_eur


def test_every_search_begins_from_orders_that_nothing_dominates() -> None:
    orders = list(every_order(SMALL))[:60]
    seen: list[list[Order]] = []

    def search(weights: Weights, starts: Sequence[Order], stop: Stop) -> Iterator[Order]:
        seen.append(list(starts))
        yield from orders[len(seen) :: 7]

    with_alternatives(SMALL, Weights(), entered(SMALL), 8, search, Stop(work=100))
    assert len(seen) > 3
    for starts in seen:
        sequences = sorted(
            (account(SMALL, order, Weights()) for order in starts), key=lambda one: one.weighed_eur
        )
        for one, other in permutations(sequences, 2):
            assert one is sequences[0] or not dominates(objectives_of(other), objectives_of(one))


def test_an_archive_knows_an_order_it_has_costed() -> None:
    archive = Archive(SMALL, Weights(), entered(SMALL))
    assert archive.add(as_entered(SMALL)) is archive.best


def test_jobs_left_out_for_want_of_stock_are_tried_again_in_every_search() -> None:
    problem = next(
        day
        for day in (drawn_day(seed, DayShape(jobs=10)) for seed in range(40))
        if account(day, as_entered(day), Weights()).order != as_entered(day)
    )
    whole = as_entered(problem)
    order = completed(problem, account(problem, whole, Weights()).order)
    assert order != account(problem, whole, Weights()).order
    assert {run.job_idx for line in order for run in line} == {run.job_idx for line in whole for run in line}


@pytest.mark.parametrize("goal", list(GOALS))
def test_directions_lead_elsewhere_than_the_goal_and_differ(goal: str) -> None:
    for problem in (ONE_LINE, SEVERAL_LINES):
        found_directions = directions(problem, entered(problem), GOALS[goal])
        assert GOALS[goal] not in found_directions
        assert len(found_directions) == len(set(found_directions)) >= 5


def test_a_metre_weighs_as_much_as_its_share_of_the_minutes_or_more() -> None:
    best = entered(ONE_LINE)
    stopped_eur = best.cost.changeover_eur + best.cost.waiting_eur
    waste_m = objectives_of(best).waste_um / 1e6
    prices = [
        float(direction.waste_eur_per_m) * waste_m / float(stopped_eur)
        for direction in directions(ONE_LINE, best, Weights())
        if direction.waste_eur_per_m is not None
    ]
    assert prices == [pytest.approx(3), pytest.approx(1)]


def test_who_is_never_late_is_not_searched_to_be_on_time() -> None:
    due_never = Problem(ONE_LINE.plant, tuple(replace(job, due_ms=None) for job in ONE_LINE.jobs))
    late = {direction.late for direction in directions(due_never, entered(due_never), Weights())}
    assert min(late) >= 1, "nor to be late"
    asked = directions(due_never, entered(due_never), Weights())
    assert not any(direction.late > 1 and direction.changeover == 1 for direction in asked[1:])
