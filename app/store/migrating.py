"""Brings a database's tables to the version that the program works with.

All migrations run in one transaction, and one process at a time: on SQLite the transaction holds the file
from its start, on PostgreSQL it holds a lock that ends with it. Whoever comes second finds nothing to do.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection, Engine, text

import migrations
from app.errors import NotMigrated
from app.store.engine import connect_to, is_sqlite, let_rest, reads_only

_ONE_AT_A_TIME = 7_341_952_001
"""Key of PostgreSQL's lock for migrations; any number that nobody else uses."""

HEAD = "head"


@dataclass(frozen=True, slots=True)
class Standing:
    """Which version a database's tables have, and which they should have."""

    current: str | None
    head: str

    @property
    def is_current(self) -> bool:
        return self.current == self.head


def standing(engine: Engine) -> Standing:
    """How far a database has been migrated; of an empty one `current` is None."""
    with reads_only(engine).connect() as connection:
        return Standing(_current(connection), head())


@cache
def head() -> str:
    """The version that the program works with."""
    revision = ScriptDirectory.from_config(_config()).get_current_head()
    if revision is None:
        raise RuntimeError("the program came without its migrations")
    return revision


def upgrade(url: URL, to: str = HEAD) -> Standing:
    """Bring a database to a version, the newest if none is said.

    Raises
    ------
    NotMigrated
        If the database is of a newer program, or its rows do not fit together afterwards; it is then left as
        it was.
    """
    engine = connect_to(url, foreign_keys=False)
    try:
        with engine.begin() as connection:
            let_rest(connection)
            if not is_sqlite(connection):
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _ONE_AT_A_TIME})
            _refuse_unknown(_current(connection))
            config = _config()
            config.attributes["connection"] = connection
            command.upgrade(config, to)
            if is_sqlite(connection):
                _check_foreign_keys(connection)
        return standing(engine)
    finally:
        engine.dispose()


def require_current(engine: Engine) -> None:
    """Refuse a database whose tables are not of the program's version.

    Raises
    ------
    NotMigrated
        Saying what to do.
    """
    found = standing(engine)
    _refuse_unknown(found.current)
    if not found.is_current:
        now = f"is at version {found.current}" if found.current else "has no tables yet"
        raise NotMigrated(f"The database {now}; bring it to {found.head} with: runwright db upgrade")


def _config() -> Config:
    config = Config()
    folder = str(Path(migrations.__file__).parent)
    config.set_main_option("script_location", folder.replace("%", "%%"))
    return config


def _current(connection: Connection) -> str | None:
    return MigrationContext.configure(connection).get_current_revision()


def _refuse_unknown(revision: str | None) -> None:
    known = {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}
    if revision is not None and revision not in known:
        raise NotMigrated(
            f"The database is at version {revision}, which this program does not know: it was made by a "
            "newer one. Install that, or restore an older backup"
        )


def _check_foreign_keys(connection: Connection) -> None:
    """SQLite does not hold foreign keys while tables are made anew; what broke is found here."""
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if broken:
        tables = ", ".join(sorted({f"{row[0]} → {row[2]}" for row in broken}))
        raise NotMigrated(f"{len(broken)} rows would lose what they refer to ({tables}); nothing was changed")
