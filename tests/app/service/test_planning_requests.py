"""Planning requests over HTTP: asked for, followed, cancelled, looked at; work on them is done by hand."""

from __future__ import annotations

import hashlib
import json
import threading
from typing import Any

import pytest
from sqlalchemy import URL
from starlette.testclient import TestClient

from app.api.request_events import PATH
from app.contracts.planning_requests import NewPlanningRequest, RequestProblem, RequestStatus
from app.contracts.stored import Refusal
from app.main import service_of
from app.security import Role
from app.services.requests import limit_s
from app.services.workshop import Workshop
from app.settings import read_settings
from app.store import requests as kept_requests
from app.store.engine import SQLITE, Connections
from app.store.store import Store
from tests.app.service.hand_worker import HandWorker
from tests.app.service.served import NOW, Served, places, problem
from tests.app.service.test_jobs import START

EFFORT = {"work": 300, "alternatives": 0}
JOBS = ["J-2101", "J-2102", "J-2103", "J-2104"]
CANNOT = RequestProblem(
    type="/problems/fields",
    title="Fields are not as they should be",
    detail="One thing is not as it should be.",
    errors=(Refusal(field="locks", right="these cannot all be kept: J-1 on H1; J-1 on P1"),),
)


SQLITE_ALONE = pytest.mark.parametrize("database", [SQLITE], indirect=True)
"""What the store makes of it is tried on both databases by its own tests."""


@pytest.fixture
def worker(small: Served) -> HandWorker:
    return HandWorker(small.shop.store)


def ask(small: Served, key: str | None = None, role: Role = Role.SCHEDULER, **asked: Any) -> Any:
    """The answer to who asks for an order."""
    headers = {} if key is None else {"Idempotency-Key": key}
    return small.asking(role).post(PATH, json={**EFFORT, **START, **asked}, headers=headers)


def asked(small: Served, **more: Any) -> str:
    """The id of a new request."""
    made = ask(small, **more)
    assert made.status_code == 201, made.text
    id: str = made.json()["id"]
    assert made.headers["location"] == f"{PATH}/{id}"
    return id


def read(small: Served, id: str) -> dict[str, Any]:
    told = small.asking(Role.INTEGRATION).get(f"{PATH}/{id}")
    assert told.status_code == 200, told.text
    request: dict[str, Any] = told.json()
    return request


def events(client: TestClient, id: str, last: str | None = None) -> list[tuple[str, str, dict[str, Any]]]:
    """Events of a request that is over: name, id and data."""
    headers = {} if last is None else {"Last-Event-ID": last}
    told = client.get(f"{PATH}/{id}/events", headers=headers)
    assert told.status_code == 200, told.text
    found = []
    for block in told.text.split("\n\n"):
        fields = dict(line.split(": ", 1) for line in block.splitlines() if not line.startswith(":"))
        if "data" in fields:
            found.append((fields["event"], fields["id"], json.loads(fields["data"])))
    return found


def test_who_asks_is_told_what_waits(small: Served) -> None:
    client = small.asking()
    client.post(
        "/api/v1/jobs", json=client.get("/api/v1/jobs/J-2101").json()["item"] | {"job": "J-9", "die": "D-9"}
    )
    made = ask(small, name="Monday", priority="rush", seconds=20.5)
    told = made.json()
    assert (told["status"], told["attempt"], told["attempts_left"]) == ("queued", 0, 3)
    assert told["created_by"] == "the scheduler"
    assert told["notes"] == ["J-9 stands aside: die D-9 is not known."]
    assert (told["asked"]["name"], told["asked"]["priority"]) == ("Monday", "rush")
    assert read(small, told["id"]) == told
    with small.shop.store.reading("main") as view:
        kept = kept_requests.planning_input(view, told["id"])
    assert [job.job for job in kept.jobs] == JOBS
    assert hashlib.sha256(kept.model_dump_json(by_alias=True).encode()).hexdigest() == told["digest"]


def test_what_came_of_it_are_sequences_and_reasons(small: Served, worker: HandWorker) -> None:
    id = asked(small, name="Monday")
    claim = worker.claim()
    assert (claim.id, claim.limit_s) == (id, 3600)
    worker.beat(claim, 5)
    told = read(small, id)
    assert (told["status"], told["worker"], told["progress"]["best_eur"]) == ("running", "press-1", 995.0)
    worker.finish(claim)
    result = read(small, id)["result"]
    client = small.asking(Role.INTEGRATION)
    best = client.get(f"/api/v1/sequences/{result['sequence']}").json()
    assert (best["item"]["name"], best["out_of_date"]) == ("Monday", False)
    assert [run["job"] for run in best["plan"]["sequence"]["lines"][0]["runs"]] == JOBS
    [other] = result["alternatives"]
    assert (
        client.get(f"/api/v1/sequences/{other['sequence']}").json()["item"]["name"] == "Monday, alternative 1"
    )
    reasons = client.get(f"{PATH}/{id}/reasons")
    assert reasons.status_code == 200
    assert {run["job"] for run in reasons.json()["runs"]} == set(JOBS)


