"""What the parts of the load benchmark have in common: what is asked for, and the rows they make."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from tests.bench.row_file import JsonRow
from tests.bench.service_client import Timed
from tests.bench.versions import SERVICE_PACKAGES, circumstances

NAME = "load"


@dataclass(frozen=True)
class Figure:
    """One measured value of a part.

    Parameters
    ----------
    what
        What was measured: a way of asking, a kind of question.
    solver
        Who answered: the service, or what it is measured beside.
    number
        Of the round.
    value
        Rows or requests a second, or ms.
    """

    database: str
    part: str
    what: str
    solver: str
    number: int
    clients: int
    value: float
    more: dict[str, Any]

    def row(self, asked: argparse.Namespace) -> JsonRow:
        """As it is kept."""
        return {
            "bench": NAME,
            "instance": f"{self.database}: {self.what}",
            "solver": self.solver,
            "seed": self.number,
            "seconds": asked.seconds,
            "threads": self.clients,
            "database": self.database,
            "part": self.part,
            "what": self.what,
            "value": self.value,
            **self.more,
            **circumstances(SERVICE_PACKAGES),
        }


def latencies(timed: Timed) -> dict[str, Any]:
    """Latencies in ms, and how busy the client was."""
    return {
        "requests": len(timed.latencies_s),
        "p50_ms": round(1000 * timed.median_s, 3),
        "p99_ms": round(1000 * timed.at(0.99), 3),
        "wall_s": round(timed.wall_s, 3),
        "client_cpu_s": round(timed.cpu_s, 3),
    }


def of(rows: Sequence[JsonRow], what: str, solver: str, field: str = "value") -> list[float]:
    """A field of all rounds, in their order."""
    return [row[field] for row in rows if (row["what"], row["solver"]) == (what, solver)]


def ratios(above: Sequence[float], below: Sequence[float]) -> list[float]:
    """Round by round: what ran beside a round slowed both."""
    return [over / under for over, under in zip(above, below, strict=True)]


def middle(values: Sequence[float], form: str = ",.0f") -> str:
    return format(median(values), form) if values else ""
