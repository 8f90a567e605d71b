"""What a worker does in every order of events: with a book, children and a clock of a test's own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing

import pytest

from app.contracts.planning_requests import RequestProblem, RequestStatus
from app.worker.messages import CostTask, Done, Explained, Gone, NotStarted, Planned, Refused, SearchTask
from app.worker.problems import INTERNAL, OUT_OF_TIME
from app.worker.supervisor import worker_name
from tests.app.worker.fakes import (
    ANOTHER,
    BETTER_ORDER,
    LEASE_S,
    LIMIT_S,
    ORDER,
    PLAN,
    FakeChild,
    Row,
    Worker,
    further,
    incumbent,
)

PROBLEM = RequestProblem(type="/problems/fields", title="Fields are not as they should be")
BROKEN_OFF = Planned(b"costed", (), is_whole=False)


@pytest.fixture
def worker() -> Iterator[Worker]:
    """A worker of one slot."""
    with closing(Worker()) as worker:
        yield worker


@pytest.fixture
def two_slots() -> Iterator[Worker]:
    """A worker of two slots."""
    with closing(Worker(slots=2)) as worker:
        yield worker


def assert_nothing_written(row: Row) -> None:
    assert (row.ended, row.crashes) == (None, [])


def assert_ended(row: Row, status: RequestStatus, planned: Planned | None) -> None:
    assert row.status is status
    assert row.ended is not None
    found = row.ended.found
    assert (found and (found.plan, found.is_whole)) == (planned and (planned.plan, planned.is_whole))


def reasons_of(row: Row) -> bytes | None:
    assert row.ended is not None
    assert row.ended.found is not None
    return row.ended.found.reasons


def problem_of(row: Row) -> RequestProblem:
    assert row.status is RequestStatus.FAILED
    assert row.ended is not None
    assert row.ended.problem is not None
    return row.ended.problem


# Claims


def test_as_many_requests_are_taken_as_there_are_slots(two_slots: Worker) -> None:
    worker = two_slots
    rows = [worker.book.add(f"R-{number}") for number in range(3)]
    worker.goes_on(1)
    assert [row.status for row in rows] == ["running", "running", "queued"]
    worker.ends(worker.children.born[0])
    assert [row.status for row in rows] == ["finished", "running", "running"]


def test_nothing_is_taken_before_a_child_could_be_had(worker: Worker) -> None:
    worker.children.is_ready = False
    row = worker.book.add("R-1")
    worker.goes_on(10)
    assert row.attempt == 0
    worker.children.is_ready = True
    worker.goes_on()
    assert row.status is RequestStatus.RUNNING


def test_what_waits_is_found_when_woken_and_else_after_a_while(worker: Worker) -> None:
    worker.goes_on(60)
    asked = worker.book.asked
    assert asked <= 14
    row = worker.book.add("R-1")
    worker.supervisor.wake("request:R-1")
    worker.goes_on()
    assert worker.book.asked == asked
    worker.supervisor.wake("queued")
    worker.goes_on()
    assert row.status is RequestStatus.RUNNING


def test_lost_requests_are_looked_for_every_second(worker: Worker) -> None:
    worker.goes_on(10)
    assert 10 <= worker.book.reaped <= 12


def test_no_two_workers_have_the_same_name() -> None:
    assert worker_name("press") != worker_name("press")
    assert worker_name("press").startswith("press-")


# Heartbeats


def test_a_heartbeat_goes_out_every_second_and_with_progress_four_times(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.goes_on(10)
    before = len(row.beats)
    assert 9 <= before <= 11
    for work in range(100):
        child.say(further(work))
        worker.goes_on(0.1)
    assert 30 <= len(row.beats) - before <= 45
    told = [progress for progress, _ in row.beats if progress is not None]
    assert [progress.number for progress in told] == list(range(1, len(told) + 1))
    assert [progress.work for progress in told] == sorted({progress.work for progress in told})


def test_the_best_order_is_told_once(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.hears(child, incumbent(), incumbent(BETTER_ORDER))
    worker.goes_on(5)
    assert [order for _, order in row.beats if order is not None] == [BETTER_ORDER]


def test_whoever_lost_a_request_kills_the_child_and_writes_nothing(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.hears(child, incumbent())
    row.worker = ANOTHER
    beats = len(row.beats)
    worker.goes_on(2)
    assert child.is_killed
    assert len(row.beats) == beats
    assert_nothing_written(row)
    assert worker.works_on("R-2")


def test_what_is_found_of_a_lost_request_is_not_written(worker: Worker) -> None:
    row, child = worker.works_on()
    row.attempt += 1
    worker.ends(child)
    assert_nothing_written(row)


# Ends


def test_what_was_found_is_written_with_its_reasons(worker: Worker) -> None:
    row, child = worker.works_on()
    assert child.task == SearchTask(b"input")
    worker.hears(child, PLAN, Explained(b"reasons"), Done())
    assert_ended(row, RequestStatus.FINISHED, PLAN)
    assert reasons_of(row) == b"reasons"
    assert child.is_closed
    assert worker.figures.ends == {"finished": 1}


def test_what_cannot_be_worked_out_fails_at_once(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.hears(child, Refused(PROBLEM))
    assert problem_of(row) == PROBLEM
    assert not child.lives


def test_a_crash_is_tried_again_until_no_attempt_is_left(worker: Worker) -> None:
    row, child = worker.works_on(attempts_left=2)
    worker.hears(child, incumbent(), Gone("the child was ended by SIGSEGV"))
    worker.goes_on(1)
    assert (row.status, row.attempt) == (RequestStatus.RUNNING, 2)
    worker.hears(worker.child, Gone("the child got no memory"))
    assert row.status is RequestStatus.DEAD
    assert row.crashes == ["the child was ended by SIGSEGV", "the child got no memory"]


@pytest.mark.parametrize("end", [Gone("the child was ended by SIGKILL"), Refused(PROBLEM, "details")])
def test_reasons_that_cannot_be_told_do_not_take_the_plan_along(worker: Worker, end: Gone | Refused) -> None:
    row, child = worker.works_on()
    worker.hears(child, PLAN, end)
    assert_ended(row, RequestStatus.FINISHED, PLAN)
    assert reasons_of(row) is None


def test_an_end_that_cannot_be_written_fails_once(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.book.fails_with = ValueError("what the child sent is no plan")
    worker.ends(child)
    worker.goes_on(1)
    assert problem_of(row).type == INTERNAL[0]


def test_a_heartbeat_that_finds_its_request_ended_is_no_loss(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.goes_on(0.9)
    worker.desk.is_held = True
    worker.goes_on(0.2)
    child.say(PLAN, Done())
    worker.goes_on()
    worker.desk.held.reverse()  # the end overtakes the heartbeat
    worker.desk.let_go()
    worker.goes_on()
    assert_ended(row, RequestStatus.FINISHED, PLAN)
    assert worker.figures.ends == {"finished": 1}


# Cancelled


def test_who_is_cancelled_is_asked_for_what_there_is(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.goes_on(0.9)
    row.cancel_requested = True
    worker.goes_on(0.2)
    assert child.is_asked_to_stop
    worker.ends(child, BROKEN_OFF)
    assert_ended(row, RequestStatus.CANCELLED, BROKEN_OFF)


def stopped(worker: Worker) -> tuple[Row, FakeChild]:
    """A request that is just cancelled, and its child, which has a best order."""
    row, child = worker.works_on()
    worker.hears(child, incumbent(), incumbent(BETTER_ORDER))
    worker.goes_on(0.9)
    row.cancel_requested = True
    while not child.is_asked_to_stop:
        worker.goes_on(0.1)
    return row, child


def test_who_does_not_listen_is_killed_and_its_best_order_costed(worker: Worker) -> None:
    row, child = stopped(worker)
    worker.goes_on(0.3)
    assert child.lives
    worker.goes_on(0.2)
    assert child.is_killed
    costing = worker.child
    assert costing.task == CostTask(b"input", BETTER_ORDER)
    beats = len(row.beats)
    worker.goes_on(5)
    assert len(row.beats) >= beats + 4
    assert costing.lives
    worker.ends(costing, BROKEN_OFF)
    assert_ended(row, RequestStatus.CANCELLED, BROKEN_OFF)
    assert len(worker.children.born) == 2


def test_a_child_that_ends_when_it_is_asked_to_stop_is_no_crash(worker: Worker) -> None:
    row, child = stopped(worker)
    worker.hears(child, Gone("the child was ended by SIGKILL"))
    worker.ends(worker.child, BROKEN_OFF)
    assert_ended(row, RequestStatus.CANCELLED, BROKEN_OFF)
    assert row.crashes == []


@pytest.mark.parametrize("end", [Gone("it was lost"), Refused(PROBLEM)])
def test_an_order_that_is_not_costed_is_not_kept(worker: Worker, end: Gone | Refused) -> None:
    row, _ = stopped(worker)
    worker.goes_on(0.5)
    worker.hears(worker.child, end)
    assert_ended(row, RequestStatus.CANCELLED, None)


def test_costing_is_given_up_after_a_while(worker: Worker) -> None:
    row, _ = stopped(worker)
    worker.goes_on(62)
    assert worker.child.is_killed
    assert_ended(row, RequestStatus.CANCELLED, None)


def test_who_is_cancelled_before_it_has_anything_ends_with_nothing(worker: Worker) -> None:
    row, child = worker.works_on()
    row.cancel_requested = True
    worker.goes_on(2)
    assert child.is_killed
    assert_ended(row, RequestStatus.CANCELLED, None)


def test_who_was_cancelled_before_it_is_taken_needs_no_child(worker: Worker) -> None:
    row = worker.book.add("R-1", cancel_requested=True)
    worker.goes_on(1)
    assert worker.children.born == []
    assert_ended(row, RequestStatus.CANCELLED, None)


# Out of time


def test_whose_time_is_over_is_asked_to_stop_and_then_killed(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.hears(child, incumbent())
    worker.goes_on(LIMIT_S - 0.1)
    assert child.untouched
    worker.goes_on(0.2)
    assert child.is_asked_to_stop
    assert child.lives
    worker.goes_on(0.5)
    assert child.is_killed
    worker.ends(worker.child, BROKEN_OFF)
    assert_ended(row, RequestStatus.FINISHED, BROKEN_OFF)


def test_whose_time_is_over_while_reasons_are_sought_ends_with_its_plan(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.hears(child, PLAN)
    worker.goes_on(LIMIT_S + 1)
    assert child.is_killed
    assert_ended(row, RequestStatus.FINISHED, PLAN)


def test_whose_time_is_over_without_anything_found_fails(worker: Worker) -> None:
    row, _ = worker.works_on(limit_s=3.0)
    worker.goes_on(4)
    problem = problem_of(row)
    assert problem.type == OUT_OF_TIME[0]
    assert "3 s" in problem.detail


# The database is away


def test_a_database_away_for_less_than_a_lease_is_waited_for(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.goes_on(3 * LEASE_S)
    worker.book.is_away = True
    worker.hears(child, incumbent())
    worker.goes_on(LEASE_S - 1.5)
    worker.book.is_away = False
    worker.goes_on(LEASE_S)
    assert child.lives
    assert [order for _, order in row.beats if order is not None] == [ORDER]
    worker.ends(child)
    assert_ended(row, RequestStatus.FINISHED, PLAN)


def test_a_child_does_not_outlive_its_lease(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.book.is_away = True
    worker.goes_on(LEASE_S + 0.1)
    assert child.is_killed
    worker.book.is_away = False
    worker.goes_on(5)
    assert_nothing_written(row)
    assert row.status is RequestStatus.RUNNING  # until somebody takes it back


def test_nor_where_a_call_is_never_answered(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.desk.is_held = True
    worker.goes_on(LEASE_S + 0.1)
    assert child.is_killed
    worker.desk.let_go()
    worker.goes_on(5)
    assert_nothing_written(row)


def test_a_worker_that_was_held_up_asks_whether_anybody_missed_it(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.clock.now_s += 3 * LEASE_S
    worker.desk.is_held = True
    worker.goes_on(0.5)
    worker.desk.let_go()
    worker.goes_on(1)
    assert child.lives
    worker.ends(child)
    assert_ended(row, RequestStatus.FINISHED, PLAN)


def test_a_worker_that_was_held_up_and_is_replaced_kills_its_child(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.clock.now_s += 3 * LEASE_S
    row.worker = ANOTHER
    worker.goes_on()
    assert child.is_killed
    assert_nothing_written(row)


def test_what_was_found_while_the_database_was_away_is_written_when_it_is_back(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.book.is_away = True
    worker.ends(child)
    worker.goes_on(3 * LEASE_S)
    assert_nothing_written(row)
    worker.book.is_away = False
    worker.goes_on(1)
    assert_ended(row, RequestStatus.FINISHED, PLAN)


def test_what_others_took_meanwhile_is_not_written(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.book.is_away = True
    worker.ends(child)
    worker.goes_on(3 * LEASE_S)
    worker.book.is_away, row.worker = False, ANOTHER
    worker.goes_on(5)
    assert_nothing_written(row)
    assert worker.works_on("R-2")


def test_a_database_away_at_the_start_is_asked_again(worker: Worker) -> None:
    worker.book.is_away = True
    row = worker.book.add("R-1")
    worker.goes_on(20)
    worker.book.is_away = False
    worker.goes_on(1.1)
    assert row.status is RequestStatus.RUNNING


# Children that cannot be had


@pytest.mark.parametrize("at_once", [True, False])
def test_a_request_for_which_no_child_can_be_had_is_handed_back(worker: Worker, at_once: bool) -> None:
    row = worker.book.add("R-1")
    if at_once:
        worker.children.fails_with = OSError("too many open files")
    worker.goes_on()
    if not at_once:
        worker.hears(worker.child, NotStarted("the system has no process left"))
    asked = worker.book.asked
    worker.goes_on(1)
    assert (row.status, row.attempts_left) == (RequestStatus.QUEUED, 2)
    assert worker.book.asked == asked
    worker.children.fails_with = None
    worker.goes_on(5)
    assert row.status is RequestStatus.RUNNING


# Stopped


def test_a_worker_that_is_stopped_hands_back_what_it_has(two_slots: Worker) -> None:
    worker = two_slots
    rows = [worker.works_on(f"R-{number}")[0] for number in range(2)]
    waiting = worker.book.add("R-2")
    worker.supervisor.stop()
    worker.goes_on()
    assert [(row.status, row.attempts_left) for row in rows] == [(RequestStatus.QUEUED, 2)] * 2
    assert not any(child.lives for child in worker.children.born)
    assert waiting.attempt == 0
    assert worker.supervisor.is_done


def test_a_plan_that_is_there_is_kept_when_the_worker_is_stopped(worker: Worker) -> None:
    row, child = worker.works_on()
    worker.hears(child, PLAN)
    worker.supervisor.stop()
    worker.goes_on()
    assert_ended(row, RequestStatus.FINISHED, PLAN)
    assert worker.supervisor.is_done


def test_a_claim_that_comes_too_late_is_handed_back(worker: Worker) -> None:
    worker.desk.is_held = True
    worker.goes_on()
    row = worker.book.add("R-1")
    worker.supervisor.stop()
    worker.goes_on()
    assert not worker.supervisor.is_done
    worker.desk.let_go()
    worker.goes_on(0.1)
    assert (row.status, row.attempt, row.attempts_left) == (RequestStatus.QUEUED, 1, 2)
    assert worker.supervisor.is_done


def test_a_database_that_is_away_does_not_keep_a_worker_from_stopping(worker: Worker) -> None:
    _, child = worker.works_on()
    worker.book.is_away = True
    worker.supervisor.stop()
    worker.goes_on(1)
    assert not child.lives
    assert not worker.supervisor.is_done
    worker.goes_on(1)
    assert worker.supervisor.is_done


def test_what_goes_wrong_in_one_slot_does_not_touch_the_other(
    two_slots: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    worker = two_slots
    wrong_row, wrong = worker.works_on("R-1")
    right_row, right = worker.works_on("R-2")

    def fail() -> None:
        raise RuntimeError("nobody foresaw this")

    monkeypatch.setattr(wrong, "messages", fail)
    worker.goes_on()
    assert wrong.is_killed
    assert_nothing_written(wrong_row)
    worker.ends(right)
    assert_ended(right_row, RequestStatus.FINISHED, PLAN)
