"""`runwright plan --server`: the same page and the same files as of a plan made here."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from typer.testing import CliRunner, Result

from app.cli import commands
from app.contracts.planning_requests import RequestProblem, RequestStatus
from app.contracts.stored import Refusal
from app.main import service_of
from app.security import Role
from app.settings import read_settings
from app.store.claims import Claim
from app.store.engine import database_url
from tests.app.databases import migrated_sqlite
from tests.app.queues import Files, sample_files, sample_rows
from tests.app.service.hand_worker import HandWorker, search
from tests.app.service.served import Served, send_sample, served
from tests.app.test_cli import words
from tests.app.workbooks import write_workbook

__all__ = ["migrated_sqlite"]

WORK = ("--work", "60", "--alternatives", "2")
LONG_S = 60.0


@dataclass
class Shop:
    """A service at a port, its key, and a worker."""

    service: Served
    address: str
    key: str
    worker: HandWorker
    _listener: socket.socket
    _running: list[tuple[uvicorn.Server, threading.Thread]] = field(default_factory=list)

    def start(self) -> None:
        """Answer, in a thread."""
        app = service_of(read_settings({}, log_requests=False), self.service.shop)
        config = uvicorn.Config(
            app, log_config=None, access_log=False, ws="none", timeout_graceful_shutdown=1
        )
        server = uvicorn.Server(config)
        listening = self._listener.dup()
        thread = threading.Thread(target=lambda: server.run(sockets=[listening]))
        thread.start()
        self._running.append((server, thread))

    def stop(self) -> None:
        """Answer no more, and break off what is being answered."""
        server, thread = self._running.pop()
        server.should_exit = True
        thread.join(LONG_S)

    def newest(self) -> dict[str, Any]:
        """The request that was asked last."""
        requests = self.service.asking().get("/api/v1/planning-requests").json()["items"]
        newest: dict[str, Any] = requests[0]
        return newest

    def plan(
        self, *options: str, work: Callable[[Claim], None] | None = None, key: str | None = None
    ) -> Result:
        """Plan on the service, while a worker does something with the request."""
        asked = ["plan", "--server", self.address, *options]
        with _working(self.worker, work) if work else nullcontext():
            return CliRunner().invoke(commands, asked, env={"RUNWRIGHT_KEY": key or self.key})


@contextmanager
def _working(worker: HandWorker, work: Callable[[Claim], None]) -> Iterator[None]:
    """A worker that takes the next request."""
    over = threading.Event()

    def take() -> None:
        while not over.is_set():
            claim = worker.next_claim()
            if claim is not None:
                work(claim)
                return
            over.wait(0.02)

    thread = threading.Thread(target=take)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(LONG_S)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, migrated_sqlite: Path) -> Iterator[Shop]:
    """One service with the small sample for all tests: what one of them changes stays so."""
    path = tmp_path_factory.mktemp("served") / "press.db"
    shutil.copyfile(migrated_sqlite, path)
    with (
        served(database_url(f"sqlite:///{path}")) as service,
        socket.create_server(("127.0.0.1", 0)) as listener,
    ):
        send_sample(service.asking())
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        worker = HandWorker(service.shop.store)
        running = Shop(service, address, service.key(Role.SCHEDULER), worker, listener)
        running.start()
        yield running
        running.stop()


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return sample_files(tmp_path)


def searched(worker: HandWorker) -> Callable[[Claim], None]:
    """What a worker does: search, and end with what was found."""

    def work(claim: Claim) -> None:
        worker.beat(claim, 3)
        worker.finish(claim, found=search(claim))

    return work


def test_the_page_and_the_files_are_those_of_a_plan_made_here(shop: Shop, files: Files) -> None:
    here, there = files.folder / "here", files.folder / "there"
    local = files.run("plan", *WORK, "--explain", "--out", str(here))
    told = shop.plan(*WORK, "--explain", "--out", str(there), work=searched(shop.worker))
    assert (local.exit_code, told.exit_code) == (0, 0), told.output
    assert told.stdout.replace(str(there), str(here)) == local.stdout
    names = sorted(path.name for path in here.iterdir())
    assert sorted(path.name for path in there.iterdir()) == names
    for name in names:
        if not name.endswith(".pdf"):  # which holds the moment at which it was made
            assert (there / name).read_bytes() == (here / name).read_bytes(), name


def test_a_job_list_is_sent_and_its_jobs_alone_are_planned(shop: Shop, files: Files) -> None:
    rows = [row for row in sample_rows() if row["job"] != "J-2102"]
    files.write_jobs([row | {"customer": "Another"} for row in rows])
    told = shop.plan("--jobs", str(files.jobs), *WORK, work=searched(shop.worker))
    assert told.exit_code == 0, told.output
    assert "J-2102" not in told.stdout
    stored = shop.service.asking().get("/api/v1/jobs/J-2101").json()
    assert stored["item"]["customer"] == "Another"
    request = shop.newest()
    assert request["asked"]["jobs"] == ["J-2101", "J-2103", "J-2104"]
    assert (request["asked"]["work"], request["asked"]["seconds"]) == (60, None)


def test_a_workbook_is_sent_as_one(shop: Shop, files: Files) -> None:
    rows = [row for row in sample_rows() if row["job"] == "J-2104"]
    book = files.folder / "queue.list"
    write_workbook(book, [list(rows[0]), *(list(row.values()) for row in rows)])
    told = shop.plan("--jobs", str(book), *WORK, work=searched(shop.worker))
    assert told.exit_code == 0, told.output
    assert shop.newest()["asked"]["jobs"] == ["J-2104"]


def test_faults_of_a_list_are_told_with_file_row_and_column(shop: Shop, files: Files) -> None:
    rows = sample_rows()
    rows[2]["quantity"] = "many"
    files.write_jobs(rows)
    told = shop.plan("--jobs", str(files.jobs), *WORK)
    assert told.exit_code == 2
    assert told.stderr.startswith(f"{files.jobs}, row 4, quantity “many”: ")


def test_a_start_without_an_offset_is_read_on_the_sites_clock(shop: Shop) -> None:
    told = shop.plan(*WORK, "--start", "2027-07-01T06:00", work=searched(shop.worker))
    assert told.exit_code == 0, told.output
    assert "Note: --start is read on the site's clock: Thu 1 Jul 2027 06:00 +0200 (Europe/Berlin)." in words(
        told.stdout
    )
    assert "plan from Thu 1 Jul 2027 06:00 +0200" in words(told.stdout)


def test_locks_of_a_file_are_kept(shop: Shop, files: Files) -> None:
    locks = files.folder / "locks.json"
    lock = {"lock": "fixed-start", "job": "J-2104", "at": "2027-03-01T12:00"}
    locks.write_text(json.dumps({"locks": [lock]}), encoding="utf-8")
    told = shop.plan(*WORK, "--locks", str(locks), work=searched(shop.worker))
    assert told.exit_code == 0, told.output
    request = shop.newest()
    assert request["asked"]["locks"] == [lock | {"at": "2027-03-01T12:00:00+01:00"}]


def test_what_was_left_aside_is_noted(shop: Shop) -> None:
    client = shop.service.asking()
    sample = client.get("/api/v1/jobs/J-2101").json()["item"]
    client.post("/api/v1/jobs", json=sample | {"job": "J-9", "die": "D-9"})
    told = shop.plan(*WORK, work=searched(shop.worker))
    assert "Note: J-9 stands aside: die D-9 is not known." in told.stdout


def test_ctrl_c_cancels_on_the_service_and_prints_what_it_has(shop: Shop) -> None:
    def work(claim: Claim) -> None:
        shop.worker.beat(claim, 3)
        os.kill(os.getpid(), signal.SIGINT)
        while not shop.worker.beat(claim, 4):
            pass
        shop.worker.finish(claim, RequestStatus.CANCELLED, search(claim, is_whole=False))

    told = shop.plan("--seconds", "600", work=work)
    assert told.exit_code == 0, told.output
    assert "Note: The search was broken off: this is the best that it had." in told.stdout
    assert "this plan" in words(told.stdout)


def test_one_that_is_cancelled_before_anything_was_found_ends_with_4(shop: Shop) -> None:
    told = shop.plan("--seconds", "600", work=shop.worker.cancel)
    assert told.exit_code == 4
    assert "was cancelled before anything was found" in told.stderr


def test_a_service_that_is_started_anew_meanwhile_is_waited_for(shop: Shop) -> None:
    def work(claim: Claim) -> None:
        shop.worker.beat(claim, 3)
        shop.stop()
        shop.worker.beat(claim, 4)
        shop.start()
        searched(shop.worker)(claim)

    told = shop.plan(*WORK, work=work)
    assert told.exit_code == 0, told.output
    assert "this plan" in words(told.stdout)


def test_what_contradicts_itself_ends_with_2_and_where_nothing_can_run_with_3(shop: Shop) -> None:
    right = "these cannot all be kept: J-2101 first; J-2103 first"
    contradiction = RequestProblem(
        type="/problems/fields", title="Fields", errors=(Refusal(field="locks", right=right),)
    )
    told = shop.plan(*WORK, work=lambda claim: shop.worker.fail(claim, contradiction))
    assert (told.exit_code, told.stderr) == (2, f"locks: {right}\n")
    nothing = RequestProblem(type="/problems/nothing-can-run", title="No job can run", detail="No job.")
    assert shop.plan(*WORK, work=lambda claim: shop.worker.fail(claim, nothing)).exit_code == 3


def test_one_that_is_given_up_ends_with_4(shop: Shop) -> None:
    told = shop.plan(*WORK, work=shop.worker.die)
    assert told.exit_code == 4
    assert "a signal ended it" in told.stderr


def test_what_is_refused_at_once_is_told_field_by_field(shop: Shop) -> None:
    told = shop.plan("--seconds", "4000")
    assert told.exit_code == 2
    assert told.stderr.startswith("seconds ")
    told = shop.plan(*WORK, key=shop.service.key(Role.INTEGRATION))
    assert told.exit_code == 4
    assert "needs the role scheduler" in told.stderr


def test_no_message_holds_the_key(shop: Shop) -> None:
    unknown = "rw_" + 16 * "0" + "_" + 64 * "7"
    told = shop.plan(*WORK, key=unknown)
    assert told.exit_code == 4
    assert "This key is not known here." in told.stderr
    assert "7777" not in told.output
    told = shop.plan(*WORK, key="open sesame")
    assert told.exit_code == 2
    assert "sesame" not in told.output


def test_options_that_a_service_has_by_itself_are_refused_by_name(shop: Shop) -> None:
    files = (
        "--plant",
        "--overrides",
        "--dies",
        "--stock",
        "--consumables",
        "--mapping",
        "--state",
        "--in-force",
    )
    options = [
        *(part for name in files for part in (name, "x")),
        "--preset",
        "buffered-hybrid",
        "--zone",
        "UTC",
    ]
    told = shop.plan(*options)
    assert told.exit_code == 2
    assert {line.split(" ")[0] for line in told.stderr.splitlines()} == {*files, "--preset", "--zone"}


def test_without_a_service_a_plan_needs_its_jobs() -> None:
    told = CliRunner().invoke(commands, ["plan"])
    assert (told.exit_code, told.stderr) == (
        2,
        "--jobs: should name the jobs, or --server a service that has them\n",
    )
