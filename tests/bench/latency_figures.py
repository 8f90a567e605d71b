"""What the parts of the latency benchmark have in common: what is measured, and the rows it makes."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from tests.bench.entry import OURS
from tests.bench.row_file import JsonRow
from tests.bench.versions import SERVICE_PACKAGES, circumstances

NAME = "latency"


@dataclass(frozen=True)
class Figure:
    """Times of one thing, measured in one round.

    Parameters
    ----------
    what
        From what to what.
    number
        Of the round.
    times_s
        At least one.
    """

    database: str
    part: str
    what: str
    number: int
    times_s: Sequence[float]
    more: dict[str, Any] = field(default_factory=dict)

    def row(self, asked: argparse.Namespace) -> JsonRow:
        """As it is kept; its value is the median in ms."""
        ordered = sorted(self.times_s)
        return {
            "bench": NAME,
            "instance": f"{self.database}: {self.what}",
            "solver": OURS,
            "seed": self.number,
            "seconds": asked.seconds,
            "threads": 1,
            "database": self.database,
            "part": self.part,
            "what": self.what,
            "value": _ms(median(ordered)),
            "p90_ms": _ms(ordered[min(len(ordered) - 1, int(0.9 * len(ordered)))]),
            "most_ms": _ms(ordered[-1]),
            "count": len(ordered),
            **self.more,
            **circumstances(SERVICE_PACKAGES),
        }


def _ms(time_s: float) -> float:
    return round(1000 * time_s, 3)


def of(rows: Sequence[JsonRow], database: str, what: str) -> list[JsonRow]:
    """Rows of all rounds of one thing."""
    return [row for row in rows if (row["database"], row["what"]) == (database, what)]


def named(rows: Sequence[JsonRow]) -> list[tuple[str, str]]:
    """Databases and what was measured on them, in the order of the rows."""
    return list(dict.fromkeys((row["database"], row["what"]) for row in rows))
