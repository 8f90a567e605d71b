"""The command line: `runwright plan`, `cost`, `compare`, `check` and what comes of a plan.

It reads files, asks a service and prints what comes back. Exit codes: 0 done, 2 bad input (every
fault on stderr), 3 nothing can run, 4 refused otherwise. The commands of the service are in
`server_commands`.
"""

from __future__ import annotations

import json
import math
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from io import TextIOWrapper
from pathlib import Path
from types import FrameType
from typing import Annotated, Protocol

import typer
from rich.console import Console, RenderableType
from rich.status import Status

from app import __version__
from app.client.server_queue import ServerQueue
from app.contracts.assumptions import PlanAssumptions
from app.contracts.base import at_site, parse_moment
from app.contracts.reasons import Reasons
from app.contracts.run_sheets import RunSheet
from app.contracts.sequences import CostedPlan, Goal, Progress
from app.contracts.web_ledger import WebLedger
from app.documents.console import plan_page, readiness_page
from app.documents.console_ledger import ledger_page
from app.documents.console_reasons import difference_page, reasons_page
from app.documents.contract_file import write_contract
from app.documents.figures import read_on_site
from app.documents.ledger_files import write_ledger
from app.documents.report import write_report
from app.documents.run_sheet import write_run_sheets
from app.documents.sequence_files import write_plan
from app.errors import BadInput, Fault, NothingCanRun
from app.intake.plant_file import plant_schema
from app.intake.queue import Queue
from app.intake.sources import QueueSource, read_source, read_source_and_order
from app.queue_options import reads_queue, reads_queue_or_server
from app.refusals import refusals
from app.server_commands import add_server_commands
from app.services import floor, planning
from app.services import reasons as why
from app.services.assumptions import deciding, deciding_sentence
from app.translation.solving import Question

DEFAULT_SECONDS = 5.0
DEFAULT_ALTERNATIVES = 3
"""A supervisor chooses between a few; beyond the first seconds the time for them is hardly missed."""
ASSUMPTION_SECONDS = 10.0
"""How long assumed values are tried lower and higher after a plan, and no longer than it took."""
SAMPLES = Path("sample_data")
DEMO_START = "2027-03-02T06:00"
"""When the demo's lists without a plant begin."""
WIDTH_WITHOUT_TERMINAL = 132

