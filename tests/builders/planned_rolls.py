"""Drawn days with rolls chosen for a drawn order, and jobs that say where splices may lie."""

from __future__ import annotations

from dataclasses import replace

from solver.account import account
from solver.jobs import Job
from solver.plant import Plant
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.roll_plan import RollPlan, with_rolls
from solver.weights import Weights
from tests.builders.days import DayShape, drawn_day, drawn_lots, drawn_order
from tests.builders.drawn_rolls import with_drawn_rolls


def planned_rolls(seed: int, lines: int, lots: bool = False) -> tuple[Problem, RollPlan]:
    """A drawn day with its rolls; some of its jobs have a rule on splices, stocks a thickness."""
    shape = DayShape(jobs=5, lines=lines, limited_stock=False, splits=lots)
    drawn = drawn_day(seed, shape)
    jobs = tuple(_with_splice_rule(job, seed + idx) for idx, job in enumerate(drawn.jobs))
    problem = Problem(_with_thickness(drawn.plant), jobs, drawn.locks)
    order = (drawn_lots if lots else drawn_order)(problem, seed)
    rolled = with_drawn_rolls(problem, account(problem, order, Weights()), seed)
    return with_rolls(rolled, order, Weights())


def _with_splice_rule(job: Job, number: int) -> Job:
    rules: tuple[tuple[SpliceRule, int | None], ...] = (
        (SpliceRule.ANYWHERE, None),
        (SpliceRule.ANYWHERE, 0),
        (SpliceRule.ANYWHERE, 1),
        (SpliceRule.BETWEEN_VERSIONS, None),
        (SpliceRule.NEVER, None),
    )
    rule, most = rules[number % len(rules)]
    return replace(job, splice_rule=rule, most_splices_a_reel=most)


def _with_thickness(plant: Plant) -> Plant:
    return replace(
        plant, substrates=tuple(replace(substrate, thickness_um=140) for substrate in plant.substrates)
    )
