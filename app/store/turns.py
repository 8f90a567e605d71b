"""Threads of one process that write to SQLite take turns, in the order in which they came.

The database itself lets whoever asks next go first: under load somebody would wait until its patience ends.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock


class Turns:
    """A lock that is handed on in the order of asking."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._taken = False
        self._waiting: deque[Lock] = deque()

    @contextmanager
    def turn(self) -> Iterator[None]:
        """Wait for one's turn, and hand it on at the end."""
        self._take()
        try:
            yield
        finally:
            self._hand_on()

    def _take(self) -> None:
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            mine = Lock()
            mine.acquire()
            self._waiting.append(mine)
        mine.acquire()

    def _hand_on(self) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._taken = False
