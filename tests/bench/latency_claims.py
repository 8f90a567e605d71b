"""How long a claim takes with few and many requests in the queue, and with very many that are over."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from itertools import count
from statistics import median
from typing import Any, Final

from sqlalchemy import (
    Column,
    ColumnElement,
    Select,
    String,
    Table,
    cast,
    insert,
    literal,
    select,
    true,
)

from app.contracts.planning_requests import RequestStatus
from app.store import claims, plants, requests
from app.store.claims import Ended
from app.store.requests import INPUTS, REQUESTS
from app.store.store import Actor, Store, Work
from app.store.tables import Base
from app.worker.claim_book import StoredClaims
from tests.app.costed_plans import QUEUE
from tests.app.store.planning_requests import request
from tests.bench.latency_figures import Figure, named, of
from tests.bench.row_file import JsonRow
from tests.bench.service_databases import Databases
from tests.bench.tables import FigureTable

PART = "claims"
EVENTS = Base.metadata.tables["request_events"]
PLANT = "main"
LEASE_S: Final = 600.0
FEW: Final = 10
BLOCK: Final = 10_000
SMALL_INPUT: Final = b"an input that nobody reads any more"
FLAT: Final = 2.0
"""A claim may take so many times as long as with few requests: then it does not grow with them."""


@dataclass(frozen=True)
class Shape:
    """How many requests wait, and how many are over."""

    queued: int
    over: int

    def __str__(self) -> str:
        return f"a claim of {self.queued:,} that wait, {self.over:,} over"


class Shop:
    """A database of a shape, which stays so: for each request that is claimed another one comes."""

    def __init__(self, store: Store, shape: Shape) -> None:
        self._store = store
        self._numbers = count(1)
        self._book = StoredClaims(store, "bench", LEASE_S)
        with store.writing(Actor("bench")) as work:
            plants.create(work, PLANT, QUEUE.plant)
        if shape.over:
            self._put_over(shape.over)
        for _ in range(shape.queued):
            self._enqueue()

    def claim(self) -> float:
        """Claim the next request; the seconds that took. What follows is not measured."""
        begun_s = time.perf_counter()
        claim = self._book.claim()
        took_s = time.perf_counter() - begun_s
        if claim is None:
            raise RuntimeError("nothing waits")
        self._book.finish(claim, Ended(RequestStatus.CANCELLED))
        self._enqueue()
        return took_s

    def analyse(self) -> None:
        """Have the planner know what there is, as it does by itself after a while."""
        with self._store.writing(Actor("bench")) as work:
            work.connection.exec_driver_sql("ANALYZE")

    def _enqueue(self) -> None:
        with self._store.writing(Actor("bench", PLANT)) as work:
            requests.enqueue(work, request(f"queued-{next(self._numbers)}"))

    def _put_over(self, number: int) -> None:
        """Requests that are over, copied from one that was worked on: its row and its events whole, its input
        a few bytes.
        """
        with self._store.writing(Actor("bench", PLANT)) as work:
            requests.enqueue(work, replace(request("over"), input=SMALL_INPUT))
            claim = claims.claim(work, "bench", LEASE_S)
            if claim is None:
                raise RuntimeError("nothing waits")
            claims.finish(work, claim, Ended(RequestStatus.CANCELLED))
        for begin in range(0, number - 1, BLOCK):
            with self._store.writing(Actor("bench", PLANT)) as work:
                _copy(work, claim.pk, begin + 1, min(begin + BLOCK, number - 1))


def _copy(work: Work, pk: int, first: int, last: int) -> None:
    """Copies of a request, as many before it as `first` to `last` say: numbers behind it are to be given."""
    counted = select(literal(first).label("number")).cte("counted", recursive=True)
    counted = counted.union_all(select(counted.c.number + 1).where(counted.c.number < last))
    number = counted.c.number
    named: ColumnElement[str] = literal("over-").concat(cast(number, String))
    for table, key, other in (
        (REQUESTS, "pk", {"id": named}),
        (INPUTS, "request_pk", {}),
        (EVENTS, "request_pk", {}),
    ):
        copies = _copied(table, {key: table.c[key] - number, **other})
        chosen = copies.select_from(table.join(counted, true())).where(table.c[key] == pk)
        work.connection.execute(insert(table).from_select([*table.c], chosen))


def _copied(table: Table, other: dict[str, Any]) -> Select[Any]:
    """All columns of a table, some otherwise."""
    columns: list[Column[Any] | ColumnElement[Any]] = [
        other.get(column.key, column) for column in table.columns
    ]
    return select(*columns)


def measured(made: Databases, asked: argparse.Namespace) -> Iterator[Figure]:
    """Rounds of claims by one worker, a claim of each shape in turn, so that what else the machine does
    slows all.
    """
    shapes = [Shape(queued, over) for over in (0, asked.over) for queued in (FEW, asked.queued)]
    with ExitStack() as stack:
        shops: list[tuple[Shape, Shop]] = []
        for shape in dict.fromkeys(shapes):
            store = stack.enter_context(closing(Store(made.new())))
            shops.append((shape, Shop(store, shape)))
            shops[-1][1].analyse()
        for _, shop in shops:
            shop.claim()
        for number in range(asked.seeds):
            times_s: dict[Shape, list[float]] = {shape: [] for shape, _ in shops}
            for _ in range(asked.claims):
                for shape, shop in shops:
                    times_s[shape].append(shop.claim())
            few_s = median(times_s[shops[0][0]])
            for shape, taken_s in times_s.items():
                more = {"ratio": round(median(taken_s) / few_s, 3)}
                yield Figure(made.kind, PART, str(shape), number, taken_s, more)


def table(rows: Sequence[JsonRow]) -> FigureTable:
    """Medians, and how they compare with those of a queue of few."""
    return FigureTable(
        f"latency: ms of a claim by how many requests there are, one worker, rounds: "
        f"{len({row['seed'] for row in rows})}",
        ("database, claim", "median", "p90", "most", "claims", f"× {FEW} and none", "flat below"),
        tuple(_line(rows, database, what) for database, what in named(rows)),
        (
            "A claim is a transaction of its own; claims of all shapes take turns, for each request that was "
            "claimed another one is queued. Medians of the rounds; the ratio is of the medians of a round.",
        ),
    )


def _line(rows: Sequence[JsonRow], database: str, what: str) -> tuple[str, ...]:
    rounds = of(rows, database, what)
    return (
        f"{database}: {what}",
        f"{median(row['value'] for row in rounds):.2f}",
        f"{median(row['p90_ms'] for row in rounds):.2f}",
        f"{max(row['most_ms'] for row in rounds):.1f}",
        f"{sum(row['count'] for row in rounds)}",
        f"{median(row['ratio'] for row in rounds):.2f}",
        f"{FLAT:g}",
    )
