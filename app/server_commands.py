"""Commands of the service: serve, worker, doctor, db and keys.

What they need is imported when one of them is run: a plan from files would otherwise wait for the web and the
database to be imported.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.errors import BadInput, Fault
from app.refusals import refusals
from app.security import Role
from app.settings import Settings, read_settings, variable

if TYPE_CHECKING:
    from fastapi import FastAPI

    from app.contracts.people import AskedKey, KeyShown
    from app.store.store import Actor, Store

BAD_HEALTH = 1
COLLECT_AFTER = (20_000, 20, 50)
"""New objects, and turns of the younger generations, after which garbage is collected: a request of a
thousand jobs makes some 30,000 that are gone at its end.
"""

Database = Annotated[
    str | None,
    typer.Option(
        "--database",
        help="The database, such as sqlite:///runwright.db; else what RUNWRIGHT_DATABASE says.",
        show_default=False,
    ),
]
PlantName = Annotated[
    str | None,
    typer.Option("--plant", help="The plant; may be left out where there is one.", show_default=False),
]

db = typer.Typer(help="The database: its version, its backups.", no_args_is_help=True)
keys = typer.Typer(help="Keys of those who ask over HTTP.", no_args_is_help=True)
plants = typer.Typer(help="Plants of the database.", no_args_is_help=True)


def add_server_commands(commands: typer.Typer) -> None:
    """Add the service's commands to the others."""
    commands.command()(serve)
    commands.command()(worker)
    commands.command()(doctor)
    commands.add_typer(db, name="db")
    commands.add_typer(keys, name="keys")
    commands.add_typer(plants, name="plants")


def serve(
    host: Annotated[
        str | None, typer.Option("--host", help="Address to listen at; 127.0.0.1 if none is said.")
    ] = None,
    port: Annotated[
        int | None, typer.Option("--port", help="Port to listen at; 8000 if none is said, 0: any free one.")
    ] = None,
    database: Database = None,
    sample: Annotated[
        bool, typer.Option("--sample", help="Fill an empty database with the invented sample day.")
    ] = False,
) -> None:
    """Run the service until Ctrl-C or SIGTERM; what it answers then is ended first.

    An empty database gets a plant and a first key, which is printed this once.
    """
    from app.api.serving import address, listen, serve_many, serve_one
    from app.services.first_run import begin
    from app.services.opening import open_store
    from app.services.workshop import Workshop
    from app.store.answering import answering
    from app.telemetry import set_up_logs

    with refusals():
        settings = read_settings(host=host, port=port, database=database)
        store = open_store(settings)
        set_up_logs(settings.log_level, as_json=settings.is_json)
        with listen(settings) as listener:
            # Only once nothing else can go wrong: the key is told here and nowhere else.
            with answering():
                first_key = begin(Workshop(store), with_sample=sample)
            if first_key is not None:
                typer.echo(f"First key, role admin, shown this once: {first_key}")
            told = f"Runwright answers at {address(listener)}, Ctrl-C stops it."
            if settings.processes == 1:
                serve_one(_application_of(settings, store), settings, listener, lambda: typer.echo(told))
                return
            store.close()
            # Other processes read the settings anew, so what was said here must be said to them too.
            said = {"host": host, "port": port, "database": database}
            os.environ |= {variable(name): str(value) for name, value in said.items() if value is not None}
            typer.echo(told)
            serve_many(f"{__name__}:{application.__name__}", settings, listener)


def application() -> FastAPI:
    """The application of one of several processes, as the environment wants it."""
    from app.services.opening import open_store
    from app.telemetry import set_up_logs

    settings = read_settings()
    set_up_logs(settings.log_level, as_json=settings.is_json)
    return _application_of(settings, open_store(settings))


def _application_of(settings: Settings, store: Store) -> FastAPI:
    from app.main import service_of
    from app.services.workshop import Workshop

    service = service_of(settings, Workshop(store), works=True)
    _settle()
    return service


