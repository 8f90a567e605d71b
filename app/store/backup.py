"""A database as one file that any other can be made from: SQLite from PostgreSQL and the other way round.

A zip of one JSON-lines member a table, read in one transaction, and `backup.json` that says which version of
the tables it is of and how many rows there are. Values are as the driver-independent types tell them.
"""

from __future__ import annotations

import base64
import json
import os
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from io import TextIOWrapper
from pathlib import Path
from typing import Any

from sqlalchemy import Column, Connection, Float, LargeBinary, Table, func, insert, select, text
from sqlalchemy.types import Date

from app.errors import RestoreRefused
from app.store.columns import Choice, Document, LengthM, LengthMm, Quantity6, UtcTime
from app.store.engine import is_sqlite, let_rest
from app.store.migrating import head, require_current
from app.store.store import Store
from app.store.tables import Base

FORMAT = 1
ABOUT = "backup.json"
_BLOCK = 1000
_LARGEST_LINE = 256 * 2**20
"""A row longer than this is no row of ours; a backup may come from anywhere."""

Tell = Callable[[Any], Any]


def write_backup(store: Store, path: Path) -> dict[str, int]:
    """Write all tables into a new file, as they are at one moment; rows by table.

    Raises
    ------
    NotMigrated
        If the tables are not of the program's version.
    FileExistsError
        If the file is there.
    OSError
        If it cannot be written; nothing of it is left.
    """
    require_current(store.engine)
    part = path.with_name(f"{path.name}.part")
    if path.exists():
        raise FileExistsError(f"{path} is there already; name another file")
    try:
        with store.reading() as view, zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
            let_rest(view.connection)
            counts = {table.name: _write_table(view.connection, table, archive) for table in _tables()}
            about = {"format": FORMAT, "version": head(), "rows": counts}
            archive.writestr(ABOUT, json.dumps(about, indent=2))
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
    return counts


def restore_backup(store: Store, path: Path) -> dict[str, int]:
    """Fill an empty database from a backup, all of it or nothing; rows by table.

    Raises
    ------
    NotMigrated
        If the tables are not of the program's version.
    RestoreRefused
        If the database holds anything, or the file is no backup, is damaged, or is of another version.
    """
    require_current(store.engine)
    try:
        with zipfile.ZipFile(path) as archive, store.engine.begin() as connection:
            let_rest(connection)
            counts = _counts(archive)
            _refuse_filled(connection)
            for table in _tables():
                read = _fill(connection, table, archive)
                if read != counts[table.name]:
                    raise _damaged(f"{table.name} has {read} rows and should have {counts[table.name]}")
            _count_on(connection)
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, EOFError) as error:
        raise _damaged(str(error)) from error
    return counts


def _tables() -> Sequence[Table]:
    """Every table behind those that it refers to."""
    return Base.metadata.sorted_tables


def _write_table(connection: Connection, table: Table, archive: zipfile.ZipFile) -> int:
    tellers = [(column.key, _teller(column)) for column in table.c]
    chosen = select(table).order_by(*table.primary_key.columns)
    count = 0
    with archive.open(f"{table.name}.jsonl", "w", force_zip64=True) as member:
        for row in connection.execute(chosen, execution_options={"yield_per": _BLOCK}).mappings():
            told = {name: tell(row[name]) for name, tell in tellers if row[name] is not None}
            member.write(json.dumps(told, ensure_ascii=False).encode() + b"\n")
            count += 1
    return count


def _counts(archive: zipfile.ZipFile) -> dict[str, int]:
    about = json.loads(archive.read(ABOUT))
    if about["format"] != FORMAT or about["version"] != head():
        raise RestoreRefused(
            f"The backup is of version {about['version']} of the tables, this program of {head()}: restore "
            "it with the program that made it, then upgrade"
        )
    counts: dict[str, int] = about["rows"]
    return counts


def _refuse_filled(connection: Connection) -> None:
    for table in _tables():
        if connection.execute(select(func.count()).select_from(table)).scalar_one():
            raise RestoreRefused(f"The database is not empty: there are {table.name}. Restore into a new one")


def _fill(connection: Connection, table: Table, archive: zipfile.ZipFile) -> int:
    readers = {column.key: _reader(column) for column in table.c}
    count = 0
    with archive.open(f"{table.name}.jsonl") as member:
        for block in _blocks(_lines(member)):
            rows = [{name: read(row.get(name)) for name, read in readers.items()} for row in block]
            connection.execute(insert(table), rows)
            count += len(rows)
    return count


def _lines(member: Any) -> Iterator[dict[str, Any]]:
    reader = TextIOWrapper(member, encoding="utf-8", newline="\n")
    while line := reader.readline(_LARGEST_LINE):
        row: dict[str, Any] = json.loads(line, parse_float=Decimal)
        yield row


def _blocks(rows: Iterable[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    block: list[dict[str, Any]] = []
    for row in rows:
        block.append(row)
        if len(block) == _BLOCK:
            yield block
            block = []
    if block:
        yield block


def _count_on(connection: Connection) -> None:
    """PostgreSQL counts numbers by itself: on from the largest that was restored."""
    if is_sqlite(connection):
        return
    for table in _tables():
        if "pk" in table.c:
            connection.execute(
                text(
                    f"SELECT setval('{table.name}_pk_seq', coalesce(max(pk), 1), max(pk) IS NOT NULL) "
                    f"FROM {table.name}"
                )
            )


def _damaged(why: str) -> RestoreRefused:
    return RestoreRefused(f"This is no backup, or a damaged one: {why}. Nothing was restored")


def _same(value: Any) -> Any:
    return value


def _teller(column: Column[Any]) -> Tell:
    """How a column's values are told in JSON."""
    kind = column.type
    if isinstance(kind, LengthM | LengthMm | Quantity6):
        return str
    if isinstance(kind, UtcTime | Date):
        return _iso
    if isinstance(kind, Choice):
        return str
    if isinstance(kind, Document):
        return kind.text
    if isinstance(kind, LargeBinary):
        return _in_letters
    return _same


def _reader(column: Column[Any]) -> Tell:
    """How a column's values are read back; what is not told is None."""
    kind = column.type
    read: Tell = _same
    if isinstance(kind, LengthM | LengthMm | Quantity6):
        read = Decimal
    elif isinstance(kind, UtcTime):
        read = datetime.fromisoformat
    elif isinstance(kind, Date):
        read = date.fromisoformat
    elif isinstance(kind, Choice):
        read = kind.words
    elif isinstance(kind, Document):
        read = kind.value
    elif isinstance(kind, LargeBinary):
        read = base64.b64decode
    elif isinstance(kind, Float):
        read = float
    return lambda told: None if told is None else read(told)


def _iso(moment: date) -> str:
    return moment.isoformat()


def _in_letters(value: bytes) -> str:
    return base64.b64encode(value).decode()
