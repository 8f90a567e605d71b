"""Weighted tardiness with set-ups on one machine: published instances, or drawn ones."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path

from rich.console import Console

from tests.bench.due_dates import drawn_instances, published_instances
from tests.bench.results import Result, by_effort, effort_title, ours, peer_table, results
from tests.bench.row_file import JsonRow
from tests.bench.search_runs import add_search_options, chosen, run_searches
from tests.bench.tables import FigureTable, percent, seconds

NAME = "tardiness"
HELP = "Weighted tardiness with set-ups: published instances (--data), or drawn ones."
PEER_INSTANCES = (
    *("1", "11", "41", "55", "75", "91", "107"),
    *("drawn τ 0.3, R 0.25, η 0.25", "drawn τ 0.6, R 0.75, η 0.75", "drawn τ 0.9, R 0.25, η 0.75"),
)
"""Published ones are called by their numbers."""
SMALL_OPTIMUM = 5_000
"""Below this a share of the optimum says little: then so many units are as good as so large a share."""
CLOSE_SHARE, CLOSE_UNITS = 0.03, 25


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    add_search_options(parser)
    parser.add_argument(
        "--data", type=Path, help="JSON: `instances`, by name with p, w, d, init, s and, where proved, opt."
    )


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Run what was asked for."""
    known = drawn_instances() if asked.data is None else published_instances(asked.data)
    return run_searches(NAME, chosen(known, asked.only), PEER_INSTANCES, asked, console)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Differences by instance, for an optimum may be 0, and the peers' gaps."""
    for alike in by_effort(rows):
        searched = ours(results(alike))
        yield FigureTable(
            effort_title("weighted tardiness with set-ups", alike),
            ("instance", "optimum", "median", "above", "worst above", "seeds at it", "wall s", "CPU s"),
            tuple(_line(result) for result in searched),
            tuple(_notes(searched)),
        )
        yield from peer_table("weighted tardiness with set-ups", alike)


def close(result: Result) -> bool:
    """Whether the median is within the share or the units that count as close to a small optimum."""
    return result.median - result.goal <= max(CLOSE_UNITS, CLOSE_SHARE * result.goal)


def _line(result: Result) -> tuple[str, ...]:
    return (
        result.instance,
        f"{result.goal:,}" if result.proved else f"(best seen) {result.goal:,}",
        f"{result.median:,.0f}",
        f"{result.median - result.goal:,.0f}",
        f"{result.worst - result.goal:,.0f}",
        f"{result.reached} of {len(result.values)}",
        seconds(result.wall_s),
        seconds(result.cpu_s),
    )


def _notes(searched: Sequence[Result]) -> Iterator[str]:
    if not searched:
        return
    goals = sum(result.goal for result in searched)
    above = sum(result.median for result in searched) - goals
    worst_above = sum(result.worst for result in searched) - goals
    at_goal = sum(result.median == result.goal for result in searched)
    always = sum(result.reached == len(result.values) for result in searched)
    none_late = [result for result in searched if result.goal == 0]
    small = [result for result in searched if 0 < result.goal < SMALL_OPTIMUM]
    yield (
        f"Sum of the medians above the sum of the optima: {above:,.0f}, "
        f"{percent(above / goals) if goals else 'of 0'} (worst seeds {worst_above:,.0f}); "
        f"at the optimum or best seen in {at_goal} of {len(searched)}, with every seed in {always}. "
        f"An optimum of 0 reached: {sum(result.median == 0 for result in none_late)} of {len(none_late)}. "
        f"An optimum below {SMALL_OPTIMUM:,} within {CLOSE_SHARE * 100:g} % or {CLOSE_UNITS}: "
        f"{sum(map(close, small))} of {len(small)}."
    )
