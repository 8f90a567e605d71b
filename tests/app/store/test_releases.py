"""A line has one current release; the ones before are kept, and with them their sequences."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest
from sqlalchemy import insert
from sqlalchemy.exc import IntegrityError

from app.contracts.releases import Objection, ObjectionKind, Release
from app.errors import Conflict, NotStored
from app.store import audit, jobs, records, releases, sequences
from app.store.kinds import JOBS
from app.store.listing import Query
from app.store.releases import LINES, NewRelease
from app.store.store import Actor, Store, Work
from tests.app.costed_plans import IN_ORDER
from tests.app.store.test_sequences import keep, plan
from tests.app.store.things import ANN, ELSEWHERE, MIS, job

BOB = Actor("Bob", plant="here", request_id="request-2")
CHANGED = Objection(
    kind=ObjectionKind.JOB_CHANGED, job="J-2101", lines=("H1",), told="J-2101 was changed: due"
)


def release(
    work: Work, sequence: str, number: str, *lines: str, despite: tuple[Objection, ...] = ()
) -> Release:
    """Release a kept sequence on lines."""
    pk = sequences.origin(work, sequence).pk
    return releases.keep(work, NewRelease(number, pk, lines or ("H1",), f"why {number}", despite))


@pytest.fixture
def kept(store: Store) -> Store:
    """A store with two sequences of one order."""
    with store.writing(ANN) as work:
        keep(work, "S-1")
        keep(work, "S-2", "Monday again")
    return store


def test_a_release_comes_back_whole(kept: Store) -> None:
    with kept.writing(ANN) as work:
        made = release(work, "S-1", "R-1", "H1", "P1", despite=(CHANGED,))
    with kept.reading("here") as view:
        assert releases.read(view, "R-1") == made
        with pytest.raises(NotStored):
            releases.read(view, "R-2")
    with kept.reading("elsewhere") as view, pytest.raises(NotStored):
        releases.read(view, "R-1")
    runs = plan().sequence.lines[0].runs
    hybrid, plain = made.lines
    assert (made.sequence, made.sequence_name, made.note) == ("S-1", "Monday", "why R-1")
    assert (made.released_by, made.despite) == ("Ann", (CHANGED,))
    assert (hybrid.line, hybrid.runs, hybrid.current) == ("H1", len(runs), True)
    assert (hybrid.first_start, hybrid.last_end) == (runs[0].changeover_start, runs[-1].end)
    assert (plain.line, plain.runs, plain.first_start, plain.current) == ("P1", 0, None, True)


def test_another_release_takes_the_place_of_the_one_before_on_its_lines_alone(kept: Store) -> None:
    with kept.writing(ANN) as work:
        release(work, "S-1", "R-1", "H1", "P1")
    with kept.writing(BOB) as work:
        release(work, "S-2", "R-2", "H1")
        before = releases.read(work, "R-1")
        assert before.current_lines == ("P1",)
        assert (before.lines[0].superseded_at, before.lines[0].superseded_by) == (work.at, "R-2")
        now = {each.line: (each.release, each.sequence, each.released_by) for each in releases.current(work)}
    assert now == {"H1": ("R-2", "S-2", "Bob"), "P1": ("R-1", "S-1", "Ann")}


def test_a_withdrawn_release_leaves_its_line_without_one(kept: Store) -> None:
    with kept.writing(ANN) as work:
        release(work, "S-1", "R-1", "H1", "P1")
    with kept.writing(BOB) as work:
        line = releases.withdraw(work, "R-1", ["H1"], "down").lines[0]
        assert (line.current, line.withdrawn_at, line.withdrawn_by, line.withdrawal_note) == (
            False,
            work.at,
            "Bob",
            "down",
        )
        assert line.superseded_at is None
        with pytest.raises(NotStored, match="current releases of lines"):
            releases.current_of(work, "H1")
        assert releases.current_of(work, "P1").release == "R-1"


def test_the_database_itself_refuses_a_second_current_release_of_a_line(kept: Store) -> None:
    with kept.writing(ANN) as work:
        release(work, "S-1", "R-1", "P1")
        release(work, "S-1", "R-2", "H1")
    second = {"release_pk": 1, "line": "H1", "plant_pk": 1, "position": 1, "runs": 0}
    with pytest.raises(IntegrityError), kept.writing(ANN) as work:
        work.connection.execute(insert(LINES).values(second))


def test_what_becomes_of_releases_is_in_the_audit(kept: Store) -> None:
    with kept.writing(ANN) as work:
        release(work, "S-1", "R-1")
    with kept.writing(BOB) as work:
        release(work, "S-2", "R-2")
        releases.withdraw(work, "R-2", ["H1"], "down")
        found = audit.entries(work, Query(filters={"resource": "releases"})).items
    told = [(entry.action, entry.key, entry.actor) for entry in found]
    assert told == [
        ("withdrawn", "R-2", "Bob"),
        ("updated", "R-1", "Bob"),
        ("created", "R-2", "Bob"),
        ("created", "R-1", "Ann"),
    ]
    superseded = found[1]
    assert superseded.before is not None
    assert superseded.after is not None
    assert superseded.before["lines"][0]["current"]
    assert superseded.after["lines"][0]["superseded_by"] == "R-2"
    assert found[0].after is not None
    assert found[0].after["lines"][0]["withdrawal_note"] == "down"


def test_a_sequence_that_was_ever_released_stays(kept: Store) -> None:
    with kept.writing(ANN) as work:
        release(work, "S-1", "R-1")
        release(work, "S-2", "R-2")
    for number, by in (("S-1", "R-1"), ("S-2", "R-2")):
        with pytest.raises(Conflict, match=f"by release {by}"), kept.writing(ANN) as work:
            sequences.remove(work, number)
    with kept.writing(ANN) as work:
        keep(work, "S-3")
        sequences.remove(work, "S-3")


def test_releases_are_listed_the_latest_first_by_line_and_by_whether_they_are_current(kept: Store) -> None:
    with kept.writing(ANN) as work:
        release(work, "S-1", "R-1", "H1", "P1")
        release(work, "S-2", "R-2", "H1")
        release(work, "S-2", "R-3", "P1")
        asked: dict[tuple[str | None, bool | None], list[str]] = {
            (None, None): ["R-3", "R-2", "R-1"],
            ("H1", None): ["R-2", "R-1"],
            ("P1", True): ["R-3"],
            ("H1", False): ["R-1"],
            (None, True): ["R-3", "R-2"],
            (None, False): ["R-1"],
            ("X9", None): [],
        }
        for (line, current), expected in asked.items():
            page = releases.listed(work, Query(), line, current)
            assert [each.id for each in page.items] == expected
        first = releases.listed(work, Query(limit=2))
        rest = releases.listed(work, Query(limit=2, cursor=first.next_cursor))
        assert [each.id for each in (*first.items, *rest.items)] == ["R-3", "R-2", "R-1"]
    with kept.reading("elsewhere") as view:
        assert releases.listed(view, Query()).items == ()


def test_jobs_know_their_runs_in_current_releases_alone(kept: Store) -> None:
    with kept.writing(ANN) as work:
        release(work, "S-1", "R-1")
        release(work, "S-2", "R-2")
        found = releases.of_jobs(work, [IN_ORDER[1], "J-9"])
        ((line, runs),) = releases.of_lines(work).items()
    ((of_job,),) = found.values()
    run = plan().sequence.lines[0].runs[1]
    assert (of_job.release, of_job.sequence, of_job.line, of_job.position) == ("R-2", "S-2", "H1", 2)
    assert (of_job.changeover_start, of_job.end, of_job.press_due, of_job.late_min, of_job.lot) == (
        run.changeover_start,
        run.end,
        run.press_due,
        run.late_min,
        None,
    )
    assert (line, [name for name, _ in runs]) == ("H1", list(IN_ORDER))
    with kept.reading("elsewhere") as view:
        assert releases.of_jobs(view, [IN_ORDER[1]]) == {}


def test_a_job_marked_as_changed_keeps_its_version(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, JOBS, [job("J-1"), job("J-2")])
    with store.writing(ELSEWHERE) as work:
        records.upsert(work, JOBS, [job("J-1")])
    with store.writing(ANN) as work:
        jobs.mark_changed(work, {"J-1"})
        marked, other = (records.require(work, JOBS, number) for number in ("J-1", "J-2"))
        assert (marked.updated_at, marked.version) == (work.at, 1)
        assert other.updated_at < work.at
    with store.reading("elsewhere") as view:
        assert records.require(view, JOBS, "J-1").updated_at < marked.updated_at


def at_once(*acts: Callable[[], None]) -> None:
    threads = [threading.Thread(target=act) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert not any(thread.is_alive() for thread in threads)


def test_of_people_who_release_at_once_one_waits_for_the_other(kept: Store) -> None:
    def releasing(sequence: str, number: str) -> Callable[[], None]:
        def act() -> None:
            with kept.writing(ANN) as work:
                releases.hold(work, sequence)
                release(work, sequence, number)

        return act

    at_once(*(releasing(f"S-{1 + number % 2}", f"R-{number}") for number in range(6)))
    with kept.reading("here") as view:
        page = releases.listed(view, Query())
        assert len(page.items) == 6
        assert [each.id for each in page.items if each.current_lines] == [page.items[0].id]
        by = [each.lines[0].superseded_by for each in page.items]
        assert by == [None, *(each.id for each in page.items[:-1])]
