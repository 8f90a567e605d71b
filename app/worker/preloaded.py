"""The process that children are forked from: it has imported, read and tried out all that a search needs.

It has one thread, so that what is forked is whole. Started by `children.Nursery`, it takes orders over a
socket: a number, with a child's end of its connection and the file of its task. It tells when it is ready, of
every child its process number, and later how it ended. It ends with who started it, and its children with it.
"""

from __future__ import annotations

import os
import select
import signal
import socket
import struct
import sys
from contextlib import suppress
from enum import IntEnum
from pathlib import Path
from typing import Final, NoReturn

ORDER: Final = struct.Struct(">q")
"""The number of a child that is wanted."""
RECORD: Final = struct.Struct(">qqq")
"""What happened, the number of the child, and a value."""


class Told(IntEnum):
    """What is told of the process and its children."""

    COMPILING = 1
    """The search is compiled first, as it has to be once on a machine."""
    READY = 2
    """Children can be had from now on; the value is how many threads there are."""
    FORKED = 3
    """A child lives; the value is its process."""
    ENDED = 4
    """A child ended; the value is its status as `os.waitpid` gives it."""


def main() -> NoReturn:
    """Serve children until the socket, whose number is the last argument, is closed."""
    parent, number = map(int, sys.argv[-2:])
    from app.worker.lifeline import die_with

    die_with(parent)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # a terminal's Ctrl-C is the supervisor's
    # One worker thread of the linear algebra would be lost in every child.
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    control = socket.socket(fileno=number)
    _get_ready(control)
    _serve(control)
    sys.exit(0)


def _get_ready(control: socket.socket) -> None:
    """Load everything; what has to be compiled first is compiled by a process that then gives its memory
    back.
    """
    import gc

    from app.translation.rehearsing import is_rehearsed, rehearse
    from app.worker import child  # noqa: F401  what children run

    if not is_rehearsed():
        control.sendall(RECORD.pack(Told.COMPILING, 0, 0))
        pid = os.fork()
        if pid == 0:
            _rehearse_and_end(os.getppid())
        os.waitpid(pid, 0)
    rehearse()
    # Children share all of this as long as nobody writes to it.
    gc.collect()
    gc.freeze()
    control.sendall(RECORD.pack(Told.READY, 0, _threads()))


def _rehearse_and_end(parent: int) -> NoReturn:
    code = 1
    try:
        from app.translation.rehearsing import rehearse
        from app.worker.lifeline import die_with

        die_with(parent)
        rehearse()
        code = 0
    finally:
        os._exit(code)


def _threads() -> int:
    """How many threads this process has; 1 where nobody can say."""
    try:
        return len(list(Path("/proc/self/task").iterdir()))
    except OSError:
        return 1


def _serve(control: socket.socket) -> None:
    """Fork children as they are ordered, and tell how they end."""
    woken, wake = os.pipe()
    for end in (woken, wake):
        os.set_blocking(end, False)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    signal.set_wakeup_fd(wake, warn_on_full_buffer=False)
    numbers: dict[int, int] = {}
    while True:
        heard, _, _ = select.select([control.fileno(), woken], [], [])
        if woken in heard:
            with suppress(BlockingIOError):
                os.read(woken, 4096)
            _tell_ended(control, numbers)
        if control.fileno() in heard:
            text, files, _, _ = socket.recv_fds(control, ORDER.size, 2)
            if len(text) < ORDER.size or len(files) < 2:
                return
            (number,) = ORDER.unpack(text)
            pid = _forked(control, files, (woken, wake))
            for file in files:
                os.close(file)
            if pid:
                numbers[pid] = number
            control.sendall(RECORD.pack(Told.FORKED, number, pid))


def _forked(control: socket.socket, files: list[int], pipe: tuple[int, int]) -> int:
    """Fork a child; its process number, 0 where the system has none left."""
    parent = os.getpid()
    try:
        pid = os.fork()
    except OSError:
        return 0
    if pid:
        return pid
    try:
        from app.worker.child import run

        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        control.close()
        for end in pipe:
            os.close(end)
        connection, task_file = files
        run(socket.socket(fileno=connection), task_file, parent)
    finally:
        os._exit(1)


def _tell_ended(control: socket.socket, numbers: dict[int, int]) -> None:
    while True:
        try:
            pid, status = os.waitpid(-1, os.WNOHANG)
        except ChildProcessError:
            return
        if pid == 0:
            return
        number = numbers.pop(pid, None)
        if number is not None:
            control.sendall(RECORD.pack(Told.ENDED, number, status))