def _settle() -> None:
    """What is there by now stays for good: the collector of garbage need not look through it at every turn,
    which took a tenth of a second each time.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECT_AFTER)


def worker(
    database: Database = None,
    slots: Annotated[
        int | None,
        typer.Option("--slots", min=1, max=64, help="Requests to work on at once; 1 if none is said."),
    ] = None,
    name: Annotated[
        str | None, typer.Option("--name", help="What it is called in the log; its host if none is said.")
    ] = None,
) -> None:
    """Work on planning requests until Ctrl-C or SIGTERM; what is not done then is handed back.

    Any number of workers, on any number of hosts, share the requests of a PostgreSQL database. On SQLite
    serve has a worker of its own; more may run on the same machine.
    """
    from app.worker.running import work

    with refusals():
        settings = read_settings(database=database, slots=slots)
        work(settings, name, typer.echo)


def doctor(database: Database = None) -> None:
    """Say whether all that the service needs is there; exit code 1 if anything is not."""
    from app.services.health_checks import MACHINE, Check, Found, Verdict, all_found
    from app.services.opening import database_checks

    def settings_and_database() -> Iterator[Found]:
        try:
            settings = read_settings(database=database)
        except BadInput as error:
            yield from (Found("settings", Verdict.BAD, str(fault)) for fault in error.faults)
            return
        yield Found("settings", Verdict.GOOD, "go together")
        yield from database_checks(settings)

    checks: tuple[Check, ...] = (*MACHINE, settings_and_database)
    found = list(all_found(checks))
    for one in found:
        typer.echo(f"{one.verdict.value:5} {one.what}: {one.told}")
    if any(one.verdict is Verdict.BAD for one in found):
        raise typer.Exit(BAD_HEALTH)


@db.command("upgrade")
def upgrade_database(database: Database = None) -> None:
    """Bring the tables to the program's version; where they are, nothing is done."""
    from app.store.answering import answering
    from app.store.engine import database_url
    from app.store.migrating import upgrade

    with refusals(), answering():
        reached = upgrade(database_url(read_settings(database=database).database_url))
        typer.echo(f"The database is at version {reached.current}.")


@db.command("check")
def check_database(database: Database = None) -> None:
    """Say whether the tables are of the program's version; exit code 1 if not."""
    from app.services.health_checks import Verdict
    from app.services.opening import database_checks

    with refusals():
        found = list(database_checks(read_settings(database=database)))
    for one in found:
        typer.echo(f"{one.what}: {one.told}")
    if any(one.verdict is not Verdict.GOOD for one in found):
        raise typer.Exit(BAD_HEALTH)


@db.command("backup")
def backup_database(
    file: Annotated[Path, typer.Argument(help="The backup, a new file.")], database: Database = None
) -> None:
    """Write everything into one file, as it is at one moment; the service may go on meanwhile."""
    from app.store.backup import write_backup

    with refusals(), _written(file), _store(database) as store:
        _tell_rows("Written", write_backup(store, file))


@db.command("restore")
def restore_database(
    file: Annotated[Path, typer.Argument(help="A backup.", exists=True, dir_okay=False)],
    database: Database = None,
) -> None:
    """Fill an empty database from a backup, of SQLite or PostgreSQL, whichever it was made from."""
    from app.store.backup import restore_backup

    with refusals(), _written(file), _store(database) as store:
        _tell_rows("Restored", restore_backup(store, file))


@keys.command("create")
def create_key(
    name: Annotated[str, typer.Argument(help="What it is for, such as MIS or line screen H1.")],
    role: Annotated[Role, typer.Option("--role", help="What its holder may do.")],
    line: Annotated[
        str | None, typer.Option("--line", help="Of the role press: the line it stands at.")
    ] = None,
    user: Annotated[str | None, typer.Option("--user", help="Whose it is; a machine's if none.")] = None,
    days: Annotated[
        int | None, typer.Option("--days", min=1, max=36500, help="It ends after so many days.")
    ] = None,
    plant: PlantName = None,
    database: Database = None,
) -> None:
    """Make a key. It is printed this once: only a digest of it is kept."""
    from app.services import keys as key_service

    with refusals(), _store(database) as store, store.writing(_operator(_plant(store, plant))) as work:
        ends = None if days is None else datetime.now(UTC) + timedelta(days=days)
        made = key_service.create(
            work, _asked_key(name=name, role=role, line=line, user=user, expires_at=ends)
        )
    typer.echo(made.key)
    typer.echo(f"It is key {made.shown.id}. It cannot be read again: keep it where it is used.", err=True)