def test_a_request_that_is_over_is_told_whole_and_then_no_more(small: Served, worker: HandWorker) -> None:
    id = asked(small)
    claim = worker.claim()
    worker.beat(claim)
    worker.beat(claim, 2)
    worker.finish(claim)
    client = small.asking(Role.INTEGRATION)
    told = events(client, id)
    assert [(name, place) for name, place, _ in told] == [
        ("queued", "1.0"),
        ("started", "2.0"),
        ("progress", "2.2"),
        ("finished", "3.2"),
    ]
    assert told[1][2]["told"] == "by press-1, attempt 1"
    assert [name for name, *_ in events(client, id, "2.1")] == ["progress", "finished"]
    assert client.get(f"{PATH}/{id}/events", headers={"Last-Event-ID": "3.2"}).status_code == 204
    problem(client.get(f"{PATH}/nobody/events"), 404, "not-found")
    problem(small.asking(plant="other").get(f"{PATH}/{id}/events"), 404, "not-found")


def test_a_stream_tells_what_happens_while_it_is_open(small: Served, worker: HandWorker) -> None:
    """The store wakes it: nobody looks on his own for 5 s."""
    id = asked(small)
    client = small.asking(Role.INTEGRATION)
    told: list[tuple[str, str, dict[str, Any]]] = []
    with TestClient(service_of(read_settings({}), small.shop), headers=dict(client.headers)) as followed:
        listening = threading.Thread(target=lambda: told.extend(events(followed, id)))
        listening.start()
        claim = worker.claim()
        worker.beat(claim)
        worker.finish(claim)
        listening.join(60)
    assert [name for name, *_ in told if name != "progress"] == ["queued", "started", "finished"]
    assert [place for _, place, _ in told][-1] == "3.1"


def test_who_follows_holds_no_connection_to_the_database(database: URL, small: Served) -> None:
    """Ten streams and two connections, one of which the service may want while it reads."""
    id = asked(small)
    few = Workshop(Store(database, connections=Connections(most=2, wait_s=5)), now=lambda: NOW)
    key = small.key(Role.SCHEDULER)
    with TestClient(service_of(read_settings({}), few), headers={"Authorization": f"Bearer {key}"}) as client:
        told: list[list[tuple[str, str, dict[str, Any]]]] = []
        readers = [threading.Thread(target=lambda: told.append(events(client, id))) for _ in range(10)]
        for reader in readers:
            reader.start()
        while client.get("/metrics", headers=small.asking().headers).text.find("runwright_streams 10.0") < 0:
            pass
        for _ in range(3):
            assert client.get(f"{PATH}/{id}").status_code == 200
        assert client.post(f"{PATH}/{id}/cancellation").status_code == 200
        for reader in readers:
            reader.join(60)
    assert [[name for name, *_ in one] for one in told] == [["queued", "cancelled"]] * 10


def test_the_same_request_sent_twice_is_one(small: Served) -> None:
    first, again = ask(small, key="Monday-1"), ask(small, key="Monday-1")
    assert (first.status_code, first.json()) == (201, again.json())
    assert len(small.asking().get(PATH).json()["items"]) == 1
    problem(ask(small, key="Monday-1", seed=4), 422, "idempotency-key-reused")


@SQLITE_ALONE
def test_one_that_waits_is_cancelled_at_once(small: Served, worker: HandWorker) -> None:
    id = asked(small)
    client = small.asking(Role.SCHEDULER)
    key = {"Idempotency-Key": "cancel-1"}
    assert client.post(f"{PATH}/{id}/cancellation", headers=key).json()["status"] == "cancelled"
    assert client.post(f"{PATH}/{id}/cancellation", headers=key).json()["status"] == "cancelled"
    problem(client.post(f"{PATH}/{id}/cancellation"), 409, "conflict")
    assert worker.next_claim() is None
    assert [name for name, *_ in events(client, id)] == ["queued", "cancelled"]


def test_one_that_runs_is_asked_to_end_and_keeps_what_it_has(small: Served, worker: HandWorker) -> None:
    id = asked(small)
    client = small.asking(Role.SCHEDULER)
    claim = worker.claim()
    assert not worker.beat(claim)
    told = client.post(f"{PATH}/{id}/cancellation").json()
    assert (told["status"], told["cancel_requested_at"] is not None) == ("running", True)
    assert worker.beat(claim, 2)
    worker.finish(claim, RequestStatus.CANCELLED)
    assert read(small, id)["result"]["sequence"]
    assert [name for name, *_ in events(client, id)] == [
        "queued",
        "started",
        "cancel-requested",
        "progress",
        "cancelled",
    ]


