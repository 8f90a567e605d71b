"""Works one request out, in a process of its own that nothing else depends on.

It says over its socket how far it is, and what came of it. When the other end is closed it ends at once,
whatever it is at: nobody would take what it finds.
"""

from __future__ import annotations

import os
import pickle
import select
import socket
import threading
import time
import traceback
import zlib
from contextlib import suppress
from pathlib import Path
from typing import NoReturn

from app.contracts.orders import RunOrder
from app.contracts.planning_requests import PlanningInput
from app.contracts.sequences import CostedPlan, Progress
from app.errors import BadInput, NothingCanRun
from app.services import planning, reasons
from app.translation.solving import Question
from app.worker.lifeline import die_with
from app.worker.messages import (
    OUT_OF_MEMORY,
    Began,
    CostTask,
    Done,
    Explained,
    FromChild,
    Further,
    Incumbent,
    Planned,
    Refused,
    SearchTask,
    Task,
    framed,
)
from app.worker.problems import problem_of

FIRST_TO_BE_ENDED = "800"

PROGRESS_EVERY_S, INCUMBENT_EVERY_S = 0.25, 1.0


def run(connection: socket.socket, task_file: int, parent: int) -> NoReturn:
    """Do a task and end.

    Parameters
    ----------
    connection
        To the supervisor.
    task_file
        An open file with a pickled `Task`.
    parent
        The process that this one was forked from; it ends with it.
    """
    code = 1
    try:
        die_with(parent)
        _go_first_where_memory_ends()
        with open(task_file, "rb") as stream:
            stream.seek(0)
            task: Task = pickle.load(stream)
        teller = Teller(connection)
        teller.watch()
        _do(task, teller)
        code = 0
    except MemoryError:
        code = OUT_OF_MEMORY
    except OSError:
        pass  # nobody listens any more
    finally:
        os._exit(code)


def _go_first_where_memory_ends() -> None:
    """The system is to end this process then, rather than who watches over it."""
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(FIRST_TO_BE_ENDED, encoding="ascii")


def _do(task: Task, teller: Teller) -> None:
    """Do a task and tell all that comes of it."""
    try:
        asked = PlanningInput.model_validate_json(zlib.decompress(task.input))
        question = Question(asked.plant, asked.jobs, asked.start, asked.locks, asked.in_force)
        match task:
            case SearchTask():
                _search(asked, question, teller)
            case CostTask():
                order = RunOrder.model_validate_json(task.order)
                teller.tell(_planned(planning.cost(question, order, asked.goal), is_whole=False))
        teller.tell(Done())
    except (MemoryError, OSError):
        raise
    except (BadInput, NothingCanRun) as error:
        teller.tell(Refused(problem_of(error)))
    except Exception as error:
        teller.tell(Refused(problem_of(error), traceback.format_exc()))


def _search(asked: PlanningInput, question: Question, teller: Teller) -> None:
    teller.tell(Began())
    plan = planning.plan(
        question,
        asked.goal,
        seconds=asked.seconds,
        work=asked.work,
        seed=asked.seed,
        alternatives=asked.alternatives,
        cancelled=teller.is_asked_to_stop,
        on_progress=teller.further,
        on_incumbent=teller.incumbent,
    )
    is_whole = not teller.is_asked_to_stop()
    # Told before anything more is made of it: it is there even if that comes to nothing.
    teller.tell(_planned(plan, is_whole))
    if asked.reasons and is_whole:
        explained = reasons.explain(question, plan)
        teller.tell(Explained(explained.model_dump_json(by_alias=True).encode()))


def _planned(plan: CostedPlan, is_whole: bool) -> Planned:
    alone = (CostedPlan(sequence=each.sequence, baselines=(), search=None) for each in plan.alternatives)
    return Planned(_json(plan), tuple(map(_json, alone)), is_whole)


def _json(plan: CostedPlan) -> bytes:
    return plan.model_dump_json(by_alias=True).encode()


class Teller:
    """Says what there is to say, no more often than anybody wants to hear it, and hears when to stop."""

    def __init__(self, connection: socket.socket) -> None:
        connection.setblocking(True)
        self._connection = connection
        self._sending = threading.Lock()
        self._asked_to_stop = threading.Event()
        self._incumbent: RunOrder | None = None
        self._progress: Progress | None = None
        self._next_incumbent_s = self._next_progress_s = time.monotonic()

    def is_asked_to_stop(self) -> bool:
        """Whether the supervisor wants what there is."""
        return self._asked_to_stop.is_set()

    def tell(self, message: FromChild) -> None:
        """Say something at once, and before it what has waited to be said."""
        with self._sending:
            self._tell_due(time.monotonic(), is_last=True)
            self._connection.sendall(framed(message))

    def incumbent(self, order: RunOrder) -> None:
        """Say soon that this is the best order so far."""
        with self._sending:
            self._incumbent = order

    def further(self, progress: Progress) -> None:
        """Say soon how far the search is."""
        with self._sending:
            self._progress = progress
            self._tell_due(time.monotonic())

    def watch(self) -> None:
        """Hear from now on what the supervisor says, and end when it is gone."""
        threading.Thread(target=self._listen, name="listener", daemon=True).start()

    def _listen(self) -> None:
        while True:
            heard, _, _ = select.select([self._connection], [], [], PROGRESS_EVERY_S)
            if heard:
                try:
                    is_gone = not self._connection.recv(64)
                except OSError:
                    is_gone = True
                if is_gone:
                    os._exit(1)
                self._asked_to_stop.set()
            elif self._sending.acquire(blocking=False):
                # What became due while the search tells nothing any more.
                try:
                    self._tell_due(time.monotonic())
                except OSError:
                    os._exit(1)
                finally:
                    self._sending.release()

    def _tell_due(self, now_s: float, is_last: bool = False) -> None:
        """Send what waits and is due. The order goes first: how far the search is speaks of it."""
        order, progress = self._incumbent, self._progress
        if order is not None and (is_last or now_s >= self._next_incumbent_s):
            self._incumbent, self._next_incumbent_s = None, now_s + INCUMBENT_EVERY_S
            self._connection.sendall(framed(Incumbent(order.model_dump_json(by_alias=True).encode())))
        if progress is not None and (is_last or now_s >= self._next_progress_s):
            self._progress, self._next_progress_s = None, now_s + PROGRESS_EVERY_S
            self._connection.sendall(framed(Further(progress)))
