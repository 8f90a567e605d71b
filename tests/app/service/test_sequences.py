"""Orders made by hand over HTTP: costed, compared and kept as what the account makes of them."""

from __future__ import annotations

from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import Goal
from app.intake.findings import Findings
from app.intake.jobs_file import read_jobs
from app.security import Role
from app.services import planning
from app.translation.solving import Question
from tests.app.service.served import SAMPLES, Served, places, problem
from tests.app.service.test_jobs import START, kept, order

JOBS = ("J-2101", "J-2103", "J-2104", "J-2102")
SMALL = SAMPLES / "small"


def test_a_costed_order_is_what_the_account_says(small: Served) -> None:
    asked = {**order(*JOBS), **START}
    told = small.asking(Role.INTEGRATION).post("/api/v1/sequences/cost", json=asked)
    assert told.status_code == 200, told.text
    plant = Plant.model_validate_json((SMALL / "plant.json").read_text(encoding="utf-8"))
    jobs = read_jobs(SMALL / "jobs.csv", plant, Findings())
    lines = (LineOrder(line="H1", runs=tuple(OrderedRun(job=job) for job in JOBS)),)
    start = plant.site.plan_from
    assert start is not None
    expected = planning.cost(Question(plant, jobs, start), RunOrder(lines=lines), Goal.BALANCED).sequence
    costed = told.json()
    assert costed["cost"]["total_eur"] == float(expected.cost.total_eur)
    assert costed["totals"]["waste_m"] == float(expected.totals.waste_m)
    assert [run["job"] for run in costed["runs"]] == list(JOBS)
    assert costed["runs"][-1]["end"] == expected.lines[0].runs[-1].end.isoformat()


def test_orders_are_compared_with_kept_ones(small: Served) -> None:
    sequence = kept(small, *JOBS)
    asked = {
        "orders": [{"name": "turned", **order(*JOBS[::-1])}],
        "sequences": [sequence],
        **START,
    }
    told = small.asking(Role.INTEGRATION).post("/api/v1/sequences/compare", json=asked)
    assert told.status_code == 200, told.text
    first, second = told.json()["orders"]
    assert [first["name"], second["name"]] == ["turned", sequence]
    difference = second["cost"]["total_eur"] - first["cost"]["total_eur"]
    assert abs(second["more"]["total_eur"] - difference) < 1e-6


def test_what_is_wrong_with_an_order_is_told_at_once(small: Served) -> None:
    asked = {"lines": [{"line": "H9", "runs": [{"job": "J-2101"}]}, {"line": "H1", "runs": [{"job": "J-0"}]}]}
    told = problem(small.asking().post("/api/v1/sequences/cost", json=asked), 422, "fields")
    assert "job" in places(told)


def test_a_line_that_is_not_there_is_told_even_where_nothing_runs_on_it(small: Served) -> None:
    asked = {"lines": [{"line": "H9", "runs": []}], **START}
    told = problem(small.asking().post("/api/v1/sequences/cost", json=asked), 422, "fields")
    assert "H9" in str(told["errors"])


def test_a_job_that_cannot_run_yet_is_not_costed(small: Served) -> None:
    stored = small.asking().get("/api/v1/jobs/J-2101").json()["item"]
    small.asking().post("/api/v1/jobs", json=stored | {"job": "J-9", "die": "D-NEW"})
    told = problem(
        small.asking().post("/api/v1/sequences/cost", json={**order("J-9"), **START}), 422, "fields"
    )
    assert told["errors"][0]["right"] == "cannot run yet: die D-NEW is not known"
    assert told["errors"][0]["value"] == "J-9"


def test_times_of_locks_need_an_offset(small: Served) -> None:
    lock = {"lock": "fixed-start", "job": "J-2101", "at": "2027-03-01T09:00"}
    asked = {**order("J-2101"), **START, "locks": [lock]}
    told = problem(small.asking().post("/api/v1/sequences/cost", json=asked), 422, "fields")
    assert places(told) == ["locks[0].at"]


def test_a_lock_on_a_job_that_is_not_there_is_told(small: Served) -> None:
    asked = {**order("J-2101"), "locks": [{"lock": "on-line", "job": "J-2102", "line": "H1"}]}
    told = problem(small.asking().post("/api/v1/sequences/cost", json=asked), 422, "fields")
    assert places(told) == ["locks[0].job"]


