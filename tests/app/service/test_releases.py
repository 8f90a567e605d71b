"""Sequences given to the floor over HTTP: who may, what speaks against it, and what lines and jobs tell."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from app.contracts.locks import jobs_of
from app.contracts.webhooks import EventType, Webhook
from app.security import Role
from app.store import requests, webhooks
from app.store.engine import SQLITE
from app.store.store import Actor
from tests.app.service.served import Served, places, problem
from tests.app.service.test_announcements import told as messages
from tests.app.service.test_jobs import START, change, kept

JOBS = ("J-2101", "J-2103", "J-2104", "J-2102")
SQLITE_ALONE = pytest.mark.parametrize("database", [SQLITE], indirect=True)
"""What the store makes of it is tried on both databases by its own tests."""


def released(small: Served, sequence: str, *lines: str, **other: Any) -> dict[str, Any]:
    """Release a sequence; the answer."""
    made = ask(small, sequence, *lines, **other)
    assert made.status_code == 201, made.text
    told: dict[str, Any] = made.json()
    return told


def ask(small: Served, sequence: str, *lines: str, **other: Any) -> Any:
    asked = {"sequence": sequence, "lines": lines, "note": "for Monday", **other}
    return small.asking(Role.SUPERVISOR).post("/api/v1/releases", json=asked)


def kept_on(small: Served, **runs: tuple[str, ...]) -> str:
    """Keep an order of the sample on several lines."""
    lines = [{"line": line, "runs": [{"job": job} for job in jobs]} for line, jobs in runs.items()]
    made = small.asking().post("/api/v1/sequences", json={"name": "by hand", "lines": lines, **START})
    assert made.status_code == 201, made.text
    sequence: str = made.json()["item"]["id"]
    return sequence


def told(refused: Any) -> list[str]:
    """Why a release was refused."""
    return [error["right"] for error in problem(refused, 409, "conflict")["errors"]]


def made(job: str, number: str = "A-1", line: str = "H1", **other: Any) -> dict[str, Any]:
    """An actual as it is posted."""
    times = {"started": "2027-03-01T06:10:00+01:00", "ended": "2027-03-01T06:40:00+01:00"}
    return {"id": number, "line": line, "job": job, **times, **other}


def post_actual(small: Served, **actual: Any) -> None:
    sent = small.asking().post("/api/v1/actuals/bulk", json={"items": [actual]})
    assert sent.status_code == 200, sent.text


def test_a_line_runs_what_was_released_last(small: Served) -> None:
    first, second = kept(small, *JOBS), kept(small, *JOBS[::-1])
    before = released(small, first)
    assert [line["line"] for line in before["lines"]] == ["H1"]
    after = released(small, second, note="foil first")
    client = small.asking(Role.INTEGRATION)
    line = client.get("/api/v1/lines/H1/release").json()
    assert (line["release"], line["sequence"], line["note"]) == (after["id"], second, "foil first")
    assert [run["job"] for run in line["runs"]["runs"]] == list(JOBS[::-1])
    assert line["runs"] == client.get(f"/api/v1/sequences/{second}/lines/H1").json()
    [superseded] = client.get(f"/api/v1/releases/{before['id']}").json()["lines"]
    assert not superseded["current"]
    assert superseded["superseded_by"] == after["id"]
    problem(client.get("/api/v1/lines/P1/release"), 404, "not-found")
    problem(client.get("/api/v1/lines/X9/release"), 404, "not-found")


@SQLITE_ALONE
def test_run_sheets_of_a_line_are_those_of_its_release(small: Served) -> None:
    sequence = kept(small, *JOBS)
    released(small, sequence)
    client = small.asking(Role.PRESS)
    sheets = client.get("/api/v1/lines/H1/release/run-sheets")
    assert sheets.status_code == 200, sheets.text
    assert sheets.json() == small.asking().get(f"/api/v1/sequences/{sequence}/lines/H1/run-sheets").json()
    known = {"If-None-Match": sheets.headers["etag"]}
    assert client.get("/api/v1/lines/H1/release/run-sheets", headers=known).status_code == 304


@SQLITE_ALONE
def test_a_line_screen_that_knows_the_release_is_told_so_until_there_is_another(small: Served) -> None:
    sequence = kept(small, *JOBS)
    released(small, sequence)
    screen = small.asking(Role.PRESS)
    first = screen.get("/api/v1/lines/H1/release")
    known = {"If-None-Match": first.headers["etag"]}
    assert screen.get("/api/v1/lines/H1/release", headers=known).status_code == 304
    released(small, sequence)
    assert screen.get("/api/v1/lines/H1/release", headers=known).status_code == 200


@SQLITE_ALONE
def test_a_line_screen_reads_its_own_line_alone(small: Served) -> None:
    both = kept_on(small, H1=("J-2101", "J-2102"), P1=("J-2104",))
    release = released(small, both)
    screen = small.asking(Role.PRESS)
    told = screen.get("/api/v1/lines/H1/release").json()
    assert "P1" not in str(told)
    for path in ("lines/P1/release", "lines/P1/release/run-sheets"):
        problem(screen.get(f"/api/v1/{path}"), 403, "role")
    for path in ("releases", f"releases/{release['id']}"):
        problem(screen.get(f"/api/v1/{path}"), 403, "role")


@SQLITE_ALONE
def test_a_line_screen_is_told_what_spoke_against_runs_of_its_own_line(small: Served) -> None:
    released(small, kept_on(small, P1=("J-2104",)))
    sequence = kept_on(small, H1=("J-2101", "J-2104"))
    change(small, "J-2101", "status", {"status": "cancelled"})
    release = released(small, sequence, "H1", despite_changes=True)
    assert [each["kind"] for each in release["despite"]] == ["job-cancelled", "on-another-line"]
    despite = small.asking(Role.PRESS).get("/api/v1/lines/H1/release").json()["despite"]
    assert [each["told"] for each in despite] == ["J-2101 is cancelled"]


@SQLITE_ALONE
@pytest.mark.parametrize("role", [Role.INTEGRATION, Role.SCHEDULER, Role.PRESS])
def test_only_a_supervisor_releases_and_withdraws(small: Served, role: Role) -> None:
    body = {"sequence": "nobody's", "note": "why"}
    problem(small.asking(role).post("/api/v1/releases", json=body), 403, "role")
    problem(small.asking(role).post("/api/v1/releases/R/withdrawal", json={"note": "why"}), 403, "role")


@SQLITE_ALONE
def test_what_a_release_names_is_there(small: Served) -> None:
    sequence = kept(small, *JOBS)
    assert places(problem(ask(small, "nobody's"), 422, "fields")) == ["sequence"]
    assert places(problem(ask(small, sequence, "H1", "X9"), 422, "fields")) == ["lines[1]"]
    assert places(problem(ask(small, sequence, "H1", "H1"), 422, "fields")) == ["lines"]
    assert places(problem(ask(small, sequence, note=""), 422, "fields")) == ["note"]
    other = small.asking(Role.SUPERVISOR, "other")
    body = {"sequence": sequence, "note": "ours"}
    assert places(problem(other.post("/api/v1/releases", json=body), 422, "fields")) == ["sequence"]


def test_a_release_sent_twice_is_made_once(small: Served) -> None:
    asked = {"sequence": kept(small, *JOBS), "note": "once"}
    client, key = small.asking(Role.SUPERVISOR), {"Idempotency-Key": "release-1"}
    first = client.post("/api/v1/releases", json=asked, headers=key)
    second = client.post("/api/v1/releases", json=asked, headers=key)
    assert first.status_code == 201
    assert first.headers["location"] == f"/api/v1/releases/{first.json()['id']}"
    assert first.json() == second.json()
    assert len(client.get("/api/v1/releases").json()["items"]) == 1


def test_a_release_is_refused_with_everything_that_has_changed(small: Served) -> None:
    sequence = kept(small, *JOBS)
    client = small.asking()
    mine = client.get("/api/v1/jobs/J-2101").json()["item"]
    client.post("/api/v1/jobs/bulk", json={"items": [mine | {"due": "2027-03-01T15:00:00+01:00"}]})
    change(small, "J-2103", "status", {"status": "cancelled"})
    change(small, "J-2104", "status", {"status": "finished"})
    assert client.delete("/api/v1/jobs/J-2102", headers={"If-Match": '"1"'}).status_code == 204
    stock = client.get("/api/v1/substrates/PAPER-80").json()
    sent = client.put(
        "/api/v1/substrates/PAPER-80",
        json=stock["item"] | {"eur_per_m2": 0.5},
        headers={"If-Match": f'"{stock["version"]}"'},
    )
    assert sent.status_code == 200, sent.text
    expected = [
        "label stock PAPER-80 was changed",
        "J-2101 was changed: due",
        "J-2103 is cancelled",
        "J-2104 is finished",
        "J-2102 is not stored any more",
    ]
    assert told(ask(small, sequence)) == expected
    assert client.get("/api/v1/releases").json()["items"] == []
    release = released(small, sequence, despite_changes=True)
    assert [each["told"] for each in release["despite"]] == expected
    assert client.get(f"/api/v1/releases/{release['id']}").json() == release
    kinds = [each["kind"] for each in release["despite"]]
    assert kinds == ["plant-changed", "job-changed", "job-cancelled", "job-finished", "job-removed"]


@SQLITE_ALONE
def test_jobs_of_lines_that_are_not_released_and_jobs_sent_again_as_they_were_do_not_matter(
    small: Served,
) -> None:
    sequence = kept_on(small, H1=("J-2101", "J-2102"), P1=("J-2104",))
    client = small.asking()
    change(small, "J-2104", "status", {"status": "cancelled"})
    mine = client.get("/api/v1/jobs/J-2101").json()["item"]
    client.post("/api/v1/jobs/bulk", json={"items": [mine | {"revision": 7}]})
    assert client.get("/api/v1/jobs/J-2101").json()["version"] == 2
    assert told(ask(small, sequence)) == ["J-2104 is cancelled"]
    assert released(small, sequence, "H1")["despite"] == []


@SQLITE_ALONE
def test_a_job_that_has_run_since_speaks_against_a_release(small: Served) -> None:
    post_actual(small, **made("J-2103", "A-0"))
    sequence = kept(small, *JOBS)
    post_actual(small, **made("J-2101", "A-1"))
    assert told(ask(small, sequence)) == ["J-2101 has run on H1 since"]


@SQLITE_ALONE
def test_a_job_is_on_one_lines_release_alone_unless_told(small: Served) -> None:
    first = released(small, kept_on(small, H1=("J-2101",), P1=("J-2104",)))
    moved = kept_on(small, H1=("J-2101", "J-2104"))
    [why] = told(ask(small, moved))
    assert why.startswith(f"J-2104 is run 1 of P1 too, by release {first['id']}")
    both = released(small, moved, "H1", "P1")
    assert both["despite"] == []
    assert [(line["line"], line["runs"]) for line in both["lines"]] == [("H1", 2), ("P1", 0)]
    assert small.asking().get("/api/v1/lines/P1/release").json()["runs"]["runs"] == []


def test_a_job_tells_where_it_is_to_run(small: Served) -> None:
    sequence = kept(small, *JOBS)
    client = small.asking(Role.INTEGRATION)
    assert client.get("/api/v1/jobs/J-2103").json()["released"] == []
    release = released(small, sequence)
    [told] = client.get("/api/v1/jobs/J-2103").json()["released"]
    run = client.get(f"/api/v1/sequences/{sequence}/lines/H1").json()["runs"][1]
    assert (told["release"], told["sequence"]) == (release["id"], sequence)
    assert (told["line"], told["position"], told["lot"], told["late_min"]) == ("H1", 2, None, 0)
    assert told["press_due"] == "2027-03-01T06:30:00Z"
    for name in ("changeover_start", "print_start", "end"):
        assert told[name].removesuffix("Z")[14:] == run[name].removesuffix("+01:00")[14:]
    listed = client.get("/api/v1/jobs", params={"search": "J-2103"}).json()["items"]
    assert [job["released"] for job in listed] == [[told]]


def test_jobs_that_are_released_anew_are_listed_as_changed_and_keep_their_version(small: Served) -> None:
    client = small.asking(Role.INTEGRATION)
    released(small, kept(small, "J-2101", "J-2103"))
    stored = client.get("/api/v1/jobs/J-2101").json()
    since = {"changed_since": small.asking().get("/api/v1/jobs/J-2103").json()["updated_at"]}
    released(small, kept(small, "J-2102", "J-2103"), note="J-2101 later")
    changed = client.get("/api/v1/jobs", params=since | {"sort": "job"}).json()["items"]
    now = {job["item"]["job"]: (job["version"], len(job["released"])) for job in changed}
    assert now == {"J-2101": (1, 0), "J-2102": (1, 1), "J-2103": (1, 1)}
    assert client.get("/api/v1/jobs/J-2101").headers["etag"] == '"1"'
    assert client.get("/api/v1/jobs/J-2101").json()["updated_at"] > stored["updated_at"]


@SQLITE_ALONE
def test_a_withdrawn_release_is_run_nowhere_and_says_why(small: Served) -> None:
    release = released(small, kept_on(small, H1=("J-2101", "J-2102"), P1=("J-2104",)))
    client, path = small.asking(Role.SUPERVISOR), f"/api/v1/releases/{release['id']}/withdrawal"
    told = client.post(path, json={"note": "down until noon", "lines": ["H1"]})
    assert told.status_code == 200, told.text
    hybrid, plain = told.json()["lines"]
    assert (hybrid["current"], hybrid["withdrawn_by"]) == (False, "the supervisor")
    assert (hybrid["withdrawal_note"], plain["current"]) == ("down until noon", True)
    problem(client.get("/api/v1/lines/H1/release"), 404, "not-found")
    assert client.get("/api/v1/jobs/J-2101").json()["released"] == []
    problem(client.post(path, json={"note": "again", "lines": ["H1"]}), 409, "conflict")
    assert places(problem(client.post(path, json={"note": "?", "lines": ["X"]}), 422, "fields")) == [
        "lines[0]"
    ]
    assert client.post(path, json={"note": "all"}).status_code == 200
    problem(client.post(path, json={"note": "all"}), 409, "conflict")
    problem(client.post("/api/v1/releases/none/withdrawal", json={"note": "all"}), 404, "not-found")


@SQLITE_ALONE
def test_a_released_sequence_stays(small: Served) -> None:
    sequence = kept(small, *JOBS)
    release = released(small, sequence)
    client = small.asking()
    refused = problem(client.delete(f"/api/v1/sequences/{sequence}"), 409, "conflict")
    assert release["id"] in refused["detail"]


@SQLITE_ALONE
def test_releases_are_listed_by_line_and_by_whether_they_are_current(small: Served) -> None:
    sequence = kept_on(small, H1=("J-2101", "J-2102"), P1=("J-2104",))
    first, second = released(small, sequence), released(small, sequence, "H1")
    client = small.asking(Role.INTEGRATION)

    def listed(**asked: str) -> list[str]:
        return [each["id"] for each in client.get("/api/v1/releases", params=asked).json()["items"]]

    assert listed() == [second["id"], first["id"]]
    assert listed(line="P1") == [first["id"]]
    assert listed(line="H1", current="true") == [second["id"]]
    assert listed(line="H1", current="false") == [first["id"]]
    page = client.get("/api/v1/releases", params={"limit": "1"}).json()
    assert listed(limit="1", cursor=page["next_cursor"]) == [first["id"]]
    other_list = {"limit": "1", "cursor": page["next_cursor"], "line": "H1"}
    problem(client.get("/api/v1/releases", params=other_list), 422, "fields")


@SQLITE_ALONE
def test_a_planning_request_keeps_what_is_released(small: Served) -> None:
    released(small, kept(small, *JOBS))
    post_actual(small, **made("J-2101", ended=None))
    asked = {"start": "2027-03-01T06:15:00+01:00", "keep": {"frozen_min": 30}, "work": 10}
    told = small.asking(Role.SCHEDULER).post("/api/v1/planning-requests", json=asked)
    assert told.status_code == 201, told.text
    with small.shop.store.reading("main") as view:
        taken = requests.planning_input(view, told.json()["id"])
    assert taken.in_force is not None
    assert [run.job for line in taken.in_force.lines for run in line.runs] == list(JOBS)
    assert [(lock.lock, *(job for _, job in jobs_of(lock))) for lock in taken.locks] == [
        ("started", "J-2101"),
        ("on-line", "J-2103"),
        ("at-position", "J-2103"),
    ]


@pytest.fixture
def told_all(small: Served) -> Callable[[str], list[dict[str, Any]]]:
    """What a webhook that hears of everything is told of a type, since it was asked for last."""
    with small.shop.store.writing(Actor("tests", "main")) as work:
        every = Webhook(id="W-1", name="MIS", url="https://mis.example.com/", types=tuple(EventType))
        webhooks.create(work, every, "whsec_c2VjcmV0")
    heard: list[tuple[str, dict[str, Any]]] = []

    def of(event_type: str) -> list[dict[str, Any]]:
        heard.extend(messages(small))
        found = [data for told, data in heard if told == event_type]
        heard[:] = [(told, data) for told, data in heard if told != event_type]
        return found

    return of


def test_a_release_is_announced_line_by_line_and_every_job_that_it_moves(
    small: Served, told_all: Callable[[str], list[dict[str, Any]]]
) -> None:
    first = kept_on(small, H1=("J-2101", "J-2102"), P1=("J-2104",))
    release = released(small, first, note="Monday")
    lines = told_all("sequence.released")
    assert [(each["release"], each["line"], each["runs"]) for each in lines] == [
        (release["id"], "H1", 2),
        (release["id"], "P1", 1),
    ]
    assert (lines[0]["sequence"], lines[0]["note"], lines[0]["despite"]) == (first, "Monday", [])
    assert lines[0]["first_start"] == release["lines"][0]["first_start"]
    assert [(each["job"], each["from"], len(each["to"])) for each in told_all("job.retimed")] == [
        ("J-2101", [], 1),
        ("J-2102", [], 1),
        ("J-2104", [], 1),
    ]
    released(small, first)
    assert told_all("job.retimed") == []
    second = kept_on(small, H1=("J-2101", "J-2104"))
    released(small, second, "H1", "P1", note="P1 is down")
    moved = {each["job"]: each for each in told_all("job.retimed")}
    assert sorted(moved) == ["J-2102", "J-2104"]
    assert moved["J-2102"]["to"] == []
    assert [run["line"] for key in ("from", "to") for run in moved["J-2104"][key]] == ["P1", "H1"]
    assert moved["J-2104"]["to"] == small.asking().get("/api/v1/jobs/J-2104").json()["released"]


@SQLITE_ALONE
def test_jobs_that_end_late_or_nearly_so_are_announced_once(
    small: Served, told_all: Callable[[str], list[dict[str, Any]]]
) -> None:
    sequence = kept(small, *JOBS)
    released(small, sequence)
    at_risk = [(each["job"], each["late"], each["late_min"]) for each in told_all("job.at-risk")]
    assert at_risk == [("J-2102", False, 0), ("J-2103", False, 0)]
    released(small, sequence)
    assert told_all("job.at-risk") == []
    released(small, kept(small, "J-2102", "J-2101", "J-2104", "J-2103"))
    ((job, late, late_min),) = [
        (each["job"], each["late"], each["late_min"]) for each in told_all("job.at-risk")
    ]
    assert (job, late) == ("J-2103", True)
    assert late_min == small.asking().get("/api/v1/jobs/J-2103").json()["released"][0]["late_min"]


@SQLITE_ALONE
def test_a_withdrawal_tells_the_jobs_that_are_waited_for(
    small: Served, told_all: Callable[[str], list[dict[str, Any]]]
) -> None:
    release = released(small, kept(small, *JOBS))
    told_all("job.retimed")
    post_actual(small, **made("J-2101"))
    change(small, "J-2103", "status", {"status": "finished"})
    path = f"/api/v1/releases/{release['id']}/withdrawal"
    assert small.asking(Role.SUPERVISOR).post(path, json={"note": "down"}).status_code == 200
    assert [each["job"] for each in told_all("job.retimed")] == ["J-2102", "J-2104"]


@SQLITE_ALONE
def test_a_refused_release_announces_nothing(
    small: Served, told_all: Callable[[str], list[dict[str, Any]]]
) -> None:
    sequence = kept(small, *JOBS)
    change(small, "J-2101", "status", {"status": "cancelled"})
    assert told(ask(small, sequence)) == ["J-2101 is cancelled"]
    assert told_all("sequence.released") == []
