"""An empty or older database comes to the tables of the program, whatever else happens at that moment."""

from __future__ import annotations

import subprocess
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.operations import Operations
from sqlalchemy import URL, Connection, Engine, create_engine, inspect, select, text
from sqlalchemy.exc import DBAPIError

from app.errors import NotMigrated
from app.store.engine import connect_to, database_url, is_sqlite
from app.store.migrating import Standing, head, require_current, standing, upgrade
from app.store.sequences import RUNS
from app.store.tables import Base
from tests.app.costed_plans import eventful_order


@pytest.fixture
def engine(database: URL) -> Iterator[Engine]:
    engine = connect_to(database)
    yield engine
    engine.dispose()


def described(connection: Connection) -> dict[str, Any]:
    """Everything that a database says of its tables."""
    seen = inspect(connection)
    return {
        table: {
            "columns": [(c["name"], str(c["type"]), c["nullable"]) for c in seen.get_columns(table)],
            "key": seen.get_pk_constraint(table)["constrained_columns"],
            "foreign": sorted(str(sorted(key.items(), key=str)) for key in seen.get_foreign_keys(table)),
            "unique": sorted(
                str((key["name"], key["column_names"])) for key in seen.get_unique_constraints(table)
            ),
            "indexes": sorted(str((key["name"], key["column_names"])) for key in seen.get_indexes(table)),
            "checks": sorted(str((key["name"], key["sqltext"])) for key in seen.get_check_constraints(table)),
        }
        for table in sorted(seen.get_table_names())
        if table != "alembic_version"
    }


def test_an_empty_database_comes_to_the_tables_of_the_models(empty_database: URL) -> None:
    upgrade(empty_database)
    engine = connect_to(empty_database)
    with engine.connect() as connection:
        options = {"compare_type": True, "compare_server_default": True}
        context = MigrationContext.configure(connection, opts=options)
        assert compare_metadata(context, Base.metadata) == []
        migrated = described(connection)
    with engine.begin() as connection:
        connection.execute(text("DROP TABLE alembic_version"))
        for table in reversed(Base.metadata.sorted_tables):
            connection.execute(text(f"DROP TABLE {table.name}"))
        Base.metadata.create_all(connection)
        assert described(connection) == migrated
    engine.dispose()


def add_a_job(connection: Connection) -> None:
    """A plant with a job of two versions, in the tables as 0001 has them."""
    at = "0" if is_sqlite(connection) else "'2027-03-01T00:00+00'"
    for statement in (
        f"INSERT INTO plants VALUES (1, 'here', 'Here', 'Europe/Berlin', NULL, '', 0, 0, 0, 0, 0, 0, '{{}}', "
        f"'{{}}', '[]', '{{}}', 1, 1, {at}, {at})",
        "INSERT INTO jobs (pk, plant_pk, job, job_folded, status, cancel_reason, customer, customer_folded, "
        "substrate, die, colours, finishes, full_reels, may_join, splice_rule, version, digest, created_at, "
        f"updated_at) VALUES (7, 1, 'J-1', 'j-1', 'open', '', 'Ann', 'ann', 'P', 'D', '[]', '[]', {FALSE}, "
        f"{FALSE}, 'anywhere', 1, 'x', {at}, {at})",
        "INSERT INTO job_versions (job_pk, position, version, quantity) "
        "VALUES (7, 1, 'A', 500), (7, 2, 'B', 9)",
        "INSERT INTO audit (pk, plant_pk, at, actor, action, resource, key, after) "
        f"VALUES (1, 1, {at}, 'MIS', 'created', 'jobs', 'J-1', '{{\"job\": \"J-1\"}}')",
    ):
        connection.execute(text(statement.replace(":", r"\:")))


FALSE = "FALSE"


def test_a_database_of_the_first_version_keeps_its_rows(empty_database: URL) -> None:
    assert upgrade(empty_database, "0001") == Standing(current="0001", head=head())
    engine = connect_to(empty_database)
    with engine.begin() as connection:
        add_a_job(connection)
    assert upgrade(empty_database).is_current
    with engine.connect() as connection:
        quantities = connection.execute(text("SELECT quantity FROM job_versions ORDER BY position")).scalars()
        assert list(quantities) == [500, 9]
        assert connection.execute(text("SELECT count(*) FROM audit")).scalar_one() == 1
        assert connection.execute(text("SELECT count(*) FROM sequences")).scalar_one() == 0
    engine.dispose()


def add_a_sequence(connection: Connection) -> None:
    """A kept sequence of that plant, in the tables as they were before its runs told when they are due."""
    at = "0" if is_sqlite(connection) else "'2027-03-01T00:00+00'"
    columns = (
        "pk, plant_pk, id, id_folded, name, goal, start, plan, input, state, jobs, left_out, late_jobs, "
    )
    columns += "waste_um, changeover_min, lateness_min, total_eur, controllable_eur, version, digest, "
    connection.execute(
        text(
            f"INSERT INTO sequences ({columns} created_at, updated_at) VALUES (5, 1, 'S-1', 's-1', 'Monday', "
            f"'balanced', {at}, :plan, :plan, '', 3, 1, 1, 0, 0, 0, 0, 0, 1, '', {at}, {at})"
        ),
        {"plan": zlib.compress(eventful_order().model_dump_json(by_alias=True).encode())},
    )
    for position, run in enumerate(eventful_order().sequence.lines[0].runs, 1):
        connection.execute(
            text(
                "INSERT INTO sequence_runs (sequence_pk, line, position, plant_pk, job, changeover_start, "
                f"print_start, \"end\") VALUES (5, 'H1', {position}, 1, '{run.job}', {at}, {at}, {at})"
            )
        )


