"""The search: its starts, its limits, its progress, and the local optimum it ends in."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from solver.account import account
from solver.baselines import as_entered, by_due_time
from solver.search.compile import CompiledPlant
from solver.search.decode import PlantDecoder
from solver.search.solve import Progress, solve
from solver.search.stop import Stop
from solver.weights import Weights
from tests.builders.days import DayShape, drawn_day


@pytest.mark.parametrize("seed", range(4))
def test_the_result_is_never_worse_than_either_baseline(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=12, lines=2))
    sequence = solve(problem, Weights(), Stop(work=0), seed).sequences[0]
    for order in (as_entered(problem), by_due_time(problem)):
        baseline = account(problem, order, Weights())
        assert (len(sequence.left_out), sequence.weighed_eur) <= (
            len(baseline.left_out),
            baseline.weighed_eur,
        )


def test_a_larger_work_limit_never_gives_a_worse_result() -> None:
    problem = drawn_day(8, DayShape(jobs=14, lines=2))
    eur = [solve(problem, Weights(), Stop(work=work)).sequences[0].weighed_eur for work in (50, 500, 30_000)]
    assert eur == sorted(eur, reverse=True)


def test_a_cancelled_search_keeps_what_it_had() -> None:
    problem = drawn_day(8, DayShape(jobs=14, lines=2))
    stop = Stop(work=10**12, cancelled=lambda: stop.done > 200)
    result = solve(problem, Weights(), stop)
    assert 200 < result.work < 10**10
    assert result.sequences[0].weighed_eur <= account(problem, as_entered(problem), Weights()).weighed_eur


def test_progress_gets_better_step_by_step() -> None:
    seen: list[Progress] = []
    solve(drawn_day(8, DayShape(jobs=14, lines=2)), Weights(), Stop(work=2000), on_progress=seen.append)
    assert len(seen) > 1
    assert [step.work for step in seen] == sorted(step.work for step in seen)
    ranks = [(step.left_out, step.best_eur) for step in seen]
    assert ranks == sorted(ranks, reverse=True)


@pytest.mark.parametrize(("lines", "seed", "work"), [(1, 11, 700_000), (2, 11, 1_500_000)])
def test_no_swap_and_no_move_of_adjacent_runs_improves_a_result_of_forty(
    lines: int, seed: int, work: int
) -> None:
    shape = DayShape(40, lines, closures=False, limited_stock=False, layers=1)
    problem = drawn_day(seed, shape)
    sequence = solve(problem, Weights(), Stop(work=work)).sequences[0]
    compiled = CompiledPlant(problem, Weights())
    decoder, best = PlantDecoder(compiled), float(sequence.weighed_eur)
    orders = [numbers.tolist() for numbers in compiled.line_numbers(compiled.numbers(sequence.order))]
    tried = 0
    for changed in neighbours(compiled, orders):
        tried += 1
        assert decoder.eur(compiled.numbered(changed)) >= best * (1 - 1e-9)
    assert tried > 2_500


def neighbours(compiled: CompiledPlant, orders: list[list[int]]) -> Iterator[list[list[int]]]:
    """Two runs of a line exchanged; up to three adjacent ones moved on it; one moved to another line."""
    for line, order in enumerate(orders):
        for first in range(len(order)):
            for last in range(first + 1, len(order)):
                swapped = list(order)
                swapped[first], swapped[last] = order[last], order[first]
                yield _with(orders, {line: swapped})
            for length in (1, 2, 3):
                block, rest = order[first : first + length], order[:first] + order[first + length :]
                for at in range(len(rest) + 1):
                    yield _with(orders, {line: rest[:at] + block + rest[at:]})
            yield from _moved_away(compiled, orders, line, first)


def _moved_away(
    compiled: CompiledPlant, orders: list[list[int]], line: int, position: int
) -> Iterator[list[list[int]]]:
    job = compiled.lines[line].plans[orders[line][position]].placement.job_idx
    rest = orders[line][:position] + orders[line][position + 1 :]
    for other, order in enumerate(orders):
        first, last = compiled.lines[other].job_plans[job]
        if other != line and last > first:
            for at in range(len(order) + 1):
                yield _with(orders, {line: rest, other: [*order[:at], int(first), *order[at:]]})


def _with(orders: list[list[int]], changed: dict[int, list[int]]) -> list[list[int]]:
    return [changed.get(line, order) for line, order in enumerate(orders)]
