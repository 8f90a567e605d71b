"""How soon planning requests start, tell how far they are, and end; and how long a claim takes."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from types import ModuleType

from rich.console import Console

from tests.bench import latency_claims, latency_requests
from tests.bench.latency_figures import NAME
from tests.bench.parts import measured_parts, part_tables
from tests.bench.row_file import JsonRow
from tests.bench.search_runs import add_json_option
from tests.bench.service_databases import KINDS
from tests.bench.tables import FigureTable

HELP = "How soon planning requests start, tell how far they are and end; how long a claim takes."
PARTS: dict[str, ModuleType] = {part.PART: part for part in (latency_requests, latency_claims)}

__all__ = ["HELP", "NAME", "options", "run", "tables"]


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument(
        "--seconds", type=float, default=600.0, help="Of a search, which is cancelled before."
    )
    parser.add_argument("--seeds", type=int, default=3, help="Rounds of each measurement.")
    parser.add_argument("--databases", nargs="+", choices=KINDS, default=list(KINDS), help="Kinds of them.")
    parser.add_argument("--parts", nargs="+", choices=list(PARTS), default=list(PARTS), help="These alone.")
    parser.add_argument("--times", type=int, default=20, help="Requests of each round that are cancelled.")
    parser.add_argument("--still", type=int, default=5, help="Of each round whose child stands still.")
    parser.add_argument("--kills", type=int, default=3, help="Of workers, in each round.")
    parser.add_argument("--sample", default="small", help="Whose queue is ordered.")
    parser.add_argument("--claims", type=int, default=100, help="Of each round and shape of queue.")
    parser.add_argument("--queued", type=int, default=1000, help="Requests of a long queue.")
    parser.add_argument("--over", type=int, default=100_000, help="Requests that are over beside it.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every part on every kind of database."""
    return measured_parts(NAME, PARTS, asked, console)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """A table a part."""
    return part_tables(PARTS, rows)
