"""Posts messages to a receiver: signed, to the very address that was looked at, and never for longer than
said.

Whatever a receiver does, an attempt ends: the time that is left is what each single wait may take, be it for
the name, the connection, the handshake or the next byte.
"""

from __future__ import annotations

import re
import ssl
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from types import TracebackType
from typing import Any, Final, Self, TypeVar

import httpcore
from standardwebhooks import Webhook

from app import __version__
from app.webhook_targets import Address, Resolve, Target, TargetRefused, Targets, addresses_of

TIMEOUT_S: Final = 10.0
ANSWER_WITHIN_S: Final = 1.0
"""How long the rest of an answer is waited for, once its status is there."""

MOST_READ = 4096
"""Bytes of an answer."""

WRITTEN_AT_ONCE = 4096
"""Bytes of a message, before it is looked how much time is left."""

MOST_TOLD = 200
"""Letters of it that are kept."""

LONGEST_REST_S: Final = 3600.0
"""However long a receiver asks to be left alone."""

_Got = TypeVar("_Got")


@dataclass(frozen=True, slots=True)
class Answered:
    """What came of an attempt.

    Parameters
    ----------
    status
        Of the answer; None where there was none.
    told
        What went wrong, or how the answer began.
    rests_s
        For so long the receiver asks to be left alone.
    """

    status: int | None
    told: str
    took_ms: int
    rests_s: float = 0.0


class Poster:
    """What posting to any receiver needs.

    Parameters
    ----------
    targets
        Where messages may be sent to.
    timeout_s
        How long an attempt may take, in all.
    resolve
        Tells the addresses of a name.
    certificates
        Who is trusted; None: whom the usual authorities vouch for.
    """

    def __init__(
        self,
        targets: Targets,
        timeout_s: float = TIMEOUT_S,
        resolve: Resolve = addresses_of,
        certificates: ssl.SSLContext | None = None,
    ) -> None:
        self.targets = targets
        self.timeout_s = timeout_s
        self.resolve = resolve
        self.certificates = certificates or httpcore.default_ssl_context()

    def receiver(self, url: str) -> Receiver:
        """Somebody to post to, some messages one after the other."""
        return Receiver(self, url)


class Receiver:
    """Where some messages go one after the other, on one connection if it stays: closed at the end."""

    def __init__(self, poster: Poster, url: str) -> None:
        self._poster = poster
        self._url = url
        self._deadline = _Deadline()
        self._way: tuple[Target, httpcore.ConnectionPool] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._way is not None:
            self._way[1].close()

    def post(self, message: str, body: str, secrets: Sequence[str], at: datetime) -> Answered:
        """Post a message; whatever goes wrong is told and not raised.

        Parameters
        ----------
        message
            Its id, the same at every attempt.
        secrets
            Each signs.
        at
            The time of the attempt.
        """
        begun = time.monotonic()
        self._deadline.set(self._poster.timeout_s)
        try:
            status, told, rests_s = self._posted(message, body, secrets, at)
        except (TargetRefused, _NotResolved) as error:
            status, told, rests_s = None, str(error), 0.0
        except httpcore.TimeoutException:
            status, told, rests_s = None, f"no answer within {self._poster.timeout_s:g} s", 0.0
        except (httpcore.NetworkError, httpcore.ProtocolError, OSError) as error:
            status, told, rests_s = None, _one_line(str(error) or type(error).__name__), 0.0
        took_ms = round((time.monotonic() - begun) * 1000)
        return Answered(status, told, took_ms, rests_s)

    def _posted(
        self, message: str, body: str, secrets: Sequence[str], at: datetime
    ) -> tuple[int, str, float]:
        self._way = target, pool = self._way or self._found()
        at = at.astimezone(UTC)
        sent = body.encode()
        headers = [
            ("Host", _authority(target)),
            ("Content-Type", "application/json"),
            ("Content-Length", str(len(sent))),
            ("User-Agent", f"Runwright/{__version__}"),
            ("webhook-id", message),
            ("webhook-timestamp", str(int(at.timestamp()))),
            ("webhook-signature", " ".join(Webhook(secret).sign(message, at, body) for secret in secrets)),
        ]
        url = httpcore.URL(
            scheme=target.scheme.encode(),
            host=target.host.encode(),
            port=target.port,
            target=target.path.encode(),
        )
        with pool.stream("POST", url, headers=headers, content=sent) as response:
            self._deadline.set(min(self._deadline.left_s, ANSWER_WITHIN_S))
            began = _beginning(response)
            return response.status, _told(response.status, began), _rest_s(response, at)

    def _found(self) -> tuple[Target, httpcore.ConnectionPool]:
        """The way to the receiver: its name is resolved once, and once alone."""
        poster = self._poster
        target = poster.targets.target(self._url)
        addresses = _within(self._deadline.left_s, lambda: poster.targets.addresses(target, poster.resolve))
        return target, httpcore.ConnectionPool(
            ssl_context=poster.certificates,
            max_connections=1,
            network_backend=_Pinned(addresses, self._deadline),
        )


