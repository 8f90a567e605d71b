"""The best orders ever seen of the days of several lines, kept in a file and costed again when read."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from solver.account import account
from solver.sequence import Order, Placement, Sequence
from tests.bench.checked_sequences import CLOSE
from tests.bench.day_search import WEIGHTS
from tests.bench.kept_orders import StaleReferenceError
from tests.bench.shop_days import shop_day

FILE = Path(__file__).with_name("days_best_known.json")


@dataclass(frozen=True)
class BestDay:
    """The best order of a day: its jobs left out and locks broken, its cost, and what found it."""

    faults: int
    weighed_eur: float
    controllable_eur: float
    found_by: str
    order: Order

    @property
    def score(self) -> tuple[int, float]:
        """What orders are compared by."""
        return self.faults, self.weighed_eur


def best_of(sequence: Sequence, found_by: str) -> BestDay:
    """A sequence as it is kept."""
    return BestDay(
        faults=faults_of(sequence),
        weighed_eur=float(sequence.weighed_eur),
        controllable_eur=float(sequence.cost.controllable_eur),
        found_by=found_by,
        order=sequence.order,
    )


def faults_of(sequence: Sequence) -> int:
    """Jobs left out and locks broken."""
    return len(sequence.left_out) + len(sequence.broken_locks)


def read(names: Collection[str], file: Path) -> dict[str, BestDay]:
    """The best orders of these days, as far as there are any.

    Raises
    ------
    StaleReferenceError
        Where an order does not cost what the file says.
    """
    best = {name: entry for name, entry in _entries(file).items() if name in names}
    for name, entry in best.items():
        costed = best_of(account(shop_day(name).problem, entry.order, WEIGHTS), entry.found_by)
        off_eur = abs(costed.weighed_eur - entry.weighed_eur)
        if costed.faults != entry.faults or off_eur > CLOSE * max(1.0, entry.weighed_eur):
            kept = f"{entry.weighed_eur} € with {entry.faults} faults"
            costs = f"{costed.weighed_eur} € with {costed.faults}"
            raise StaleReferenceError(f"{file.name}: {name} costs {costs}, not {kept}")
    return best


def keep_if_better(name: str, best: BestDay, file: Path) -> bool:
    """Write an order down where none as good is known; whether it was."""
    known = _entries(file)
    if name in known and known[name].score <= best.score:
        return False
    known[name] = best
    kept = {
        name: {
            "faults": entry.faults,
            "weighed_eur": entry.weighed_eur,
            "controllable_eur": entry.controllable_eur,
            "found_by": entry.found_by,
            "order": [_written(placements) for placements in entry.order],
        }
        for name, entry in sorted(known.items())
    }
    file.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    return True


def _entries(file: Path) -> dict[str, BestDay]:
    if not file.exists():
        return {}
    kept = json.loads(file.read_text(encoding="utf-8"))
    return {
        name: BestDay(
            entry["faults"],
            entry["weighed_eur"],
            entry["controllable_eur"],
            entry["found_by"],
            tuple(_read(text) for text in entry["order"]),
        )
        for name, entry in kept.items()
    }


def _written(placements: tuple[Placement, ...]) -> str:
    """A line's runs as text, `job:station.station`: as lists they would be thousands of lines."""
    return " ".join(f"{each.job_idx}:{'.'.join(map(str, each.stations))}" for each in placements)


def _read(text: str) -> tuple[Placement, ...]:
    pairs = (run.split(":") for run in text.split())
    return tuple(Placement(int(job_idx), tuple(map(int, stations.split(".")))) for job_idx, stations in pairs)
