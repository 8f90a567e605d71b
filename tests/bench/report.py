"""Files of rows as the page of results has them: circumstances, command and tables, in Markdown."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Protocol

from tests.bench.row_file import JsonRow
from tests.bench.tables import FigureTable


class Tabled(Protocol):
    """A benchmark that makes tables of its rows."""

    def tables(self, rows: Sequence[JsonRow], /) -> Iterator[FigureTable]: ...


def markdown(files: Sequence[Path], benches: Mapping[str, Tabled]) -> str:
    """A section for every benchmark of every file.

    Raises
    ------
    KeyError
        Where rows are of a benchmark that is not among `benches`.
    """
    sections = (section for file in files for section in _sections(file, benches))
    return "\n\n".join(sections) + "\n"


def _sections(file: Path, benches: Mapping[str, Tabled]) -> Iterator[str]:
    kept = json.loads(file.read_text(encoding="utf-8"))
    rows: list[JsonRow] = kept["rows"]
    for name in dict.fromkeys(row["bench"] for row in rows):
        own = [row for row in rows if row["bench"] == name]
        tables = (table.markdown() for table in benches[name].tables(own))
        commands = (f"`{command}`" for command in kept["commands"] if f" {name} " in f"{command} ")
        yield "\n\n".join((f"### {name}", *commands, _circumstances(own), *tables))


def _circumstances(rows: Sequence[JsonRow]) -> str:
    """Dates, cores and versions of all rows; more than one where a run was taken up again elsewhere."""
    packages = dict.fromkeys(package for row in rows for package in row["versions"])
    versions = (
        f"{package} {_each(row['versions'][package] for row in rows if package in row['versions'])}"
        for package in packages
    )
    seeds = len({row["seed"] for row in rows})
    dates, cores = _each(row["date"] for row in rows), _each(row["cores"] for row in rows)
    return f"{dates}; cores: {cores}; seeds: {seeds}; {', '.join(versions)}."


def _each(values: Iterator[object]) -> str:
    return " / ".join(str(value) for value in dict.fromkeys(values))
