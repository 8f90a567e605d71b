"""The search of this project as the benchmarks ask it: plain arrays in, an order out."""

from __future__ import annotations

from functools import cache

from solver.search.matrix import MatrixProblem, order_matrix
from solver.search.stop import Stop
from tests.bench.instances import Instance, Order, value_of

OURS = "runwright"
WARM_UP_JOBS, WARM_UP_WORK = 6, 20_000


class WrongValueError(RuntimeError):
    """The search says that its order costs something else than it does."""


def searched(instance: Instance, seconds: float, seed: int, threads: int) -> Order:
    """The best order that the search finds in so many seconds.

    Raises
    ------
    WrongValueError
        Where the value that comes with the order is not what the order costs.
    """
    result = order_matrix(_problem(instance), Stop(time_s=seconds), seed, threads)
    value = value_of(instance, result.order)
    if value != result.value:
        raise WrongValueError(f"{instance.name}: an order that costs {value} is said to cost {result.value}")
    return result.order


def warm_up(instance: Instance) -> None:
    """Have the kernels compiled that an instance needs: what that takes is measured by `start`."""
    _compiled_for(bool(instance.due), instance.closed)


@cache
def _compiled_for(due_times: bool, closed: bool) -> None:
    jobs = range(WARM_UP_JOBS)
    problem = MatrixProblem(
        setup=[[(before * job) % 5 for job in jobs] for before in jobs],
        process=[1 for _ in jobs] if due_times else None,
        due=list(jobs) if due_times else None,
        weight=[1 for _ in jobs] if due_times else None,
        closed=closed,
    )
    # By work, so that each of the searches has its turn.
    order_matrix(problem, Stop(work=WARM_UP_WORK))


def _problem(instance: Instance) -> MatrixProblem:
    return MatrixProblem(
        setup=instance.setup,
        initial=instance.initial or None,
        process=instance.process or None,
        due=instance.due or None,
        weight=instance.weight or None,
        closed=instance.closed,
    )
