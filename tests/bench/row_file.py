"""Rows of a benchmark in a JSON file, rewritten after every row, so that a run can be taken up again."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

JsonRow = dict[str, Any]
KEY_FIELDS = ("bench", "instance", "goal", "solver", "seed", "seconds", "work_limit", "threads")
"""What a trial is told by: a row that has these in common with it need not be measured again."""


class RowFile:
    """The rows of a run, in the order they came.

    Parameters
    ----------
    path
        Where they are kept; None: nowhere. Rows that the file holds already are read.
    command
        How the run was asked for; kept beside the rows, with those of the runs before.
    """

    def __init__(self, path: Path | None, command: str) -> None:
        self._path = path
        self.commands: list[str] = []
        self.rows: list[JsonRow] = []
        if path is not None and path.exists():
            kept = json.loads(path.read_text(encoding="utf-8"))
            self.commands, self.rows = kept["commands"], kept["rows"]
        if command not in self.commands:
            self.commands.append(command)

    def has(self, **trial: object) -> bool:
        """Whether the row of a trial is there; what is not among `KEY_FIELDS` is not looked at."""
        key = _key(trial)
        return any(_key(row) == key for row in self.rows)

    def of_effort(self, bench: str, seconds: float, threads: int) -> list[JsonRow]:
        """The rows of a benchmark with so much time and so many threads."""
        effort = (bench, seconds, threads)
        return [row for row in self.rows if (row["bench"], row["seconds"], row["threads"]) == effort]

    def add(self, row: JsonRow) -> None:
        """Add a row and write the file."""
        self.rows.append(row)
        if self._path is None:
            return
        text = json.dumps({"commands": self.commands, "rows": self.rows}, indent=1)
        part = self._path.with_name(self._path.name + ".part")
        part.write_text(text + "\n", encoding="utf-8")
        # Renamed over the old file, so that a run that is killed leaves all rows but the last.
        os.replace(part, self._path)


def _key(row: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(row.get(field) for field in KEY_FIELDS)
