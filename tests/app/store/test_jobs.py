"""Jobs are open until they are cancelled or finished."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from app.contracts.planning_requests import JobFilter
from app.contracts.posted_jobs import JobStatus, StatusChange
from app.contracts.stored import Done
from app.errors import NotStored, OlderRevision, VersionConflict
from app.store import audit, job_lookup, jobs, records
from app.store.kinds import JOBS
from app.store.listing import Query
from app.store.store import Store
from tests.app.store.things import ELSEWHERE, MIS, job

CANCELLED = JobStatus.CANCELLED
WHY = StatusChange(status=CANCELLED, reason="the customer said so", revision=4)


@pytest.fixture
def filled(store: Store) -> Store:
    """A store with jobs J-1 to J-3 here and J-4 elsewhere."""
    with store.writing(MIS) as work:
        records.upsert(work, JOBS, [job(f"J-{number}", revision=3) for number in (1, 2, 3)])
    with store.writing(ELSEWHERE) as work:
        records.upsert(work, JOBS, [job("J-4")])
    return store


def test_a_cancelled_job_is_kept_and_not_open(filled: Store) -> None:
    with filled.writing(MIS) as work:
        cancelled = jobs.change_status(work, "J-2", WHY, 1)
        assert (cancelled.status, cancelled.version, cancelled.item.revision) == (JobStatus.CANCELLED, 2, 4)
        assert cancelled.item == job("J-2", revision=4)
        assert [item.job for item in job_lookup.open_jobs(work, 9)] == ["J-1", "J-3"]
        assert jobs.read(work, "J-2") == cancelled


def test_cancelling_is_told_in_the_audit(filled: Store) -> None:
    with filled.writing(MIS) as work:
        jobs.change_status(work, "J-2", WHY)
        entry = audit.entries(work, Query(filters={"resource": "jobs"})).items[0]
    assert entry.action == "cancelled"
    assert entry.before is not None
    assert entry.after is not None
    assert (entry.before["status"], entry.after["status"]) == ("open", "cancelled")
    assert entry.after["cancel_reason"] == "the customer said so"


def test_cancelling_once_more_changes_nothing(filled: Store) -> None:
    with filled.writing(MIS) as work:
        once = jobs.change_status(work, "J-2", WHY)
        assert jobs.change_status(work, "J-2", WHY) == once
        assert jobs.change_status(work, "J-2", StatusChange(status=CANCELLED, reason=WHY.reason)) == once


def test_a_cancellation_older_than_the_job_is_refused(filled: Store) -> None:
    with pytest.raises(OlderRevision, match="should be above 3"), filled.writing(MIS) as work:
        jobs.change_status(work, "J-2", StatusChange(status=CANCELLED, revision=2))
    with pytest.raises(VersionConflict), filled.writing(MIS) as work:
        jobs.change_status(work, "J-2", WHY, 9)
    with pytest.raises(NotStored), filled.writing(MIS) as work:
        jobs.change_status(work, "J-4", WHY)


def test_a_job_that_is_posted_anew_stays_cancelled_until_it_is_opened(filled: Store) -> None:
    with filled.writing(MIS) as work:
        jobs.change_status(work, "J-2", WHY)
        (outcome,) = records.upsert(work, JOBS, [job("J-2", revision=5, quantity=1)])
        assert outcome.done is Done.UPDATED
        found = jobs.read(work, "J-2")
        assert found is not None
        assert found.status is JobStatus.CANCELLED
        assert jobs.change_status(work, "J-2", StatusChange(status=JobStatus.OPEN)).status is JobStatus.OPEN
        entry = audit.entries(work, Query(filters={"resource": "jobs"})).items[1]
    assert entry.after is not None
    assert entry.after["status"] == "cancelled"


def test_jobs_are_found_by_number_whatever_their_status(filled: Store) -> None:
    with filled.writing(MIS) as work:
        jobs.change_status(work, "J-3", WHY)
        asked = ["J-3", "J-1", "J-4", "J-9"]
        assert [item.job for item in job_lookup.by_number(work, asked)] == ["J-3", "J-1"]
        assert job_lookup.versions(work, asked) == {"J-3": 2, "J-1": 1}
        assert job_lookup.by_number(work, []) == ()


def test_so_many_open_jobs_are_told_at_most(filled: Store) -> None:
    with filled.reading("here") as view:
        assert [item.job for item in job_lookup.open_jobs(view, 2)] == ["J-1", "J-2"]


def test_of_the_open_jobs_those_are_told_that_are_meant(filled: Store) -> None:
    noon = datetime(2027, 3, 1, 12, tzinfo=UTC)
    with filled.writing(MIS) as work:
        records.upsert(
            work, JOBS, [job("J-5", due=noon, customer="Ébène", ready=noon), job("J-6", die="D-9")]
        )
        jobs.change_status(work, "J-6", WHY)

    def meant(**which: object) -> list[str]:
        with filled.reading("here") as view:
            found = job_lookup.open_jobs_meant(view, 9, JobFilter.model_validate(which))
        return [item.job for item in found]

    later = noon + timedelta(minutes=1)
    assert meant(customer="ÉBÈNE") == ["J-5"]
    assert "J-5" in meant(due_before=later)
    assert "J-5" not in meant(due_before=noon)
    assert meant(ready_before=noon) == ["J-1", "J-2", "J-3"]
    assert meant(ready_before=later) == ["J-1", "J-2", "J-3", "J-5"]
    assert meant(die="D-9") == []


def test_the_status_of_every_job_that_is_stored_is_told(filled: Store) -> None:
    with filled.writing(MIS) as work:
        jobs.change_status(work, "J-2", WHY)
        asked = ["J-2", "J-1", "J-4", "nobody's"]
        assert job_lookup.statuses(work, asked) == {"J-1": JobStatus.OPEN, "J-2": CANCELLED}
