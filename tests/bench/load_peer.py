"""What the API is measured beside: a bare FastAPI application on the same tables, with nothing around it.

It takes, lists and reads jobs with their versions and an audit row, by statements of SQLAlchemy Core. It
knows no keys, revisions, conditions, problems, logs or limits. `python -m tests.bench.load_peer` serves it;
the benchmark starts it as a process of its own.
"""

from __future__ import annotations

import argparse
import threading
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import uvicorn
from fastapi import FastAPI, HTTPException
from pydantic import BaseModel
from sqlalchemy import URL, Connection, insert, select

from app.contracts.jobs import SpliceRule
from app.contracts.posted_jobs import JobStatus
from app.store.engine import connect_to, database_url, is_sqlite, reads_only
from tests.bench.load_rows import AUDIT, JOBS, PLANTS, VERSIONS, Rows, keyed

ALIVE = "/alive"

Json = dict[str, Any]


class BareVersion(BaseModel):
    """A version of a job."""

    version: str
    quantity: int
    overs_pct: Decimal | None = None
    max_quantity: int | None = None


class BareLayer(BaseModel):
    """A layer of a job."""

    kind: str
    consumable: str | None = None


class BareJob(BaseModel):
    """A job."""

    job: str
    revision: int | None = None
    customer: str = ""
    substrate: str
    die: str
    colours: tuple[str, ...] = ()
    finishes: tuple[tuple[BareLayer, ...], ...] = ()
    due: datetime | None = None
    ready: datetime | None = None
    full_reels: bool = False
    labels_per_reel: int | None = None
    core_mm: Decimal | None = None
    roll_width_mm: Decimal | None = None
    late_eur: Decimal | None = None
    late_eur_per_h: Decimal | None = None
    least_lot: int | None = None
    may_join: bool = False
    splice_rule: SpliceRule = SpliceRule.ANYWHERE
    most_splices_a_reel: int | None = None
    largest_reel_mm: Decimal | None = None
    versions: tuple[BareVersion, ...]


class BareStored(BaseModel):
    """A job as it is stored."""

    item: BareJob
    status: JobStatus
    version: int
    updated_at: datetime


class BarePage(BaseModel):
    """A page of jobs."""

    items: list[BareStored]
    last: str | None


def bare_app(url: URL) -> FastAPI:
    """The application on a database with all tables and one plant."""
    app = FastAPI()
    store = _Store(url)

    @app.get(ALIVE)
    def alive() -> dict[str, str]:
        return {}

    @app.post("/jobs", status_code=201)
    def create(job: BareJob) -> BareStored:
        now = datetime.now(UTC)
        with store.writing() as connection:
            _insert(connection, store.plant, job, now)
        return BareStored(item=job, status=JobStatus.OPEN, version=1, updated_at=now)

    @app.get("/jobs", response_model=BarePage)
    def listed(limit: int = 50, after: str = "") -> Json:
        with store.reading() as connection:
            here = (JOBS.c.plant_pk == store.plant, JOBS.c.job > after)
            chosen = select(JOBS).where(*here).order_by(JOBS.c.job).limit(limit)
            found = _stored(connection, keyed(connection, JOBS, chosen))
        return {"items": found, "last": found[-1]["item"]["job"] if found else None}

    @app.get("/jobs/{job}", response_model=BareStored)
    def read(job: str) -> Json:
        with store.reading() as connection:
            here = (JOBS.c.plant_pk == store.plant, JOBS.c.job == job)
            found = _stored(connection, keyed(connection, JOBS, select(JOBS).where(*here)))
        if not found:
            raise HTTPException(404)
        return found[0]

    return app


class _Store:
    """Connections to the database. On SQLite threads that write wait for each other at a lock, not in the
    database, which would make them sleep.
    """

    def __init__(self, url: URL) -> None:
        self._engine = connect_to(url)
        self._reader = reads_only(self._engine)
        self._turn = threading.Lock() if is_sqlite(self._engine) else nullcontext()
        with self.reading() as connection:
            self.plant: int = connection.execute(select(PLANTS.c.pk)).scalar_one()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        with self._reader.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        with self._turn, self._engine.begin() as connection:
            yield connection


def _insert(connection: Connection, plant: int, job: BareJob, now: datetime) -> None:
    row = job.model_dump(exclude={"versions"})
    row |= {
        "plant_pk": plant,
        "job_folded": job.job.casefold(),
        "customer_folded": job.customer.casefold(),
        "status": JobStatus.OPEN,
        "cancel_reason": "",
        "colours": job.colours,
        "finishes": job.finishes,
        "version": 1,
        "digest": "",
        "created_at": now,
        "updated_at": now,
    }
    pk = connection.execute(insert(JOBS).returning(JOBS.c.pk), row).scalar_one()
    versions = [
        {"job_pk": pk, "position": position, **version.model_dump()}
        for position, version in enumerate(job.versions, 1)
    ]
    connection.execute(insert(VERSIONS), versions)
    change = {
        "plant_pk": plant,
        "at": now,
        "actor": "bare",
        "action": "created",
        "resource": "jobs",
        "key": job.job,
        "after": job.model_dump_json(),
    }
    connection.execute(insert(AUDIT), change)


def _stored(connection: Connection, rows: Rows) -> list[Json]:
    """Jobs as FastAPI takes them for an answer, which it checks and writes."""
    numbers = [row["pk"] for row in rows]
    chosen = select(VERSIONS).where(VERSIONS.c.job_pk.in_(numbers))
    versions: dict[int, Rows] = defaultdict(list)
    ordered = chosen.order_by(VERSIONS.c.job_pk, VERSIONS.c.position)
    for version in keyed(connection, VERSIONS, ordered):
        versions[version["job_pk"]].append(version)
    return [
        {
            "item": {**row, "finishes": _dumped(row["finishes"]), "versions": versions[row["pk"]]},
            "status": row["status"],
            "version": row["version"],
            "updated_at": row["updated_at"],
        }
        for row in rows
    ]


def _dumped(finishes: Sequence[Sequence[BaseModel]]) -> list[list[dict[str, object]]]:
    return [[layer.model_dump() for layer in group] for group in finishes]


def main() -> None:
    """Serve with the options that `runwright serve` serves with."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.load_peer")
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--database", required=True)
    asked = parser.parse_args()
    app = bare_app(database_url(asked.database))
    uvicorn.run(app, host="127.0.0.1", port=asked.port, access_log=False, log_config=None)


if __name__ == "__main__":
    main()
