"""A service over HTTP: asked again where it does not answer, and what it refuses told as any refusal is."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, TypeVar

import httpx
from httpx_sse import ServerSentEvent, connect_sse
from pydantic import BaseModel, ValidationError

from app.client.problems import refusal
from app.errors import BadInput, Fault, Unavailable

ContractT = TypeVar("ContractT", bound=BaseModel)

API = "api/v1/"
FIRST_PATIENCE_S = 5.0
"""How long a service that has not answered yet is tried: its address may be wrong."""

PATIENCE_S = 300.0
"""How long one is tried that has answered before: it may be started anew."""

FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.25, 8.0
SILENT_S = 45.0
"""A stream shows every 15 s that it is there; one that was silent for so long is gone."""

ANSWERS_WITHIN_S = 120.0
"""Plant and thousands of jobs are looked at before a request is queued."""

_AGAIN = frozenset({429, 502, 503, 504})
"""Statuses of those who may answer otherwise in a while."""


def address(text: str) -> httpx.URL:
    """Where a service is.

    Raises
    ------
    BadInput
        If it is no address of one.
    """
    right = "should be the address of a service, such as http://127.0.0.1:8000"
    try:
        url = httpx.URL(text)
    except httpx.InvalidURL:
        raise BadInput([Fault(right, field="--server", value=text)]) from None
    if url.scheme not in ("http", "https") or not url.host or url.userinfo:
        raise BadInput([Fault(right, field="--server", value=text if not url.userinfo else None)])
    return url.copy_with(path=url.path.rstrip("/") + "/")


class Server:
    """A service, and the key with which it is asked.

    Parameters
    ----------
    say
        Told where an answer is waited for longer than usual.
    transport
        What speaks HTTP; None: the network.
    pause
        Waits so many seconds.
    """

    def __init__(
        self,
        url: httpx.URL,
        key: str,
        say: Callable[[str], None],
        transport: httpx.BaseTransport | None = None,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        timeout = httpx.Timeout(ANSWERS_WITHIN_S, connect=10.0)
        headers = {"Authorization": f"Bearer {key}"}
        self._client = httpx.Client(base_url=url, headers=headers, timeout=timeout, transport=transport)
        self._name = f"{url.scheme}://{url.netloc.decode()}"
        self._say = say
        self.pause = pause
        self._has_answered = False

    def close(self) -> None:
        self._client.close()

    def read(self, path: str, contract: type[ContractT]) -> ContractT:
        """What is at a path below the API's.

        Raises
        ------
        RunwrightError
            Whatever the service refuses, and `Unavailable` where it does not answer.
        """
        return self._read(self._asked("GET", path), contract)

    def send(self, path: str, content: bytes, media_type: str, contract: type[ContractT]) -> ContractT:
        """Put a file in place of what is at a path; raises as above."""
        headers = {"Content-Type": media_type}
        return self._read(self._asked("PUT", path, headers, content=content), contract)

    def post(self, path: str, body: BaseModel | None, contract: type[ContractT]) -> ContractT:
        """Have something done, once, however often it has to be asked for; raises as above."""
        headers = {"Idempotency-Key": str(uuid.uuid4())}
        if body is None:
            return self._read(self._asked("POST", path, headers), contract)
        content = body.model_dump_json(by_alias=True, exclude_unset=True).encode()
        headers["Content-Type"] = "application/json"
        return self._read(self._asked("POST", path, headers, content=content), contract)

    @contextmanager
    def stream(self, path: str, last: str | None) -> Iterator[Iterator[ServerSentEvent] | None]:
        """Events behind one, as they come; None where nothing follows any more. It breaks off with
        `httpx.TransportError`.

        Raises
        ------
        RunwrightError
            Whatever the service refuses, `Unavailable` where it cannot answer now.
        """
        headers = {} if last is None else {"Last-Event-ID": last}
        timeout = httpx.Timeout(SILENT_S, connect=10.0)
        with connect_sse(self._client, "GET", f"{API}{path}", headers=headers, timeout=timeout) as source:
            if source.response.status_code == httpx.codes.OK:
                self._has_answered = True
                yield (event for event in source.iter_sse() if event.data)  # others only keep it open
            else:
                source.response.read()
                self._require(source.response)
                yield None

    def tries(self) -> Iterator[None]:
        """Turns of trying: a pause before each but the first, longer every time, until patience ends."""
        paused_s, pause_s = 0.0, FIRST_PAUSE_S
        while True:
            yield
            patience_s = PATIENCE_S if self._has_answered else FIRST_PATIENCE_S
            if paused_s >= patience_s:
                return
            self.pause(pause_s)
            paused_s += pause_s
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    def gone(self, why: object) -> Unavailable:
        """What is told of a service that does not answer."""
        return Unavailable(f"{self._name} does not answer: {why}")

    def _asked(
        self, method: str, path: str, headers: Mapping[str, str] | None = None, **more: Any
    ) -> httpx.Response:
        error: Unavailable | None = None
        for _ in self.tries():
            if error is not None:
                self._say(f"{error}; trying again …")
            try:
                response = self._client.request(method, f"{API}{path}", headers=headers, **more)
            except httpx.TransportError as lost:
                error = self.gone(lost or type(lost).__name__)
                continue
            try:
                return self._require(response)
            except Unavailable as refused:
                if response.status_code not in _AGAIN:
                    raise
                error = refused
        raise error or self.gone("nobody asked")

    def _require(self, response: httpx.Response) -> httpx.Response:
        """The answer where it is none of a refusal."""
        self._has_answered = True
        if response.is_success:
            return response
        raise refusal(
            self._name, response.status_code, response.headers.get("content-type", ""), response.content
        )

    def _read(self, response: httpx.Response, contract: type[ContractT]) -> ContractT:
        try:
            return contract.model_validate_json(response.content)
        except ValidationError:
            what = f"its answer is no {contract.__name__} as this version knows it"
            raise Unavailable(f"{self._name} is of another version: {what}.") from None
