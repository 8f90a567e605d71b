"""Properties that hold for every plant and queue, over drawn days."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.changeover import Groups, Handover, Prices, changeover_with
from solver.ledger import web_ledger
from solver.locks import AtPosition, Before, Lock, OnLine, Together
from solver.plant import Line
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.solve import solve
from solver.search.stop import Stop
from solver.sequence import Changeover, Mode, Sequence, Task
from solver.splits import cheapest_changeover
from solver.weights import GOALS, Weights
from tests.builders.days import M_UM, MIN_MS, DayShape, drawn_day, drawn_lots, drawn_order
from tests.builders.every_order import every_order
from tests.builders.scored import Score, scored
from tests.builders.worked import STATIONS, worked_job, worked_line, worked_problem
from tests.checker.check import check_sequence
from tests.examples import examples, first

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))


def assert_right(problem: Problem, sequence: Sequence, weights: Weights) -> None:
    assert check_sequence(problem, sequence, weights, web_ledger(problem, sequence)) == []


@examples(60)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES)
def test_the_independent_checker_accepts_every_account(seed: int, lines: int, goal: str) -> None:
    problem = drawn_day(seed, DayShape(jobs=9, lines=lines))
    assert_right(problem, account(problem, drawn_order(problem, seed), GOALS[goal]), GOALS[goal])


SPLIT_DAY = DayShape(jobs=8, lines=2, splits=True)


def split_day(seed: int, lines: int) -> Problem:
    """A drawn day of jobs that may be split and joined, three of them under locks that leave them free to."""
    free = drawn_day(seed, replace(SPLIT_DAY, lines=lines))
    first, then, held = random.Random(seed).sample([job.id for job in free.jobs], 3)
    return Problem(free.plant, free.jobs, (Before(first, then), OnLine(held, "line-1")))


@examples(40)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES)
def test_the_checker_accepts_every_account_of_lots_and_joined_runs(seed: int, lines: int, goal: str) -> None:
    problem = split_day(seed, lines)
    assert_right(problem, account(problem, drawn_lots(problem, seed), GOALS[goal]), GOALS[goal])


@examples(30)
@given(SEEDS, GOAL_NAMES)
def test_the_fast_cost_of_lots_and_joined_runs_is_the_account(seed: int, goal: str) -> None:
    problem = split_day(seed, 2)
    order = drawn_lots(problem, seed)
    score = scored(Scheduler(problem, GOALS[goal]), order)
    sequence = account(problem, order, GOALS[goal])
    assert score.eur == pytest.approx(float(sequence.weighed_eur), rel=1e-9, abs=1e-6)


@examples(25)
@given(SEEDS)
def test_an_order_of_lots_that_comes_out_gives_the_same_sequence_again(seed: int) -> None:
    problem = split_day(seed, 2)
    sequence = account(problem, drawn_lots(problem, seed), Weights())
    again = account(problem, sequence.order, Weights())
    assert again.lines == sequence.lines
    assert again.cost == sequence.cost


def test_the_drawn_split_days_hold_lots_and_joined_runs_of_every_kind() -> None:
    met: set[str] = set()
    for seed in range(40):
        problem = split_day(seed, 2)
        sequence = account(problem, drawn_lots(problem, seed), Weights())
        met |= {"lot left out" for left in sequence.left_out if left.lot is not None}
        met |= {"late lot" for run in sequence.runs if run.lot is not None and run.lateness_ms}
        met |= {"lock broken" for _ in sequence.broken_locks}
        for run, following in (pair for line in sequence.lines for pair in pairwise(line.runs)):
            if following.changeover is not None and following.changeover.joined:
                met.add("lots joined" if run.job == following.job else "jobs joined")
    assert met == {"lot left out", "late lot", "lock broken", "lots joined", "jobs joined"}


@examples(40)
@given(SEEDS, st.integers(1, 3))
def test_the_ledger_conserves_every_micrometre(seed: int, lines: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=9, lines=lines))
    sequence = account(problem, drawn_order(problem, seed), Weights())
    for line, pieces in zip(sequence.lines, web_ledger(problem, sequence), strict=True):
        ends_um = [0, *(piece.to_um for piece in pieces)]
        assert [piece.from_um for piece in pieces] == ends_um[:-1]
        assert ends_um[-1] == sum(
            run.web_um
            + run.roll_end_waste_um
            + run.interruption_waste_um
            + (run.changeover.waste_um if run.changeover else 0)
            for run in line.runs
        )


@examples(40)
@given(SEEDS, GOAL_NAMES)
def test_the_fast_cost_is_the_account(seed: int, goal: str) -> None:
    problem = drawn_day(seed, DayShape(jobs=9, lines=2))
    order = drawn_order(problem, seed)
    score = scored(Scheduler(problem, GOALS[goal]), order)
    sequence = account(problem, order, GOALS[goal])
    assert score.eur == pytest.approx(float(sequence.weighed_eur), rel=1e-9, abs=1e-6)


@examples(25)
@given(SEEDS)
def test_the_order_that_comes_out_gives_the_same_sequence_again(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=9, lines=2))
    sequence = account(problem, drawn_order(problem, seed), Weights())
    again = account(problem, sequence.order, Weights())
    assert again.lines == sequence.lines
    assert again.cost == sequence.cost


@examples(15)
@given(SEEDS, st.integers(1, 2), GOAL_NAMES)
def test_a_search_places_every_job_once_and_the_checker_accepts_it(seed: int, lines: int, goal: str) -> None:
    problem = drawn_day(seed, DayShape(jobs=7, lines=lines))
    sequence = solve(problem, GOALS[goal], Stop(work=300), seed).sequences[0]
    placed = [run.job for run in sequence.runs] + [left.job for left in sequence.left_out]
    assert sorted(placed) == sorted(job.id for job in problem.jobs)
    assert_right(problem, sequence, GOALS[goal])


@examples(10)
@given(SEEDS)
def test_the_same_seed_and_work_limit_give_the_same_result(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=7, lines=2))
    first, second = (solve(problem, Weights(), Stop(work=400), seed).sequences[0] for _ in range(2))
    assert first == second


@pytest.mark.parametrize("fit", ["H", "H2", "P"])
def test_an_identical_job_next_to_its_twin_costs_only_the_job_change(fit: str) -> None:
    changed = ("substrate", "inkjet", "flexo-1", "flexo-2", "die")
    problem = worked_problem(worked_line(fit), worked_job("one", *changed), worked_job("twin", *changed))
    sequence = solve(problem, Weights(), Stop(work=200)).sequences[0]
    changeover = sequence.runs[1].changeover
    assert changeover is not None
    assert (changeover.stops, changeover.waste_um, changeover.duration_ms) == ((), 0, MIN_MS)


def drawn_handover(choose: st.DataObject) -> Handover:
    """A handover on the worked line with any set of stopped tasks."""
    changed = choose.draw(st.sets(st.sampled_from([0, 1, 2, 3, 4])), label="changed stations")
    tasks = tuple(
        Task(
            station_idx=idx,
            station=STATIONS[idx].id,
            x_um=STATIONS[idx].x_um,
            changes=(),
            duration_ms=Fraction(choose.draw(st.integers(1, 20), label="minutes") * MIN_MS),
            register_um=choose.draw(st.integers(0, 12), label="register m") * M_UM if idx else 0,
        )
        for idx in sorted(changed)
    )
    return Handover(
        used=(1, 2, 3, 4),
        outgoing_used=choose.draw(st.sampled_from([(4,), (2, 4), (1, 2, 3, 4)]), label="used before"),
        stopped=tasks,
        spliced=0 in changed,
        another_substrate=0 in changed and choose.draw(st.booleans(), label="another substrate"),
        mode=choose.draw(st.sampled_from([Mode.HELD, Mode.HELD, Mode.RUN_OUT]), label="mode"),
    )


def drawn_line(choose: st.DataObject) -> Line:
    """The worked line with any zone, restart and way of registering."""
    return replace(
        worked_line("P"),
        restart_um=choose.draw(st.integers(0, 6), label="restart m") * M_UM,
        pull_back_from_um=choose.draw(st.integers(0, 12), label="zone from m") * M_UM,
        pull_back_to_um=choose.draw(st.integers(12, 28), label="zone to m") * M_UM,
        registers_in_turn=choose.draw(st.booleans(), label="in turn"),
        hands=choose.draw(st.integers(1, 3), label="hands"),
    )


@examples(150)
@given(st.data(), st.integers(0, 15), st.integers(0, 15), GOAL_NAMES)
def test_more_pull_back_never_wastes_or_costs_more(
    choose: st.DataObject, some_m: int, more_m: int, goal: str
) -> None:
    line, handover = drawn_line(choose), drawn_handover(choose)
    less = replace(line, pull_back_um=some_m * M_UM)
    more = replace(line, pull_back_um=(some_m + more_m) * M_UM)
    eur_per_um = GOALS[goal].waste_eur_per_um(Fraction(198, 10**9))
    prices = Prices(eur_per_um, eur_per_um, GOALS[goal].changeover * line.eur_per_ms)
    chosen = cheapest_changeover(less, handover, prices)
    groups = tuple(stop.tasks for stop in chosen.stops)
    assert changeover_with(more, handover, groups).waste_um <= chosen.waste_um
    better = cheapest_changeover(more, handover, prices)

    def eur(waste_um: int, duration_ms: int) -> Fraction:
        return waste_um * prices.incoming_eur_per_um + duration_ms * prices.eur_per_ms

    assert eur(better.waste_um, better.duration_ms) <= eur(chosen.waste_um, chosen.duration_ms)


def every_split(handover: Handover) -> list[Groups]:
    """Every way of parting the stopped tasks into consecutive stops."""
    tasks = handover.stopped
    if handover.mode is Mode.RUN_OUT or not tasks:
        return [(tasks,) if handover.mode is Mode.RUN_OUT else ()]
    splits: list[Groups] = []
    for cuts in range(1 << (len(tasks) - 1)):
        bounds = [0, *(idx + 1 for idx in range(len(tasks) - 1) if cuts >> idx & 1), len(tasks)]
        splits.append(tuple(tasks[start:end] for start, end in pairwise(bounds)))
    return splits


@examples(300)
@given(st.data(), GOAL_NAMES, st.integers(0, 15), st.sampled_from([0, 100, 198, 700]))
def test_the_chosen_split_is_the_best_of_all(
    choose: st.DataObject, goal: str, pull_back_m: int, outgoing_price: int
) -> None:
    line = replace(drawn_line(choose), pull_back_um=pull_back_m * M_UM)
    handover = drawn_handover(choose)
    weigh = GOALS[goal].waste_eur_per_um
    prices = Prices(
        weigh(Fraction(outgoing_price, 10**9)),
        weigh(Fraction(198, 10**9)),
        GOALS[goal].changeover * line.eur_per_ms,
    )
    candidates = [changeover_with(line, handover, groups) for groups in every_split(handover)]

    def rank(changeover: Changeover) -> tuple[Fraction, int, int, list[int]]:
        eur = (
            changeover.outgoing_waste_um * prices.outgoing_eur_per_um
            + changeover.incoming_waste_um * prices.incoming_eur_per_um
            + changeover.duration_ms * prices.eur_per_ms
        )
        ends = [stop.tasks[-1].station_idx for stop in changeover.stops if stop.tasks]
        return eur, len(changeover.stops), changeover.waste_um, ends

    assert cheapest_changeover(line, handover, prices) == min(candidates, key=rank)


def best_of(problem: Problem, weights: Weights) -> Score:
    """The least score of all orders."""
    scheduler = Scheduler(problem, weights)
    best: Score | None = None
    for order in every_order(problem):
        score = scored(scheduler, order)
        if best is None or score.better_than(best):
            best = score
    assert best is not None
    return best


def score_of(problem: Problem, sequence: Sequence) -> Score:
    """A sequence's score as the search ranks it: jobs that no line can run do not count."""
    runnable = sum(map(len, next(every_order(problem))))
    faults = runnable - len(sequence.runs) + len(sequence.broken_locks)
    return Score(faults, float(sequence.weighed_eur))


