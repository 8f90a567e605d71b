"""A planning request asked for and followed over HTTP, as a client of the service does it."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import httpx
from httpx_sse import EventSource

from app.contracts.planning_requests import EventKind, RequestStatus
from tests.bench.service_client import HOST, WrongAnswerError

PATH = "/api/v1/planning-requests"
PROGRESS = "progress"
ENDS = frozenset(EventKind(status.value) for status in RequestStatus if status.is_over)
SILENT_S = 60.0
"""So long a stream may say nothing, comments apart, before it is given up."""


@dataclass(frozen=True)
class Heard:
    """An event as a reader of the stream heard it.

    Parameters
    ----------
    at_s
        When it was heard, seconds of the clock that people read.
    said_s
        When it happened: of progress, when the worker told it.
    """

    name: str
    at_s: float
    said_s: float
    told: dict[str, Any] = field(repr=False)


class Asker:
    """Asks the service as one client, over connections that stay open.

    Parameters
    ----------
    seconds
        That a search is asked to take.
    alternatives
        That it is asked for.
    reasons
        Whether it is asked for them.
    """

    def __init__(
        self, port: int, key: str, seconds: float, *, alternatives: int = 0, reasons: bool = False
    ) -> None:
        headers = {"Authorization": f"Bearer {key}"}
        self._client = httpx.Client(base_url=f"http://{HOST}:{port}", headers=headers, timeout=SILENT_S)
        self._wanted = {"seconds": seconds, "alternatives": alternatives, "reasons": reasons}
        self._asked = 0

    def close(self) -> None:
        """Hang up."""
        self._client.close()

    def ask(self) -> str:
        """Ask for an order; its id."""
        self._asked += 1
        body = self._wanted | {"name": f"bench {self._asked}", "seed": self._asked}
        return str(self._posted(PATH, body)["id"])

    def cancel(self, id: str) -> None:
        """Cancel it."""
        self._posted(f"{PATH}/{id}/cancellation", None)

    def read(self, id: str) -> dict[str, Any]:
        """How far it is."""
        answer = self._client.get(f"{PATH}/{id}")
        _require(answer, 200)
        return dict(answer.json())

    @contextmanager
    def following(self, id: str) -> Iterator[Iterator[Heard]]:
        """All that happens to it, from its beginning on."""
        with self._client.stream("GET", f"{PATH}/{id}/events") as answer:
            _require(answer, 200)
            yield _heard(answer)

    def _posted(self, path: str, body: dict[str, Any] | None) -> dict[str, Any]:
        answer = self._client.post(path, json=body)
        _require(answer, 201 if path == PATH else 200)
        return dict(answer.json())


def until(heard: Iterator[Heard], *names: str) -> Heard:
    """The next event of one of these names.

    Raises
    ------
    WrongAnswerError
        If the request or the stream ends without one.
    """
    for event in heard:
        if event.name in names:
            return event
        if event.name in ENDS:
            raise WrongAnswerError(f"a request ended {event.name}, not {' or '.join(names)}: {event.told}")
    raise WrongAnswerError(f"the stream ended without {' or '.join(names)}")


def _heard(answer: httpx.Response) -> Iterator[Heard]:
    for event in EventSource(answer).iter_sse():
        at_s = time.time()
        if event.data:
            told = json.loads(event.data)
            yield Heard(event.event, at_s, datetime.fromisoformat(told["at"]).timestamp(), told)


def _require(answer: httpx.Response, status: int) -> None:
    if answer.status_code != status:
        answer.read()
        raise WrongAnswerError(
            f"{answer.request.method} {answer.request.url.path}: {answer.status_code}, not {status}: "
            f"{answer.text[:500]}"
        )
