"""Jobs over HTTP: changed, cancelled, and what they wait for."""

from __future__ import annotations

from typing import Any

from app.api import examples
from app.security import Role
from tests.app.service.served import Served, places, problem

START = {"start": "2027-03-01T06:00:00+01:00"}


def order(*jobs: str) -> dict[str, Any]:
    return {"lines": [{"line": "H1", "runs": [{"job": job} for job in jobs]}]}


def kept(small: Served, *jobs: str, name: str = "as dragged") -> str:
    """Keep an order of the sample; its id."""
    made = small.asking(Role.SCHEDULER).post(
        "/api/v1/sequences", json={"name": name, **order(*jobs), **START}
    )
    assert made.status_code == 201, made.text
    sequence: str = made.json()["item"]["id"]
    return sequence


def change(small: Served, job: str, what: str, body: dict[str, Any], version: int = 1) -> Any:
    send = small.asking(Role.INTEGRATION)
    method = "PUT" if what == "status" else "POST"
    return send.request(method, f"/api/v1/jobs/{job}/{what}", json=body, headers={"If-Match": f'"{version}"'})


def test_a_job_tells_where_it_is_planned(small: Served) -> None:
    sequence = kept(small, "J-2101", "J-2103")
    told = small.asking().get("/api/v1/jobs/J-2103").json()
    assert told["status"] == "open"
    [run] = told["planned"]
    assert (run["sequence"], run["line"], run["position"]) == (sequence, "H1", 2)
    assert told["running_on"] == []
    assert small.asking().get("/api/v1/jobs/J-2102").json()["planned"] == []


def test_another_quantity_says_which_sequence_holds_the_job(small: Served) -> None:
    sequence = kept(small, "J-2101", "J-2103")
    version = small.asking().get("/api/v1/jobs/J-2103").json()["item"]["versions"][0]
    body = {"versions": [{"version": version["version"], "quantity": version["quantity"] + 500}]}
    changed = change(small, "J-2103", "quantities", body)
    assert changed.status_code == 200, changed.text
    told = changed.json()
    assert told["job"]["item"]["versions"][0]["quantity"] == version["quantity"] + 500
    assert told["job"]["version"] == 2
    [affected] = told["affects"]
    assert affected.startswith(f"sequence {sequence} has it on H1, run 2, from 2027-03-01T")
    assert changed.headers["etag"] == '"2"'


def test_a_quantity_of_a_version_that_is_not_there_is_refused(small: Served) -> None:
    body = {"versions": [{"version": "nobody's", "quantity": 5}]}
    told = problem(change(small, "J-2103", "quantities", body), 422, "fields")
    assert places(told) == ["versions[0].version"]


def test_a_quantity_above_its_maximum_takes_the_maximum_off_or_names_another(small: Served) -> None:
    client = small.asking()
    versions = [{"version": "A", "quantity": 100, "max_quantity": 110}]
    client.post("/api/v1/jobs", json=examples.JOB | {"job": "J-1", "revision": 1, "versions": versions})
    changed = change(small, "J-1", "quantities", {"versions": [{"version": "A", "quantity": 200}]})
    assert changed.json()["job"]["item"]["versions"][0]["max_quantity"] is None
    body = {"versions": [{"version": "A", "quantity": 300, "max_quantity": 250}]}
    told = problem(change(small, "J-1", "quantities", body, 2), 422, "fields")
    assert places(told) == ["versions[0].max_quantity"]


def test_a_cancellation_says_where_the_job_runs_and_is_planned(small: Served) -> None:
    kept(small, "J-2101")
    started = examples.ACTUAL | {"job": "J-2101", "ended": None, "good_m": None, "versions": []}
    assert small.asking(Role.PRESS).post("/api/v1/actuals/bulk", json={"items": [started]}).status_code == 200
    cancelled = change(small, "J-2101", "status", {"status": "cancelled", "reason": "taken back"})
    assert cancelled.status_code == 200, cancelled.text
    told = cancelled.json()
    assert told["job"]["status"] == "cancelled"
    assert told["affects"][0] == "it is running on H1"
    assert told["affects"][1].startswith("sequence ")
    assert small.asking().get("/api/v1/jobs/J-2101").json()["running_on"] == ["H1"]
    open_jobs = small.asking().get("/api/v1/readiness", params=START).json()["jobs"]
    assert "J-2101" not in [job["job"] for job in open_jobs]
    opened = change(small, "J-2101", "status", {"status": "open"}, 2)
    assert opened.json()["job"]["status"] == "open"


def test_a_change_of_status_names_the_version_that_was_read(small: Served) -> None:
    problem(change(small, "J-2101", "status", {"status": "cancelled"}, 4), 412, "version")
    problem(change(small, "J-0", "status", {"status": "cancelled"}), 404, "not-found")


def test_bulk_posts_say_what_is_planned_of_the_jobs_they_change(small: Served) -> None:
    sequence = kept(small, "J-2101")
    stored = small.asking().get("/api/v1/jobs/J-2101").json()["item"]
    items = [stored | {"customer": "Another", "revision": 9}, examples.JOB | {"job": "J-new", "revision": 1}]
    outcomes = small.asking().post("/api/v1/jobs/bulk", json={"items": items}).json()["outcomes"]
    assert sequence in outcomes[0]["affects"][0]
    assert outcomes[1]["affects"] == []


def test_readiness_tells_every_open_job_and_what_the_store_must_give(small: Served) -> None:
    strange = examples.JOB | {"job": "J-9", "die": "D-NEW"}
    small.asking().post("/api/v1/jobs", json=strange)
    told = small.asking(Role.INTEGRATION).get("/api/v1/readiness", params=START).json()
    assert [job["job"] for job in told["jobs"]] == ["J-2101", "J-2102", "J-2103", "J-2104", "J-9"]
    assert told["jobs"][4]["left_out"] == ["die D-NEW is not known"]
    assert {stock["substrate"] for stock in told["stocks"]} == {"PAPER-80", "PP-W60"}
    one = small.asking().get("/api/v1/jobs/J-9/readiness", params=START)
    assert one.json() == told["jobs"][4]
    named = small.asking().get("/api/v1/readiness", params=START | {"job": ["J-9", "J-2102"]}).json()
    assert [job["job"] for job in named["jobs"]] == ["J-9", "J-2102"]
    told = problem(small.asking().get("/api/v1/readiness", params={"job": "J-0"}), 422, "fields")
    assert places(told) == ["jobs"]


def test_a_time_in_an_address_needs_an_offset(small: Served) -> None:
    told = problem(
        small.asking().get("/api/v1/readiness", params={"start": "2027-03-01T06:00"}), 422, "fields"
    )
    assert places(told) == ["query.start"]


def test_jobs_are_filtered_sorted_and_searched(small: Served) -> None:
    client = small.asking()
    customers = {job["item"]["customer"] for job in client.get("/api/v1/jobs").json()["items"]}
    assert len(customers) > 1
    by_due = client.get("/api/v1/jobs", params={"sort": "due"}).json()["items"]
    dues = [job["item"]["due"] for job in by_due]
    assert dues == sorted(dues)
    substrate = client.get("/api/v1/jobs", params={"substrate": "PP-W60"}).json()["items"]
    assert {job["item"]["substrate"] for job in substrate} == {"PP-W60"}
    customer = min(customers)
    found = client.get("/api/v1/jobs", params={"search": customer[:5].upper()}).json()["items"]
    assert customer in {job["item"]["customer"] for job in found}
    assert client.get("/api/v1/jobs", params={"status": "cancelled"}).json()["items"] == []
