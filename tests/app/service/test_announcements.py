"""What is posted is told to webhooks when it has happened: jobs that are taken, runs that begin and end."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.api.examples import ACTUAL, JOB
from app.contracts.messages import MESSAGES, TEST
from app.contracts.webhooks import EventType, Webhook
from app.security import Role
from app.store import webhooks
from app.store.listing import Query
from app.store.store import Actor
from tests.app.service.served import Served, problem, send_sample

JOBS, ACTUALS = "/api/v1/jobs", "/api/v1/actuals"
BEGUN = {name: value for name, value in ACTUAL.items() if name not in ("ended", "good_m", "waste_m", "stops")}


@pytest.fixture
def admin(service: Served) -> TestClient:
    """Somebody who may post anything, in a plant with a webhook that wants to hear of everything."""
    with service.shop.store.writing(Actor("tests", "main")) as work:
        every = Webhook(id="W-1", name="MIS", url="https://mis.example.com/", types=tuple(EventType))
        webhooks.create(work, every, "whsec_c2VjcmV0")
    return service.asking(Role.ADMIN)


def told(service: Served) -> list[tuple[str, dict[str, Any]]]:
    """What was told since one asked last, the oldest first; each as it is described."""
    with service.shop.store.writing(Actor("tests", "main")) as work:
        listed = webhooks.deliveries(work, "W-1", None, Query(limit=200)).items
        bodies = [json.loads(webhooks.delivery(work, "W-1", one.id).body) for one in reversed(listed)]
        work.connection.exec_driver_sql("DELETE FROM webhook_deliveries")
    for body in bodies:
        MESSAGES[body["type"]].model_validate(body)
    return [(body["type"], body["data"]) for body in bodies]


def test_new_jobs_are_told_once_whichever_way_they_come(service: Served, admin: TestClient) -> None:
    def job(number: str, **other: Any) -> dict[str, Any]:
        return JOB | {"job": number} | other

    admin.post(JOBS, json=job("J-1"), headers={"Idempotency-Key": "one"})
    admin.post(JOBS, json=job("J-1"), headers={"Idempotency-Key": "one"})
    due = "2027-03-01T13:00:00Z"
    accepted = {"job": "J-1", "revision": 3, "customer": "Example Tea", "due": due}
    assert told(service) == [("job.accepted", accepted)]
    problem(admin.post(JOBS, json=job("J-1")), 409, "conflict")
    assert told(service) == []
    admin.put(f"{JOBS}/J-2", json=job("J-2"), headers={"If-None-Match": "*"})
    assert told(service) == [("job.accepted", accepted | {"job": "J-2"})]
    changed = job("J-2", revision=4, customer="Other")
    assert admin.put(f"{JOBS}/J-2", json=changed, headers={"If-Match": '"1"'}).status_code == 200
    admin.post(f"{JOBS}/bulk", json={"items": [job("J-3"), job("J-1", revision=5), job("J-4")]})
    assert [(kind, data["job"]) for kind, data in told(service)] == [
        ("job.accepted", "J-3"),
        ("job.accepted", "J-4"),
    ]


def test_jobs_of_a_list_are_told_too(service: Served, admin: TestClient) -> None:
    send_sample(admin)
    stored = admin.get(JOBS).json()["items"]
    assert {data["job"] for _, data in told(service)} == {one["item"]["job"] for one in stored}
    send_sample(admin)
    assert told(service) == []


def test_refused_jobs_are_told_where_others_were_taken(service: Served, admin: TestClient) -> None:
    admin.post(JOBS, json=JOB)
    told(service)
    items = [JOB | {"revision": 1}, JOB | {"job": "J-9"}]
    sent = admin.post(f"{JOBS}/bulk", json={"each": True, "items": items})
    assert sent.json()["refused"] == 1
    (kind, accepted), (other, refused) = told(service)
    assert (kind, accepted["job"]) == ("job.accepted", "J-9")
    assert (other, refused["job"]) == ("job.refused", JOB["job"])
    (error,) = refused["errors"]
    assert (error["field"], error["value"]) == ("revision", "1")
    assert "should be above 3" in error["right"]


def test_of_a_post_that_is_refused_as_a_whole_nothing_is_told(service: Served, admin: TestClient) -> None:
    admin.post(JOBS, json=JOB)
    told(service)
    items = [JOB | {"job": "J-9"}, JOB | {"revision": 1}]
    problem(admin.post(f"{JOBS}/bulk", json={"items": items}), 409, "conflict")
    assert told(service) == []


def test_a_run_is_told_when_it_begins_and_when_it_ends(service: Served, admin: TestClient) -> None:
    began = {
        "run": "A-7001",
        "line": "H1",
        "job": "J-2101",
        "lot": None,
        "changeover_start": "2027-03-01T05:00:00Z",
        "started": "2027-03-01T05:18:00Z",
    }
    ended = began | {
        "ended": "2027-03-01T05:33:00Z",
        "good_m": 1016.4,
        "waste_m": 21.5,
        "stops": 2,
        "versions": [{"version": "Green", "labels": 20160}],
    }
    for each in (False, True):
        sent = {"each": each, "items": [BEGUN | {"revision": 1, "id": f"A-{each}"}]}
        assert admin.post(f"{ACTUALS}/bulk", json=sent).status_code == 200
        assert told(service) == [("run.started", began | {"run": f"A-{each}"})]
        assert admin.post(f"{ACTUALS}/bulk", json=sent).json()["unchanged"] == 1
        assert told(service) == []
        sent["items"] = [ACTUAL | {"id": f"A-{each}"}]
        assert admin.post(f"{ACTUALS}/bulk", json=sent).json()["updated"] == 1
        assert told(service) == [("run.finished", ended | {"run": f"A-{each}"})]
        sent["items"] = [ACTUAL | {"id": f"A-{each}", "revision": 3, "stops": 4}]
        assert admin.post(f"{ACTUALS}/bulk", json=sent).json()["updated"] == 1
        assert told(service) == []


def test_a_run_that_was_over_before_anybody_told_of_it_has_begun_too(
    service: Served, admin: TestClient
) -> None:
    made = admin.put(f"{ACTUALS}/A-7001", json=ACTUAL, headers={"If-None-Match": "*"})
    assert made.status_code == 200, made.text
    assert [kind for kind, _ in told(service)] == ["run.started", "run.finished"]
    again = admin.put(f"{ACTUALS}/A-7001", json=ACTUAL | {"revision": 9}, headers={"If-Match": '"1"'})
    assert again.status_code == 200, again.text
    assert told(service) == []


def test_every_message_is_described(service: Served, admin: TestClient) -> None:
    document = admin.get("/openapi.json").json()
    assert set(document["webhooks"]) == {*EventType, TEST}
    for name, told_of in document["webhooks"].items():
        (content,) = told_of["post"]["requestBody"]["content"].values()
        message = document["components"]["schemas"][content["schema"]["$ref"].rpartition("/")[2]]
        assert list(message["properties"]) == ["type", "timestamp", "data"], name


START = "2027-03-01T06:00:00+01:00"


def released(small: Served, *jobs: str) -> list[dict[str, Any]]:
    """Runs of a release of line H1 in this order, as the line reads them."""
    order = {"start": START, "lines": [{"line": "H1", "runs": [{"job": job} for job in jobs]}]}
    kept = small.asking().post("/api/v1/sequences", json={"name": "by hand", **order})
    assert kept.status_code == 201, kept.text
    asked = {"sequence": kept.json()["item"]["id"], "note": "for Monday"}
    made = small.asking().post("/api/v1/releases", json=asked)
    assert made.status_code == 201, made.text
    runs: list[dict[str, Any]] = small.asking().get("/api/v1/lines/H1/release").json()["runs"]["runs"]
    return runs


def test_a_release_is_told_with_the_jobs_that_it_moves(small: Served, admin: TestClient) -> None:
    released(small, "J-2101", "J-2103", "J-2104")
    kinds = [kind for kind, _ in told(small)]
    assert kinds[0] == "sequence.released"
    assert kinds.count("job.retimed") == 3
    released(small, "J-2103", "J-2101", "J-2104")
    retimed = {data["job"]: data for kind, data in told(small) if kind == "job.retimed"}
    assert set(retimed) == {"J-2101", "J-2103", "J-2104"}
    (before,), (now,) = retimed["J-2103"]["from"], retimed["J-2103"]["to"]
    assert (before["position"], now["position"]) == (2, 1)


def test_a_run_that_is_late_puts_those_behind_it_at_risk_once(small: Served, admin: TestClient) -> None:
    first, *_, last = released(small, "J-2101", "J-2103", "J-2104")
    due = datetime.fromisoformat(last["press_due"])
    slack = due - datetime.fromisoformat(last["end"])
    assert slack > timedelta(0), "the sample must leave it some time"
    told(small)

    def post(delay: timedelta, revision: int, **times: str) -> list[dict[str, Any]]:
        """The first run as it really is; what is told of the last one's risk."""
        late = {name: (datetime.fromisoformat(at) + delay).isoformat() for name, at in times.items()}
        actual = {"id": "A-1", "revision": revision, "line": "H1", "job": "J-2101", **late}
        assert admin.post(f"{ACTUALS}/bulk", json={"items": [actual]}).status_code == 200
        return [data for kind, data in told(small) if kind == "job.at-risk" and data["job"] == "J-2104"]

    started = {"started": first["print_start"]}
    assert post(slack, 1, **started) == []
    (one,) = post(slack + timedelta(minutes=7), 2, **started)
    assert (one["late"], one["late_min"], one["line"]) == (True, 7, "H1")
    assert datetime.fromisoformat(one["end"]) == due + timedelta(minutes=7)
    both = {**started, "ended": first["end"]}
    assert post(slack + timedelta(minutes=9), 3, **both) == []
    assert post(timedelta(0), 4, **both) == []
