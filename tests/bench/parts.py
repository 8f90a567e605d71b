"""Benchmarks of several parts, each of which is measured on databases of its own and has a table."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping, Sequence
from types import ModuleType

from rich.console import Console

from tests.bench.row_file import JsonRow, RowFile
from tests.bench.service_databases import databases
from tests.bench.tables import FigureTable

Parts = Mapping[str, ModuleType]
"""By name; each with `measured`, which gives figures, and `table` of its rows."""


def measured_parts(bench: str, parts: Parts, asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every part on every kind of database; a part that the file has is not measured again."""
    file = RowFile(asked.json, asked.command)
    for kind in asked.databases:
        for name in asked.parts:
            if any((row["database"], row["part"]) == (kind, name) for row in file.rows):
                continue
            with databases(kind) as made:
                # added at the end, so that a part that breaks off is measured anew
                figures = list(parts[name].measured(made, asked))
            for figure in figures:
                file.add(figure.row(asked))
            console.print(f"{kind}, {name}: {len(figures)} figures")
    return [row for row in file.rows if row["bench"] == bench]


def part_tables(parts: Parts, rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """A table a part."""
    for name, part in parts.items():
        found = [row for row in rows if row["part"] == name]
        if found:
            yield part.table(found)
