"""What a child and its supervisor say to each other, over a socket that may break off at any byte."""

from __future__ import annotations

import pickle
import socket
import struct
from dataclasses import dataclass
from typing import Final

from app.contracts.planning_requests import RequestProblem
from app.contracts.sequences import Progress

STOP: Final = b"s"
"""All that a supervisor ever says: end the search, and tell what there is."""

OUT_OF_MEMORY: Final = 70
"""Exit code of a child that got no memory: tried again later there may be some."""

_LENGTH = struct.Struct(">Q")
_PIECE = 1 << 18
LONGEST = 1 << 32
"""Bytes of a message at most: a longer one was never sent."""


@dataclass(frozen=True, slots=True)
class SearchTask:
    """Work a request out; `input` is a `PlanningInput` as compressed JSON."""

    input: bytes


@dataclass(frozen=True, slots=True)
class CostTask:
    """Cost the order that a search broken off had: a `RunOrder` as JSON."""

    input: bytes
    order: bytes


Task = SearchTask | CostTask


@dataclass(frozen=True, slots=True)
class Began:
    """The search begins: all before it is overhead."""


@dataclass(frozen=True, slots=True)
class Further:
    """How far the search is."""

    progress: Progress


@dataclass(frozen=True, slots=True)
class Incumbent:
    """The best order so far is another one: a `RunOrder` as JSON."""

    order: bytes


@dataclass(frozen=True, slots=True)
class Planned:
    """What was found; reasons may follow.

    Parameters
    ----------
    plan, alternatives
        A `CostedPlan` as JSON, its alternatives in it, and each of those alone.
    is_whole
        Whether the search came to its own end.
    """

    plan: bytes
    alternatives: tuple[bytes, ...]
    is_whole: bool


@dataclass(frozen=True, slots=True)
class Explained:
    """The reasons of what was found: `Reasons` as JSON."""

    reasons: bytes


@dataclass(frozen=True, slots=True)
class Done:
    """Nothing follows."""


@dataclass(frozen=True, slots=True)
class Refused:
    """It cannot be worked out, whoever tries again.

    Parameters
    ----------
    details
        Of what nobody foresaw, for the log alone.
    """

    problem: RequestProblem
    details: str = ""


@dataclass(frozen=True, slots=True)
class Gone:
    """The child is gone, and why; it says nothing more."""

    why: str


@dataclass(frozen=True, slots=True)
class NotStarted:
    """There never was a child, and why; that is no fault of the request."""

    why: str


FromChild = Began | Further | Incumbent | Planned | Explained | Done | Refused | Gone
Message = FromChild | NotStarted


def framed(message: object) -> bytes:
    """A message as it is sent."""
    text = pickle.dumps(message, pickle.HIGHEST_PROTOCOL)
    return _LENGTH.pack(len(text)) + text


class Inbox:
    """Reads what has arrived and never waits for more: a child may be stopped in the middle of a message."""

    def __init__(self, connection: socket.socket) -> None:
        connection.setblocking(False)
        self._connection = connection
        self._bytes = bytearray()
        self.is_at_end = False
        """Whether nothing can arrive any more."""

    def read(self) -> list[object]:
        """The messages that have arrived whole.

        Raises
        ------
        ValueError
            If what arrives is no message.
        """
        self._receive()
        messages: list[object] = []
        while (message := self._next()) is not None:
            messages.append(message)
        return messages

    def _receive(self) -> None:
        while not self.is_at_end:
            try:
                piece = self._connection.recv(_PIECE)
            except BlockingIOError:
                return
            except OSError:
                piece = b""
            self._bytes += piece
            self.is_at_end = not piece

    def _next(self) -> object | None:
        if len(self._bytes) < _LENGTH.size:
            return None
        (length,) = _LENGTH.unpack_from(self._bytes)
        if length > LONGEST:
            raise ValueError("what the child says makes no sense")
        end = _LENGTH.size + length
        if len(self._bytes) < end:
            return None
        text = bytes(memoryview(self._bytes)[_LENGTH.size : end])
        del self._bytes[:end]
        try:
            message: object = pickle.loads(text)
        except Exception as error:
            raise ValueError("what the child says makes no sense") from error
        return message