commands = typer.Typer(
    name="runwright",
    help="Orders and costs the queue of hybrid label press lines.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

GoalOption = Annotated[Goal, typer.Option("--goal", help="What the order is to be best at.")]
GivenOrder = Annotated[
    Path,
    typer.Option(
        "--sequence", help="The order: CSV with line, job and, if you like, stations; or a plan's JSON."
    ),
]
OutFolder = Annotated[
    Path | None,
    typer.Option(
        "--out",
        help="Folder for the sequence, the report, the web ledger and the run sheets; made if need be.",
    ),
]
Explain = Annotated[
    bool,
    typer.Option(
        "--explain", help="Say why each run stands where it does, why jobs are late, and what would help."
    ),
]


def main() -> None:
    """Run the command line. What a terminal's encoding cannot show is replaced, not an error."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    commands()


@commands.command()
@reads_queue_or_server
def plan(
    source: QueueSource | ServerQueue,
    goal: GoalOption = Goal.BALANCED,
    seconds: Annotated[
        float | None, typer.Option("--seconds", min=0, help="Search for so long; 5 where no limit is given.")
    ] = None,
    work: Annotated[
        int | None,
        typer.Option("--work", min=1, help="Try so many changes; the result is then the same anywhere."),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Seed of the search's random choices.")] = 0,
    alternatives: Annotated[
        int,
        typer.Option(
            "--alternatives",
            min=0,
            max=8,
            help="So many other orders at most that trade metres, minutes and lateness; they take 30 % of "
            "the search.",
        ),
    ] = DEFAULT_ALTERNATIVES,
    out: OutFolder = None,
    explain: Explain = False,
) -> None:
    """Find the order that costs least under a goal. Ctrl-C ends the search and keeps what it has."""
    effort = Effort(_seconds(seconds, work), work, seed, alternatives)
    if isinstance(source, ServerQueue):
        _plan_on_server(source, goal, effort, out, explain)
    else:
        _plan(read_source(source), source.start, goal, effort, out, explain)


@commands.command()
@reads_queue
def cost(
    source: QueueSource,
    sequence: GivenOrder,
    goal: GoalOption = Goal.BALANCED,
    out: OutFolder = None,
    explain: Explain = False,
) -> None:
    """Cost a given order exactly. The goal decides only how changeovers are split into stops."""
    queue, order = read_source_and_order(source, sequence)
    question = _question(queue, source.start)
    costed_plan = planning.cost(question, order, goal)
    _print_plan(costed_plan, queue, question, out, reasons=_reasons(question, costed_plan, explain))


@commands.command()
@reads_queue
def ledger(
    source: QueueSource,
    sequence: GivenOrder,
    goal: GoalOption = Goal.BALANCED,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for ledger.json and ledger.csv; made if need be.")
    ] = None,
) -> None:
    """Say what becomes of every metre of web and of every roll in a given order."""
    queue, order = read_source_and_order(source, sequence)
    papers = floor.papers(_question(queue, source.start), order, goal)
    _print(ledger_page(papers.ledger))
    if out is not None:
        _write(out, lambda: write_ledger(papers.ledger, out))


@commands.command()
@reads_queue
def run_sheet(
    source: QueueSource,
    sequence: GivenOrder,
    out: Annotated[
        Path,
        typer.Option("--out", help="Folder for the sheets, HTML, PDF and JSON by line; made if need be."),
    ],
    goal: GoalOption = Goal.BALANCED,
) -> None:
    """Write what the crew of every line needs for a given order, shift by shift."""
    queue, order = read_source_and_order(source, sequence)
    papers = floor.papers(_question(queue, source.start), order, goal)
    _write(out, lambda: write_run_sheets(papers.run_sheets, out))


@commands.command()
@reads_queue
def compare(
    source: QueueSource,
    one: Annotated[Path, typer.Argument(help="An order: CSV with line and job, or a plan's JSON.")],
    other: Annotated[Path, typer.Argument(help="Another order of the same queue.")],
    goal: GoalOption = Goal.BALANCED,
) -> None:
    """Say what one order costs more than another, by cause."""
    queue, order = read_source_and_order(source, one)
    other_order = read_source_and_order(source, other)[1]
    orders = ((one.name, order), (other.name, other_order))
    if one.name == other.name:
        orders = ((str(one), order), (str(other), other_order))
    _print(difference_page(why.compare(_question(queue, source.start), orders, goal)))


@commands.command()
@reads_queue
def check(source: QueueSource) -> None:
    """Say which jobs are not ready or cannot run, and why."""
    queue = read_source(source)
    readiness = planning.check(_question(queue, source.start))
    _print(readiness_page(readiness))
    _print_notes(queue.notes)
    if not any(job.can_run for job in readiness.jobs):
        raise NothingCanRun


@commands.command()
def demo(
    seconds: Annotated[
        float, typer.Option("--seconds", min=0, help="Search for so long for the order of the day.")
    ] = 20.0,
    out: Annotated[Path, typer.Option("--out", help="Folder for the reports; made if need be.")] = Path(
        "runwright-demo"
    ),
) -> None:
    """Order an invented small queue, an invented day, and that day as a shop has it."""
    samples = {
        "A small queue": (
            QueueSource(SAMPLES / "small/jobs.csv", SAMPLES / "small/plant.json"),
            min(2.0, seconds),
        ),
        "A day on three lines, its stock followed by roll": (
            QueueSource(
                SAMPLES / "day/jobs.csv", SAMPLES / "day/plant.json", stock=SAMPLES / "day/stock.csv"
            ),
            seconds,
        ),
        "The day as a shop has it, on one assumed line": (
            QueueSource(
                SAMPLES / "bare/jobs.csv",
                preset="buffered-hybrid",
                dies=SAMPLES / "bare/dies.csv",
                stock=SAMPLES / "bare/stock.csv",
            ),
            seconds / 2,
        ),
    }
    with refusals():
        for title, (source, limit_s) in samples.items():
            typer.echo(f"\n{title}. All of it is invented.\n")
            folder = out / source.jobs.parent.name
            start = parse_moment(DEMO_START) if source.plant is None else None
            _plan(read_source(source), start, Goal.BALANCED, Effort(limit_s), folder)


@commands.command()
def schema() -> None:
    """Print the JSON Schema of a plant file."""
    typer.echo(json.dumps(plant_schema(), indent=2, ensure_ascii=False))


add_server_commands(commands)


def _show_version(asked: bool) -> None:
    if asked:
        typer.echo(f"runwright {__version__}")
        raise typer.Exit


@commands.callback()
def options(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version and end."),
    ] = False,
) -> None:
    """Orders and costs the queue of hybrid label press lines."""


def _question(queue: Queue, asked: datetime | None) -> Question:
    """The queue from the plan's start on; says so where the site's clock was taken."""
    plant = queue.plant
    begins = planning.plan_start(plant, asked, datetime.now(UTC))
    if begins.tzinfo is None:
        begins = at_site(begins, plant.site.zone_info)
        whose = "--start" if asked is not None else "plan_from"
        _print_notes([read_on_site(whose, begins, plant.site.zone)])
    return Question(plant, queue.jobs, begins, queue.locks, queue.in_force)


def _seconds(seconds: float | None, work: int | None) -> float | None:
    if seconds is not None and not math.isfinite(seconds):
        raise BadInput([Fault("should be a number of seconds", field="--seconds", value=str(seconds))])
    return DEFAULT_SECONDS if seconds is None and work is None else seconds


@contextmanager
def _interruptible() -> Iterator[Callable[[], bool]]:
    """Let Ctrl-C end a search kindly; a second one ends the program."""
    asked = threading.Event()

    def ask(number: int, frame: FrameType | None) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield asked.is_set
    finally:
        signal.signal(signal.SIGINT, before)


@dataclass(frozen=True, slots=True)
class Watching:
    """Whoever waits for a plan, at a terminal or not.

    Parameters
    ----------
    is_cancelled
        Whether Ctrl-C was pressed.
    status
        A line on stderr, shown where that is a terminal.
    """

    is_cancelled: Callable[[], bool]
    status: Status

    def say(self, words: str) -> None:
        """Show what is waited for."""
        self.status.update(words)

    def show(self, progress: Progress) -> None:
        """Show how far a search has come."""
        left_out = f", {progress.left_out} left out" if progress.left_out else ""
        gap = "" if progress.gap is None else f", at most {progress.gap:.2%} above the least"
        self.say(
            f"searching … best {progress.best_eur:,.2f} (weighed €){left_out}{gap}, "
            f"{progress.work:,} tried, {progress.elapsed_s:.1f} s"
        )


@contextmanager
def _watching() -> Iterator[Watching]:
    """Wait for a plan."""
    with _interruptible() as cancelled, Console(stderr=True).status("searching …") as status:
        yield Watching(cancelled, status)


def _say_compiling() -> None:
    Console(stderr=True).print("Compiling the search for this machine: about half a minute, this once.")


@dataclass(frozen=True, slots=True)
class Effort:
    """How long a search goes on, its seed, and how many alternatives it looks for."""

    seconds: float | None
    work: int | None = None
    seed: int = 0
    alternatives: int = DEFAULT_ALTERNATIVES


def _plan(
    queue: Queue, start: datetime | None, goal: Goal, effort: Effort, out: Path | None, explain: bool = False
) -> None:
    """Search, say what was assumed, print and write."""
    question = _question(queue, start)
    with _watching() as watching:
        costed_plan = planning.plan(
            question,
            goal,
            seconds=effort.seconds,
            work=effort.work,
            seed=effort.seed,
            alternatives=effort.alternatives,
            cancelled=watching.is_cancelled,
            on_progress=watching.show,
            on_compile=_say_compiling,
        )
        assumed = _assumed(queue, question, costed_plan, effort, watching.is_cancelled)
    _print_plan(costed_plan, queue, question, out, assumed, _reasons(question, costed_plan, explain))


def _plan_on_server(queue: ServerQueue, goal: Goal, effort: Effort, out: Path | None, explain: bool) -> None:
    """Have a service search, print and write the same as of a search made here."""
    from app.client.plan_on_server import Wanted, plan_on_server

    wanted = Wanted(
        goal=goal,
        seconds=effort.seconds,
        work=effort.work,
        seed=effort.seed,
        alternatives=effort.alternatives,
        reasons=explain,
        papers=out is not None,
    )
    with _watching() as watching:
        found = plan_on_server(queue, wanted, watching)
    _print_found(found.plan, found.reasons, found.notes)
    papers = found.papers
    if out is not None and papers is not None:
        _write(out, lambda: _plan_files(found.plan, papers, out, found.notes, None, found.reasons))


def _reasons(question: Question, costed_plan: CostedPlan, explain: bool) -> Reasons | None:
    """Why a plan is as it is, if asked."""
    if not explain:
        return None
    with Console(stderr=True).status("costing every run elsewhere …"):
        return why.explain(question, costed_plan)


def _assumed(
    queue: Queue,
    question: Question,
    costed_plan: CostedPlan,
    effort: Effort,
    cancelled: Callable[[], bool],
) -> PlanAssumptions | None:
    """What a preset's values do to the plan; None for a plant of one's own."""
    if not queue.assumptions:
        return None
    report = deciding(
        question,
        costed_plan,
        queue.assumptions,
        None if effort.seconds is None else min(ASSUMPTION_SECONDS, effort.seconds),
        work=effort.work,
        seed=effort.seed,
        cancelled=cancelled,
    )
    return PlanAssumptions(assumptions=queue.assumptions, report=report)


def _print_plan(
    costed_plan: CostedPlan,
    queue: Queue,
    question: Question,
    out: Path | None,
    assumed: PlanAssumptions | None = None,
    reasons: Reasons | None = None,
) -> None:
    notes = (*queue.notes, *((deciding_sentence(assumed.report),) if assumed else ()))
    _print_found(costed_plan, reasons, notes)
    if out is not None:
        papers = floor.papers_of_plan(question, costed_plan)
        _write(out, lambda: _plan_files(costed_plan, papers, out, notes, assumed, reasons))


def _print_found(costed_plan: CostedPlan, reasons: Reasons | None, notes: Iterable[str]) -> None:
    _print(plan_page(costed_plan))
    if reasons is not None:
        _print(reasons_page(reasons))
    _print_notes(notes)


class Papers(Protocol):
    """What a plan means to the floor."""

    @property
    def ledger(self) -> WebLedger:
        """What becomes of every metre of web and of every roll."""

    @property
    def run_sheets(self) -> tuple[RunSheet, ...]:
        """What the crew of every line needs, shift by shift."""


def _plan_files(
    costed_plan: CostedPlan,
    papers: Papers,
    out: Path,
    notes: Sequence[str],
    assumed: PlanAssumptions | None,
    reasons: Reasons | None,
) -> Iterator[Path]:
    """Write all that a plan comes as; the files one by one."""
    yield from write_plan(costed_plan, out)
    yield from write_report(costed_plan, out, notes, reasons)
    yield from write_ledger(papers.ledger, out)
    yield from write_run_sheets(papers.run_sheets, out)
    if reasons is not None:
        yield write_contract(reasons, out / "reasons.json")
    if assumed:
        yield write_contract(assumed, out / "assumptions.json")


def _write(out: Path, write: Callable[[], Iterable[Path]]) -> None:
    """Write files into a folder and say which."""
    try:
        written = [str(path) for path in write()]
    except OSError as error:
        raise BadInput([Fault(f"cannot be written: {error}", field="--out", value=str(out))]) from None
    typer.echo(f"Written: {', '.join(written)}")


def _print(page: Iterable[RenderableType]) -> None:
    console = Console(width=None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL, highlight=False)
    for part in page:
        console.print(part)


def _print_notes(notes: Iterable[str]) -> None:
    for note in notes:
        typer.echo(f"Note: {note}")


if __name__ == "__main__":
    main()