@SQLITE_ALONE
def test_one_that_failed_says_why_and_is_sent_again(small: Served, worker: HandWorker) -> None:
    id = asked(small)
    worker.fail(worker.claim(), CANNOT)
    told = read(small, id)
    assert told["problem"] == CANNOT.model_dump(mode="json")
    problem(small.asking(Role.SCHEDULER).post(f"{PATH}/{id}/resending"), 403, "role")
    again = small.asking(Role.SUPERVISOR).post(f"{PATH}/{id}/resending").json()
    assert (again["status"], again["problem"], again["attempts_left"]) == ("queued", None, 3)
    problem(small.asking(Role.SUPERVISOR).post(f"{PATH}/{id}/resending"), 409, "conflict")
    assert worker.claim().id == id


@SQLITE_ALONE
def test_one_whose_workers_all_crash_is_dead_and_can_be_looked_at(small: Served, worker: HandWorker) -> None:
    id = asked(small)
    worker.die(worker.claim())
    told = read(small, id)
    assert (told["status"], told["attempt"], told["attempts_left"]) == ("dead", 3, 0)
    [listed] = small.asking().get(PATH, params={"status": "dead"}).json()["items"]
    assert listed["id"] == id
    assert "a signal ended it" in listed["problem"]["detail"]


@SQLITE_ALONE
def test_only_one_that_is_over_is_removed_and_its_sequences_stay(small: Served, worker: HandWorker) -> None:
    id = asked(small)
    client = small.asking(Role.SCHEDULER)
    problem(client.delete(f"{PATH}/{id}"), 409, "conflict")
    worker.finish(worker.claim())
    sequence = read(small, id)["result"]["sequence"]
    assert client.delete(f"{PATH}/{id}").status_code == 204
    problem(client.get(f"{PATH}/{id}"), 404, "not-found")
    problem(client.get(f"{PATH}/{id}/reasons"), 404, "not-found")
    assert client.get(f"/api/v1/sequences/{sequence}").status_code == 200


@SQLITE_ALONE
def test_reasons_that_nobody_asked_for_are_not_there(small: Served, worker: HandWorker) -> None:
    id = asked(small, reasons=False, jobs=["J-2101"])
    problem(small.asking().get(f"{PATH}/{id}/reasons"), 404, "not-found")
    worker.finish(worker.claim())
    problem(small.asking().get(f"{PATH}/{id}/reasons"), 404, "not-found")


@pytest.mark.parametrize(
    ("limits", "ends_after_s"),
    [({}, 150), ({"seconds": 4.2}, 125), ({"work": 10}, 3600), ({"work": 10, "seconds": 3600}, 3720)],
)
def test_a_request_is_ended_some_time_after_its_search(limits: dict[str, Any], ends_after_s: int) -> None:
    assert limit_s(NewPlanningRequest(**limits)) == ends_after_s
    assert limit_s(NewPlanningRequest(**limits, limit_s=7)) == 7


@SQLITE_ALONE
def test_requests_are_listed_newest_first_page_by_page(small: Served) -> None:
    ids = [
        asked(small, name=name, jobs=["J-2101"], priority=priority)
        for name, priority in (("one", "usual"), ("two", "rush"), ("three", "usual"))
    ]
    client = small.asking(Role.INTEGRATION)
    first = client.get(PATH, params={"limit": 2})
    assert [item["id"] for item in first.json()["items"]] == ids[:0:-1]
    link = first.headers["link"].partition(">")[0].strip("<")
    assert [item["id"] for item in client.get(link).json()["items"]] == ids[:1]
    for asked_for, expected in (
        ({"priority": "rush"}, [ids[1]]),
        ({"name": "one"}, [ids[0]]),
        ({"status": "dead"}, []),
    ):
        assert [item["id"] for item in client.get(PATH, params=asked_for).json()["items"]] == expected
    problem(client.get(PATH, params={"sort": "name"}), 422, "fields")


@SQLITE_ALONE
def test_what_is_wrong_is_told_before_anything_waits(small: Served) -> None:
    told = problem(ask(small, jobs=["J-2101", "J-0"], lines=["H9"]), 422, "fields")
    assert places(told) == ["lines[0]", "jobs[1]"]
    lock = {"lock": "fixed-start", "job": "J-2101", "at": "2027-03-01T09:00"}
    assert places(problem(ask(small, locks=[lock]), 422, "fields")) == ["locks[0].at"]
    told = problem(ask(small, which={"customer": "nobody"}), 422, "nothing-can-run")
    assert "No job is open that is meant." in told["detail"]
    problem(ask(small, role=Role.INTEGRATION), 403, "role")
    assert small.asking().get(PATH).json()["items"] == []
