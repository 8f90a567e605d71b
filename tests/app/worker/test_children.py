"""Real children: what they find, how they are ended, and that none outlives those who wait for it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from decimal import Decimal
from multiprocessing.connection import wait

import pytest

from app.contracts.locks import PositionLock
from app.contracts.orders import RunOrder
from app.contracts.reasons import Reasons
from app.contracts.sequences import CostedPlan, Goal
from app.services import planning
from app.translation.solving import Question
from app.worker.children import Child, Nursery
from app.worker.messages import (
    Began,
    CostTask,
    Done,
    Explained,
    Further,
    Gone,
    Incumbent,
    Message,
    Planned,
    Refused,
    SearchTask,
    Task,
)
from app.worker.problems import FIELDS, INTERNAL, NOTHING_RUNS
from tests.app.costed_plans import QUEUE
from tests.app.worker.asked import START, WORK, endless, planning_input

LONGEST_S = 600.0
"""No test takes so long, even where the search is compiled first on a busy machine."""

LAST = (Done, Refused, Gone)


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    with closing(Nursery()) as nursery:
        until(nursery, lambda: nursery.is_ready)
        yield nursery


def until(nursery: Nursery, happened: Callable[[], object]) -> None:
    """Look after children until something has happened."""
    ends_s = time.monotonic() + LONGEST_S
    while not happened():
        assert time.monotonic() < ends_s
        wait(nursery.connections, 0.02)
        nursery.look()


def heard(nursery: Nursery, child: Child, kinds: tuple[type, ...] = LAST) -> list[Message]:
    """What a child says up to a message of one of these kinds."""
    messages: list[Message] = []

    def is_there() -> bool:
        messages.extend(child.messages())
        return any(isinstance(message, kinds) for message in messages)

    until(nursery, is_there)
    if any(isinstance(message, LAST) for message in messages):
        child.close()
    return messages


def answer(nursery: Nursery, task: Task) -> Message:
    """The last that a child says of a task."""
    *_, last = heard(nursery, nursery.child(task))
    return last


def is_gone(process: int) -> bool:
    """Whether a process has ended."""
    try:
        with open(f"/proc/{process}/stat", encoding="ascii") as stat:
            return stat.read().rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return True


def wait_until(happened: Callable[[], bool]) -> None:
    ends_s = time.monotonic() + LONGEST_S
    while not happened():
        assert time.monotonic() < ends_s
        time.sleep(0.01)


def process_of(nursery: Nursery, child: Child) -> int:
    """The process of a child whose search has begun."""
    heard(nursery, child, (Incumbent,))
    assert child.process is not None
    return child.process


def test_a_child_tells_how_far_it_is_and_what_it_found(nursery: Nursery) -> None:
    task = SearchTask(planning_input(alternatives=2, reasons=True))
    messages = heard(nursery, nursery.child(task))
    assert isinstance(messages[0], Began)
    assert isinstance(messages[-1], Done)
    [planned] = [message for message in messages if isinstance(message, Planned)]
    [explained] = [message for message in messages if isinstance(message, Explained)]
    further = [message.progress for message in messages if isinstance(message, Further)]
    assert further[-1].work <= WORK
    assert further[-1].percent > 0
    plan = CostedPlan.model_validate_json(planned.plan)
    question = Question(QUEUE.plant, QUEUE.jobs, START)
    assert plan == planning.plan(question, Goal.BALANCED, work=WORK, alternatives=2)
    alone = [CostedPlan.model_validate_json(text) for text in planned.alternatives]
    assert [one.sequence for one in alone] == [one.sequence for one in plan.alternatives]
    assert all(one.search is None and not one.baselines for one in alone)
    assert planned.is_whole
    assert len(Reasons.model_validate_json(explained.reasons).runs) == len(QUEUE.jobs)
    orders = [RunOrder.model_validate_json(one.order) for one in messages if isinstance(one, Incumbent)]
    assert orders


def test_what_a_child_is_stopped_at_is_its_best_so_far(nursery: Nursery) -> None:
    child = nursery.child(SearchTask(endless()))
    heard(nursery, child, (Incumbent,))
    child.ask_to_stop()
    messages = heard(nursery, child)
    [planned] = [message for message in messages if isinstance(message, Planned)]
    assert not planned.is_whole
    assert CostedPlan.model_validate_json(planned.plan).search is not None
    assert isinstance(messages[-1], Done)


def test_the_best_order_of_a_killed_child_is_costed_by_another(nursery: Nursery) -> None:
    child = nursery.child(SearchTask(endless()))
    [order] = [one.order for one in heard(nursery, child, (Incumbent,)) if isinstance(one, Incumbent)]
    child.kill()
    planned, done = heard(nursery, nursery.child(CostTask(endless(), order)))
    assert isinstance(done, Done)
    assert isinstance(planned, Planned)
    plan = CostedPlan.model_validate_json(planned.plan)
    question = Question(QUEUE.plant, QUEUE.jobs, START)
    assert plan == planning.cost(question, RunOrder.model_validate_json(order), Goal.BALANCED)
    assert (planned.is_whole, planned.alternatives) == (False, ())


def test_locks_that_contradict_each_other_are_told_as_a_problem(nursery: Nursery) -> None:
    first = QUEUE.jobs[0]
    locks = [PositionLock(lock="at-position", job=first.job, position=position) for position in (1, 2)]
    refused = answer(nursery, SearchTask(planning_input(locks=locks)))
    assert isinstance(refused, Refused)
    assert refused.problem.type == FIELDS[0]
    assert [error.field for error in refused.problem.errors] == ["locks"]
    assert first.job in refused.problem.errors[0].right


def test_a_queue_of_which_no_job_can_run_is_told_as_a_problem(nursery: Nursery) -> None:
    lines = tuple(line.model_copy(update={"web_width_mm": Decimal(300)}) for line in QUEUE.plant.lines)
    plant = QUEUE.plant.model_copy(update={"lines": lines})
    refused = answer(nursery, SearchTask(planning_input(plant=plant)))
    assert isinstance(refused, Refused)
    assert refused.problem.type == NOTHING_RUNS[0]
    assert len(refused.problem.errors) == len(QUEUE.jobs)


def test_what_nobody_foresaw_is_told_to_the_log_alone(nursery: Nursery) -> None:
    refused = answer(nursery, SearchTask(b"no input"))
    assert isinstance(refused, Refused)
    assert refused.problem.type == INTERNAL[0]
    assert "zlib" in refused.details
    assert "zlib" not in refused.problem.model_dump_json()


def test_a_killed_child_says_why_it_is_gone(nursery: Nursery) -> None:
    child = nursery.child(SearchTask(endless()))
    os.kill(process_of(nursery, child), signal.SIGSEGV)
    *_, gone = heard(nursery, child)
    assert gone == Gone("the child was ended by SIGSEGV")


def test_a_child_that_stands_still_is_ended_all_the_same(nursery: Nursery) -> None:
    child = nursery.child(SearchTask(endless()))
    process = process_of(nursery, child)
    os.kill(process, signal.SIGSTOP)
    child.ask_to_stop()
    child.kill()
    until(nursery, lambda: is_gone(process))
    assert child.messages() == []


def test_a_child_ends_when_nobody_listens_any_more(nursery: Nursery) -> None:
    child = nursery.child(SearchTask(endless()))
    process = process_of(nursery, child)
    child.close()
    until(nursery, lambda: is_gone(process))


WAITS = """
import sys, time
from app.worker.children import Nursery
from app.worker.messages import Incumbent, SearchTask
from tests.app.worker.asked import endless
from tests.app.worker.test_children import heard, until
nursery = Nursery()
until(nursery, lambda: nursery.is_ready)
children = [nursery.child(SearchTask(endless())) for _ in range(2)]
for child in children:
    heard(nursery, child, (Incumbent,))
print(nursery.process, *(child.process for child in children), flush=True)
time.sleep(600)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="only there are all of them ended in the same moment")
def test_nobody_outlives_a_killed_supervisor() -> None:
    """Not even one that stands still and would never hear of it."""
    with subprocess.Popen([sys.executable, "-c", WAITS], stdout=subprocess.PIPE, text=True) as supervisor:
        assert supervisor.stdout is not None
        processes = list(map(int, supervisor.stdout.readline().split()))
        assert len(processes) == 3
        assert not any(map(is_gone, processes))
        os.kill(processes[-1], signal.SIGSTOP)
        supervisor.kill()
    wait_until(lambda: all(map(is_gone, processes)))


def test_a_lost_nursery_takes_its_children_along_and_is_replaced(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.worker.children.AGAIN_AFTER_S", 0.0)
    child = nursery.child(SearchTask(endless()))
    process = process_of(nursery, child)
    assert nursery.process is not None
    os.kill(nursery.process, signal.SIGKILL)
    *_, gone = heard(nursery, child)
    assert gone == Gone("the child was lost")
    wait_until(lambda: is_gone(process))
    until(nursery, lambda: nursery.is_ready)
    assert isinstance(answer(nursery, SearchTask(planning_input())), Done)
