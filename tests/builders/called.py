"""Lines whose crews are called: worked ones, and drawn days with counters somewhere along their path."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.calls import crew_calls
from solver.crew_call import Call
from solver.ledger import web_ledger
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import LineRuns, Piece, Sequence
from solver.weights import GOALS
from tests.builders.days import DayShape, drawn_day, drawn_lots, drawn_order
from tests.builders.worked import M_UM, worked_line
from tests.examples import examples

Property = Callable[[int, int, str, bool], None]
"""What holds for a seed, a number of lines, a goal, and jobs whole or in lots."""

SEEDS = st.integers(min_value=0, max_value=10**9)


def counting_line(fit: str, counter_m: int = 28, flexo_2_hidden: bool = False) -> Line:
    """The worked line with its counter at the rewinder, and a controlled stop that slows by 0.5 m/s²."""
    line = worked_line(fit, flexo_2_hidden)
    return replace(line, counter_x_um=counter_m * M_UM, deceleration_um_s2=500_000)


def drawn_sequence(seed: int, lines: int, goal: str, lots: bool) -> tuple[Problem, Sequence]:
    """A drawn day, its counters somewhere along the path, in a drawn order."""
    shape = DayShape(jobs=8, lines=lines, splits=lots)
    day = drawn_day(seed, shape)
    placed = tuple(
        replace(line, counter_x_um=(seed + 7 * idx) % 29 * M_UM, deceleration_um_s2=400_000)
        for idx, line in enumerate(day.plant.lines)
    )
    problem = Problem(replace(day.plant, lines=placed), day.jobs)
    order = (drawn_lots if lots else drawn_order)(problem, seed)
    return problem, account(problem, order, GOALS[goal])


def drawn_lines(
    seed: int, lines: int, goal: str, lots: bool
) -> Iterator[tuple[Problem, Line, LineRuns, tuple[Piece, ...], tuple[Call, ...]]]:
    """Every line of a drawn sequence with its web and its calls."""
    problem, sequence = drawn_sequence(seed, lines, goal, lots)
    ledger = web_ledger(problem, sequence)
    for runs, pieces, called in zip(
        sequence.lines, ledger, crew_calls(problem, sequence, ledger), strict=True
    ):
        line = problem.plant.lines[problem.line_idx[runs.line]]
        yield problem, line, runs, pieces, called.calls


def on_drawn_days(most: int) -> Callable[[Property], Callable[[], None]]:
    """A property of drawn lines, tried on so many examples at most."""

    def over(holds: Property) -> Callable[[], None]:
        drawn = given(SEEDS, st.integers(1, 2), st.sampled_from(sorted(GOALS)), st.booleans())
        return examples(most)(drawn(holds))

    return over
