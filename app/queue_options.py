"""The options that name a queue's files, given to every command that reads one.

Typer reads a command's options off its signature and has no groups of them. So a command takes one
`QueueSource`, and `reads_queue` puts the options in its place.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Concatenate, ParamSpec, get_args

import typer

from app.client.server_queue import ServerQueue
from app.contracts.base import parse_moment
from app.errors import BadInput, Fault
from app.intake.presets import PRESETS
from app.intake.sources import QueueSource
from app.refusals import refusals
from app.security import KeyRefused, read_key
from app.settings import CLIENT_KEY

Others = ParamSpec("Others")

PlantPath = Annotated[
    Path | None, typer.Option("--plant", help="The plant, a JSON file (see runwright schema).")
]
JobsPath = Annotated[Path, typer.Option("--jobs", help="The jobs, CSV or XLSX, one row a version.")]
JobsOrNone = Annotated[Path | None, get_args(JobsPath)[1]]
PresetName = Annotated[
    str | None,
    typer.Option(
        "--preset", help=f"Instead of a plant file: a kind of line that ships as data ({', '.join(PRESETS)})."
    ),
]
OverridesPath = Annotated[
    Path | None,
    typer.Option("--overrides", help="With a preset: a JSON file of the values you know better."),
]
ZoneName = Annotated[
    str | None, typer.Option("--zone", help="With a preset: the site's time zone, such as Europe/Berlin.")
]
DiesPath = Annotated[Path | None, typer.Option("--dies", help="With a preset: your dies, CSV or XLSX.")]
StockPath = Annotated[
    Path | None,
    typer.Option(
        "--stock",
        help="Your stock, CSV or XLSX, one row a width or a roll. Beside a plant file: what is in the store "
        "now, in place of what the plant says of it.",
    ),
]
ConsumablesPath = Annotated[
    Path | None,
    typer.Option("--consumables", help="With a preset: your inks, varnishes and foils, CSV or XLSX."),
]
MappingPath = Annotated[
    Path | None, typer.Option("--mapping", help="A JSON file that says what your headings mean.")
]
StatePath = Annotated[
    Path | None,
    typer.Option(
        "--state", help="A JSON file of how lines stand now, in place of what the plant says of them."
    ),
]
LocksPath = Annotated[
    Path | None, typer.Option("--locks", help="A JSON file of what is fixed about the order.")
]
InForcePath = Annotated[
    Path | None,
    typer.Option(
        "--in-force",
        help="The sequence in force: CSV with line and job, or a plan's JSON. Each of its runs that is moved "
        "costs the plant's moved_run_eur.",
    ),
]
StartText = Annotated[
    str | None,
    typer.Option(
        "--start",
        help="When the plan begins, such as 2027-03-01T06:00; without an offset on the site's clock. "
        "Else the plant file's plan_from, else the next full minute.",
    ),
]


ServerAddress = Annotated[
    str | None,
    typer.Option(
        "--server",
        help="Have a service plan its open jobs, such as http://127.0.0.1:8000; with --jobs that list is "
        "sent first, and its jobs alone are planned.",
    ),
]
KeyText = Annotated[
    str | None,
    typer.Option(
        "--key",
        envvar=CLIENT_KEY,
        show_envvar=False,
        help=f"With --server: a scheduler's key; better in the variable {CLIENT_KEY}, where nobody sees it.",
    ),
]


def reads_queue(command: Callable[Concatenate[QueueSource, Others], None]) -> Callable[..., None]:
    """A command with options for the queue that it takes as its first argument; what it refuses is told on
    stderr.
    """
    return _with_options(source_of, command)


def reads_queue_or_server(
    command: Callable[Concatenate[QueueSource | ServerQueue, Others], None],
) -> Callable[..., None]:
    """The same for a command that can be left to a service."""
    return _with_options(source_or_server, command)


def _with_options(queue_of: Callable[..., Any], command: Callable[..., None]) -> Callable[..., None]:
    """A command with another's options in place of its first argument, which that makes of them."""

    @functools.wraps(command)
    def with_options(**named: Any) -> None:
        with refusals():
            mine = {name: named.pop(name) for name in options}
            command(queue_of(**mine), **named)

    options = inspect.signature(queue_of, eval_str=True).parameters
    _, *others = inspect.signature(command, eval_str=True).parameters.values()
    taken = [each.replace(kind=inspect.Parameter.KEYWORD_ONLY) for each in (*options.values(), *others)]
    with_options.__signature__ = inspect.Signature(taken)  # type: ignore[attr-defined]
    with_options.__annotations__ = {each.name: each.annotation for each in taken}
    return with_options


def source_of(
    jobs: JobsPath,
    plant: PlantPath = None,
    preset: PresetName = None,
    overrides: OverridesPath = None,
    zone: ZoneName = None,
    dies: DiesPath = None,
    stock: StockPath = None,
    consumables: ConsumablesPath = None,
    mapping: MappingPath = None,
    state: StatePath = None,
    locks: LocksPath = None,
    in_force: InForcePath = None,
    start: StartText = None,
) -> QueueSource:
    """What the options name.

    Raises
    ------
    BadInput
        Where the start is no time.
    """
    return QueueSource(
        jobs=jobs,
        plant=plant,
        preset=preset,
        overrides=overrides,
        zone=zone,
        dies=dies,
        stock=stock,
        mapping=mapping,
        consumables=consumables,
        state=state,
        locks=locks,
        in_force=in_force,
        start=None if start is None else _moment(start),
        now=datetime.now(UTC),
    )


def source_or_server(
    jobs: JobsOrNone = None,
    plant: PlantPath = None,
    preset: PresetName = None,
    overrides: OverridesPath = None,
    zone: ZoneName = None,
    dies: DiesPath = None,
    stock: StockPath = None,
    consumables: ConsumablesPath = None,
    mapping: MappingPath = None,
    state: StatePath = None,
    locks: LocksPath = None,
    in_force: InForcePath = None,
    start: StartText = None,
    server: ServerAddress = None,
    key: KeyText = None,
) -> QueueSource | ServerQueue:
    """What the options name: files, or a service that has them.

    Raises
    ------
    BadInput
        Where the start is no time, or options do not go together.
    """
    of_files = {
        "plant": plant,
        "preset": preset,
        "overrides": overrides,
        "zone": zone,
        "dies": dies,
        "stock": stock,
        "consumables": consumables,
        "mapping": mapping,
        "state": state,
        "in_force": in_force,
    }
    if server is None:
        if jobs is None:
            raise BadInput(
                [Fault("should name the jobs, or --server a service that has them", field="--jobs")]
            )
        return source_of(jobs=jobs, locks=locks, start=start, **of_files)  # type: ignore[arg-type]
    right = "has no meaning with --server, which has all that by itself: leave it out"
    faults = [
        Fault(right, field=f"--{name.replace('_', '-')}", value=str(value))
        for name, value in of_files.items()
        if value is not None
    ]
    said = (key or "").strip()
    if not _is_key(said):
        right = f"should be a key of the service, rw_<16 digits>_<64 digits>; or set {CLIENT_KEY}"
        faults.append(Fault(right, field="--key"))
    if faults:
        raise BadInput(faults)
    return ServerQueue(server, said, jobs, locks, None if start is None else _moment(start))


def _is_key(text: str) -> bool:
    try:
        read_key(text)
    except KeyRefused:
        return False
    return True


def _moment(start: str) -> datetime:
    try:
        return parse_moment(start)
    except ValueError as error:
        raise BadInput([Fault(str(error), field="--start", value=start)]) from None
