"""CP-SAT as a peer: a circuit over all arcs, and with due times start times and intervals beside it."""

from __future__ import annotations

from dataclasses import dataclass

from ortools.sat.python import cp_model

from tests.bench.dispatching import dispatched
from tests.bench.instances import Instance, Order
from tests.bench.round_trips import order_of, round_trip, successors_of
from tests.bench.trials import Effort

Arc = tuple[int, int]


def cold(instance: Instance, effort: Effort) -> Order | None:
    """The order CP-SAT finds from nothing; None where it finds none in time."""
    return _solved(_Model(instance), effort)


def hinted(instance: Instance, effort: Effort) -> Order | None:
    """The order CP-SAT finds from the hint of the dispatching rule; None where it finds none."""
    model = _Model(instance)
    model.hint(dispatched(instance))
    return _solved(model, effort)


@dataclass(frozen=True)
class _Lateness:
    ends: list[cp_model.IntVar]
    late: list[cp_model.IntVar]


class _Model:
    """The model of an instance: `use` says which arcs of the round trip are taken."""

    def __init__(self, instance: Instance) -> None:
        self.instance = instance
        self.cp = cp_model.CpModel()
        self._lengths = round_trip(instance)
        nodes = range(len(self._lengths))
        self.use: dict[Arc, cp_model.BoolVarT] = {
            (tail, head): self.cp.new_bool_var("") for tail in nodes for head in nodes if tail != head
        }
        self.cp.add_circuit([(tail, head, use) for (tail, head), use in self.use.items()])
        self._lateness = self._late_jobs() if instance.due else None
        if self._lateness is None:
            lengths = [self._lengths[tail][head] for tail, head in self.use]
            self.cp.minimize(cp_model.LinearExpr.weighted_sum(list(self.use.values()), lengths))
        else:
            self.cp.minimize(cp_model.LinearExpr.weighted_sum(self._lateness.late, list(instance.weight)))

    def hint(self, order: Order) -> None:
        """Tell the solver an order to begin with, every variable of it."""
        successor = successors_of(self.instance, order)
        for (tail, head), use in self.use.items():
            self.cp.add_hint(use, successor[tail] == head)
        if self._lateness is None:
            return
        now, before = 0, len(self._lengths) - 1
        for job_idx in order:
            now += self._lengths[before][job_idx] + self.instance.process[job_idx]
            before = job_idx
            self.cp.add_hint(self._lateness.ends[job_idx], now)
            self.cp.add_hint(self._lateness.late[job_idx], max(0, now - self.instance.due[job_idx]))

    def _late_jobs(self) -> _Lateness:
        """Every job ends after the job before it, its set-up and its own process time."""
        instance, gate = self.instance, self.instance.jobs
        horizon = sum(instance.process) + sum(max(column) for column in zip(*self._lengths, strict=True))
        ends = [self.cp.new_int_var(0, horizon, "") for _ in range(gate)]
        late = [self.cp.new_int_var(0, max(0, horizon - due), "") for due in instance.due]
        for job_idx, (end, process) in enumerate(zip(ends, instance.process, strict=True)):
            self.cp.add(late[job_idx] >= end - instance.due[job_idx])
            for before in (*range(gate), gate):
                if before != job_idx:
                    begun = ends[before] if before < gate else 0
                    least = begun + self._lengths[before][job_idx] + process
                    self.cp.add(end >= least).only_enforce_if(self.use[before, job_idx])
        # Redundant, but it lets the solver reason about any set of jobs, not about neighbours alone.
        self.cp.add_no_overlap(
            self.cp.new_fixed_size_interval_var(end - process, process, "")
            for end, process in zip(ends, instance.process, strict=True)
        )
        return _Lateness(ends, late)


def _solved(model: _Model, effort: Effort) -> Order | None:
    solver = _solver(effort)
    if solver.solve(model.cp) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    taken = (arc for arc, use in model.use.items() if solver.boolean_value(use))
    return order_of(model.instance, dict(taken))


def least_value(instance: Instance, effort: Effort) -> int | None:
    """What no order of an instance undercuts, where CP-SAT proves its own order in time; else None."""
    model = _Model(instance)
    model.hint(dispatched(instance))
    solver = _solver(effort)
    return round(solver.objective_value) if solver.solve(model.cp) == cp_model.OPTIMAL else None


def _solver(effort: Effort) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = effort.seconds
    solver.parameters.num_workers = effort.threads
    solver.parameters.random_seed = effort.seed
    return solver
