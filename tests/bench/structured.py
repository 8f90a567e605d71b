"""Structured days: open paths over set-ups that come from stocks, dies and inks; beside a proven bound."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace
from statistics import fmean

from rich.console import Console

from tests.bench import best_known, press_days
from tests.bench.entry import OURS
from tests.bench.instances import Instance, Order
from tests.bench.kept_orders import Best
from tests.bench.results import Result, by_effort, effort_title, gap, ours, peer_table, results
from tests.bench.round_trips import least_round_trip
from tests.bench.row_file import JsonRow
from tests.bench.search_runs import add_search_options, chosen, run_searches
from tests.bench.tables import FigureTable, percent, seconds
from tests.bench.trials import Solver

NAME = "structured"
HELP = "Open paths over the set-ups of drawn press days, beside the bound of the linear relaxation."


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    add_search_options(parser)
    parser.add_argument(
        "--reference",
        action="store_true",
        help=f"Write orders better than all before into {best_known.FILE.name}.",
    )


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Run what was asked for; the bound of every day comes first."""
    known = best_known.read()

    def referenced(instance: Instance) -> Instance:
        best = known.get(instance.name)
        bound = least_round_trip(instance)
        console.print(f"{instance.name}: at least {bound:,} min")
        return replace(instance, best_known=None if best is None else best.value, bound=bound)

    def keep(instance: Instance, order: Order, value: int, solver: Solver) -> None:
        found_by = f"{solver.name}, {asked.seconds:g} s"
        if best_known.keep_if_better(instance, Best(value, found_by, order)):
            console.print(f"{instance.name}: {value:,} is the best known now")

    days = [referenced(day) for day in chosen(press_days.press_days(), asked.only)]
    return run_searches(NAME, days, press_days.DAYS, asked, console, keep if asked.reference else None)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Gaps to the best known and to the bound by day, and the peers'."""
    for alike in by_effort(rows):
        all_results = results(alike)
        searched = ours(all_results)
        yield FigureTable(
            effort_title("structured days", alike),
            (
                *("jobs/substrates/dies/embellishments", "bound", "best known", "median", "gap", "worst gap"),
                *("above bound", "seeds at best", "wall s", "CPU s"),
            ),
            tuple(_line(result) for result in searched),
            tuple(_notes(searched, all_results)),
        )
        yield from peer_table("structured days", alike)


def _line(result: Result) -> tuple[str, ...]:
    return (
        result.instance,
        "" if result.bound is None else f"{result.bound:,}",
        f"{result.goal:,}",
        f"{result.median:,.0f}",
        percent(result.median_gap),
        percent(result.worst_gap),
        "" if result.bound is None else percent(gap(result.median, result.bound)),
        f"{result.reached} of {len(result.values)}",
        seconds(result.wall_s),
        seconds(result.cpu_s),
    )


def _notes(searched: Sequence[Result], all_results: Sequence[Result]) -> Iterator[str]:
    if not searched:
        return
    yield (
        f"Above the best known: {percent(fmean(result.median_gap for result in searched))} in the mean of "
        f"the medians, {percent(max(result.median_gap for result in searched))} at most, "
        f"{percent(max(result.worst_gap for result in searched))} with a single seed."
    )
    above_bound = [gap(result.median, result.bound) for result in searched if result.bound is not None]
    if above_bound:
        yield (
            f"Above the bound: {percent(fmean(above_bound))} in the mean, {percent(max(above_bound))} at "
            f"most; the best known is proved to be the optimum where it is the bound: "
            f"{sum(result.goal == result.bound for result in searched)} of {len(searched)}."
        )
    peers = [result for result in all_results if result.solver != OURS]
    if peers:
        medians = {result.instance: result.median for result in searched}
        worse = [peer for peer in peers if peer.median < medians[peer.instance]]
        names = ", ".join(f"{peer.solver} on {peer.instance}" for peer in worse)
        yield f"Peers below our median: {names or 'none'}."