def test_a_kept_sequence_is_listed_read_and_removed(small: Served) -> None:
    sequence = kept(small, *JOBS, name="the first")
    client = small.asking(Role.SCHEDULER)
    [listed] = client.get("/api/v1/sequences").json()["items"]
    head = listed["item"]
    assert (head["id"], head["name"], head["jobs"]) == (sequence, "the first", 4)
    whole = client.get(f"/api/v1/sequences/{sequence}").json()
    assert whole["item"] == head
    assert whole["plan"]["sequence"]["cost"]["total_eur"] == head["total_eur"]
    assert not whole["out_of_date"]
    line = client.get(f"/api/v1/sequences/{sequence}/lines/H1").json()
    assert [run["job"] for run in line["runs"]] == list(JOBS)
    problem(client.get(f"/api/v1/sequences/{sequence}/lines/H9"), 404, "not-found")
    assert client.delete(f"/api/v1/sequences/{sequence}").status_code == 204
    problem(client.get(f"/api/v1/sequences/{sequence}"), 404, "not-found")
    assert small.asking().get("/api/v1/jobs/J-2101").json()["planned"] == []


def test_a_kept_sequence_tells_that_a_job_has_changed_since(small: Served) -> None:
    sequence = kept(small, "J-2101", "J-2103")
    client = small.asking()
    other = client.get("/api/v1/jobs/J-2102").json()["item"]
    client.post("/api/v1/jobs/bulk", json={"items": [other | {"customer": "New"}]})
    assert not client.get(f"/api/v1/sequences/{sequence}").json()["out_of_date"]
    mine = client.get("/api/v1/jobs/J-2101").json()["item"]
    client.post("/api/v1/jobs/bulk", json={"items": [mine | {"customer": "New"}]})
    assert client.get(f"/api/v1/sequences/{sequence}").json()["out_of_date"]


def test_the_papers_of_a_kept_sequence_are_those_of_the_day_it_was_kept(small: Served) -> None:
    sequence = kept(small, *JOBS)
    client = small.asking()
    before = client.get(f"/api/v1/sequences/{sequence}/ledger")
    assert before.status_code == 200, before.text
    mine = client.get("/api/v1/jobs/J-2101").json()["item"]
    versions = [version | {"quantity": 10 * version["quantity"]} for version in mine["versions"]]
    client.post("/api/v1/jobs/bulk", json={"items": [mine | {"versions": versions}]})
    assert client.get(f"/api/v1/sequences/{sequence}/ledger").json() == before.json()
    sheets = client.get(f"/api/v1/sequences/{sequence}/lines/H1/run-sheets").json()["sheets"]
    assert [run["job"] for sheet in sheets for run in sheet["runs"]] == list(JOBS)


def test_a_kept_sequence_is_drawn_with_its_lines(small: Served) -> None:
    sequence = kept(small, *JOBS)
    client = small.asking(Role.INTEGRATION)
    for drawn in ("drawings/time", "drawings/cost", "lines/H1/drawings/time", "lines/H1/drawings/web"):
        told = client.get(f"/api/v1/sequences/{sequence}/{drawn}")
        assert told.status_code == 200, told.text
        assert told.headers["content-type"] == "image/svg+xml"
        assert told.text.startswith("<svg ")
        if "cost" not in drawn:
            assert all(job in told.text for job in JOBS)
    assert "Nothing runs on line P1" in client.get(f"/api/v1/sequences/{sequence}/lines/P1/drawings/web").text
    problem(client.get(f"/api/v1/sequences/{sequence}/lines/H9/drawings/web"), 404, "not-found")
    problem(client.get("/api/v1/sequences/nobody/drawings/cost"), 404, "not-found")


def test_a_sequence_posted_twice_is_kept_once(small: Served) -> None:
    client = small.asking(Role.SCHEDULER)
    asked = {"name": "once", **order("J-2101"), **START}
    key = {"Idempotency-Key": "keep-1"}
    first = client.post("/api/v1/sequences", json=asked, headers=key)
    second = client.post("/api/v1/sequences", json=asked, headers=key)
    assert first.json() == second.json()
    assert len(client.get("/api/v1/sequences").json()["items"]) == 1


def test_a_system_may_cost_and_not_keep(small: Served) -> None:
    client = small.asking(Role.INTEGRATION)
    asked = {"name": "mine", **order("J-2101"), **START}
    problem(client.post("/api/v1/sequences", json=asked), 403, "role")


def test_a_sequence_that_is_not_kept_is_named_where_it_is_to_be_compared(small: Served) -> None:
    asked = {"orders": [{"name": "one", **order("J-2101")}], "sequences": ["nobody's"], **START}
    told = problem(small.asking().post("/api/v1/sequences/compare", json=asked), 422, "fields")
    assert places(told) == ["sequences[0]"]
