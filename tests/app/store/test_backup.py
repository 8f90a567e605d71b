"""A backup holds everything, and fills an empty database of either kind or leaves it empty."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import URL, func, select

from app.contracts.people import AskedKey, User
from app.contracts.posted_jobs import JobStatus, StatusChange
from app.errors import NotMigrated, RestoreRefused
from app.security import Role
from app.store import claims, idempotency, jobs, keys, plants, records, requests, webhooks
from app.store.announcing import announce
from app.store.backup import restore_backup, write_backup
from app.store.idempotency import GivenAnswer
from app.store.kinds import ACTUALS, JOBS, ROLLS, USERS
from app.store.store import Actor, Store
from app.store.tables import Base
from tests.app.store.planning_requests import LEASE_S, as_worker, claimed, progress, request
from tests.app.store.test_announcing import webhook
from tests.app.store.test_releases import release
from tests.app.store.test_sequences import actual, keep
from tests.app.store.things import ANN, MIS, Clock, job, roll, sample_plant


def fill(store: Store) -> None:
    """Something in every table."""
    with store.writing(MIS) as work:
        records.upsert(work, JOBS, [job(revision=1), job("J-2 “é” 🙂", due=None)])
        jobs.change_status(work, "J-1", StatusChange(status=JobStatus.CANCELLED, reason="why"))
        records.upsert(work, ROLLS, [roll(flaws=[{"kind": "splice", "from_m": 12.5}])])
        records.upsert(work, ACTUALS, [actual()])
        keep(work, "S-1")
        requests.enqueue(work, request("R-1"))
        release(work, "S-1", "R-1")
        records.replace(work, USERS, User(name="Ben", role=Role.ADMIN), None)
        keys.make(work, AskedKey(name="k", role=Role.ADMIN, user="Ben"), "0" * 16, "digest")
        webhooks.create(work, webhook(), "whsec_c2VjcmV0")
        announce(work, "job.accepted", [{"job": "J-1"}])
        idempotency.give(work, "MIS", "k", GivenAnswer("POST /", "h", 201, (), b"\x00\xff"))
    keys.Keys(store).mark_used("0" * 16, work.at.date())
    claim = claimed(store)
    with store.writing(as_worker(claim)) as work:
        claims.beat(work, claim, LEASE_S, progress(), b"{}")


def contents(store: Store) -> dict[str, list[tuple[object, ...]]]:
    with store.engine.connect() as connection:
        return {
            table.name: [
                tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key.columns))
            ]
            for table in Base.metadata.sorted_tables
        }


@pytest.fixture
def backup(store: Store, tmp_path: Path) -> Path:
    fill(store)
    path = tmp_path / "backup.zip"
    counts = write_backup(store, path)
    assert min(counts.values()) > 0
    return path


def test_either_database_is_made_anew_from_a_backup_of_either(
    store: Store, backup: Path, database: URL
) -> None:
    before = contents(store)
    other = Store(database, Clock())
    counts = restore_backup(other, backup)
    assert contents(other) == before
    assert counts == {name: len(rows) for name, rows in before.items()}
    with other.writing(MIS) as work:
        records.upsert(work, JOBS, [job("J-3")])
        lines = plants.whole(work).lines
    with other.writing(Actor("Ann")) as work:
        plants.create(work, "third", sample_plant())
    assert len(lines) == 2
    other.close()


def test_a_database_that_is_not_empty_is_left_alone(store: Store, backup: Path) -> None:
    before = contents(store)
    with pytest.raises(RestoreRefused, match="not empty: there are plants"):
        restore_backup(store, backup)
    assert contents(store) == before


def rewritten(backup: Path, change: Callable[[str, bytes], bytes | None]) -> Path:
    """The backup with other members; those that become None are left out."""
    other = backup.with_name("other.zip")
    with zipfile.ZipFile(backup) as old, zipfile.ZipFile(other, "w") as new:
        for name in old.namelist():
            member = change(name, old.read(name))
            if member is not None:
                new.writestr(name, member)
    return other


def older(name: str, member: bytes) -> bytes:
    about = json.loads(member) if name == "backup.json" else None
    return json.dumps({**about, "version": "0001"}).encode() if about else member


DAMAGES: dict[str, tuple[Callable[[str, bytes], bytes | None], str]] = {
    "a table is missing": (lambda name, member: None if name == "jobs.jsonl" else member, "jobs.jsonl"),
    "rows are missing": (lambda name, member: b"" if name == "rolls.jsonl" else member, "has 0 rows"),
    "a row is cut off": (lambda name, member: member[:-20] if name == "audit.jsonl" else member, "damaged"),
    "it is of another version": (older, "of version 0001 of the tables, this program of"),
    "it says nothing of itself": (
        lambda name, member: None if name == "backup.json" else member,
        "no backup",
    ),
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_what_is_no_whole_backup_leaves_the_database_empty(
    backup: Path, migrated_sqlite: Path, tmp_path: Path, damage: str
) -> None:
    change, told = DAMAGES[damage]
    path = tmp_path / "restored.db"
    path.write_bytes(migrated_sqlite.read_bytes())
    other = Store(f"sqlite:///{path}", Clock())
    with pytest.raises(RestoreRefused, match=told):
        restore_backup(other, rewritten(backup, change))
    with other.engine.connect() as connection:
        for table in Base.metadata.sorted_tables:
            assert connection.execute(select(func.count()).select_from(table)).scalar_one() == 0
    other.close()


def test_a_file_that_is_no_zip_is_refused(database: URL, tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text("job,customer\n", encoding="utf-8")
    store = Store(database, Clock())
    with pytest.raises(RestoreRefused, match="no backup"):
        restore_backup(store, path)
    store.close()


def test_a_database_without_tables_neither_gives_nor_takes(empty_database: URL, tmp_path: Path) -> None:
    store = Store(empty_database, Clock())
    with pytest.raises(NotMigrated):
        write_backup(store, tmp_path / "backup.zip")
    with pytest.raises(NotMigrated):
        restore_backup(store, tmp_path / "backup.zip")
    assert list(tmp_path.glob("backup.zip*")) == []
    store.close()


def test_a_backup_never_replaces_a_file(store: Store, backup: Path) -> None:
    before = backup.read_bytes()
    with store.writing(ANN), pytest.raises(FileExistsError, match="is there already"):
        write_backup(store, backup)
    assert backup.read_bytes() == before
