"""A plan that a service makes: jobs are sent, an order asked for and followed, what came of it read."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol
from urllib.parse import quote
from zoneinfo import ZoneInfo

import httpx
from pydantic import ValidationError

from app.client.following import Following
from app.client.problems import failure
from app.client.server import Server, address
from app.client.server_queue import ServerQueue
from app.contracts.base import at_site
from app.contracts.faults import contract_faults, field_names
from app.contracts.locks import Lock, LockList
from app.contracts.offsets import offset_faults, on_clock
from app.contracts.planning_requests import EventKind, NewPlanningRequest, PlanningRequest
from app.contracts.plant_setup import PlantSetup
from app.contracts.reasons import Reasons
from app.contracts.run_sheets import LineRunSheets, RunSheet
from app.contracts.sequences import CostedPlan, Goal, Progress
from app.contracts.stored import Stored
from app.contracts.stored_sequences import StoredSequence
from app.contracts.taken_files import FileTaken
from app.contracts.web_ledger import WebLedger
from app.documents.figures import read_on_site
from app.errors import BadInput, Conflict, Fault, Unavailable
from app.intake.files import LARGEST_TABLE_BYTES, read_bytes
from app.intake.findings import Findings
from app.intake.locks_file import read_locks
from app.intake.xlsx_book import ARCHIVE

CSV, XLSX = "text/csv", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
REQUESTS = "planning-requests"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted of a plan.

    Parameters
    ----------
    papers
        Whether the ledger and the run sheets are.
    """

    goal: Goal
    seconds: float | None
    work: int | None
    seed: int
    alternatives: int
    reasons: bool
    papers: bool


@dataclass(frozen=True, slots=True)
class ServerPapers:
    """What a plan means to the floor."""

    ledger: WebLedger
    run_sheets: tuple[RunSheet, ...]


@dataclass(frozen=True, slots=True)
class ServerPlan:
    """What came of a request, as a plan made here would be shown."""

    plan: CostedPlan
    reasons: Reasons | None
    papers: ServerPapers | None
    notes: tuple[str, ...]


class Watching(Protocol):
    """Whoever waits for a plan."""

    def is_cancelled(self) -> bool:
        """Whether the search is to end with what it has."""

    def show(self, progress: Progress) -> None:
        """See how far it is."""

    def say(self, words: str) -> None:
        """See what is waited for."""


def plan_on_server(
    queue: ServerQueue,
    wanted: Wanted,
    watching: Watching,
    transport: httpx.BaseTransport | None = None,
) -> ServerPlan:
    """Have a service plan, and wait for it.

    Raises
    ------
    BadInput
        With every fault of the files and of what was asked for.
    NothingCanRun
        Where no job can.
    RunwrightError
        Whatever else the service refuses.
    """
    server = Server(address(queue.server), queue.key, watching.say, transport)
    try:
        return _Planning(server, queue, wanted, watching).plan()
    finally:
        server.close()


