"""Trials: one solver on one instance with one seed, timed, its order checked and costed here."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from tests.bench.instances import Instance, Order, value_of
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.versions import circumstances

Found = Callable[[Instance, Order, int, "Solver"], None]


class TooGoodError(RuntimeError):
    """An order below what is proved: the proof, the data or the counting is wrong."""


@dataclass(frozen=True)
class Effort:
    """What a solver may spend, and its seed."""

    seconds: float
    seed: int
    threads: int


@dataclass(frozen=True)
class Solver:
    """Something that orders an instance.

    Parameters
    ----------
    order_of
        The order found; None where there was none in time.
    prepare
        What is done before an instance and not timed.
    """

    name: str
    order_of: Callable[[Instance, Effort], Order | None]
    prepare: Callable[[Instance], None] = lambda instance: None


@dataclass(frozen=True)
class Trial:
    """One row to be."""

    solver: Solver
    instance: Instance
    effort: Effort

    @property
    def key(self) -> dict[str, object]:
        """What tells it from other trials of its bench."""
        return {
            "instance": self.instance.name,
            "solver": self.solver.name,
            "seed": self.effort.seed,
            "seconds": self.effort.seconds,
            "threads": self.effort.threads,
        }


def run_trials(
    bench: str,
    trials: Iterable[Trial],
    file: RowFile,
    tell: Callable[[str], None],
    found: Found | None = None,
) -> None:
    """Run every trial whose row is not there yet.

    Parameters
    ----------
    tell
        Told a line for every new row.
    found
        Given every new order with its value, after it was checked.

    Raises
    ------
    NotAnOrderError
        Where a solver hands back what is not a permutation of the jobs.
    TooGoodError
        Where an order costs less than the optimum or the bound of its instance.
    """
    for trial in trials:
        if file.has(bench=bench, **trial.key):
            continue
        trial.solver.prepare(trial.instance)
        order, wall_s, cpu_s = _timed(trial)
        value = None if order is None else _checked_value(trial.instance, order)
        if found is not None and order is not None and value is not None:
            found(trial.instance, order, value, trial.solver)
        times = {"wall_s": round(wall_s, 3), "cpu_s": round(cpu_s, 3)}
        row: JsonRow = {"bench": bench, **trial.key, "value": value, "jobs": trial.instance.jobs}
        file.add(row | _reference(trial.instance, value, file.rows) | times | circumstances())
        tell(_line(file.rows[-1]))


def _checked_value(instance: Instance, order: Order) -> int:
    value = value_of(instance, order)
    proved = max((least for least in (instance.optimum, instance.bound) if least is not None), default=value)
    if value < proved:
        raise TooGoodError(f"{instance.name}: an order costs {value}, though {proved} is proved to be least")
    return value


def _timed(trial: Trial) -> tuple[Order | None, float, float]:
    """The order, and the wall and processor seconds (of all threads) that it took."""
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    order = trial.solver.order_of(trial.instance, trial.effort)
    return order, time.perf_counter() - wall_s, time.process_time() - cpu_s


def _reference(instance: Instance, value: int | None, rows: Sequence[JsonRow]) -> JsonRow:
    """What a value is judged by: the optimum, or the least value seen up to now; and the bound."""
    bound = {} if instance.bound is None else {"bound": instance.bound}
    if instance.optimum is not None:
        return bound | {"optimum": instance.optimum}
    seen = [row["value"] for row in rows if row["instance"] == instance.name]
    known = [number for number in (instance.best_known, value, *seen) if number is not None]
    return bound | {"best_known": min(known, default=None)}


def _line(row: JsonRow) -> str:
    value = "no order" if row["value"] is None else f"{row['value']:,}"
    goal = row.get("optimum", row.get("best_known"))
    beside = "" if goal is None else f" ({'optimum' if 'optimum' in row else 'best known'} {goal:,})"
    times = f"{row['wall_s']:.1f} s, {row['cpu_s']:.1f} s of processor"
    return f"{row['instance']}, {row['solver']}, seed {row['seed']}: {value}{beside}, {times}"
