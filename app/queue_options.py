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
from typing import Annotated, Any, Concatenate, ParamSpec

import typer

from app.contracts.base import parse_moment
from app.errors import BadInput, Fault
from app.intake.presets import PRESETS
from app.intake.sources import QueueSource
from app.refusals import refusals

Others = ParamSpec("Others")

PlantPath = Annotated[
    Path | None, typer.Option("--plant", help="The plant, a JSON file (see runwright schema).")
]
JobsPath = Annotated[Path, typer.Option("--jobs", help="The jobs, CSV or XLSX, one row a version.")]
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


def reads_queue(command: Callable[Concatenate[QueueSource, Others], None]) -> Callable[..., None]:
    """A command with options for the queue that it takes as its first argument; what it refuses is told on
    stderr.
    """

    @functools.wraps(command)
    def with_options(*args: Others.args, **named: Others.kwargs) -> None:
        with refusals():
            files: dict[str, Any] = {name: named.pop(name) for name in options}
            command(source_of(**files), *args, **named)

    options = inspect.signature(source_of, eval_str=True).parameters
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


def _moment(start: str) -> datetime:
    try:
        return parse_moment(start)
    except ValueError as error:
        raise BadInput([Fault(str(error), field="--start", value=start)]) from None