@dataclass
class _Planning:
    """One plan on a service."""

    server: Server
    queue: ServerQueue
    wanted: Wanted
    watching: Watching
    notes: list[str] = field(default_factory=list)

    def plan(self) -> ServerPlan:
        asked = self._asked()
        self.watching.say("asking for an order …")
        request = self.server.post(REQUESTS, asked, PlanningRequest)
        self.notes += request.notes
        return self._found(self._over(request.id))

    def _asked(self) -> NewPlanningRequest:
        """What is asked for; only what is said, so that the service fills in the rest."""
        locks, start = self._locks(), self.queue.start
        if start is not None and start.tzinfo is None:
            start = at_site(start, self._zone())
            self.notes.append(read_on_site("--start", start, self._zone().key))
        wanted = self.wanted
        said: dict[str, object] = {
            "goal": wanted.goal,
            "locks": locks,
            "seconds": wanted.seconds,
            "work": wanted.work,
            "seed": wanted.seed,
            "alternatives": wanted.alternatives,
            "reasons": wanted.reasons,
            "jobs": None if self.queue.jobs is None else self._sent_jobs(self.queue.jobs),
            "start": start,
        }
        try:
            known = {name: value for name, value in said.items() if value is not None}
            return NewPlanningRequest.model_validate(known)
        except ValidationError as error:
            raise BadInput(contract_faults(error, None, field_names(NewPlanningRequest))) from None

    def _sent_jobs(self, path: Path) -> tuple[str, ...]:
        """Send a job list; the jobs that it names."""
        findings = Findings()
        content = read_bytes(path, LARGEST_TABLE_BYTES, findings)
        if content is None:
            raise BadInput(findings.faults)
        self.watching.say(f"sending {path.name} …")
        media_type, name = (XLSX, "jobs.xlsx") if content.startswith(ARCHIVE) else (CSV, "jobs.csv")
        try:
            taken = self.server.send("files/jobs", content, media_type, FileTaken)
        except BadInput as error:
            raise BadInput(_of_file(fault, name, path) for fault in error.faults) from None
        self.notes += taken.notes
        return taken.jobs

    def _locks(self) -> tuple[Lock, ...]:
        """What is fixed; times without an offset are on the site's clock."""
        if self.queue.locks is None:
            return ()
        findings = Findings()
        listed = LockList(locks=read_locks(self.queue.locks, None, (), findings))
        if findings.faults:
            raise BadInput(findings.faults)
        return on_clock(listed, self._zone()).locks if offset_faults(listed) else listed.locks

    def _zone(self) -> ZoneInfo:
        """The site's."""
        return self.server.read("plant", Stored[PlantSetup]).item.site.zone_info

    def _over(self, id: str) -> PlanningRequest:
        """The request once it is over; it is cancelled as soon as whoever waits wants that."""
        path, is_cancelled = f"{REQUESTS}/{id}", False
        try:
            for heard in Following(self.server, f"{path}/events"):
                self._told(heard)
                if not is_cancelled and self.watching.is_cancelled():
                    is_cancelled = True
                    self._cancel(path)
        except Unavailable as error:
            raise Unavailable(f"{error}. Planning request {id} goes on without us.") from None
        return self.server.read(path, PlanningRequest)

    def _told(self, heard: Progress | EventKind | None) -> None:
        match heard:
            case Progress():
                self.watching.show(heard)
            case EventKind.QUEUED | EventKind.RETRIED:
                self.watching.say("waiting for a worker …")
            case EventKind.STARTED:
                self.watching.say("searching …")
            case EventKind.CANCEL_REQUESTED:
                self.watching.say("cancelled; the best so far is costed …")

    def _cancel(self, path: str) -> None:
        with suppress(Conflict):  # it is over just now
            self.server.post(f"{path}/cancellation", None, PlanningRequest)

    def _found(self, request: PlanningRequest) -> ServerPlan:
        """What came of a request that is over."""
        if request.problem is not None:
            raise failure(request.problem)
        if request.result is None:
            raise Conflict(f"Planning request {request.id} was cancelled before anything was found.")
        sequence = f"sequences/{request.result.sequence}"
        plan = self.server.read(sequence, StoredSequence).plan
        if not request.result.is_whole:
            self.notes.append("The search was broken off: this is the best that it had.")
        reasons = None
        if self.wanted.reasons and request.result.has_reasons:
            reasons = self.server.read(f"{REQUESTS}/{request.id}/reasons", Reasons)
        papers = self._papers(sequence, plan) if self.wanted.papers else None
        return ServerPlan(plan, reasons, papers, tuple(self.notes))

    def _papers(self, sequence: str, plan: CostedPlan) -> ServerPapers:
        of_lines = (
            self.server.read(f"{sequence}/lines/{quote(line.line, safe='')}/run-sheets", LineRunSheets)
            for line in plan.sequence.lines
        )
        sheets = tuple(sheet for of_line in of_lines for sheet in of_line.sheets)
        return ServerPapers(self.server.read(f"{sequence}/ledger", WebLedger), sheets)


def _of_file(fault: Fault, name: str, path: Path) -> Fault:
    """A fault of a list that was sent, with the file as people call it."""
    if fault.field is None or not fault.field.startswith(name):
        return fault
    column = fault.field.removeprefix(name).removeprefix(": ")
    return replace(fault, file=str(path), field=column or None)
