"""A light HTTP client: requests made ready beforehand, sent over connections that stay open.

It speaks as much of HTTP/1.1 as the measured servers do, over asyncio's streams, and takes some 50 µs of a
request: clients that people use take more than the server, and with both on two cores they would be measured.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from statistics import median
from typing import Any

HOST = "127.0.0.1"
PATIENCE_S = 120.0


@dataclass(frozen=True)
class Ask:
    """A request ready to be sent, and the status that it should be answered with."""

    wire: bytes
    right_status: int


class WrongAnswerError(RuntimeError):
    """The server answers otherwise than the benchmark needs."""


def ask(
    method: str,
    path: str,
    key: str | None = None,
    body: bytes | None = None,
    right_status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> Ask:
    """A request; its body is JSON, unless a header says what else it is."""
    lines = [f"{method} {path} HTTP/1.1", f"Host: {HOST}"]
    if key is not None:
        lines.append(f"Authorization: Bearer {key}")
    told = dict(headers or {})
    if body is not None:
        told = {"Content-Type": "application/json", "Content-Length": str(len(body))} | told
    lines += [f"{name}: {text}" for name, text in told.items()]
    return Ask("\r\n".join((*lines, "", "")).encode() + (body or b""), right_status)


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    head: bytes
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


class Line:
    """One connection to a server."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer

    @classmethod
    async def to(cls, port: int) -> Line:
        """Connect."""
        return cls(*await asyncio.open_connection(HOST, port, limit=2**20))

    async def send(self, wire: bytes) -> Answer:
        """Send a request and wait for its answer."""
        self._writer.write(wire)
        head = await self._reader.readuntil(b"\r\n\r\n")
        length = _length(head)
        body = await self._reader.readexactly(length) if length else b""
        return Answer(int(head[9:12]), head, body)

    async def close(self) -> None:
        """Hang up."""
        self._writer.close()
        with suppress(OSError):
            await self._writer.wait_closed()


def _length(head: bytes) -> int:
    """The body's length: every measured answer says it."""
    for line in head.split(b"\r\n"):
        name, _, value = line.partition(b":")
        if name.lower() == b"content-length":
            return int(value)
        if name.lower() == b"transfer-encoding":
            raise WrongAnswerError("the answer comes in chunks")
    return 0


@dataclass(frozen=True)
class Timed:
    """How requests went.

    Parameters
    ----------
    wall_s
        From the first request to the last answer.
    cpu_s
        Processor seconds of the client: where they come near the wall's, the client is what is measured.
    latencies_s
        Of every request.
    """

    wall_s: float
    cpu_s: float
    latencies_s: Sequence[float] = field(repr=False)

    @property
    def a_second(self) -> float:
        return len(self.latencies_s) / self.wall_s

    def at(self, share: float) -> float:
        """The latency in s that a share of the requests does not exceed."""
        ordered = sorted(self.latencies_s)
        return ordered[min(len(ordered) - 1, int(share * len(ordered)))]

    @property
    def median_s(self) -> float:
        return median(self.latencies_s)


def timed(port: int, asks: Iterator[Ask], clients: int, seconds: float | None = None) -> Timed:
    """Send requests one after the other over some connections at once.

    Parameters
    ----------
    seconds
        After which no other is begun; None: until all are sent.

    Raises
    ------
    WrongAnswerError
        If an answer has another status than it should.
    """
    return asyncio.run(asyncio.wait_for(_timed(port, asks, clients, seconds), PATIENCE_S + (seconds or 600)))


def answered(port: int, asked: Ask) -> Answer:
    """The answer to one request.

    Raises
    ------
    WrongAnswerError
        If it has another status than it should.
    """

    async def one() -> Answer:
        line = await Line.to(port)
        try:
            return _checked(asked, await line.send(asked.wire))
        finally:
            await line.close()

    return asyncio.run(asyncio.wait_for(one(), PATIENCE_S))


async def _timed(port: int, asks: Iterator[Ask], clients: int, seconds: float | None) -> Timed:
    lines = [await Line.to(port) for _ in range(clients)]
    latencies: list[float] = []
    begun_s, begun_cpu_s = time.perf_counter(), time.process_time()
    until_s = begun_s + seconds if seconds is not None else float("inf")

    async def client(line: Line) -> None:
        while time.perf_counter() < until_s and (asked := next(asks, None)) is not None:
            sent_s = time.perf_counter()
            answer = await line.send(asked.wire)
            latencies.append(time.perf_counter() - sent_s)
            _checked(asked, answer)

    try:
        await asyncio.gather(*(client(line) for line in lines))
    finally:
        for line in lines:
            await line.close()
    return Timed(time.perf_counter() - begun_s, time.process_time() - begun_cpu_s, latencies)


def _checked(asked: Ask, answer: Answer) -> Answer:
    if answer.status != asked.right_status:
        told = answer.body[:500].decode(errors="replace")
        first = asked.wire.split(b"\r\n", 1)[0].decode()
        raise WrongAnswerError(f"{first}: {answer.status}, not {asked.right_status}: {told}")
    return answer
