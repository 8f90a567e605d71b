"""Where calls that may wait are made, so that whoever looks after children never does."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Protocol, TypeVar

Result = TypeVar("Result")


class Desk(Protocol):
    """Makes calls."""

    def do(self, call: Callable[[], Result]) -> Future[Result]:
        """What a call comes to, sooner or later."""
        ...


class Clerks:
    """Several threads that make calls in the order in which they are asked for.

    They hold up nobody's end: one may wait for a database that is not there for long.

    Parameters
    ----------
    clerks
        How many calls are made at the same time.
    told
        Called by one of them behind every call.
    """

    def __init__(self, clerks: int, told: Callable[[], None]) -> None:
        self._told = told
        self._asked: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._clerks = clerks
        for number in range(clerks):
            threading.Thread(target=self._work, name=f"clerk {number}", daemon=True).start()

    def do(self, call: Callable[[], Result]) -> Future[Result]:
        """What a call comes to, sooner or later."""
        result: Future[Result] = Future()

        def made() -> None:
            try:
                result.set_result(call())
            except BaseException as error:
                result.set_exception(error)

        self._asked.put(made)
        return result

    def close(self) -> None:
        """Make no more calls than those that were asked for."""
        for _ in range(self._clerks):
            self._asked.put(None)

    def _work(self) -> None:
        while (made := self._asked.get()) is not None:
            made()
            self._told()
