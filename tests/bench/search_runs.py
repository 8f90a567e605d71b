"""Runs of the matrix search and its peers over a set of instances: options, trials, a file of rows."""

from __future__ import annotations

import argparse
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path

from rich.console import Console

from tests.bench import entry
from tests.bench.instances import Instance
from tests.bench.peers import peers_of
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.trials import Effort, Found, Solver, Trial, run_trials

OURS = Solver(
    entry.OURS,
    lambda instance, effort: entry.searched(instance, effort.seconds, effort.seed, effort.threads),
    entry.warm_up,
)
PEER_SEED = 0


def add_search_options(parser: argparse.ArgumentParser) -> None:
    """What all of these benches are asked for alike."""
    parser.add_argument("--seconds", type=float, default=10.0, help="Of each search, by the wall clock.")
    parser.add_argument("--seeds", type=int, default=3, help="Searches of each instance.")
    parser.add_argument("--threads", type=int, default=2, help="Of each search.")
    parser.add_argument("--only", nargs="+", metavar="NAME", help="These instances alone.")
    parser.add_argument("--peers", action="store_true", help="General libraries on some instances beside it.")
    add_json_option(parser)


def add_json_option(parser: argparse.ArgumentParser) -> None:
    """Where rows are kept."""
    parser.add_argument("--json", type=Path, help="Where the rows go; rows it has already are not run again.")


def chosen(instances: Sequence[Instance], only: Collection[str] | None) -> list[Instance]:
    """The instances asked for; all where none are named.

    Raises
    ------
    ValueError
        Where a name is of none of them.
    """
    if only is None:
        return list(instances)
    unknown = set(only) - {instance.name for instance in instances}
    if unknown:
        raise ValueError(f"no such instance: {', '.join(sorted(unknown))}")
    return [instance for instance in instances if instance.name in only]


def run_searches(
    bench: str,
    instances: Sequence[Instance],
    with_peers: Collection[str],
    asked: argparse.Namespace,
    console: Console,
    found: Found | None = None,
) -> list[JsonRow]:
    """Every instance with every seed, and the peers on those named; the rows of this effort."""
    file = RowFile(asked.json, asked.command)
    trials = _trials(instances, with_peers if asked.peers else (), asked)
    run_trials(bench, trials, file, console.print, found)
    return file.of_effort(bench, asked.seconds, asked.threads)


def _trials(
    instances: Sequence[Instance], with_peers: Collection[str], asked: argparse.Namespace
) -> Iterator[Trial]:
    for instance in instances:
        for seed in range(asked.seeds):
            yield Trial(OURS, instance, Effort(asked.seconds, seed, asked.threads))
        if instance.name in with_peers:
            for peer in peers_of(instance):
                yield Trial(peer, instance, Effort(asked.seconds, PEER_SEED, asked.threads))