@pytest.mark.parametrize(
    ("seed", "jobs", "lines"), first([(77, 6, 2)] + [(s, 4 + s % 2, 1 + s % 2) for s in range(10)])
)
def test_the_optimiser_finds_what_brute_force_finds(seed: int, jobs: int, lines: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=jobs, lines=lines))
    weights = GOALS[sorted(GOALS)[seed % len(GOALS)]]
    best = best_of(problem, weights)
    found = score_of(problem, solve(problem, weights, Stop(work=20_000), seed).sequences[0])
    assert not best.better_than(found)
    assert not found.better_than(best)


def four_jobs(seed: int) -> Problem:
    return drawn_day(seed, DayShape(jobs=4, lines=2, closures=False))


@cache
def best_of_four(seed: int) -> Score:
    return best_of(four_jobs(seed), Weights())


LOCKS: list[Lock] = [
    OnLine("j0", "line-2"),
    AtPosition("j1", 1),
    AtPosition("j2", 2),
    Together(("j0", "j2")),
    Before("j3", "j1"),
]


@pytest.mark.parametrize("lock", LOCKS, ids=str)
@pytest.mark.parametrize("seed", first([1, 2, 3]))
def test_a_lock_never_improves_the_proven_optimum(seed: int, lock: Lock) -> None:
    free = four_jobs(seed)
    locked = Problem(free.plant, free.jobs, (lock,))
    assert not best_of(locked, Weights()).better_than(best_of_four(seed))
