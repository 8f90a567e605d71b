"""The best orders ever seen, kept in a file and valued again when read."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.bench.instances import Order


class StaleReferenceError(ValueError):
    """A kept order has not the value kept beside it: the generator has changed."""


@dataclass(frozen=True)
class Best:
    """An order, its value, and what found it."""

    value: int
    found_by: str
    order: Order


def read_orders(file: Path, value_of: Callable[[str, Order], int], verb: str) -> dict[str, Best]:
    """The best orders by name; nothing where there is no file. `verb` says what an order does with its value.

    Raises
    ------
    StaleReferenceError
        Where an order has another value than the file says.
    """
    if not file.exists():
        return {}
    kept = json.loads(file.read_text(encoding="utf-8"))
    best = {
        name: Best(entry["value"], entry["found_by"], tuple(map(int, entry["order"].split())))
        for name, entry in kept.items()
    }
    for name, entry in best.items():
        value = value_of(name, entry.order)
        if value != entry.value:
            raise StaleReferenceError(f"{file.name}: {name} {verb} {value}, not {entry.value}")
    return best


def keep_order(name: str, best: Best, known: Mapping[str, Best], file: Path) -> bool:
    """Write an order down where none as good is known; whether it was."""
    if name in known and known[name].value <= best.value:
        return False
    # Orders as text, a line each: as lists they would be a thousand lines.
    kept = {
        name: asdict(entry) | {"order": " ".join(map(str, entry.order))}
        for name, entry in sorted({**known, name: best}.items())
    }
    file.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    return True
