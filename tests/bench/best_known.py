"""The best orders ever seen of the structured days, kept in a file and costed again when read."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.bench.instances import Instance, Order, value_of
from tests.bench.press_days import press_day

FILE = Path(__file__).with_name("structured_best_known.json")


class StaleReferenceError(ValueError):
    """A kept order does not cost what is kept beside it: the generator has changed."""


@dataclass(frozen=True)
class Best:
    """An order, what it costs, and what found it."""

    value: int
    found_by: str
    order: Order


def read(file: Path = FILE) -> dict[str, Best]:
    """The best orders by the name of their day; nothing where there is no file.

    Raises
    ------
    StaleReferenceError
        Where an order does not cost what the file says.
    """
    if not file.exists():
        return {}
    kept = json.loads(file.read_text(encoding="utf-8"))
    best = {
        name: Best(entry["value"], entry["found_by"], tuple(map(int, entry["order"].split())))
        for name, entry in kept.items()
    }
    for name, entry in best.items():
        value = value_of(press_day(name), entry.order)
        if value != entry.value:
            raise StaleReferenceError(f"{file.name}: {name} costs {value}, not {entry.value}")
    return best


def keep_if_better(instance: Instance, best: Best, file: Path = FILE) -> bool:
    """Write an order down where none as good is known; whether it was."""
    known = read(file)
    if instance.name in known and known[instance.name].value <= best.value:
        return False
    known[instance.name] = best
    # Orders as text, a line each: as lists they would be a thousand lines.
    kept = {
        name: asdict(entry) | {"order": " ".join(map(str, entry.order))}
        for name, entry in sorted(known.items())
    }
    file.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    return True
