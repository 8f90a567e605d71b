"""An order through the kernel and through the account, side by side."""

from __future__ import annotations

import random

import numpy as np
import pytest

from solver.account import account_with
from solver.problem import Problem
from solver.search.compile import CompiledLine, compiled_line
from solver.search.decode import Decoder
from solver.search.kernels.tables import Ints
from solver.sequence import Run
from solver.weights import Weights


def drawn_numbers(compiled: CompiledLine, rng: random.Random) -> Ints:
    """Every job of a compiled line once, at drawn stations, in a drawn order."""
    plans = [rng.randrange(first, last) for first, last in compiled.job_plans.tolist() if last > first]
    rng.shuffle(plans)
    return np.array(plans, np.int64)


def assert_decoded_as_accounted(problem: Problem, weights: Weights, seed: int, orders: int = 2) -> None:
    """Drawn orders come out of the kernel as out of the account: every time and length exactly, the cost to
    rounding.
    """
    compiled = compiled_line(problem, weights)
    decoder = Decoder(compiled)
    rng = random.Random(seed)
    for _ in range(orders):
        numbers = drawn_numbers(compiled, rng)
        decoded = decoder.decode(numbers)
        sequence = account_with(compiled.scheduler, compiled.order(numbers))
        runs = {run.job_idx: run for run in sequence.runs}
        left_out = {compiled.plans[numbers[position]].placement.job_idx for position in decoded.left_out}
        assert left_out == {compiled.plans[number].placement.job_idx for number in numbers} - set(runs)
        assert decoded.eur == pytest.approx(float(sequence.weighed_eur), rel=1e-9, abs=1e-9)
        for position, number in enumerate(numbers):
            job_idx = compiled.plans[number].placement.job_idx
            if job_idx in runs:
                assert tuple(decoded.trace[position]) == traced_figures(runs[job_idx])


def traced_figures(run: Run) -> tuple[int, ...]:
    """What the kernels' trace says of a run that had not started."""
    changeover = run.changeover
    if changeover is None:
        raise ValueError("a started run is not decoded")
    return (
        *(run.changeover_start_ms, run.print_start_ms, run.end_ms, changeover.duration_ms),
        *(changeover.outgoing_waste_um, changeover.incoming_waste_um),
        *(run.interruption_ms, run.interruption_waste_um),
    )
