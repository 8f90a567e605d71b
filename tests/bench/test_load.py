"""The load benchmark measures what it says, on a few rows and without a look at any clock."""

from __future__ import annotations

import json
import socketserver
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread
from typing import Any

import pytest

from app.store.engine import SQLITE
from tests.bench import load, load_ingest, load_requests
from tests.bench.__main__ import main
from tests.bench.entry import OURS
from tests.bench.load_ingest import CONVERTING, CORE
from tests.bench.load_requests import BARE
from tests.bench.service_client import HOST, WrongAnswerError, answered, ask, timed
from tests.examples import first

Rows = list[dict[str, Any]]

PARTS = first(tuple(load.PARTS))
"""Every part starts servers of its own, which takes seconds."""
JOBS_A_POST, VERSIONS_A_JOB, POSTS = 12, 3, 4
SMALL = (
    *("--databases", SQLITE, "--seeds", "1", "--seconds", "0.05", "--clients", "3", "--posts", str(POSTS)),
    *("--jobs", str(JOBS_A_POST), "--versions", str(VERSIONS_A_JOB), "--stored", "2100", "--asks", "3"),
    *("--runs", "12", "--parts", *PARTS),
)


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> Rows:
    """Rows of the parts that are tried."""
    file = tmp_path_factory.mktemp("load") / "load.json"
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(load_requests, "WARM_UP_S", 0.02)
        main(["load", *SMALL, "--json", str(file)])
    found: Rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return found


def _of(rows: Rows, part: str) -> Rows:
    return [row for row in rows if row["part"] == part]


def test_every_part_has_a_table_of_its_own(rows: Rows) -> None:
    tables = list(load.tables(rows))
    assert len(tables) == len(PARTS)
    assert all(table.lines for table in tables)


def test_jobs_versions_and_audit_are_counted_as_rows(rows: Rows) -> None:
    ours = [row for row in _of(rows, load_ingest.PART) if row["solver"] == OURS]
    assert {row["rows"] for row in ours} == {POSTS * JOBS_A_POST * (1 + VERSIONS_A_JOB + 1)}
    assert {row["threads"] for row in ours} == {1, 4}


def test_core_writes_as_many_rows_as_the_service(rows: Rows) -> None:
    ingested = _of(rows, load_ingest.PART)
    assert {row["solver"] for row in ingested} == {OURS, CORE, CONVERTING}
    assert len({row["rows"] for row in ingested}) == 1


def test_the_bare_application_is_asked_the_same(rows: Rows) -> None:
    asked = _of(rows, load_requests.PART)
    by_solver = {solver: {row["what"] for row in asked if row["solver"] == solver} for solver in (OURS, BARE)}
    assert by_solver == {solver: set(load_requests.WHATS) for solver in (OURS, BARE)}


def test_a_run_that_is_taken_up_again_measures_nothing_twice(rows: Rows, tmp_path: Path) -> None:
    file = tmp_path / "load.json"
    file.write_text(json.dumps({"commands": [], "rows": rows}), encoding="utf-8")
    main(["load", *SMALL, "--json", str(file)])
    assert json.loads(file.read_text(encoding="utf-8"))["rows"] == rows


@contextmanager
def _answering(wire: bytes) -> Iterator[int]:
    """A server that gives every request the same answer; its port."""

    class Same(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            while self.rfile.readline():
                while self.rfile.readline().strip():
                    pass
                self.wfile.write(wire)

    class Server(socketserver.ThreadingTCPServer):
        daemon_threads = True

    with Server((HOST, 0), Same) as server:
        thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield server.server_address[1]
        finally:
            server.shutdown()
            thread.join()


def test_the_client_reads_status_and_body() -> None:
    with _answering(b"HTTP/1.1 201 Created\r\nContent-Length: 2\r\n\r\n{}") as port:
        found = answered(port, ask("GET", "/jobs", right_status=201))
    assert (found.status, found.json) == (201, {})


def test_an_answer_of_another_status_ends_the_measurement() -> None:
    refused = pytest.raises(WrongAnswerError, match=r"GET /jobs HTTP/1.1: 429, not 200: wait")
    with _answering(b"HTTP/1.1 429 Too Many Requests\r\nContent-Length: 4\r\n\r\nwait") as port, refused:
        answered(port, ask("GET", "/jobs"))


def test_every_request_is_sent_once_whatever_the_clients() -> None:
    with _answering(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n") as port:
        went = timed(port, iter([ask("GET", f"/jobs/{job}") for job in range(25)]), clients=4)
    assert len(went.latencies_s) == 25
