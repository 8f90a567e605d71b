"""Locks that cannot all be kept, found with a small constraint model of positions and times.

The model knows lines, positions on them, and for locked times the least each job takes; it does not
know set-ups, nor how a job that may be split is: such a job may take no time, since its lots may run
side by side. An arrangement it finds keeps all locks but those on times.
"""

from __future__ import annotations

from itertools import combinations

from ortools.sat.python import cp_model

from solver.baselines import started_placement
from solver.feasibility import first_placement, station_choices
from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together
from solver.lots import may_split
from solver.problem import Problem, lock_jobs
from solver.schedule import Scheduler
from solver.sequence import Order, Placement
from solver.weights import Weights

_FAR_MS = 10 * 366 * 24 * 3_600_000
_LIMIT_S = 5.0


def conflicting_locks(problem: Problem) -> tuple[Lock, ...]:
    """A least set of locks that cannot all be kept; empty where they can.

    Locks on jobs that no line can run bind nobody and are not looked at.
    """
    locks = [lock for lock in problem.locks if _binds(problem, lock)]
    if not locks or _solved(problem, locks) is not None:
        return ()
    return _least_conflict(problem, locks)


def arranged_or_conflict(problem: Problem) -> tuple[Order | None, tuple[Lock, ...]]:
    """What `arrangement` and `conflicting_locks` say, at the price of one of them."""
    order = arrangement(problem)
    if order is not None:
        return order, ()
    return None, conflicting_locks(problem)


def _least_conflict(problem: Problem, locks: list[Lock]) -> tuple[Lock, ...]:
    for lock in list(locks):
        fewer = [other for other in locks if other is not lock]
        if fewer and _solved(problem, fewer) is None:
            locks = fewer
    return tuple(locks)


def arrangement(problem: Problem) -> Order | None:
    """An order that keeps the locks on lines, positions and neighbours; None where there is none."""
    model = _solved(problem, [lock for lock in problem.locks if _binds(problem, lock)])
    if model is None:
        return None
    placed: list[list[tuple[int, Placement]]] = [[] for _ in problem.plant.lines]
    started = {problem.job_idx[lock.job]: lock for lock in problem.locks if isinstance(lock, Started)}
    for job_idx in model.jobs:
        line_idx, position = model.where(job_idx)
        lock = started.get(job_idx)
        placement = started_placement(problem, lock) if lock else first_placement(problem, line_idx, job_idx)
        if placement is not None:
            placed[line_idx].append((position, placement))
    return tuple(
        tuple(placement for _, placement in sorted(on_line, key=lambda item: item[0])) for on_line in placed
    )


def _binds(problem: Problem, lock: Lock) -> bool:
    return all(_lines(problem, problem.job_idx[job]) for job in lock_jobs(lock))


def _lines(problem: Problem, job_idx: int) -> list[int]:
    return [
        line_idx
        for line_idx in range(len(problem.plant.lines))
        if station_choices(problem, line_idx, job_idx)
    ]


def _solved(problem: Problem, locks: list[Lock]) -> _Arrangement | None:
    model = _Arrangement(problem, locks)
    return model if model.solve() else None


