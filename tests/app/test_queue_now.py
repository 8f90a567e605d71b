"""A stored queue from a time on: what cannot be planned yet stands aside, with its reasons."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.contracts.jobs import Job
from app.contracts.orders import LeftOutLot, LineOrder, OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import Goal
from app.intake.findings import Findings
from app.intake.jobs_file import read_jobs
from app.services import planning
from app.services.queue_now import plant_at, queue_now

SMALL = Path(__file__).parents[2] / "sample_data" / "small"
BEGINS = datetime(2027, 3, 1, 5, tzinfo=UTC)


@pytest.fixture
def plant() -> Plant:
    return Plant.model_validate_json((SMALL / "plant.json").read_text(encoding="utf-8"))


@pytest.fixture
def jobs(plant: Plant) -> tuple[Job, ...]:
    return read_jobs(SMALL / "jobs.csv", plant, Findings())


def with_rolls(plant: Plant, *rolls: dict[str, Any], threaded: str | None = None) -> Plant:
    document = plant.model_dump(by_alias=True, mode="json")
    substrate = document["substrates"][0]
    substrate["widths"] = [
        substrate["widths"][-1] | {"on_hand_m": None, "deliveries": [], "rolls": list(rolls)}
    ]
    width = substrate["widths"][0]["width_mm"]
    document["lines"][0]["present"] = {} if threaded is None else {"substrate": threaded, "width_mm": width}
    return Plant.model_validate(document)


def test_a_job_whose_die_is_not_there_waits_and_the_others_are_planned(
    plant: Plant, jobs: tuple[Job, ...]
) -> None:
    strange = jobs[1].model_copy(update={"die": "D-NEW"})
    queue = queue_now(plant, [jobs[0], strange, *jobs[2:]], BEGINS)
    assert queue.waiting == {strange.job: ("die D-NEW is not known",)}
    assert [job.job for job in queue.question.jobs] == [job.job for job in jobs if job.job != strange.job]
    readiness = queue.readiness()
    assert [job.job for job in readiness.jobs] == [job.job for job in jobs]
    waits = readiness.jobs[1]
    assert not waits.can_run
    assert waits.left_out == ("die D-NEW is not known",)
    assert waits.lines == ()


def test_a_waiting_job_still_tells_when_its_plates_are_there(plant: Plant, jobs: tuple[Job, ...]) -> None:
    later = BEGINS + timedelta(hours=3)
    strange = jobs[0].model_copy(update={"die": "D-NEW", "ready": later})
    assert queue_now(plant, [strange], BEGINS).readiness().jobs[0].not_ready_until == later


def test_the_inkjet_need_not_be_named_where_colours_are(plant: Plant, jobs: tuple[Job, ...]) -> None:
    plain = [
        job.model_copy(
            update={"finishes": tuple(g for g in job.finishes if [layer.kind for layer in g] != ["inkjet"])}
        )
        for job in jobs
    ]
    assert any(before.finishes != after.finishes for before, after in zip(jobs, plain, strict=True))
    assert [tuple(job.finishes) for job in queue_now(plant, plain, BEGINS).question.jobs] == [
        tuple(job.finishes) for job in jobs
    ]


def test_a_roll_that_is_out_of_date_is_not_taken_and_leaves_no_endless_stock(
    plant: Plant, jobs: tuple[Job, ...]
) -> None:
    old = {"id": "R-1", "length_m": 5000, "best_before": "2027-02-01T00:00+00:00"}
    queue = queue_now(with_rolls(plant, old), jobs, BEGINS)
    stocked = queue.question.plant.substrates[0].widths[0]
    assert stocked.rolls == ()
    assert stocked.on_hand_m == Decimal(0)
    assert queue.notes == (
        f"Roll R-1 of {plant.substrates[0].code} is out of date when the plan begins and is not taken.",
    )
    planned = planning.plan(queue.question, Goal.BALANCED, work=200)
    substrate = plant.substrates[0].code
    runs = [run.substrate for line in planned.sequence.lines for run in line.runs]
    assert runs
    assert substrate not in runs


def test_the_same_roll_is_taken_by_a_plan_that_begins_in_time(plant: Plant, jobs: tuple[Job, ...]) -> None:
    old = {"id": "R-1", "length_m": 5000, "best_before": "2027-02-01T00:00+00:00"}
    stocked = with_rolls(plant, old)
    queue = queue_now(stocked, jobs, datetime(2027, 1, 15, tzinfo=UTC))
    assert queue.question.plant == stocked
    assert queue.notes == ()


def test_a_roll_of_another_stock_than_is_threaded_comes_off_the_unwind(plant: Plant) -> None:
    line, other = plant.lines[0].id, plant.substrates[1].code
    stocked = with_rolls(plant, {"id": "R-1", "length_m": 5000, "on_unwind": line}, threaded=other)
    notes: list[str] = []
    assert plant_at(stocked, BEGINS, notes).substrates[0].widths[0].rolls[0].on_unwind is None
    assert notes == [f"Roll R-1 of {plant.substrates[0].code} cannot be on the unwind of {line} then."]


def test_an_order_names_its_jobs_once() -> None:
    order = RunOrder(
        lines=(LineOrder(line="H1", runs=(OrderedRun(job="B"), OrderedRun(job="A"), OrderedRun(job="B"))),),
        left_out=("C",),
        left_out_lots=(LeftOutLot(job="A", lot={"first_label": 1, "last_label": 2}),),  # type: ignore[arg-type]
    )
    assert order.job_names == ("B", "A", "C")