def test_runs_that_were_kept_before_are_told_when_they_are_due_and_how_late_they_are(
    empty_database: URL,
) -> None:
    upgrade(empty_database, "0004")
    engine = connect_to(empty_database)
    with engine.begin() as connection:
        add_a_job(connection)
        add_a_sequence(connection)
    upgrade(empty_database)
    runs = eventful_order().sequence.lines[0].runs
    assert [run.late_min > 0 for run in runs] == [True, False, False]
    told = select(RUNS.c.job, RUNS.c.press_due, RUNS.c.late_min).order_by(RUNS.c.position)
    with engine.connect() as connection:
        assert [tuple(row) for row in connection.execute(told)] == [
            (run.job, run.press_due, run.late_min) for run in runs
        ]
    engine.dispose()


def test_upgrading_once_more_changes_nothing(database: URL) -> None:
    assert upgrade(database) == Standing(current=head(), head=head())


MIGRATOR = "import sys; from app.store.migrating import upgrade; from app.store.engine import database_url; "
MIGRATOR += "upgrade(database_url(sys.argv[1]))"


def test_three_migrators_at_once_all_succeed(empty_database: URL) -> None:
    address = empty_database.render_as_string(hide_password=False)
    migrators = [
        subprocess.Popen(
            [sys.executable, "-c", MIGRATOR, address],
            stderr=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[3],
        )
        for _ in range(3)
    ]
    told = [migrator.communicate()[1] for migrator in migrators]
    assert [migrator.returncode for migrator in migrators] == [0, 0, 0], told
    engine = connect_to(empty_database)
    assert standing(engine).is_current
    engine.dispose()


def test_children_survive_when_their_table_is_made_anew(database: URL) -> None:
    """With foreign keys on, dropping the old `jobs` would take all of `job_versions` along, silently."""
    engine = connect_to(database, foreign_keys=False)
    with engine.begin() as connection:
        add_a_job(connection)
        operations = Operations(MigrationContext.configure(connection))
        with operations.batch_alter_table("jobs", recreate="auto") as batch:
            batch.alter_column("substrate", nullable=True)
            batch.alter_column("splice_rule", new_column_name="rule")
        assert connection.execute(text("SELECT count(*) FROM job_versions")).scalar_one() == 2
        if is_sqlite(connection):
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    engine.dispose()


def test_a_failed_migration_leaves_nothing_behind(
    empty_database: URL, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("power cut")

    monkeypatch.setattr("alembic.operations.Operations.create_index", broken)
    with pytest.raises(RuntimeError, match="power cut"):
        upgrade(empty_database)
    monkeypatch.undo()
    engine = connect_to(empty_database)
    assert inspect(engine).get_table_names() == []
    assert upgrade(empty_database).is_current
    engine.dispose()


def test_rows_that_lose_what_they_refer_to_undo_the_migration(tmp_path: Path) -> None:
    url = database_url(f"sqlite:///{tmp_path / 'broken.db'}")
    upgrade(url, "0001")
    engine = connect_to(url, foreign_keys=False)
    with engine.begin() as connection:
        connection.execute(
            text("INSERT INTO job_versions (job_pk, position, version, quantity) VALUES (99, 1, 'A', 5)")
        )
    with pytest.raises(NotMigrated, match=r"1 rows would lose .*job_versions → jobs"):
        upgrade(url)
    assert standing(engine).current == "0001"
    engine.dispose()


def test_a_database_that_is_behind_is_refused_with_what_to_do(empty_database: URL) -> None:
    engine = connect_to(empty_database)
    with pytest.raises(NotMigrated, match=f"has no tables yet; bring it to {head()} with: runwright"):
        require_current(engine)
    upgrade(empty_database, "0001")
    with pytest.raises(NotMigrated, match="is at version 0001"):
        require_current(engine)
    upgrade(empty_database)
    require_current(engine)
    engine.dispose()


def test_a_database_of_a_newer_program_is_left_alone(database: URL, engine: Engine) -> None:
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(NotMigrated, match="version 9999, which this program does not know"):
        upgrade(database)
    with pytest.raises(NotMigrated, match="newer"):
        require_current(engine)


@pytest.mark.parametrize("statement", ["UPDATE audit SET actor = 'nobody'", "DELETE FROM audit"])
def test_the_audit_can_neither_be_changed_nor_removed(engine: Engine, statement: str) -> None:
    with engine.begin() as connection:
        add_a_job(connection)
    with pytest.raises(DBAPIError, match="append-only"), engine.begin() as connection:
        connection.execute(text(statement))
    with engine.connect() as connection:
        assert connection.execute(text("SELECT actor FROM audit")).scalars().all() == ["MIS"]


def test_the_audit_cannot_be_emptied_on_postgresql(engine: Engine) -> None:
    if is_sqlite(engine):
        return
    with pytest.raises(DBAPIError, match="append-only"), engine.begin() as connection:
        connection.execute(text("TRUNCATE audit"))


def test_a_folder_with_a_percent_sign_does_no_harm(tmp_path: Path) -> None:
    folder = tmp_path / "100 % labels"
    folder.mkdir()
    url = database_url(f"sqlite:///{folder / 'runwright.db'}")
    assert upgrade(url).is_current
    assert create_engine(url).url.database == str(folder / "runwright.db")
