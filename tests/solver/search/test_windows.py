"""Windows over the order of a line: what they find, when they have nothing to do, how they end."""

from __future__ import annotations

import random
from itertools import permutations

import numpy as np
import pytest

from solver.locks import AtPosition
from solver.problem import Problem
from solver.search.compile import CompiledLine, compiled_line
from solver.search.decode import Decoder
from solver.search.islands import Found, Halt, Order, no_halt
from solver.search.kernels.tables import Ints
from solver.search.plant_search import plain_starts, search_plant
from solver.search.stop import Stop
from solver.search.windows import TRIAL_RUNS, WIDTH, Windows
from solver.weights import Weights
from tests.builders.days import one_line_day
from tests.builders.decoded import drawn_numbers
from tests.examples import first

JOBS = 20
A_ROUND = 50_000


def _line(seed: int = 3, jobs: int = JOBS) -> CompiledLine:
    return compiled_line(one_line_day(seed, jobs), Weights())


def _found(compiled: CompiledLine, order: Order, faults: float = 0.0) -> Found:
    eur = Decoder(compiled).decode(_runs(compiled, order)).eur
    return Found((faults, eur), order, 0, 0.0)


def _runs(compiled: CompiledLine, order: Order) -> Ints:
    """The line's plans of an order of the plant."""
    return compiled.plant.line_numbers(order)[0]


def _drawn(compiled: CompiledLine, seed: int) -> Ints:
    return compiled.plant.numbered([drawn_numbers(compiled, random.Random(seed)).tolist()])


def _settled(compiled: CompiledLine, found: Found, halt: Halt) -> Found:
    """The order after so many passes that no window gains any more."""
    windows = Windows(compiled, halt)
    for _ in range(100_000):
        task = windows.begin(found)
        better = None if task is None else task()
        if better is not None:
            assert better[0] < found.score
            found = Found(*better, 0, 0.0)
        elif task is not None:
            return found
    raise AssertionError("the windows never settled")


@pytest.mark.parametrize("seed", first(range(3)))
def test_behind_the_last_pass_no_window_gains(seed: int) -> None:
    compiled = _line(seed)
    drawn = _found(compiled, _drawn(compiled, seed))
    settled = _settled(compiled, drawn, no_halt())
    assert settled.score < drawn.score
    assert sorted(settled.order) == sorted(drawn.order)
    decoder, runs = Decoder(compiled), _runs(compiled, settled.order)
    assert decoder.decode(runs).eur == pytest.approx(settled.score[1], rel=1e-12)
    for at in range(JOBS - WIDTH + 1):
        window = runs[at : at + WIDTH]
        for numbers in permutations(window.tolist()):
            trial = runs.copy()
            trial[at : at + WIDTH] = numbers
            assert decoder.decode(trial).eur >= settled.score[1] * (1 - 1e-8)


def test_an_order_that_settled_is_not_looked_at_again() -> None:
    compiled = _line()
    settled = _settled(compiled, _found(compiled, plain_starts(compiled.plant)[0]), no_halt())
    windows = Windows(compiled, no_halt())
    task = windows.begin(settled)
    assert task is not None
    assert task() is None
    assert all(windows.begin(settled) is None for _ in range(1000))


def test_passes_stay_within_a_share_of_the_rounds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("solver.search.windows.RUNS_A_ROUND", A_ROUND)
    compiled = _line(jobs=60)
    found = _found(compiled, plain_starts(compiled.plant)[0])
    windows = Windows(compiled, no_halt())
    first = windows.begin(found)
    assert first is not None
    first()
    waited = next(rounds for rounds in range(10**6) if windows.begin(found) is not None)
    # A window of five has 96 orders that do not begin as it does; each is placed with all that follows.
    assert waited * A_ROUND > (60 - WIDTH) * 96 * TRIAL_RUNS


def test_orders_with_faults_and_queues_with_locks_are_left_alone() -> None:
    compiled = _line()
    order = plain_starts(compiled.plant)[0]
    assert Windows(compiled, no_halt()).begin(_found(compiled, order, faults=1.0)) is None
    day = one_line_day(3, JOBS)
    locked = compiled_line(Problem(day.plant, day.jobs, (AtPosition(day.jobs[0].id, 2),)), Weights())
    assert Windows(locked, no_halt()).begin(_found(locked, order)) is None


def test_a_pass_ends_once_the_halt_flag_is_up() -> None:
    compiled = _line()
    found = _found(compiled, _drawn(compiled, 1))
    halt = np.ones(1, np.uint8)
    windows, ended = Windows(compiled, no_halt()), Windows(compiled, halt)
    task, ended_task = windows.begin(found), ended.begin(found)
    assert task is not None
    assert ended_task is not None
    whole, part = task(), ended_task()
    assert whole is not None
    assert part is None or part[0] > whole[0]


@pytest.mark.parametrize("seed", first([3, 5]))
def test_with_windows_a_search_is_never_worse(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    compiled = _line(seed, 60)
    starts = plain_starts(compiled.plant)
    found = [search_plant(compiled.plant, starts, Stop(work=60_000), 0, threads) for threads in (1, 2)]
    monkeypatch.setattr(Windows, "begin", lambda self, found: None)
    without = search_plant(compiled.plant, starts, Stop(work=60_000), 0, 2)
    assert found[0].eur <= without.eur
    assert (found[0].order, found[0].work) == (found[1].order, found[1].work)
