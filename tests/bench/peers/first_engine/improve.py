"""Local search: descend by moving runs, then shake and descend again.

A descent works through a queue of jobs; every accepted move puts the jobs around it back in the
queue, and the descent ends when it has run dry. The walk between descents is iterated local search:
a few random moves, a descent around them, and the result is kept unless it is worse than a threshold
allows.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable

from solver.timeline import State
from tests.bench.peers.first_engine.evaluate import Evaluator, Plans
from tests.bench.peers.first_engine.moves import (
    Changed,
    Move,
    Reseat,
    Restation,
    Shift,
    Swap,
    moved_plans,
    moves_of,
)
from tests.builders.scored import Score

FEWEST_SHAKES, MOST_SHAKES = 1, 4
SLACK = 0.02
"""Share of its cost by which a walk may climb between descents."""
PATIENCE = 50
"""Descents without a new best after which the walk goes back to the best."""


class Improver:
    """Improves one order of one problem."""

    def __init__(
        self, evaluator: Evaluator, plans: Plans, rng: random.Random, on_best: Callable[[Score], None]
    ) -> None:
        self._evaluator = evaluator
        self._rng = rng
        self._on_best = on_best
        self.plans = plans
        self._states: list[State] = []
        self.score = evaluator.score(plans, self._states)
        self.best_plans, self.best = self.plans, self.score
        on_best(self.best)

    def descend(self, job_idxs: Iterable[int] | None = None) -> None:
        """Accept improving moves of these jobs (None: all) until none is left or the limit is reached."""
        queue = list(self._jobs() if job_idxs is None else job_idxs)
        self._rng.shuffle(queue)
        queued = set(queue)
        while queue and not self._evaluator.stop.reached:
            job_idx = queue.pop()
            queued.discard(job_idx)
            for touched in self._improve_job(job_idx):
                if touched not in queued:
                    queue.insert(0, touched)
                    queued.add(touched)
        self._note_best()

    def sweep(self) -> int:
        """How many moves the present order has."""
        return sum(
            1
            for line_idx, line_plans in enumerate(self.plans)
            for position in range(self._evaluator.first_free(line_plans), len(line_plans))
            for _ in moves_of(self._evaluator, self.plans, line_idx, position)
        )

    def walk(self) -> None:
        """Shake and descend until the limit is reached."""
        since_best = 0
        while not self._evaluator.stop.reached:
            here, best = (self.plans, self.score, self._states), self.best
            self.descend(self._shake())
            since_best = since_best + 1 if self.best is best else 0
            if since_best >= PATIENCE:
                since_best = 0
                self._adopt(self.best_plans)
            elif self.best is best and not self._acceptable(here[1]):
                self.plans, self.score, self._states = here

    def polish(self) -> None:
        """Descend from the best until no move of any job improves it, or the limit is reached."""
        self._adopt(self.best_plans)
        before = None
        while before is not self.best and not self._evaluator.stop.reached:
            before = self.best
            self.descend()

    def _acceptable(self, before: Score) -> bool:
        if self.score.faults != before.faults:
            return self.score.faults < before.faults
        return self.score.eur <= before.eur + SLACK * abs(self.best.eur) * self._rng.random()

    def _jobs(self) -> list[int]:
        return [
            plan.placement.job_idx
            for line_plans in self.plans
            for plan in line_plans[self._evaluator.first_free(line_plans) :]
        ]

    def _find(self, job_idx: int) -> tuple[int, int]:
        return next(
            (line_idx, position)
            for line_idx, line_plans in enumerate(self.plans)
            for position, plan in enumerate(line_plans)
            if plan.placement.job_idx == job_idx
        )

    def _improve_job(self, job_idx: int) -> list[int]:
        """Accept improving moves of one job; the jobs around the changes are given back."""
        touched: list[int] = []
        line_idx, position = self._find(job_idx)
        if position < self._evaluator.first_free(self.plans[line_idx]):
            return touched
        moves = list(moves_of(self._evaluator, self.plans, line_idx, position))
        self._rng.shuffle(moves)
        for move in moves:
            if self._evaluator.stop.reached:
                break
            if self._try(move, touched):
                break
        return touched

    def _try(self, move: Move, touched: list[int]) -> bool:
        moved = moved_plans(self._evaluator, self.plans, move)
        if moved is None:
            return False
        plans, changed = moved
        before = self._evaluator.state_before(self._states, changed)
        score = self._evaluator.score_from(plans, before, self.score)
        if not score.better_than(self.score):
            return False
        touched.extend(_around(self.plans, changed, move))
        touched.extend(_around(plans, changed, move))
        self._adopt(plans)
        return True

    def _adopt(self, plans: Plans) -> None:
        self._states = []
        self.plans = plans
        self.score = self._evaluator.score(plans, self._states)

    def _note_best(self) -> None:
        if self.score.better_than(self.best):
            self.best_plans, self.best = self.plans, self.score
            self._on_best(self.best)

    def _shake(self) -> list[int]:
        """A few random moves, whatever they cost; the jobs around them are given back."""
        touched: list[int] = []
        plans = self.plans
        for _ in range(self._rng.randint(FEWEST_SHAKES, MOST_SHAKES)):
            move = self._random_move(plans)
            moved = moved_plans(self._evaluator, plans, move) if move else None
            if moved is not None and move is not None:
                touched.extend(_around(plans, moved[1], move))
                plans = moved[0]
                touched.extend(_around(plans, moved[1], move))
        self._adopt(plans)
        return list(dict.fromkeys(touched))

    def _random_move(self, plans: Plans) -> Move | None:
        free = [
            (line_idx, position)
            for line_idx, line_plans in enumerate(plans)
            for position in range(self._evaluator.first_free(line_plans), len(line_plans))
        ]
        if not free:
            return None
        line_idx, position = self._rng.choice(free)
        kind = self._rng.random()
        choices = self._evaluator.choices[line_idx][plans[line_idx][position].placement.job_idx]
        if kind < 0.2 and len(choices) > 1:
            return Restation(line_idx, position, self._rng.randrange(len(choices)))
        if kind < 0.5 and len(free) > 1:
            return Swap(line_idx, position, *self._rng.choice(free))
        length = self._rng.randint(1, min(len(plans[line_idx]) - position, 2 * MOST_SHAKES))
        to_line = self._rng.randrange(len(plans))
        taken = length if to_line == line_idx else 0
        least = self._evaluator.first_free(plans[to_line])
        return Shift(
            line_idx, position, length, to_line, self._rng.randint(least, len(plans[to_line]) - taken)
        )


def _around(plans: Plans, changed: Changed, move: Move) -> list[int]:
    """Jobs next to where an order changes."""
    spots = list(changed)
    match move:
        case Shift():
            spots += [
                (move.from_line, move.from_position + move.length),
                (move.to_line, move.to_position + move.length),
                (move.to_line, move.to_position),
                (move.from_line, move.from_position),
            ]
        case Swap() | Restation() | Reseat():
            spots.append((move.line, move.position))
    return [
        plans[line_idx][position].placement.job_idx
        for line_idx, spot in spots
        for position in range(max(0, spot - 1), min(len(plans[line_idx]), spot + 2))
    ]