class _NotResolved(Exception):
    """A name that is not known, or about which nobody says anything in time."""


def _within(seconds: float, ask: Callable[[], _Got]) -> _Got:
    """What asking gives; the system's resolver knows no time limit, so it is asked in a thread of its own.

    Raises
    ------
    _NotResolved
        If it takes longer, or fails.
    TargetRefused
        If what it gives may not be connected to.
    """
    got: list[_Got] = []
    failed: list[Exception] = []

    def look() -> None:
        try:
            got.append(ask())
        except Exception as error:
            failed.append(error)

    thread = threading.Thread(target=look, name="resolving", daemon=True)
    thread.start()
    thread.join(seconds)
    if got:
        return got[0]
    match failed:
        case [TargetRefused() as refused]:
            raise refused
        case [error]:
            raise _NotResolved(f"the name cannot be resolved: {_one_line(str(error))}")
        case _:
            raise _NotResolved("the name is not resolved in time")


class _Deadline:
    """Until when everything has to be over."""

    def __init__(self) -> None:
        self._ends = 0.0

    def set(self, seconds: float) -> None:
        self._ends = time.monotonic() + seconds

    @property
    def left_s(self) -> float:
        """What is left of the time.

        Raises
        ------
        httpcore.TimeoutException
            If nothing is.
        """
        left = self._ends - time.monotonic()
        if left <= 0:
            raise httpcore.TimeoutException
        return left


class _Pinned(httpcore.NetworkBackend):
    """Connects to addresses that were looked at, whatever the name would resolve to now."""

    def __init__(self, addresses: Sequence[Address], deadline: _Deadline) -> None:
        self._addresses = addresses
        self._deadline = deadline
        self._plain = httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[httpcore.SOCKET_OPTION] | None = None,
    ) -> httpcore.NetworkStream:
        last: Exception = httpcore.ConnectError("there is no address")
        for tried, address in enumerate(self._addresses):
            share_s = self._deadline.left_s / (len(self._addresses) - tried)
            try:
                stream = self._plain.connect_tcp(str(address), port, share_s, socket_options=socket_options)
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                last = error
            else:
                return _Timed(stream, self._deadline)
        raise last


class _Timed(httpcore.NetworkStream):
    """A connection on which no wait goes beyond the deadline."""

    def __init__(self, stream: httpcore.NetworkStream, deadline: _Deadline) -> None:
        self._stream = stream
        self._deadline = deadline

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self._stream.read(min(max_bytes, MOST_READ), self._deadline.left_s)

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        for begin in range(0, len(buffer), WRITTEN_AT_ONCE):
            self._stream.write(buffer[begin : begin + WRITTEN_AT_ONCE], self._deadline.left_s)

    def close(self) -> None:
        self._stream.close()

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        stream = self._stream.start_tls(ssl_context, server_hostname, self._deadline.left_s)
        return _Timed(stream, self._deadline)

    def get_extra_info(self, info: str) -> Any:
        return self._stream.get_extra_info(info)


def _authority(target: Target) -> str:
    host = f"[{target.host}]" if ":" in target.host else target.host
    usual = {"https": 443, "http": 80}[target.scheme]
    return host if target.port == usual else f"{host}:{target.port}"


def _beginning(response: httpcore.Response) -> bytes:
    """The first bytes of an answer. That it breaks off or takes long is no matter: its status is there."""
    began = b""
    try:
        for part in response.iter_stream():
            began += part
            if len(began) >= MOST_READ:
                break
    except (httpcore.TimeoutException, httpcore.NetworkError, httpcore.ProtocolError):
        pass
    return began[:MOST_READ]


def _told(status: int, began: bytes) -> str:
    if 300 <= status < 400:
        return "it sends on to another address, which is not followed: change the URL"
    return _one_line(began.decode(errors="replace"))


_NOT_TOLD = re.compile(r"[\x00-\x1f\x7f-\x9f\s]+")


def _one_line(text: str) -> str:
    told = _NOT_TOLD.sub(" ", text).strip()
    return told if len(told) <= MOST_TOLD else f"{told[: MOST_TOLD - 1]}…"


def _rest_s(response: httpcore.Response, at: datetime) -> float:
    """For how long `Retry-After` asks to be left alone: seconds, or a date."""
    sent = next((value for name, value in response.headers if name.lower() == b"retry-after"), b"")
    text = sent.decode("ascii", errors="replace").strip()
    if re.fullmatch(r"[0-9]{1,9}", text):
        return min(float(text), LONGEST_REST_S)
    try:
        moment = parsedate_to_datetime(text)
    except ValueError:
        return 0.0
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return min(max((moment - at).total_seconds(), 0.0), LONGEST_REST_S)
