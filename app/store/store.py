"""A database as services see it: transactions that read, and transactions in which somebody writes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import UTC, datetime

from sqlalchemy import URL, Connection, select, text, update

from app.errors import NotStored
from app.store.answering import answering
from app.store.engine import USUAL_CONNECTIONS, Connections, connect_to, database_url, is_sqlite, reads_only
from app.store.tables import PlantRow
from app.store.turns import Turns

Clock = Callable[[], datetime]
PLANTS = PlantRow.__table__.c


def utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Actor:
    """Who writes, and for which plant; `request_id` is that of the request, if one asked for it."""

    name: str
    plant: str | None = None
    request_id: str | None = None


@dataclass(slots=True)
class View:
    """What can be read in one transaction: of one plant, or of none where plants themselves are asked for."""

    connection: Connection
    plant_name: str | None
    plant_or_none: int | None

    @property
    def plant(self) -> int:
        """The plant's number inside the store.

        Raises
        ------
        NotStored
            If there is no such plant.
        """
        if self.plant_or_none is None:
            raise NotStored("plants", self.plant_name or "")
        return self.plant_or_none


@dataclass(slots=True)
class Work(View):
    """A transaction that writes. `at` is its one moment: everything it writes was written then. `changes`
    counts what it has created, updated and removed.
    """

    actor: Actor
    at: datetime
    changes: Counter[str] = field(default_factory=Counter)
    _raised: set[int] = field(default_factory=set)

    def raise_setup(self) -> None:
        """Say that set-up, stock or tooling of the plant is another; once a transaction is enough."""
        if self.plant not in self._raised:
            self._raised.add(self.plant)
            raised = {PlantRow.setup_version: PlantRow.setup_version + 1}
            self.connection.execute(update(PlantRow).where(PLANTS.pk == self.plant).values(raised))

    def hold(self, resource: str, keys: list[str]) -> None:
        """Keep others from writing the same until the transaction ends.

        On SQLite nobody else writes anyway. On PostgreSQL whoever writes many things keeps the whole
        resource of the plant; whoever writes a single one shares it with others that do, and keeps its key.
        """
        if is_sqlite(self.connection):
            return
        everything = f"{resource} of {self.plant_or_none}"
        if len(keys) == 1:
            self.connection.execute(_HOLD_ONE, {"all": everything, "one": f"{everything}: {keys[0]}"})
        else:
            self.connection.execute(_HOLD_ALL, {"all": everything})

    def hold_setup(self) -> None:
        """Keep others from writing set-up, stock and tooling of the plant. Each such change counts the
        plant's set-up on, so that they wait for each other anyway; from the start it is never crosswise.
        """
        if not is_sqlite(self.connection):
            self.connection.execute(_HOLD_ALL, {"all": f"set-up of {self.plant_or_none}"})


_HOLD_ALL = text("SELECT pg_advisory_xact_lock(hashtextextended(:all, 0))")
_HOLD_ONE = text(
    "SELECT pg_advisory_xact_lock_shared(hashtextextended(:all, 0)), "
    "pg_advisory_xact_lock(hashtextextended(:one, 0))"
)


class Store:
    """A database.

    Parameters
    ----------
    database
        Its address: sqlite:///FILE or postgresql://….
    clock
        Tells the moment of a transaction.
    connections
        How many, and how long they are waited for.
    """

    def __init__(
        self,
        database: str | URL,
        clock: Clock = utc_now,
        connections: Connections = USUAL_CONNECTIONS,
    ) -> None:
        self.url = database_url(database) if isinstance(database, str) else database
        self.connections = connections
        self.engine = connect_to(self.url, connections=connections)
        self._reader = reads_only(self.engine)
        self._clock = clock
        self._turns = Turns() if is_sqlite(self.engine) else None
        self._plants: dict[str, int] = {}

    @contextmanager
    def reading(self, plant: str | None = None) -> Iterator[View]:
        """A transaction that only reads, and sees one state of the database from its first look on.

        Raises
        ------
        Unavailable
            If the database does not answer.
        """
        with answering(), self._reader.begin() as connection:
            yield View(connection, plant, self._number(connection, plant))

    @contextmanager
    def writing(self, actor: Actor) -> Iterator[Work]:
        """A transaction that writes: committed at the end, undone by any exception.

        Raises
        ------
        Unavailable
            If the database does not answer.
        """
        turn = self._turns.turn() if self._turns else nullcontext()
        with answering(), turn, self.engine.begin() as connection:
            plant = self._number(connection, actor.plant)
            yield Work(connection, actor.plant, plant, actor, self._clock())

    def close(self) -> None:
        self.engine.dispose()

    def _number(self, connection: Connection, plant: str | None) -> int | None:
        """The number of a plant by its name; plants stay, so a number once known is known for good."""
        if plant is None or plant in self._plants:
            return self._plants.get(plant or "")
        number = connection.execute(select(PLANTS.pk).where(PLANTS.name == plant)).scalar()
        if number is not None:
            self._plants[plant] = number
        return number
