"""Children as their supervisor has them: ordered from a process that is ready to search, heard, and ended.

Nothing here waits for anybody: whatever a child or that process is at, other children are looked after.
"""

from __future__ import annotations

import os
import pickle
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from typing import IO, Final

from app.telemetry import log
from app.worker.messages import OUT_OF_MEMORY, STOP, Gone, Inbox, Message, NotStarted, Task
from app.worker.preloaded import ORDER, RECORD, Told

AGAIN_AFTER_S: Final = 5.0
"""When the process that children come from was lost, another one is started so much later."""

STATUS_WITHIN_S: Final = 0.5
"""A child that is gone: so long its status is waited for, which says why."""

FORKED_WITHIN_S: Final = 20.0
"""A process that has not made a child by then is stuck."""


class Nursery:
    """The process that children are forked from. For one thread.

    It is started by `look`, and again when it was lost.
    """

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._control: socket.socket | None = None
        self._records = bytearray()
        self._is_ready = False
        self._next_start_s = 0.0
        self._children: dict[int, Child] = {}
        self._ordered = 0
        self._log = log("runwright.worker")

    @property
    def is_ready(self) -> bool:
        """Whether children can be had."""
        return self._is_ready

    @property
    def process(self) -> int | None:
        """The process that children are forked from."""
        return None if self._process is None else self._process.pid

    @property
    def due_s(self) -> float:
        """When it has to be looked at even if nothing is heard."""
        if self._process is None:
            return self._next_start_s
        return min((child.due_s for child in self._children.values()), default=float("inf"))

    @property
    def connections(self) -> list[socket.socket]:
        """What is to be waited for: something is heard here."""
        heard = [child.connection for child in self._children.values() if child.is_heard]
        return heard if self._control is None else [*heard, self._control]

    def look(self) -> None:
        """Hear what has happened, and see that there is a process."""
        if self._process is None and time.monotonic() >= self._next_start_s:
            self._start()
        self._hear()
        if any(child.is_stuck for child in self._children.values()):
            self._lose("It made no child when it was asked to.")

    def child(self, task: Task) -> Child:
        """A new child that does a task. Only once there is a process that is ready."""
        self._ordered += 1
        ours, its = socket.socketpair()
        child = Child(self._ordered, ours)
        if self._control is None:
            its.close()
            child.never_was("there is no process to fork it from")
            return child
        order = ORDER.pack(self._ordered)
        try:
            with its, _file_of(task) as file:
                socket.send_fds(self._control, [order], [its.fileno(), file.fileno()])
        except OSError as error:
            child.never_was(str(error))
        else:
            self._children[self._ordered] = child
        return child

    def close(self) -> None:
        """End the process, and with it every child."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
        if self._control is not None:
            self._control.close()
        for child in self._children.values():
            child.close()
        self._process, self._control, self._is_ready = None, None, False
        self._children.clear()

    def _start(self) -> None:
        ours, its = socket.socketpair()
        call = "from app.worker.preloaded import main; main()"
        with its:
            self._process = subprocess.Popen(
                [sys.executable, "-c", call, str(os.getpid()), str(its.fileno())],
                pass_fds=[its.fileno()],
                stdin=subprocess.DEVNULL,
                start_new_session=True,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            )
        ours.setblocking(False)
        self._control = ours
        self._records.clear()

    def _hear(self) -> None:
        for told, number, value in self._told():
            match told:
                case Told.COMPILING:
                    self._log.info("the search is compiled, once on this machine: about a minute")
                case Told.READY:
                    self._is_ready = True
                    self._log.info("ready to search", threads=value)
                case Told.FORKED if number in self._children:
                    self._children[number].was_forked(value)
                case Told.ENDED if number in self._children:
                    self._children.pop(number).has_ended(value)

    def _told(self) -> Iterator[tuple[int, int, int]]:
        """What the process tells, as far as it has arrived."""
        if self._control is None:
            return
        is_lost = False
        while not is_lost:
            try:
                piece = self._control.recv(4096)
            except BlockingIOError:
                break
            except OSError:
                piece = b""
            self._records += piece
            is_lost = not piece
        whole = len(self._records) // RECORD.size * RECORD.size
        yield from RECORD.iter_unpack(bytes(self._records[:whole]))
        del self._records[:whole]
        if is_lost:
            self._lose("It ended.")

    def _lose(self, why: str) -> None:
        """Give the process up; another one is started soon."""
        self._log.error("the process that children come from is lost", why=why)
        lost = list(self._children.values())
        self._children.clear()
        if self._process is not None:
            self._process.kill()
            self._process.wait()
        if self._control is not None:
            self._control.close()
        self._process, self._control, self._is_ready = None, None, False
        self._next_start_s = time.monotonic() + AGAIN_AFTER_S
        for child in lost:
            child.is_orphaned()


def _file_of(task: Task) -> IO[bytes]:
    """A file that is nowhere to be found, with a task in it."""
    file = tempfile.TemporaryFile()  # noqa: SIM115  closed by whoever asked for it
    pickle.dump(task, file, pickle.HIGHEST_PROTOCOL)
    file.flush()
    return file


class Child:
    """A child process. Everything may be asked of one that is gone."""

    def __init__(self, number: int, connection: socket.socket) -> None:
        self.number = number
        self.connection = connection
        self._inbox = Inbox(connection)
        self._ordered_s = time.monotonic()
        self.process: int | None = None
        """Its process; None before it is forked."""
        self._status: int | None = None
        self._is_orphaned = False
        self._why_not: str | None = None
        self._gone_s: float | None = None
        self._is_doomed = False
        self._is_over = False

    @property
    def is_heard(self) -> bool:
        """Whether anything can still be heard of it."""
        return not self._is_over and self._gone_s is None

    @property
    def due_s(self) -> float:
        """When it has to be looked at even if nothing is heard."""
        if self._gone_s is not None and not self._is_over:
            return self._gone_s + STATUS_WITHIN_S
        return self._ordered_s + FORKED_WITHIN_S if self.process is None else float("inf")

    @property
    def is_stuck(self) -> bool:
        """Whether it should have been forked long ago."""
        return self.process is None and time.monotonic() >= self._ordered_s + FORKED_WITHIN_S

    def messages(self) -> list[Message]:
        """What it has said since; the last of all is that it is gone, or that it never was."""
        if self._is_over:
            return []
        if self._why_not is not None:
            return [*self._over(), NotStarted(self._why_not)]
        try:
            said: list[Message] = list(self._inbox.read())  # type: ignore[arg-type]
        except ValueError as error:
            self.kill()
            return [Gone(str(error))]
        if self._inbox.is_at_end:
            now_s = time.monotonic()
            self._gone_s = self._gone_s or now_s
            is_known = self._status is not None or self._is_orphaned
            if is_known or now_s >= self._gone_s + STATUS_WITHIN_S:
                said += [*self._over(), Gone(self._why_gone())]
        return said

    def ask_to_stop(self) -> None:
        """Ask it for what there is. One that does not hear will be killed."""
        with suppress(OSError):
            self.connection.send(STOP)

    def kill(self) -> None:
        """End it, whatever it is at, and hear nothing more of it."""
        self._is_doomed = True
        if self.process is not None and self._status is None:
            with suppress(ProcessLookupError):
                os.kill(self.process, signal.SIGKILL)
        self.close()

    def close(self) -> None:
        """Hear nothing more of it; by that it ends too, if only by and by."""
        self._is_over = True
        self.connection.close()

    def was_forked(self, process: int) -> None:
        """It is this process; 0: the system had none left."""
        if process == 0:
            self.never_was("the system has no process left")
            return
        self.process = process
        if self._is_doomed:
            self.kill()

    def has_ended(self, status: int) -> None:
        """It has ended, with this status."""
        self._status = status

    def is_orphaned(self) -> None:
        """The process that it was forked from is lost, and it too."""
        self._is_orphaned = True
        if self.process is None:
            self.never_was("the process that children come from was lost")

    def never_was(self, why: str) -> None:
        """There is no such child."""
        self._why_not = why

    def _over(self) -> list[Message]:
        self.close()
        return []

    def _why_gone(self) -> str:
        if self._status is None:
            return "the child was lost"
        if os.WIFSIGNALED(self._status):
            number = os.WTERMSIG(self._status)
            return f"the child was ended by {_name_of(number)}"
        code = os.WEXITSTATUS(self._status)
        return "the child got no memory" if code == OUT_OF_MEMORY else f"the child ended with code {code}"


def _name_of(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return f"signal {number}"
