"""Things are stored under their keys: once, in order of their revisions, all or each."""

from __future__ import annotations

import pytest
from sqlalchemy import text

from app.contracts.posted_jobs import JobStatus, PostedJob, StoredJob
from app.contracts.stored import Done, Outcome
from app.errors import NotStored, OlderRevision, VersionConflict
from app.store import records
from app.store.kinds import DIES, JOBS, ROLLS
from app.store.store import Store
from tests.app.store.things import ANN, ELSEWHERE, MIS, NOON, job, jobs, roll


def post(store: Store, *items: PostedJob, each: bool = False) -> list[Outcome]:
    with store.writing(MIS) as work:
        return records.upsert(work, JOBS, items, each=each)


def read(store: Store, number: str = "J-1") -> StoredJob | None:
    with store.reading("here") as view:
        found = records.read(view, JOBS, number)
    assert found is None or isinstance(found, StoredJob)
    return found


def test_a_job_comes_back_as_it_was_posted(store: Store) -> None:
    posted = job(revision=3)
    (outcome,) = post(store, posted)
    assert outcome == Outcome(key="J-1", done=Done.CREATED, version=1)
    found = read(store)
    assert found is not None
    assert found.item == posted
    assert (found.version, found.status) == (1, JobStatus.OPEN)
    assert found.updated_at > NOON


def test_a_thing_that_is_not_there_is_none(store: Store) -> None:
    assert read(store, "J-9") is None


def test_a_newer_revision_changes_a_job_and_its_versions(store: Store) -> None:
    post(store, job(revision=1), job("J-2", revision=1))
    newer = job(revision=2, quantity=9000, versions=[{"version": "C", "quantity": 1}])
    (outcome,) = post(store, newer)
    assert (outcome.done, outcome.version) == (Done.UPDATED, 2)
    found, other = read(store), read(store, "J-2")
    assert found is not None
    assert other is not None
    assert found.item == newer
    assert other.item == job("J-2", revision=1)


def test_an_older_revision_is_refused_with_what_is_stored(store: Store) -> None:
    post(store, job(revision=5))
    with pytest.raises(OlderRevision) as refused:
        post(store, job("J-2"), job(revision=3))
    (fault,) = refused.value.faults
    assert (fault.field, fault.value) == ("items[1].revision", "3")
    assert fault.right == "should be above 5, which is stored: revision 3 is older"
    assert read(store, "J-2") is None


def test_each_item_is_taken_or_refused_by_itself_where_that_is_asked(store: Store) -> None:
    post(store, job(revision=5))
    outcomes = post(store, job("J-2"), job(revision=3), job("J-3"), each=True)
    assert [outcome.done for outcome in outcomes] == [Done.CREATED, Done.REFUSED, Done.CREATED]
    assert outcomes[1].errors[0].right.startswith("should be above 5")
    assert outcomes[1].version == 1
    assert read(store, "J-3") is not None


def test_the_same_revision_changes_nothing(store: Store) -> None:
    post(store, job(revision=5))
    (same,) = post(store, job(revision=5))
    (other,) = post(store, job(revision=5, quantity=1))
    assert (same.done, same.version, same.note) == (Done.UNCHANGED, 1, None)
    assert other.done is Done.UNCHANGED
    assert other.note == "revision 5 is stored with another content, which was kept"
    found = read(store)
    assert found is not None
    assert found.item == job(revision=5)


def test_without_a_revision_a_change_is_always_taken_and_the_stored_one_stays(store: Store) -> None:
    post(store, job(revision=5))
    (changed,) = post(store, job(quantity=1))
    assert changed.done is Done.UPDATED
    found = read(store)
    assert found is not None
    assert found.item == job(quantity=1, revision=5)
    (again,) = post(store, job(quantity=1))
    assert again.done is Done.UNCHANGED


def test_the_same_moment_at_another_offset_is_no_change(store: Store) -> None:
    post(store, job(due="2027-03-05T12:00:00+01:00"))
    (again,) = post(store, job(due="2027-03-05T11:00:00Z"))
    assert again.done is Done.UNCHANGED


def test_a_key_sent_twice_is_refused_the_second_time(store: Store) -> None:
    with pytest.raises(OlderRevision, match=r"items\[2\].job “J-1”: should be sent once"):
        post(store, job(), job("J-2"), job(quantity=2))
    outcomes = post(store, job(), job("J-2"), job(quantity=2), each=True)
    assert [outcome.done for outcome in outcomes] == [Done.CREATED, Done.CREATED, Done.REFUSED]


