"""Receivers of messages, good ones and bad ones: real servers on this machine."""

from __future__ import annotations

import json
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CERTIFICATE = Path(__file__).with_name("certificates") / "mis.example.com.pem"
PATIENCE_S = 20.0
"""For what must come: much longer than it ever takes."""


@dataclass(frozen=True)
class Received:
    """A request as it came."""

    line: str
    headers: dict[str, str]
    body: str
    connection: int

    @property
    def data(self) -> Any:
        return json.loads(self.body)["data"]


Answer = Callable[[socket.socket, Received], bool | None]
"""Answers a request; True: the connection stays."""


@dataclass
class Listening:
    """A receiver that listens at a port of this machine."""

    port: int
    received: list[Received] = field(default_factory=list)
    names: list[str | None] = field(default_factory=list)
    connections: int = 0
    at_once: int = 0
    most_at_once: int = 0
    _news: threading.Condition = field(default_factory=threading.Condition)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/hooks?of=press"

    def wait_for(self, count: int) -> list[Received]:
        """What has come, once it is so much."""
        with self._news:
            if not self._news.wait_for(lambda: len(self.received) >= count, PATIENCE_S):
                raise AssertionError(f"{len(self.received)} of {count} messages came")
            return list(self.received)

    def came(self, request: Received) -> None:
        with self._news:
            self.received.append(request)
            self.at_once += 1
            self.most_at_once = max(self.most_at_once, self.at_once)
            self._news.notify_all()

    def answered(self) -> None:
        with self._news:
            self.at_once -= 1


@contextmanager
def listening(answer: Answer, certificate: Path | None = None, port: int = 0) -> Iterator[Listening]:
    """A receiver that answers so, with a certificate over TLS; at a port, or any that is free."""
    with closing(socket.create_server(("127.0.0.1", port))) as server:
        there = Listening(server.getsockname()[1])
        context = None if certificate is None else _tls(certificate, there)
        threading.Thread(target=_accept, args=(server, there, answer, context), daemon=True).start()
        yield there


def wait_until(is_so: Callable[[], object]) -> None:
    """Wait for what must become so."""
    ends = time.monotonic() + PATIENCE_S
    while not is_so():
        if time.monotonic() > ends:
            raise AssertionError("it did not come to be so")
        time.sleep(0.01)


def unused_port() -> int:
    """A port at which nobody listens."""
    with closing(socket.create_server(("127.0.0.1", 0))) as server:
        port: int = server.getsockname()[1]
        return port


def status(code: int, *headers: str, body: str = "") -> Answer:
    """Answers with a status, and the connection stays."""

    def answer(connection: socket.socket, _request: Received) -> bool:
        lines = (f"HTTP/1.1 {code} so it is", f"Content-Length: {len(body)}", *headers, "", body)
        connection.sendall("\r\n".join(lines).encode())
        return True

    return answer


def in_turn(*answers: Answer) -> Answer:
    """Answers each request otherwise; the last answer stays."""
    left = list(answers)

    def answer(connection: socket.socket, request: Received) -> bool | None:
        return (left.pop(0) if len(left) > 1 else left[0])(connection, request)

    return answer


def raw(text: bytes) -> Answer:
    """Answers with these bytes and closes."""

    def answer(connection: socket.socket, _request: Received) -> None:
        connection.sendall(text)

    return answer


def silent(connection: socket.socket, _request: Received) -> None:
    """Never answers."""
    while connection.recv(1000):
        pass


def byte_by_byte(before: bytes = b"", filler: bytes = b"x-slow: 1\r\n", after: bytes = b"\r\n") -> Answer:
    """Answers well, but for so long byte by byte that nobody waits for it."""

    def answer(connection: socket.socket, _request: Received) -> None:
        connection.sendall(before)
        ends = time.monotonic() + PATIENCE_S / 2
        while time.monotonic() < ends:
            for byte in filler:
                connection.sendall(bytes([byte]))
                time.sleep(0.002)
        connection.sendall(after)

    return answer


def endless(before: bytes, filler: bytes, sent: list[int]) -> Answer:
    """Answers without end, as fast as it can; `sent` counts how many bytes were taken."""

    def answer(connection: socket.socket, _request: Received) -> None:
        connection.sendall(before)
        while True:
            sent.append(connection.send(filler))

    return answer


def _tls(certificate: Path, there: Listening) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, certificate.with_suffix(".key"))
    context.sni_callback = lambda _socket, name, _context: there.names.append(name)
    return context


def _accept(server: socket.socket, there: Listening, answer: Answer, context: ssl.SSLContext | None) -> None:
    with suppress(OSError):
        while True:
            connection, _ = server.accept()
            there.connections += 1
            told = (connection, there, answer, context, there.connections)
            threading.Thread(target=_converse, args=told, daemon=True).start()


def _converse(
    connection: socket.socket,
    there: Listening,
    answer: Answer,
    context: ssl.SSLContext | None,
    number: int,
) -> None:
    with suppress(OSError, EOFError):
        connection.settimeout(PATIENCE_S)
        if context is not None:
            connection = context.wrap_socket(connection, server_side=True)
        with closing(connection), connection.makefile("rb") as sent:
            stays: bool | None = True
            while stays:
                request = _request(sent, number)
                there.came(request)
                try:
                    stays = answer(connection, request)
                finally:
                    there.answered()


def _request(sent: Any, number: int) -> Received:
    line = sent.readline().decode("latin-1").strip()
    if not line:
        raise EOFError
    headers = {}
    while header := sent.readline().decode("latin-1").strip():
        name, _, value = header.partition(": ")
        headers[name.lower()] = value
    return Received(line, headers, sent.read(int(headers.get("content-length", 0))).decode(), number)
