"""Rolls as awkward as they come, for a queue that has been ordered: beside those of `drawn_rolls` some that
are reserved, on an unwind, out of date in the middle of the day or still to come, or a little wider than any
job needs; and jobs that mind their splices.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

from solver.account import account
from solver.jobs import Job
from solver.locks import Started
from solver.plant import StockedWidth, Substrate
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.rolls import Roll
from solver.sequence import Order
from solver.weights import Weights
from tests.builders.days import DayShape, drawn_day, drawn_order
from tests.builders.drawn_rolls import RULES, drawn_roll, with_drawn_rolls

MIN_MS = 60_000
WIDER_UM = 5_000
Drawn = tuple[Problem, Order]


def awkward_day(seed: int, lines: int, jobs: int = 7) -> Drawn:
    """A day whose rolls and jobs have everything, and an order of it; the same for the same seed and size."""
    rng = random.Random(seed)
    problem = drawn_day(
        seed, DayShape(jobs=jobs, lines=lines, limited_stock=False, splits=rng.random() < 0.3)
    )
    problem = replace(problem, jobs=tuple(_minding(rng, job) for job in problem.jobs))
    problem = _with_substrates(problem, _with_wider)
    order = drawn_order(problem, seed)
    problem = with_drawn_rolls(problem, account(problem, order, Weights()), seed)
    problem = _with_substrates(problem, lambda substrate: _awkward(rng, problem, substrate))
    problem = _with_substrates(problem, lambda substrate: _with_rolls_to_slit(rng, substrate))
    rules = replace(RULES, most_trim_um=rng.choice((0, WIDER_UM, 3 * WIDER_UM)))
    problem = replace(problem, plant=replace(problem.plant, stock_rules=rules))
    return _started(rng, _mounted(rng, problem), order), order


def _minding(rng: random.Random, job: Job) -> Job:
    """The job with a rule for splices, or none."""
    rule = rng.choice((SpliceRule.ANYWHERE, SpliceRule.ANYWHERE, *SpliceRule))
    most = rng.choice((None, 0, 1, 2)) if rule is not SpliceRule.NEVER else rng.choice((None, 0))
    return replace(job, splice_rule=rule, most_splices_a_reel=most)


def _with_substrates(problem: Problem, altered: Callable[[Substrate], Substrate]) -> Problem:
    substrates = tuple(altered(substrate) for substrate in problem.plant.substrates)
    return replace(problem, plant=replace(problem.plant, substrates=substrates))


def _with_wider(substrate: Substrate) -> Substrate:
    """The substrate with widths that are wider than those it has, which jobs take where those do not do."""
    there_um = [stocked.width_um for stocked in substrate.widths]
    widths_um = {width_um + more * WIDER_UM for width_um in there_um for more in (0, 1, 2)}
    found = tuple(StockedWidth(width_um) for width_um in sorted(widths_um - set(there_um)))
    return replace(substrate, widths=(*substrate.widths, *found))


def _with_rolls_to_slit(rng: random.Random, substrate: Substrate) -> Substrate:
    """Rolls of widths that nobody takes."""
    widths = tuple(
        stocked
        if stocked.rolls
        else StockedWidth.by_roll(
            stocked.width_um,
            tuple(
                drawn_roll(rng, f"{substrate.code}-{stocked.width_um // 1000}-{number}")
                for number in range(rng.randint(1, 3))
            ),
            RULES.core_tail_um,
        )
        for stocked in substrate.widths
    )
    return replace(substrate, widths=widths)


def _awkward(rng: random.Random, problem: Problem, substrate: Substrate) -> Substrate:
    widths = tuple(_awkward_width(rng, problem, stocked) for stocked in substrate.widths)
    return replace(substrate, widths=widths)


def _awkward_width(rng: random.Random, problem: Problem, stocked: StockedWidth) -> StockedWidth:
    if not stocked.rolls:
        return stocked
    rolls = tuple(_awkward_roll(rng, problem, roll) for roll in stocked.rolls)
    return StockedWidth.by_roll(stocked.width_um, rolls, RULES.core_tail_um)


def _awkward_roll(rng: random.Random, problem: Problem, roll: Roll) -> Roll:
    said = rng.random()
    if said < 0.1:
        return replace(roll, reserved_for=rng.choice([*(job.id for job in problem.jobs), "of another day"]))
    if said < 0.25:
        return replace(roll, best_before_ms=rng.randrange(-60, 900) * MIN_MS)
    if said < 0.35:
        return replace(roll, arrives_ms=rng.randrange(1, 400) * MIN_MS)
    return roll


def _mounted(rng: random.Random, problem: Problem) -> Problem:
    """Some lines have a roll of the stock they hold on their unwind."""
    for line in problem.plant.lines:
        present = line.present
        if present.substrate is None or rng.random() < 0.3:
            continue
        for substrate in problem.plant.substrates:
            for stocked in substrate.widths:
                there = [roll for roll in stocked.rolls if roll.arrives_ms == 0 and roll.on_unwind is None]
                if (substrate.code, stocked.width_um) == (present.substrate, present.width_um) and there:
                    problem = _on_unwind(problem, substrate.code, stocked, rng.choice(there), line.id)
    return problem


def _started(rng: random.Random, problem: Problem, order: Order) -> Problem:
    """On some days the first run of a line has started."""
    line_idx = rng.randrange(len(order))
    if rng.random() < 0.6 or not order[line_idx] or order[line_idx][0].lot is not None:
        return problem
    first, line = order[line_idx][0], problem.plant.lines[line_idx]
    if line.present.free_at_ms:
        return problem
    stations = tuple(line.stations[station].id for station in first.stations)
    times_ms = (-20 * MIN_MS, rng.choice((-5, 5)) * MIN_MS, 40 * MIN_MS)
    started = Started(problem.jobs[first.job_idx].id, line.id, *times_ms, stations)
    return replace(problem, locks=(*problem.locks, started))


def _on_unwind(problem: Problem, code: str, stocked: StockedWidth, roll: Roll, line: str) -> Problem:
    rolls = tuple(replace(each, on_unwind=line) if each is roll else each for each in stocked.rolls)
    width = replace(stocked, rolls=rolls)
    return _with_substrates(
        problem,
        lambda substrate: (
            substrate
            if substrate.code != code
            else replace(
                substrate, widths=tuple(width if each is stocked else each for each in substrate.widths)
            )
        ),
    )


def without_lost_metres(problem: Problem) -> Problem:
    """The day on lines whose splices and stops lose no web, and with rolls that run to the very end: only
    minutes tell that a roll ended.
    """
    lines = tuple(replace(line, splice_um=0, restart_um=0, settle_um=0) for line in problem.plant.lines)
    rules = replace(problem.plant.stock_rules, open_eur=Fraction(0), core_tail_um=0)
    return replace(problem, plant=replace(problem.plant, lines=lines, stock_rules=rules))
