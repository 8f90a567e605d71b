"""What the rows of an instance come to over its seeds, and the tables of that."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from statistics import median

from tests.bench.entry import OURS
from tests.bench.row_file import JsonRow
from tests.bench.tables import FigureTable, percent, seconds


@dataclass(frozen=True)
class Result:
    """One solver's values on one instance, a value a seed; None where it found no order.

    Parameters
    ----------
    goal
        The optimum, or the least value among all rows of the instance and the best known.
    proved
        Whether the goal is an optimum.
    bound
        What every order costs at least; None where no bound was computed.
    wall_s, cpu_s
        Medians over the seeds; processor seconds of all threads.
    """

    instance: str
    solver: str
    jobs: int
    values: tuple[int | None, ...]
    goal: int
    proved: bool
    bound: int | None
    wall_s: float
    cpu_s: float

    @cached_property
    def found(self) -> tuple[int, ...]:
        """Values of the orders there are."""
        return tuple(value for value in self.values if value is not None)

    @property
    def complete(self) -> bool:
        """Whether every seed has an order."""
        return len(self.found) == len(self.values)

    @property
    def median(self) -> float:
        """The median value over the seeds; infinite where a seed has no order."""
        return median(self.found) if self.complete else float("inf")

    @property
    def worst(self) -> float:
        """The largest value over the seeds."""
        return max(self.found) if self.complete else float("inf")

    @property
    def reached(self) -> int:
        """Seeds whose order is as good as the goal."""
        return self.found.count(self.goal)

    @property
    def median_gap(self) -> float:
        """How far the median is above the goal, as a share of it."""
        return gap(self.median, self.goal)

    @property
    def worst_gap(self) -> float:
        """The same of the worst seed."""
        return gap(self.worst, self.goal)


def gap(value: float, goal: float) -> float:
    """How far a value is above a goal, as a share of it; above a goal of 0 infinite."""
    if value == goal:
        return 0.0
    return value / goal - 1 if goal else float("inf")


def results(rows: Sequence[JsonRow]) -> list[Result]:
    """A result for every instance and solver, in the order of their first rows."""
    keys = list(dict.fromkeys((row["instance"], row["solver"]) for row in rows))
    return [
        _result([row for row in rows if (row["instance"], row["solver"]) == key], goal_of(rows, key[0]))
        for key in keys
    ]


def ours(all_results: Iterable[Result]) -> list[Result]:
    """The results of this project's search."""
    return [result for result in all_results if result.solver == OURS]


def goal_of(rows: Iterable[JsonRow], instance: str) -> int:
    """The optimum of an instance, or the least value there is.

    Raises
    ------
    ValueError
        Where there is neither.
    """
    own = [row for row in rows if row["instance"] == instance]
    optima = [row["optimum"] for row in own if row.get("optimum") is not None]
    seen = [row[field] for row in own for field in ("value", "best_known") if row.get(field) is not None]
    return int(min(optima or seen))


def by_effort(rows: Iterable[JsonRow]) -> list[list[JsonRow]]:
    """Rows with the same seconds and threads together: only those may share a table."""
    ordered = sorted(rows, key=_effort)
    return [list(group) for _, group in groupby(ordered, key=_effort)]


def effort_title(name: str, rows: Sequence[JsonRow]) -> str:
    """The title of a table of rows of the same effort."""
    seeds = len({row["seed"] for row in rows if row["solver"] == OURS})
    return f"{name}, {rows[0]['seconds']:g} s, threads: {rows[0]['threads']}, seeds: {seeds}"


def peer_table(name: str, rows: Sequence[JsonRow]) -> Iterable[FigureTable]:
    """How far ours and every peer is above the goal, on the instances that peers were tried on."""
    all_results = results(rows)
    solvers = list(dict.fromkeys(result.solver for result in all_results))
    peered = list(dict.fromkeys(result.instance for result in all_results if result.solver != OURS))
    if not peered:
        return
    by_key = {(result.instance, result.solver): result for result in all_results}
    yield FigureTable(
        f"{effort_title(name, rows)}: beside general libraries, median above optimum or best known",
        ("instance", "goal", *solvers),
        tuple(
            (
                instance,
                f"{goal_of(rows, instance):,}",
                *(_peer_cell(by_key.get((instance, solver))) for solver in solvers),
            )
            for instance in peered
        ),
        (
            f"Peers: one seed, the same wall time and threads; processor seconds of a trial at the median: "
            f"{', '.join(_cpu(all_results, solver) for solver in solvers)}.",
        ),
    )


def _peer_cell(result: Result | None) -> str:
    if result is None:
        return ""
    if not result.complete:
        return "no order"
    share = result.median_gap
    return f"+{result.median - result.goal:,.0f}" if share > 10 else percent(share)


def _cpu(all_results: Iterable[Result], solver: str) -> str:
    return f"{solver} {seconds(median(result.cpu_s for result in all_results if result.solver == solver))}"


def _effort(row: JsonRow) -> tuple[float, int]:
    return row["seconds"], row["threads"]


def _result(rows: Sequence[JsonRow], goal: int) -> Result:
    first = rows[0]
    return Result(
        instance=first["instance"],
        solver=first["solver"],
        jobs=first["jobs"],
        values=tuple(row["value"] for row in rows),
        goal=goal,
        proved="optimum" in first,
        bound=first.get("bound"),
        wall_s=median(row["wall_s"] for row in rows),
        cpu_s=median(row["cpu_s"] for row in rows),
    )
