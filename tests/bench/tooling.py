"""Tool switching: published instances, or drawn queues beside the fewest switches ever seen."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from statistics import fmean

from rich.console import Console

from solver.search.stop import Stop
from solver.search.tool_switching import ToolSwitching, order_tools
from tests.bench.entry import OURS, WrongValueError
from tests.bench.instances import Order
from tests.bench.kept_orders import Best, keep_order, read_orders
from tests.bench.peers import tool_stations
from tests.bench.results import Result, by_effort, effort_title, ours, peer_table, results
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import PEER_SEED, add_search_options
from tests.bench.tables import FigureTable, percent, seconds
from tests.bench.tool_queues import QUEUES, ToolQueue, drawn, published, switches_of
from tests.bench.trials import Effort, TooGoodError
from tests.bench.versions import circumstances

NAME = "tooling"
HELP = "Tool switching: published instances (--data), or drawn queues."
CP_SAT = "CP-SAT"
BEST_KNOWN = Path(__file__).with_name("tooling_best_known.json")
WARM_UP_WORK = 1_000


@dataclass(frozen=True)
class Found:
    """An order, and what its search says no order undercuts."""

    order: Order
    bound: int | None = None


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    add_search_options(parser)
    parser.add_argument(
        "--data", type=Path, help="JSON: `checks` with tools, capacity and min_switches_first_load_free."
    )
    parser.add_argument(
        "--reference",
        action="store_true",
        help=f"Write orders better than all before into {BEST_KNOWN.name}.",
    )


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every queue with every seed, and the peer where it is asked for; the rows of this effort."""
    file = RowFile(asked.json, asked.command)
    for queue in _chosen(asked):
        for solver, seed in _trials(asked):
            key = {"bench": NAME, "instance": queue.name, "solver": solver, "seed": seed}
            key |= {"seconds": asked.seconds, "threads": asked.threads}
            if file.has(**key):
                continue
            row, order = _measured(queue, solver, Effort(asked.seconds, seed, asked.threads))
            file.add(key | row)
            console.print(f"{queue.name}, {solver}, seed {seed}: {row['value']}, {row['wall_s']:.1f} s")
            if asked.reference and order is not None:
                keep_if_better(queue, Best(row["value"], f"{solver}, {asked.seconds:g} s", order))
    return file.of_effort(NAME, asked.seconds, asked.threads)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Gaps to the optimum or the best known by queue, and the peer's."""
    for alike in by_effort(rows):
        searched = ours(results(alike))
        yield FigureTable(
            effort_title("tool switches, first loads free", alike),
            (
                "queue",
                "jobs",
                "fewest",
                "bound",
                "median",
                "gap",
                "worst gap",
                "seeds at it",
                "wall s",
                "CPU s",
            ),
            tuple(_line(result) for result in searched),
            tuple(_notes(searched)),
        )
        yield from peer_table("tool switches", alike)


def read_best_known(file: Path = BEST_KNOWN) -> dict[str, Best]:
    """The best orders by the name of their queue; nothing where there is no file.

    Raises
    ------
    StaleReferenceError
        Where an order does not take the switches that the file says.
    """
    return read_orders(file, lambda name, order: switches_of(drawn(name), order), "takes")


def keep_if_better(queue: ToolQueue, best: Best, file: Path = BEST_KNOWN) -> bool:
    """Write the order of a drawn queue down where none as good is known; whether it was."""
    return queue.optimum is None and keep_order(queue.name, best, read_best_known(file), file)


def _chosen(asked: argparse.Namespace) -> list[ToolQueue]:
    if asked.data is not None:
        queues = published(asked.data)
    else:
        known = read_best_known()
        queues = [
            replace(drawn(name), best_known=known[name].value if name in known else None) for name in QUEUES
        ]
    unknown = set(asked.only or ()) - {queue.name for queue in queues}
    if unknown:
        raise ValueError(f"no such queue: {', '.join(sorted(unknown))}")
    return [queue for queue in queues if asked.only is None or queue.name in asked.only]


def _trials(asked: argparse.Namespace) -> Iterator[tuple[str, int]]:
    yield from ((OURS, seed) for seed in range(asked.seeds))
    if asked.peers:
        yield CP_SAT, PEER_SEED


def _measured(queue: ToolQueue, solver: str, effort: Effort) -> tuple[JsonRow, Order | None]:
    """A row without its key, and the order.

    Raises
    ------
    WrongValueError
        Where the search says that its order takes other switches than it does.
    TooGoodError
        Where an order takes fewer switches than the optimum or the bound.
    """
    _warm_up()
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    found = _searched(queue, effort) if solver == OURS else _by_peer(queue, effort)
    times = {"wall_s": time.perf_counter() - wall_s, "cpu_s": time.process_time() - cpu_s}
    row: JsonRow = {"value": None, "jobs": len(queue.needs)}
    if found is not None:
        row["value"] = switches_of(queue, found.order)
        if found.bound is not None:
            row["bound"] = found.bound
        if row["value"] < max(queue.optimum or 0, found.bound or 0):
            raise TooGoodError(f"{queue.name}: {row['value']} switches are fewer than are proved to be least")
    if queue.optimum is not None:
        row["optimum"] = queue.optimum
    elif queue.best_known is not None:
        row["best_known"] = queue.best_known
    rounded = {name: round(time_s, 3) for name, time_s in times.items()}
    return row | rounded | circumstances(), None if found is None else found.order


def _searched(queue: ToolQueue, effort: Effort) -> Found:
    result = order_tools(queue.problem, Stop(time_s=effort.seconds), effort.seed, effort.threads)
    value = switches_of(queue, result.order)
    if value != result.switches:
        raise WrongValueError(f"{queue.name}: an order that takes {value} is said to take {result.switches}")
    return Found(result.order, result.bound)


def _by_peer(queue: ToolQueue, effort: Effort) -> Found | None:
    order = tool_stations.cold(queue, effort)
    return None if order is None else Found(order)


@cache
def _warm_up() -> None:
    """Have the kernels compiled: what that takes is measured by `start`."""
    order_tools(ToolSwitching([[0, 1], [2, 3], [4, 5], [1, 6]], 2), Stop(work=WARM_UP_WORK))


def _line(result: Result) -> tuple[str, ...]:
    return (
        result.instance,
        str(result.jobs),
        f"{result.goal}" if result.proved or result.goal == result.bound else f"(best seen) {result.goal}",
        "" if result.bound is None else f"{result.bound}",
        f"{result.median:,.0f}",
        percent(result.median_gap),
        percent(result.worst_gap),
        f"{result.reached} of {len(result.values)}",
        seconds(result.wall_s),
        seconds(result.cpu_s),
    )


def _notes(searched: Sequence[Result]) -> Iterator[str]:
    if not searched:
        return
    at_goal = sum(result.median == result.goal for result in searched)
    yield (
        f"Above the optimum or the best seen: {percent(fmean(result.median_gap for result in searched))} in "
        f"the mean of the medians, {percent(max(result.median_gap for result in searched))} at most, "
        f"{percent(max(result.worst_gap for result in searched))} with a single seed; "
        f"at it in {at_goal} of {len(searched)}. "
        f"Proved by the search itself: {sum(result.median == result.bound for result in searched)}."
    )
