"""What services work with: the store, what is remembered of its plants, and a clock."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from threading import Lock

from app.contracts.job_rules import KnownCodes
from app.contracts.plant import Plant
from app.services.costing import Costings
from app.services.queue_now import known_codes
from app.store import plants
from app.store.store import Store, View

MOST_PLANTS = 16
"""Plants remembered; one takes some hundred kB."""


@dataclass(frozen=True)
class PlantNow:
    """A plant as it is stored, and which version of it that is."""

    plant: Plant
    setup_version: int

    @cached_property
    def codes(self) -> KnownCodes:
        """What it has that jobs name."""
        return known_codes(self.plant)


class KnownPlants:
    """Plants as they were read last: read anew when anything of one has changed."""

    def __init__(self, most: int = MOST_PLANTS) -> None:
        self._most = most
        self._known: OrderedDict[int, PlantNow] = OrderedDict()
        self._lock = Lock()

    def of(self, view: View) -> PlantNow:
        """The plant of a transaction, as that sees it.

        Raises
        ------
        NotStored
            Where there is no such plant.
        """
        version = plants.setup_version(view)
        with self._lock:
            known = self._known.get(view.plant)
        if known is not None and known.setup_version == version:
            return known
        found = PlantNow(plants.whole(view), version)
        with self._lock:
            self._known[view.plant] = found
            self._known.move_to_end(view.plant)
            if len(self._known) > self._most:
                self._known.popitem(last=False)
        return found


def _now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Workshop:
    """The parts that services share."""

    store: Store
    plants: KnownPlants = field(default_factory=KnownPlants)
    costings: Costings = field(default_factory=Costings)
    now: Callable[[], datetime] = _now