def test_thousands_come_and_are_changed_in_one_call(store: Store) -> None:
    many = jobs(range(1100), revision=1)
    assert {outcome.done for outcome in post(store, *many)} == {Done.CREATED}
    outcomes = post(store, *jobs(range(600, 1300), revision=2, quantity=8))
    assert [outcome.done for outcome in outcomes] == [Done.UPDATED] * 500 + [Done.CREATED] * 200
    with store.reading("here") as view:
        found = {item.job: item for item in records.read_all(view, JOBS)}
    assert len(found) == 1300
    assert found["J-0599"] == job("J-0599", revision=1)
    assert found["J-0600"] == job("J-0600", revision=2, quantity=8)


def test_nothing_is_written_where_an_exception_ends_the_transaction(store: Store) -> None:
    def fail_after_writing() -> None:
        with store.writing(MIS) as work:
            records.upsert(work, JOBS, [job()])
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_after_writing()
    assert read(store) is None


def test_plants_do_not_see_each_other(store: Store) -> None:
    post(store, job(quantity=1))
    with store.writing(ELSEWHERE) as work:
        assert records.read(work, JOBS, "J-1") is None
        (outcome,) = records.upsert(work, JOBS, [job(quantity=2)])
        assert outcome.done is Done.CREATED
        with pytest.raises(NotStored):
            records.remove(work, JOBS, "J-2")
    found = read(store)
    assert found is not None
    assert found.item.versions[0].quantity == 1
    with store.writing(ELSEWHERE) as work:
        records.remove(work, JOBS, "J-1")
    assert read(store) is not None


def test_a_plant_that_is_not_there_has_nothing(store: Store) -> None:
    with pytest.raises(NotStored, match="plants has no “nowhere”"), store.reading("nowhere") as view:
        records.read(view, JOBS, "J-1")


def test_an_edit_needs_the_version_that_was_read(store: Store) -> None:
    with store.writing(ANN) as work:
        made = records.replace(work, ROLLS, roll(), None)
        changed = records.replace(work, ROLLS, roll(length_m=1000), made.version)
    assert (made.version, changed.version, changed.item) == (1, 2, roll(length_m=1000))
    with pytest.raises(VersionConflict) as refused, store.writing(ANN) as work:
        records.replace(work, ROLLS, roll(length_m=1), 1)
    assert (refused.value.asked, refused.value.current) == (1, 2)
    with pytest.raises(VersionConflict, match="is there already, at version 2"), store.writing(ANN) as work:
        records.replace(work, ROLLS, roll(length_m=1), None)
    with pytest.raises(VersionConflict, match="is not there"), store.writing(ANN) as work:
        records.replace(work, ROLLS, roll("R-2"), 1)


def test_an_edit_that_changes_nothing_keeps_the_version(store: Store) -> None:
    with store.writing(ANN) as work:
        records.replace(work, ROLLS, roll(), None)
        assert records.replace(work, ROLLS, roll(), 1).version == 1


def test_removing_needs_the_version_too_and_takes_the_parts_along(store: Store) -> None:
    post(store, job())
    with pytest.raises(VersionConflict), store.writing(ANN) as work:
        records.remove(work, JOBS, "J-1", 7)
    with store.writing(ANN) as work:
        records.remove(work, JOBS, "J-1", 1)
        assert work.connection.execute(text("SELECT count(*) FROM job_versions")).scalar_one() == 0
    assert read(store) is None
    with pytest.raises(NotStored, match="jobs has no “J-1”"), store.writing(ANN) as work:
        records.remove(work, JOBS, "J-1")


def test_what_is_sent_is_all_there_is_where_that_is_asked(store: Store) -> None:
    with store.writing(ANN) as work:
        records.upsert(work, ROLLS, [roll("R-1"), roll("R-2"), roll("R-3")])
        records.make_so(work, ROLLS, [roll("R-2", length_m=5), roll("R-4")])
    with store.reading("here") as view:
        found = records.read_all(view, ROLLS)
    assert found == [roll("R-2", length_m=5), roll("R-4")]


def test_a_change_of_stock_or_tools_raises_the_set_up_once_a_transaction(store: Store) -> None:
    def setup() -> int:
        with store.reading("here") as view:
            found: int = view.connection.execute(
                text("SELECT setup_version FROM plants WHERE name = 'here'")
            ).scalar_one()
            return found

    before = setup()
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll("R-1"), roll("R-2")])
        records.upsert(work, ROLLS, [roll("R-3")])
    assert setup() == before + 1
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll("R-3")])
        records.upsert(work, JOBS, [job()])
    assert setup() == before + 1
    with store.writing(MIS) as work:
        records.remove(work, DIES, "D-101")
    assert setup() == before + 2
