"""The service under load: ingestion, single requests, very many jobs stored, costing; on both databases."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from types import ModuleType

from rich.console import Console

from tests.bench import load_costing, load_ingest, load_requests, load_stored
from tests.bench.load_figures import NAME
from tests.bench.parts import measured_parts, part_tables
from tests.bench.row_file import JsonRow
from tests.bench.search_runs import add_json_option
from tests.bench.service_databases import KINDS
from tests.bench.tables import FigureTable

HELP = "The service under load, one process: ingestion, single requests, many jobs stored, costing."
PARTS: dict[str, ModuleType] = {
    part.PART: part for part in (load_ingest, load_requests, load_stored, load_costing)
}

__all__ = ["HELP", "NAME", "options", "run", "tables"]


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=5.0, help="Of each round of single requests.")
    parser.add_argument("--seeds", type=int, default=5, help="Rounds of each measurement.")
    parser.add_argument("--databases", nargs="+", choices=KINDS, default=list(KINDS), help="Kinds of them.")
    parser.add_argument("--parts", nargs="+", choices=list(PARTS), default=list(PARTS), help="These alone.")
    parser.add_argument("--jobs", type=int, default=1000, help="Of a bulk request; there for single ones.")
    parser.add_argument("--versions", type=int, default=3, help="Of each job.")
    parser.add_argument("--posts", type=int, default=8, help="Bulk requests of each round of ingestion.")
    parser.add_argument("--clients", type=int, default=50, help="That send single requests at once.")
    parser.add_argument("--stored", type=int, default=100_000, help="Jobs stored for lists and searches.")
    parser.add_argument("--asks", type=int, default=200, help="Questions and orders of each round.")
    parser.add_argument("--runs", type=int, default=200, help="Of the order that is costed.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every part on every kind of database."""
    return measured_parts(NAME, PARTS, asked, console)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """A table a part."""
    return part_tables(PARTS, rows)