@keys.command("list")
def list_keys(plant: PlantName = None, database: Database = None) -> None:
    """Say which keys there are, the latest first."""
    from app.services import keys as key_service

    with refusals(), _store(database) as store, store.reading(_plant(store, plant)) as view:
        for shown in key_service.listed(view):
            typer.echo(_told(shown))


@keys.command("revoke")
def revoke_key(
    key: Annotated[str, typer.Argument(help="The key's id, as list shows it.")],
    plant: PlantName = None,
    database: Database = None,
) -> None:
    """Take a key back: within a second it opens nothing."""
    from app.services import keys as key_service

    with refusals(), _store(database) as store, store.writing(_operator(_plant(store, plant))) as work:
        shown = key_service.revoke(work, key)
    typer.echo(_told(shown))


@plants.command("create")
def create_plant(
    name: Annotated[str, typer.Argument(help="What the plant is called.")],
    file: Annotated[
        Path | None, typer.Option("--plant-file", help="A plant file to fill it with.", exists=True)
    ] = None,
    database: Database = None,
) -> None:
    """Make a plant, empty or as a plant file has it."""
    from app.services import files, plant_setup
    from app.store.store import Actor

    with refusals(), _store(database) as store, store.writing(Actor("command line")) as work:
        if not plant_setup.create(work, name):
            raise BadInput([Fault("should be the name of a plant that is not there yet", value=name)])
        if file is not None:
            files.take_plant(work, file.name, file.read_bytes())
    typer.echo(f"Made plant {name}. Next: runwright keys create NAME --role ROLE --plant {name}")


@plants.command("list")
def list_plants(database: Database = None) -> None:
    """Say which plants there are."""
    from app.store import plants as stored

    with refusals(), _store(database) as store, store.reading() as view:
        for name in stored.names(view):
            typer.echo(name)


@contextmanager
def _store(database: str | None) -> Iterator[Store]:
    from app.services.opening import open_store
    from app.store.answering import answering

    store = open_store(read_settings(database=database))
    try:
        with answering():
            yield store
    finally:
        store.close()


@contextmanager
def _written(file: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        right = f"cannot be written or read: {error.strerror or error}"
        raise BadInput([Fault(right, field="FILE", value=str(file))]) from None


def _operator(plant: str) -> Actor:
    """Whoever sits at the machine itself."""
    from app.store.store import Actor

    return Actor("command line", plant)


def _plant(store: Store, said: str | None) -> str:
    """The plant that is meant."""
    from app.store import plants

    with store.reading() as view:
        names = plants.names(view)
    if said in names:
        return str(said)
    if said is None and len(names) == 1:
        return names[0]
    there = f"there are {', '.join(names)}" if names else "there is none yet"
    raise BadInput([Fault(f"should name a plant; {there}", field="--plant", value=said)])


def _asked_key(**fields: object) -> AskedKey:
    from pydantic import ValidationError

    from app.contracts.faults import contract_faults, field_names
    from app.contracts.people import AskedKey

    try:
        return AskedKey.model_validate(fields)
    except ValidationError as error:
        raise BadInput(contract_faults(error, None, field_names(AskedKey))) from None


def _told(shown: KeyShown) -> str:
    parts = [shown.id, shown.role.value, shown.name]
    parts += [f"line {shown.line}"] if shown.line else []
    parts += [f"of {shown.user}"] if shown.user else []
    parts.append(f"made {shown.created_at:%Y-%m-%d}")
    parts.append(f"last used {shown.last_used_at:%Y-%m-%d}" if shown.last_used_at else "never used")
    if shown.revoked_at:
        parts.append(f"revoked {shown.revoked_at:%Y-%m-%d}")
    elif shown.expires_at:
        parts.append(f"ends {shown.expires_at:%Y-%m-%d}")
    return "  ".join(parts)


def _tell_rows(done: str, rows: dict[str, int]) -> None:
    told = ", ".join(f"{count} {table}" for table, count in rows.items() if count)
    typer.echo(f"{done}: {told or 'nothing, it is empty'}.")
