"""Days of a shop whose stock lies in rolls, drawn from their name, as awkward as a store is.

A rolled day is the shop day of its name (`shop_days`) with its stock in rolls and rules for splices:

- Of every stock there are whole rolls, part rolls, and rolls with defects, flagged splices or both, and half
  as much again as the day has metres, so that nothing is short. What is still to come comes as rolls;
  where nothing is, a part of the stock that most is taken of.
- Rolls came in over the last year, some nobody knows when. A few run out of date within a week, some have
  done so. A few are reserved, for a job of the queue or for another.
- Most lines have a part roll of what they have threaded on the unwind.
- One job in seven takes splices between its versions alone, one in ten none, where rolls are long enough for
  that by far; one in five takes one splice a reel.

The same name gives the same day.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain

from solver.jobs import Job
from solver.layout import label_pitch_um
from solver.plant import StockedWidth, Substrate
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.rolls import Flaw, FlawKind, Roll
from tests.bench.shop_days import shop_day

M_UM = 1_000_000
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
MORE = 1.5
"""Times as much stock as the day has metres."""
FEWEST_ROLLS = 5
USUAL_ROLL_UM = 2000 * M_UM
"""Of a substrate that says nothing of its rolls."""

WHOLE_SHARE, PART_SHARE = 0.45, 0.35
"""Of the rolls; the others have flaws."""
SHORT_PART_M, LONG_PART_SHARE = 40, 0.6
"""Part rolls are at least so long, at most such a share of a whole one."""
MOST_FLAWS = 3
DEFECT_M = (3, 30)
BETWEEN_SHARE, NEVER_SHARE, COUNTED_SHARE = 0.15, 0.1, 0.2
"""Of the jobs: splices between versions alone, none, one a reel."""
UNSPLICED_SHARE = 0.4
"""What must be in one piece is at most such a share of a whole roll."""
UNKNOWN_AGE_SHARE, SHORT_LIVED_SHARE, RESERVED_SHARE = 0.05, 0.08, 0.06
ON_UNWIND_SHARE = 0.7


@dataclass(frozen=True, eq=False)
class RolledDay:
    """A named day, as the solver takes it."""

    name: str
    problem: Problem


def rolled_day(name: str) -> RolledDay:
    """The day of a name.

    Raises
    ------
    NoSuchDayError
        Where `shop_days` has none of that name.
    """
    problem = shop_day(name).problem
    rng = random.Random(f"rolls of {name}")
    jobs = tuple(_with_splice_rule(problem, job, rng) for job in problem.jobs)
    late = _largest_stock(problem)
    store = _Store(problem, rng)
    substrates = tuple(
        replace(
            substrate,
            widths=tuple(
                store.rolled(substrate, stocked, (substrate.code, stocked.width_um) == late)
                for stocked in substrate.widths
            ),
        )
        for substrate in problem.plant.substrates
    )
    plant = replace(problem.plant, substrates=substrates)
    return RolledDay(name, replace(problem, plant=plant, jobs=jobs))


def _largest_stock(problem: Problem) -> tuple[str, int] | None:
    """The stock of which there is most, if all is there at the start; None where something is to come."""
    every = [(substrate, stocked) for substrate in problem.plant.substrates for stocked in substrate.widths]
    if any(stocked.deliveries for _, stocked in every):
        return None
    substrate, stocked = max(every, key=lambda each: each[1].on_hand_um or 0)
    return substrate.code, stocked.width_um


def _with_splice_rule(problem: Problem, job: Job, rng: random.Random) -> Job:
    drawn = rng.random()
    die = problem.dies[job.die]
    usual_um = problem.substrates[job.substrate].usual_roll_um or USUAL_ROLL_UM
    webs_um = [version.quantity * label_pitch_um(die) / die.across for version in job.versions]
    if drawn < NEVER_SHARE and sum(webs_um) < UNSPLICED_SHARE * usual_um:
        return replace(job, splice_rule=SpliceRule.NEVER)
    if drawn < NEVER_SHARE + BETWEEN_SHARE and max(webs_um) < UNSPLICED_SHARE * usual_um:
        return replace(job, splice_rule=SpliceRule.BETWEEN_VERSIONS)
    if drawn > 1 - COUNTED_SHARE:
        return replace(job, most_splices_a_reel=1)
    return job


class _Store:
    """Draws rolls."""

    def __init__(self, problem: Problem, rng: random.Random) -> None:
        self._problem = problem
        self._rng = rng
        self._tail_um = problem.plant.stock_rules.core_tail_um
        self._drawn = 0

    def rolled(self, substrate: Substrate, stocked: StockedWidth, partly_late: bool) -> StockedWidth:
        """A width in rolls: mounted ones, those there, those to come."""
        there_um = stocked.on_hand_um or 0
        to_come = [(delivery.at_ms, delivery.length_um) for delivery in stocked.deliveries]
        if partly_late:
            to_come.append((self._rng.choice((4, 8, 27)) * HOUR_MS, there_um // 3))
        rolls = tuple(
            chain(
                self._mounted(substrate, stocked),
                self._rolls(substrate, there_um, 0),
                *(self._rolls(substrate, length_um, at_ms) for at_ms, length_um in to_come),
            )
        )
        queue = {job.id for job in self._problem.jobs}
        return StockedWidth.by_roll(stocked.width_um, rolls, self._tail_um, queue)

    def _mounted(self, substrate: Substrate, stocked: StockedWidth) -> Iterator[Roll]:
        for line in self._problem.plant.lines:
            threaded = (line.present.substrate, line.present.width_um)
            if threaded == (substrate.code, stocked.width_um) and self._rng.random() < ON_UNWIND_SHARE:
                part = self._part(_usual_um(substrate))
                yield replace(part, received_ms=-self._rng.randint(1, 365) * DAY_MS, on_unwind=line.id)

    def _rolls(self, substrate: Substrate, length_um: int, at_ms: int) -> Iterator[Roll]:
        given_um, count = 0, 0
        while given_um < MORE * length_um or count < FEWEST_ROLLS:
            roll = self._dated(self._roll(_usual_um(substrate)), at_ms)
            if roll.reserved_for is None and roll.best_before_ms is None:
                given_um += roll.usable_um(self._tail_um)
                count += 1
            yield roll

    def _roll(self, usual_um: int) -> Roll:
        drawn = self._rng.random()
        if drawn < WHOLE_SHARE:
            return Roll(self._name(), usual_um)
        if drawn < WHOLE_SHARE + PART_SHARE:
            return self._part(usual_um)
        return Roll(self._name(), usual_um, flaws=tuple(self._flaws(usual_um)))

    def _part(self, usual_um: int) -> Roll:
        longest_m = int(LONG_PART_SHARE * usual_um) // M_UM
        return Roll(self._name(), self._rng.randint(SHORT_PART_M, longest_m) * M_UM)

    def _flaws(self, usual_um: int) -> Iterator[Flaw]:
        """One to three, each in its own part of the roll."""
        parts = self._rng.randint(1, MOST_FLAWS)
        part_m = usual_um // M_UM // parts
        for part in range(parts):
            from_m = part * part_m + self._rng.randint(1, part_m - DEFECT_M[1] - 1)
            kind = self._rng.choice(tuple(FlawKind))
            length_m = self._rng.randint(*DEFECT_M) if kind is FlawKind.DEFECT else 0
            yield Flaw(kind, from_m * M_UM, (from_m + length_m) * M_UM)

    def _dated(self, roll: Roll, at_ms: int) -> Roll:
        """When it came or comes, until when it keeps, and for whom it lies there."""
        rng = self._rng
        received_ms = None if rng.random() < UNKNOWN_AGE_SHARE else -rng.randint(1, 365) * DAY_MS
        best_before_ms = None
        if rng.random() < SHORT_LIVED_SHARE:
            best_before_ms = rng.randint(-2, 7 * 24) * HOUR_MS
        reserved_for = None
        if rng.random() < RESERVED_SHARE:
            reserved_for = rng.choice((rng.choice(self._problem.jobs).id, "another order"))
        return replace(
            roll,
            received_ms=None if at_ms else received_ms,
            best_before_ms=best_before_ms,
            reserved_for=reserved_for,
            arrives_ms=at_ms,
        )

    def _name(self) -> str:
        self._drawn += 1
        return f"R-{self._drawn:04}"


def _usual_um(substrate: Substrate) -> int:
    return substrate.usual_roll_um or USUAL_ROLL_UM
