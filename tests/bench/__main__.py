"""`python -m tests.bench NAME`: run a benchmark, print its tables; `report FILE…`: the same in Markdown."""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Protocol

from rich.console import Console

from tests.bench import (
    atsp,
    capacity,
    chaos,
    day,
    days,
    decode,
    fuzz,
    gap,
    growth,
    hosts,
    latency,
    line,
    load,
    plant_decode,
    quality,
    report,
    rolls,
    service_kill,
    start,
    structured,
    tardiness,
    tooling,
)
from tests.bench.row_file import JsonRow
from tests.bench.tables import FigureTable

TABLE_WIDTH = 160


class Bench(Protocol):
    """What a module needs to be a benchmark. Its rows carry `bench`, `seed` and `circumstances`."""

    NAME: str
    HELP: str

    def options(self, parser: argparse.ArgumentParser, /) -> None:
        """What it can be asked for; `json` among it."""
        ...

    def run(self, asked: argparse.Namespace, console: Console, /) -> list[JsonRow]:
        """Measure what is asked for and keep it; the rows to be shown."""
        ...

    def tables(self, rows: Sequence[JsonRow], /) -> Iterator[FigureTable]:
        """Tables of rows."""
        ...


TABLE: tuple[Bench, ...] = (
    *(atsp, tardiness, structured, decode, start, line, day),
    *(days, quality, gap, growth, plant_decode, tooling, rolls),
    *(load, fuzz, service_kill, chaos, latency, hosts, capacity),
)
BENCHES = {bench.NAME: bench for bench in TABLE}


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what was asked for; rows go to a JSON file where one is named."""
    arguments = sys.argv[1:] if arguments is None else arguments
    asked = _parser().parse_args(arguments)
    if asked.bench == "report":
        sys.stdout.write(report.markdown(asked.files, BENCHES))
        return
    asked.command = _command(arguments)
    console = Console(width=TABLE_WIDTH, highlight=False)
    bench = BENCHES[asked.bench]
    for table in bench.tables(bench.run(asked, console)):
        console.print(table.rich())
        for note in table.notes:
            console.print(note)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.bench")
    names = parser.add_subparsers(dest="bench", required=True)
    for name, bench in BENCHES.items():
        bench.options(names.add_parser(name, help=bench.HELP, allow_abbrev=False))
    of_report = names.add_parser("report", help="Tables of JSON files, in Markdown.")
    of_report.add_argument("files", nargs="+", type=Path)
    return parser


_FILES = ("--data", "--plot")
"""Options that name a file, of which a report tells the name alone."""


def _command(arguments: Sequence[str]) -> str:
    """How a run was asked for, without the folders and the output file of this machine."""
    kept: list[str] = []
    words = iter(arguments)
    for word in words:
        option, is_one, value = word.partition("=")
        if option == "--json":
            if not is_one:
                next(words)
        elif option in _FILES:
            kept += [f"{option}={Path(value).name}"] if is_one else [option, Path(next(words)).name]
        else:
            kept.append(word)
    return f"python -m tests.bench {shlex.join(kept)}"


if __name__ == "__main__":
    main()
