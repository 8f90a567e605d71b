"""Orders without a search: the nearest job next, or the job with the largest dispatching index.

They are what the peers may start from.
"""

from __future__ import annotations

import math

from tests.bench.instances import Instance, Order

DUE_FACTOR, SETUP_FACTOR = 2.0, 0.3
"""K1 and K2 of the dispatching rule."""


def dispatched(instance: Instance) -> Order:
    """An order built from its first job on, by due times where the instance has them.

    Without due times the job with the least set-up is next. With them it is the job with the largest

        w/p · exp(−max(d − p − t, 0) / (K1·p̄)) · exp(−s / (K2·s̄)),

    the rule of apparent tardiness cost with set-ups (Lee, Bhaskaran and Pinedo, IIE Transactions 29,
    1997). Ties go to the job named first.
    """
    rule = _DueTimes(instance) if instance.due else _SetupsAlone()
    waiting = list(range(instance.jobs))
    order: list[int] = []
    now = 0
    while waiting:
        setups = instance.setup[order[-1]] if order else instance.first
        job_idx = max(waiting, key=lambda job: (rule.index(job, setups[job], now), -job))
        waiting.remove(job_idx)
        order.append(job_idx)
        now += setups[job_idx] + (instance.process[job_idx] if instance.due else 0)
    return tuple(order)


class _SetupsAlone:
    def index(self, job_idx: int, setup: int, now: int) -> float:
        return -float(setup)


class _DueTimes:
    def __init__(self, instance: Instance) -> None:
        self._instance = instance
        setups = [
            setup
            for before, row in enumerate(instance.setup)
            for job_idx, setup in enumerate(row)
            if job_idx != before
        ]
        self._due_span = DUE_FACTOR * max(1.0, sum(instance.process) / instance.jobs)
        self._setup_span = SETUP_FACTOR * max(1.0, sum(setups) / max(1, len(setups)))

    def index(self, job_idx: int, setup: int, now: int) -> float:
        """The logarithm, which orders alike and never underflows."""
        weight, process = self._instance.weight[job_idx], self._instance.process[job_idx]
        if weight == 0:
            return -math.inf
        slack = max(0, self._instance.due[job_idx] - process - now)
        return math.log(weight / max(1, process)) - slack / self._due_span - setup / self._setup_span
