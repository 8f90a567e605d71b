"""CP-SAT as a peer on days: a circuit a line over pairs of runs, times, lateness, shared tools, locks.

What it cannot say is left out: stations that keep their tooling over more than one run, jobs run out while a
line waits, what a closure wastes, and the choice of stations. Closures are said: times are open ones, and
lateness adds the closures that lie before an end. So is stock: a run takes its web and its mean waste.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from ortools.sat.python import cp_model

from solver.locks import AtPosition, Before, FixedStart, OnLine, Together
from tests.bench.peers.pair_prices import MS_PER_S
from tests.bench.peers.run_pairs import RunPairs, open_s
from tests.bench.peers.start_times import timed

UM_PER_M = 1_000_000
EUR_UNIT = 1e-5
"""Money is counted in these: lateness is priced by the second."""
SPARE = 2
"""Times end at this many times the starting order's end, or the last ready time, if it is later."""
MOST_JOBS_WITH_ALL_ARCS = 60
NEAR_RUNS = 12
"""In longer queues every run may be followed by so many others, the cheapest, and by what follows it in the
starting order."""


@dataclass(frozen=True)
class Solved:
    """The jobs of every line in order, and whether the model proved that none of its orders is cheaper."""

    queues: list[list[int]]
    proved: bool


class DayModel:
    """The model of a day; `solve` begins with the starting order as a hint."""

    def __init__(self, pairs: RunPairs) -> None:
        self._pairs = pairs
        self._hinted = {run.job: run for run in timed(pairs)}
        self.cp = cp_model.CpModel()
        last_s = max((run.end_s for run in self._hinted.values()), default=0)
        self._horizon_s = SPARE * max(last_s, *pairs.ready_s, *pairs.stocked_s, *pairs.free_s)
        jobs = range(pairs.jobs)
        self._start = [self.cp.new_int_var(pairs.ready_s[job], self._horizon_s, "") for job in jobs]
        self._end = [self.cp.new_int_var(0, self._horizon_s, "") for job in jobs]
        self._size = [self.cp.new_int_var(0, self._horizon_s, "") for job in jobs]
        self._on = [
            {job: self.cp.new_bool_var("") for job in jobs if pairs.can_run(line_idx, job)}
            for line_idx in range(pairs.lines)
        ]
        self._use: list[dict[tuple[int, int], cp_model.IntVar]] = []
        self._last_s: list[cp_model.IntVar] = []
        self._terms: list[cp_model.LinearExprT] = []
        self._hinted_first_s = min((run.start_s for run in self._hinted.values()), default=0)
        if any(pairs.started):
            self._hinted_first_s = 0
        self._first_s = self.cp.new_int_var(0, 0 if any(pairs.started) else self._horizon_s, "")
        self.cp.add_hint(self._first_s, self._hinted_first_s)
        for job in jobs:
            self.cp.add(self._first_s <= self._start[job])
            self.cp.add_exactly_one(on[job] for on in self._on if job in on)
        for line_idx in range(pairs.lines):
            self._add_line(line_idx)
        self._add_shared_tools()
        self._add_short_stocks()
        for job in jobs:
            self._add_lateness(job)
        self._add_locks()
        self.cp.minimize(sum(self._terms))
        self._hint()

    def solve(self, seconds: float, threads: int, seed: int) -> Solved | None:
        """The best order it finds in time; None where it finds none."""
        solver = cp_model.CpSolver()
        solver.parameters.max_time_in_seconds = seconds
        solver.parameters.num_workers = threads
        solver.parameters.random_seed = seed
        # Else long queues are still being presolved when their time is up.
        solver.parameters.cp_model_probing_level = 0
        status = solver.solve(self.cp)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        queues = []
        for use in self._use:
            taken = dict(arc for arc, literal in use.items() if solver.boolean_value(literal))
            queues.append(list(_behind(taken, self._pairs.jobs)))
        return Solved(queues, status == cp_model.OPTIMAL)

    def _add_line(self, line_idx: int) -> None:
        """Runs of a line form a circuit from its gate and back; each begins when the one before has ended."""
        pairs, on, gate = self._pairs, self._on[line_idx], self._pairs.jobs
        idle = self.cp.new_bool_var("")
        self.cp.add_hint(idle, not pairs.start_queues[line_idx])
        use = {(tail, head): self.cp.new_bool_var("") for tail, head in self._arcs(line_idx)}
        loops = [(job, job, literal.negated()) for job, literal in on.items()]
        circuit = [(tail, head, literal) for (tail, head), literal in use.items()]
        self.cp.add_circuit([*circuit, *loops, (gate, gate, idle)])
        last_s = self.cp.new_int_var(pairs.free_s[line_idx], self._horizon_s, "")
        per_s_eur = pairs.stopped_eur_per_s[line_idx]
        for (tail, head), literal in use.items():
            if head == gate:
                continue
            begun_s = pairs.free_s[line_idx] if tail == gate else self._end[tail]
            taken_s = int(pairs.seconds[line_idx, tail, head])
            self.cp.add(self._start[head] >= begun_s).only_enforce_if(literal)
            self.cp.add(self._end[head] >= self._start[head] + taken_s).only_enforce_if(literal)
            # Waiting is what lies between the line's first and last moment less what it is busy.
            self._terms.append(_units(float(pairs.eur[line_idx, tail, head]) - per_s_eur * taken_s) * literal)
        for job, literal in on.items():
            self.cp.add(last_s >= self._end[job]).only_enforce_if(literal)
        begun = self._begun_s(line_idx, last_s, idle)
        self._terms.append(_units(per_s_eur) * (last_s - begun))
        # Redundant, but it lets the solver reason about any set of runs, not about neighbours alone.
        self.cp.add_no_overlap(self._interval(job, literal) for job, literal in on.items())
        self._use.append(use)
        self._last_s.append(last_s)

    def _begun_s(self, line_idx: int, last_s: cp_model.IntVar, idle: cp_model.IntVar) -> cp_model.IntVar:
        """From when on a line's waiting counts: from the plan's first start, if the line has runs."""
        if self._pairs.started[line_idx]:
            return self.cp.new_constant(self._pairs.free_s[line_idx])
        begun_s = self.cp.new_int_var(0, self._horizon_s, "")
        self.cp.add(begun_s <= last_s)
        self.cp.add(begun_s <= self._first_s).only_enforce_if(idle.negated())
        ends_s = [self._hinted[job].end_s for job in self._pairs.start_queues[line_idx]]
        self.cp.add_hint(begun_s, self._hinted_first_s if ends_s else self._pairs.free_s[line_idx])
        return begun_s

    def _arcs(self, line_idx: int) -> Iterator[tuple[int, int]]:
        pairs, on, gate = self._pairs, self._on[line_idx], self._pairs.jobs
        queue = self._pairs.start_queues[line_idx]
        started = set(pairwise(queue))
        for tail in on:
            yield gate, tail
            yield tail, gate
            near = [int(job) for job in np.argsort(pairs.eur[line_idx, tail], kind="stable")]
            if pairs.jobs > MOST_JOBS_WITH_ALL_ARCS:
                near = near[:NEAR_RUNS]
            for head in on:
                if head != tail and (head in near or (tail, head) in started):
                    yield tail, head

    def _interval(self, job: int, present: cp_model.IntVar) -> cp_model.IntervalVar:
        return self.cp.new_optional_interval_var(
            self._start[job], self._size[job], self._end[job], present, ""
        )

    def _add_shared_tools(self) -> None:
        """No more runs at a time than there are copies of what they hold."""
        pairs = self._pairs
        for key, copies in pairs.shared_tools.items():
            intervals, demands = [], []
            for line_idx, on in enumerate(self._on):
                for job, literal in on.items():
                    count = pairs.needed_tools(line_idx, job).get(key, 0)
                    if count:
                        intervals.append(self._interval(job, literal))
                        demands.append(count)
            for held, count, end_s in pairs.started_tools:
                if held == key:
                    intervals.append(self.cp.new_fixed_size_interval_var(0, end_s, ""))
                    demands.append(count)
            self.cp.add_cumulative(intervals, demands, copies)

    def _add_short_stocks(self) -> None:
        """No run begins before its web is there."""
        pairs = self._pairs
        for stock, stocked in pairs.short_stocks.items():
            taken: list[tuple[cp_model.LinearExprT, int, cp_model.LiteralT]] = [
                (self._start[job], -math.ceil(pairs.need_um(line_idx, job)[1] / UM_PER_M), literal)
                for line_idx, on in enumerate(self._on)
                for job, literal in on.items()
                if pairs.need_um(line_idx, job)[0] == stock
            ]
            there = [(0, stocked.on_hand_um or 0)]
            there += [(open_s(pairs.hours, each.at_ms), each.length_um) for each in stocked.deliveries]
            arrived = [(at_s, length_um // UM_PER_M, True) for at_s, length_um in there]
            times, metres, present = zip(*taken, *arrived, strict=True)
            most_m = sum(length_m for _, length_m, _ in arrived)
            self.cp.add_reservoir_constraint_with_active(times, metres, present, 0, most_m)

    def _add_lateness(self, job: int) -> None:
        """Being late costs once and by the second of the clock, closures included."""
        pairs, due_ms = self._pairs, self._pairs.press_due_ms[job]
        once_eur, per_s_eur = pairs.late_eur(job)
        if due_ms is None or (once_eur == 0 and per_s_eur == 0):
            return
        ended_s: list[cp_model.LinearExprT] = [self._end[job]]
        hinted_end_s = self._hinted[job].end_s
        hinted_late_s = hinted_end_s - due_ms // MS_PER_S
        for before_ms, length_ms in pairs.hours.gaps:
            before_s = before_ms // MS_PER_S
            if before_s < self._horizon_s:
                passed = self.cp.new_bool_var("")
                self.cp.add_hint(passed, hinted_end_s > before_s)
                hinted_late_s += length_ms // MS_PER_S * (hinted_end_s > before_s)
                self.cp.add(self._end[job] <= before_s).only_enforce_if(passed.negated())
                ended_s.append(length_ms // MS_PER_S * passed)
        due_s = due_ms // MS_PER_S
        most_s = self._horizon_s + sum(length_ms for _, length_ms in pairs.hours.gaps) // MS_PER_S
        late_s = self.cp.new_int_var(0, most_s + abs(due_s), "")
        late = self.cp.new_bool_var("")
        self.cp.add(late_s >= sum(ended_s) - due_s)
        self.cp.add(late_s == 0).only_enforce_if(late.negated())
        self.cp.add_hint(late_s, max(0, hinted_late_s))
        self.cp.add_hint(late, hinted_late_s > 0)
        self._terms += [_units(once_eur) * late, _units(per_s_eur) * late_s]

    def _add_locks(self) -> None:
        """Locks on jobs that are still to be placed; of positions the first alone."""
        number, gate = self._pairs.number, self._pairs.jobs
        for lock in self._pairs.day.problem.locks:
            match lock:
                case OnLine() if lock.job in number:
                    line_idx = self._pairs.day.problem.line_idx[lock.line]
                    self.cp.add(self._on[line_idx][number[lock.job]] == 1)
                case Together() if all(job in number for job in lock.jobs):
                    jobs = {number[job] for job in lock.jobs}
                    inside = (
                        literal
                        for use in self._use
                        for arc, literal in use.items()
                        if arc[0] in jobs and arc[1] in jobs
                    )
                    self.cp.add(sum(inside) == len(jobs) - 1)
                case Before() if lock.job in number and lock.then in number:
                    self.cp.add(self._end[number[lock.job]] <= self._start[number[lock.then]])
                case FixedStart() if lock.job in number:
                    start_s = self._pairs.hours.open_ms(lock.start_ms) // MS_PER_S
                    self.cp.add(self._start[number[lock.job]] == start_s)
                case AtPosition() if lock.job in number and lock.position == 1:
                    first = (
                        use[gate, number[lock.job]] for use in self._use if (gate, number[lock.job]) in use
                    )
                    self.cp.add(sum(first) == 1)

    def _hint(self) -> None:
        """The starting order at this model's own times."""
        gate = self._pairs.jobs
        for run in self._hinted.values():
            self.cp.add_hint(self._start[run.job], run.start_s)
            self.cp.add_hint(self._end[run.job], run.end_s)
            self.cp.add_hint(self._size[run.job], run.end_s - run.start_s)
        for line_idx, queue in enumerate(self._pairs.start_queues):
            nodes = [gate, *queue, gate]
            taken = set(pairwise(nodes)) if queue else set()
            for arc, literal in self._use[line_idx].items():
                self.cp.add_hint(literal, arc in taken)
            for job, literal in self._on[line_idx].items():
                self.cp.add_hint(literal, job in queue)
            ends_s = [self._hinted[job].end_s for job in queue]
            self.cp.add_hint(self._last_s[line_idx], max(ends_s, default=self._pairs.free_s[line_idx]))


def _units(eur: float) -> int:
    return round(eur / EUR_UNIT)


def _behind(successor: dict[int, int], gate: int) -> Iterator[int]:
    node = successor.get(gate, gate)
    while node != gate:
        yield node
        node = successor[node]
