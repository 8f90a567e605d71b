"""`python -m tests.bench day`: run a benchmark and print its table."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console

from app.translation.solving import Limits
from tests.bench import day

TABLE_WIDTH = 160


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what was asked for; rows go to a JSON file where one is named."""
    asked = _parser().parse_args(arguments)
    limits = Limits(seconds=None if asked.work else asked.seconds, work=asked.work)
    console = Console(width=TABLE_WIDTH, highlight=False)
    rows: list[day.DayRow | day.GoalRow] = []
    for row in day.measured(limits, range(asked.seeds), asked.days):
        rows.append(row)
        console.print(day.line_of(row))
    for part in day.page(rows):
        console.print(part)
    if asked.json is not None:
        text = json.dumps({"rows": [day.json_of(row) for row in rows]}, indent=1)
        asked.json.write_text(text + "\n", encoding="utf-8")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.bench")
    of_day = parser.add_subparsers(required=True).add_parser(
        "day", help="The sample day and drawn days beside both baselines; the four goals on the sample day."
    )
    of_day.add_argument("--seconds", type=float, default=30.0, help="Of each search.")
    of_day.add_argument("--work", type=int, help="Orders costed by each search, in place of seconds.")
    of_day.add_argument("--seeds", type=int, default=1, help="Searches of each day.")
    of_day.add_argument("--days", type=int, default=len(day.DRAWN_DAYS), help="Drawn days, the first first.")
    of_day.add_argument("--json", type=Path, help="Where the rows go.")
    return parser


if __name__ == "__main__":
    main()
