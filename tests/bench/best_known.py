"""The best orders ever seen of the structured days."""

from __future__ import annotations

from pathlib import Path

from tests.bench.instances import Instance, value_of
from tests.bench.kept_orders import Best, keep_order, read_orders
from tests.bench.press_days import press_day

FILE = Path(__file__).with_name("structured_best_known.json")


def read(file: Path = FILE) -> dict[str, Best]:
    """The best orders by the name of their day; nothing where there is no file.

    Raises
    ------
    StaleReferenceError
        Where an order does not cost what the file says.
    """
    return read_orders(file, lambda name, order: value_of(press_day(name), order), "costs")


def keep_if_better(instance: Instance, best: Best, file: Path = FILE) -> bool:
    """Write an order down where none as good is known; whether it was."""
    return keep_order(instance.name, best, read(file), file)
