"""Closed tours over asymmetric set-ups: TSPLIB with its published optima, or drawn instances."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from statistics import fmean

from rich.console import Console

from tests.bench import drawn_tours
from tests.bench.instances import Instance
from tests.bench.results import Result, by_effort, effort_title, ours, peer_table, results
from tests.bench.row_file import JsonRow
from tests.bench.search_runs import add_search_options, chosen, run_searches
from tests.bench.tables import FigureTable, percent, seconds
from tests.bench.tsplib import tour_instances

NAME = "atsp"
HELP = "Closed tours over asymmetric set-ups: TSPLIB (--data), or drawn ones."
OPTIMA = {
    "br17": 39,
    "ft53": 6905,
    "ft70": 38673,
    "ftv33": 1286,
    "ftv35": 1473,
    "ftv38": 1530,
    "ftv44": 1613,
    "ftv47": 1776,
    "ftv55": 1608,
    "ftv64": 1839,
    "ftv70": 1950,
    "ftv170": 2755,
    "kro124p": 36230,
    "p43": 5620,
    "rbg323": 1326,
    "rbg358": 1163,
    "rbg403": 2465,
    "rbg443": 2720,
    "ry48p": 14422,
}
"""Optima of TSPLIB's asymmetric instances, as Universität Heidelberg publishes them with the library."""
PEER_INSTANCES = ("ftv47", "ft70", "kro124p", "ftv170", "rbg323", "rbg443", "crane 70", "wind 70")
ALWAYS_OPTIMAL_JOBS = 70
"""Tours of so many jobs at most are expected to come out optimal with every seed."""


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    add_search_options(parser)
    parser.add_argument(
        "--data",
        type=Path,
        help="TSPLIB's .atsp files: one, a folder, or a zip or wheel that holds them.",
    )


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Run what was asked for."""
    known = drawn_tours.drawn_tours() if asked.data is None else published(asked.data)
    return run_searches(NAME, chosen(known, asked.only), PEER_INSTANCES, asked, console)


def published(path: Path) -> list[Instance]:
    """Instances of TSPLIB with the optima that are published for them."""
    return [replace(instance, optimum=OPTIMA.get(instance.name)) for instance in tour_instances(path)]


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Gaps by instance, and the peers'."""
    for alike in by_effort(rows):
        searched = ours(results(alike))
        yield FigureTable(
            effort_title("closed tours", alike),
            ("instance", "jobs", "optimum", "median", "gap", "worst gap", "seeds at it", "wall s", "CPU s"),
            tuple(_line(result) for result in searched),
            tuple(_notes(searched)),
        )
        yield from peer_table("closed tours", alike)


def _line(result: Result) -> tuple[str, ...]:
    return (
        result.instance,
        str(result.jobs),
        f"{result.goal:,}" if result.proved else f"(best seen) {result.goal:,}",
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
    worst = max(searched, key=lambda result: result.median_gap)
    at_goal = sum(result.median == result.goal for result in searched)
    small = [result for result in searched if result.jobs <= ALWAYS_OPTIMAL_JOBS]
    always = sum(result.reached == len(result.values) for result in small)
    yield (
        f"Mean gap of the medians {percent(fmean(result.median_gap for result in searched))}, "
        f"largest {percent(worst.median_gap)} ({worst.instance}), "
        f"of a single seed {percent(max(result.worst_gap for result in searched))}; "
        f"at the optimum or best seen in {at_goal} of {len(searched)}. "
        f"Up to {ALWAYS_OPTIMAL_JOBS} jobs with every seed: {always} of {len(small)}."
    )