class _Arrangement:
    """Lines and positions for all jobs that can run, under some locks."""

    def __init__(self, problem: Problem, locks: list[Lock]) -> None:
        self._problem = problem
        self._model = cp_model.CpModel()
        self._solver = cp_model.CpSolver()
        lines_of = {job_idx: _lines(problem, job_idx) for job_idx in range(len(problem.jobs))}
        self.jobs = [job_idx for job_idx, lines in lines_of.items() if lines]
        self._on = {
            (job_idx, line_idx): self._model.new_bool_var(f"job {job_idx} on line {line_idx}")
            for job_idx in self.jobs
            for line_idx in lines_of[job_idx]
        }
        most = len(self.jobs)
        self._position = {
            job_idx: self._model.new_int_var(0, most - 1, f"position of job {job_idx}")
            for job_idx in self.jobs
        }
        self._started_on = {problem.line_idx[lock.line] for lock in locks if isinstance(lock, Started)}
        self._add_positions(most)
        self._start, self._end = self._add_times(locks)
        for lock in locks:
            self._add_lock(lock)

    def solve(self) -> bool:
        """Whether there is an arrangement. A model too hard for its limit counts as one that has."""
        self._solver.parameters.num_workers = 1
        self._solver.parameters.max_deterministic_time = _LIMIT_S
        # Any arrangement will do: on long queues all this takes ten times as long as finding one.
        self._solver.parameters.cp_model_presolve = False
        self._solver.parameters.cp_model_probing_level = 0
        self._solver.parameters.symmetry_level = 0
        self._solver.parameters.linearization_level = 0
        status = self._solver.solve(self._model)
        self._found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        return status != cp_model.INFEASIBLE

    def where(self, job_idx: int) -> tuple[int, int]:
        """Line and position of a job; the first line it can run on where the model had no time."""
        lines = [line_idx for placed, line_idx in self._on if placed == job_idx]
        if not self._found:
            return lines[0], job_idx
        line_idx = next(idx for idx in lines if self._solver.boolean_value(self._on[job_idx, idx]))
        return line_idx, self._solver.value(self._position[job_idx])

    def _add_positions(self, most: int) -> None:
        """Every job on one line; positions on a line are 0, 1, 2 … without a gap."""
        model = self._model
        for line_idx in range(len(self._problem.plant.lines)):
            on_line = {job: literal for (job, on), literal in self._on.items() if on == line_idx}
            # Counted once: a sum in every rule made the model of a thousand jobs a gigabyte.
            count = model.new_int_var(0, len(on_line), f"jobs on line {line_idx}")
            model.add(count == sum(on_line.values()))
            for job_idx, literal in on_line.items():
                model.add(self._position[job_idx] < count).only_enforce_if(literal)
        slots = []
        for job_idx in self.jobs:
            literals = {idx: self._on[job, idx] for job, idx in self._on if job == job_idx}
            model.add_exactly_one(literals.values())
            slots.append(
                self._position[job_idx] + sum(most * idx * literal for idx, literal in literals.items())
            )
        model.add_all_different(slots)

    def _add_times(self, locks: list[Lock]) -> tuple[dict[int, cp_model.IntVar], dict[int, cp_model.IntVar]]:
        """Starts and ends of the jobs whose times are locked; on one line they follow their positions."""
        model, problem = self._model, self._problem
        timed = sorted(
            {
                problem.job_idx[job]
                for lock in locks
                if isinstance(lock, FixedStart | Before | Started)
                for job in lock_jobs(lock)
            }
        )
        scheduler = Scheduler(problem, Weights())
        earliest_ms = min(
            (lock.changeover_start_ms for lock in locks if isinstance(lock, Started)), default=0
        )
        start = {idx: model.new_int_var(earliest_ms, _FAR_MS, f"start of job {idx}") for idx in timed}
        end = {idx: model.new_int_var(0, 2 * _FAR_MS, f"end of job {idx}") for idx in timed}
        started = {problem.job_idx[lock.job] for lock in locks if isinstance(lock, Started)}
        for job_idx in timed:
            if job_idx in started:
                continue
            model.add(start[job_idx] >= problem.jobs[job_idx].ready_ms)
            for line_idx, line in enumerate(problem.plant.lines):
                placement = first_placement(problem, line_idx, job_idx)
                if placement is not None:
                    splits = may_split(problem, job_idx)
                    run_ms = 0 if splits else scheduler.plan(line_idx, placement).layout.run_ms
                    literal = self._on[job_idx, line_idx]
                    model.add(end[job_idx] >= start[job_idx] + run_ms).only_enforce_if(literal)
                    if line_idx not in self._started_on:
                        free_ms = line.present.free_at_ms
                        model.add(start[job_idx] >= free_ms).only_enforce_if(literal)
        for first, second in combinations(timed, 2):
            self._add_following(first, second, start, end)
        return start, end

    def _add_following(
        self, first: int, second: int, start: dict[int, cp_model.IntVar], end: dict[int, cp_model.IntVar]
    ) -> None:
        model = self._model
        ahead = model.new_bool_var(f"job {first} before job {second}")
        model.add(self._position[first] < self._position[second]).only_enforce_if(ahead)
        model.add(self._position[first] >= self._position[second]).only_enforce_if(~ahead)
        for line_idx in range(len(self._problem.plant.lines)):
            both = [self._on.get((job_idx, line_idx)) for job_idx in (first, second)]
            literals = [literal for literal in both if literal is not None]
            if len(literals) == len(both):
                model.add(end[first] <= start[second]).only_enforce_if([*literals, ahead])
                model.add(end[second] <= start[first]).only_enforce_if([*literals, ~ahead])

    def _add_lock(self, lock: Lock) -> None:
        model, problem = self._model, self._problem
        match lock:
            case Started():
                job_idx = problem.job_idx[lock.job]
                self._force_line(job_idx, problem.line_idx[lock.line])
                model.add(self._position[job_idx] == 0)
                model.add(self._start[job_idx] == lock.changeover_start_ms)
                model.add(self._end[job_idx] == lock.end_ms)
            case FixedStart():
                self._add_fixed_start(problem.job_idx[lock.job], lock.start_ms)
            case OnLine():
                self._force_line(problem.job_idx[lock.job], problem.line_idx[lock.line])
            case AtPosition():
                self._add_position_lock(problem.job_idx[lock.job], lock.position)
            case Together():
                self._add_together([problem.job_idx[job] for job in lock.jobs])
            case Before():
                model.add(self._end[problem.job_idx[lock.job]] <= self._start[problem.job_idx[lock.then]])

    def _add_fixed_start(self, job_idx: int, start_ms: int) -> None:
        """The changeover starts then, on a line that is open."""
        self._model.add(self._start[job_idx] == start_ms)
        for line_idx, line in enumerate(self._problem.plant.lines):
            literal = self._on.get((job_idx, line_idx))
            if literal is not None and line.calendar.next_open(start_ms) != start_ms:
                self._model.add(literal == 0)

    def _force_line(self, job_idx: int, line_idx: int) -> None:
        literal = self._on.get((job_idx, line_idx))
        if literal is None:
            self._model.add_bool_or([])
        else:
            self._model.add(literal == 1)

    def _add_position_lock(self, job_idx: int, position: int) -> None:
        """Positions count from 1 after a line's started run."""
        for line_idx in range(len(self._problem.plant.lines)):
            literal = self._on.get((job_idx, line_idx))
            if literal is not None:
                behind = int(line_idx in self._started_on)
                self._model.add(self._position[job_idx] == position - 1 + behind).only_enforce_if(literal)

    def _add_together(self, job_idxs: list[int]) -> None:
        for first, second in combinations(job_idxs, 2):
            apart = len(job_idxs) - 1
            self._model.add(self._position[first] - self._position[second] <= apart)
            self._model.add(self._position[second] - self._position[first] <= apart)
            for line_idx in range(len(self._problem.plant.lines)):
                literals = [self._on.get((job_idx, line_idx)) for job_idx in (first, second)]
                if literals[0] is not None and literals[1] is not None:
                    self._model.add(literals[0] == literals[1])
                else:
                    for literal in literals:
                        if literal is not None:
                            self._model.add(literal == 0)
