"""Rows of jobs as SQLAlchemy Core writes them: what bulk ingestion is measured beside."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    URL,
    Column,
    Connection,
    Dialect,
    Engine,
    MetaData,
    Select,
    Table,
    TypeDecorator,
    func,
    insert,
    select,
)

from app.store.engine import connect_to
from app.store.tables import Base

PLANTS, JOBS, VERSIONS, AUDIT = (
    Base.metadata.tables[name] for name in ("plants", "jobs", "job_versions", "audit")
)
WRITTEN = (JOBS, VERSIONS, AUDIT)
"""Tables that a posted job writes to, in the order in which foreign keys let them be written."""

Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class Block:
    """Rows of the three tables that belong together: what one request has written."""

    rows: Mapping[str, Rows]

    @property
    def count(self) -> int:
        return sum(len(rows) for rows in self.rows.values())


def count_rows(engine: Engine) -> int:
    """Rows of jobs, versions and audit."""
    with engine.connect() as connection:
        return sum(
            connection.execute(select(func.count()).select_from(table)).scalar_one() for table in WRITTEN
        )


def last_job(engine: Engine) -> int:
    """The number of the job that was written last; 0 where there is none."""
    with engine.connect() as connection:
        return int(connection.execute(select(func.coalesce(func.max(JOBS.c.pk), 0))).scalar_one())


def written_since(engine: Engine, job: int, jobs_a_block: int) -> list[Block]:
    """All rows of the jobs that were written after one, in blocks."""
    with engine.connect() as connection:
        jobs = _rows(connection, JOBS, JOBS.c.pk > job, JOBS.c.pk)
        return [
            _block(connection, jobs[start : start + jobs_a_block])
            for start in range(0, len(jobs), jobs_a_block)
        ]


def _block(connection: Connection, jobs: Rows) -> Block:
    first, last = jobs[0]["pk"], jobs[-1]["pk"]
    keys = [job["job"] for job in jobs]
    versions = _rows(connection, VERSIONS, VERSIONS.c.job_pk.between(first, last), VERSIONS.c.job_pk)
    audit = _rows(connection, AUDIT, AUDIT.c.key.in_(keys), AUDIT.c.pk)
    return Block({JOBS.name: jobs, VERSIONS.name: versions, AUDIT.name: audit})


def _rows(connection: Connection, table: Table, where: Any, order: Any) -> Rows:
    return keyed(connection, table, select(table).where(where).order_by(order))


def keyed(connection: Connection, table: Table, chosen: Select[Any]) -> Rows:
    """Whole rows of a table by the names that contracts give their fields: columns are called after units."""
    keys = [column.key for column in table.columns]
    return [dict(zip(keys, row, strict=True)) for row in connection.execute(chosen)]


def copy_plants(source: Engine, target: Engine) -> None:
    """Copy what jobs refer to."""
    with source.connect() as connection:
        plants = _rows(connection, PLANTS, PLANTS.c.pk > 0, PLANTS.c.pk)
    with target.begin() as connection:
        connection.execute(insert(PLANTS), plants)


def plain(table: Table, dialect: Dialect) -> Table:
    """The table with the types that the database knows, so that nothing is converted when it is written."""
    columns: Iterator[Column[Any]] = (
        Column(
            column.name,
            column.type.load_dialect_impl(dialect) if isinstance(column.type, TypeDecorator) else column.type,
            key=column.key,
        )
        for column in table.columns
    )
    return Table(table.name, MetaData(), *columns)


def plain_block(block: Block, dialect: Dialect) -> Block:
    """The rows with the values that the database is sent."""
    tables = (table for table in WRITTEN if table.name in block.rows)
    return Block({table.name: _plain_rows(table, block.rows[table.name], dialect) for table in tables})


def _plain_rows(table: Table, rows: Rows, dialect: Dialect) -> Rows:
    bound = {column.key: column.type.bind_processor(dialect) for column in table.columns}
    converters = {key: convert for key, convert in bound.items() if convert is not None}
    return [
        {key: converters[key](value) if key in converters else value for key, value in row.items()}
        for row in rows
    ]


class CoreWriter:
    """Writes blocks with executemany and nothing around it, a transaction a block.

    Parameters
    ----------
    converting
        Whether the columns' types convert what is written, as they do for the store; else what is sent was
        converted before.
    """

    def __init__(self, engine: Engine, *, converting: bool) -> None:
        self._engine = engine
        self._converting = converting
        self._tables = WRITTEN if converting else tuple(plain(table, engine.dialect) for table in WRITTEN)

    def seconds(self, blocks: Sequence[Block]) -> tuple[float, float]:
        """Write blocks; the seconds that it took by the clock and of this process."""
        if not self._converting:
            blocks = [plain_block(block, self._engine.dialect) for block in blocks]
        begun_s, begun_cpu_s = time.perf_counter(), time.process_time()
        for block in blocks:
            with self._engine.begin() as connection:
                for table in self._tables:
                    connection.execute(insert(table), block.rows[table.name])
        return time.perf_counter() - begun_s, time.process_time() - begun_cpu_s


@contextmanager
def engine_of(url: URL) -> Iterator[Engine]:
    """An engine for as long as it is needed."""
    engine = connect_to(url)
    try:
        yield engine
    finally:
        engine.dispose()
