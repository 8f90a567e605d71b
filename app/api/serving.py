"""Runs an application: listens, tells where, and stops without breaking off what it answers."""

from __future__ import annotations

import math
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import uvicorn
from starlette.types import ASGIApp
from uvicorn.supervisors import Multiprocess

from app.errors import BadInput, Fault
from app.settings import Settings, variable

WAITING_CONNECTIONS = 2048


def listen(settings: Settings) -> socket.socket:
    """A socket at the address and port of the settings.

    Raises
    ------
    BadInput
        If somebody listens there already, or it is no address of this machine.
    """
    try:
        family = socket.getaddrinfo(settings.host, settings.port, type=socket.SOCK_STREAM)[0][0]
        return socket.create_server(
            (settings.host, settings.port), family=family, backlog=WAITING_CONNECTIONS
        )
    except OSError as error:
        place = f"{settings.host}:{settings.port}"
        right = f"cannot be listened at: {error.strerror or error}"
        raise BadInput([Fault(right, field=variable("port"), value=place)]) from None


def address(listener: socket.socket) -> str:
    """Where a socket is reached."""
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def serve_one(app: ASGIApp, settings: Settings, listener: socket.socket, started: Callable[[], None]) -> None:
    """Answer in this process until it is told to stop; `started` is called once it can.

    On SIGTERM or SIGINT nobody is let in any more, and what is being answered may take `stop_within`.
    """
    _Server(_config(app, settings), started).run(sockets=[listener])


SILENT_FOR_S = 60
"""After how long a process that says nothing is replaced; on a busy machine one may take a while to start."""


def serve_many(factory: str, settings: Settings, listener: socket.socket) -> None:
    """Answer in several processes, each with an application made by a function, “module:name”."""
    config = _config(factory, settings, workers=settings.processes, factory=True)
    Multiprocess(config, sockets=[listener]).run()


def _config(
    app: ASGIApp | str, settings: Settings, workers: int = 1, factory: bool = False
) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        workers=workers,
        factory=factory,
        log_config=None,
        access_log=False,
        server_header=False,
        ws="none",
        proxy_headers=bool(settings.proxies),
        forwarded_allow_ips=list(settings.proxies),
        backlog=WAITING_CONNECTIONS,
        timeout_graceful_shutdown=math.ceil(settings.stop_within.total_seconds()),
        timeout_worker_healthcheck=SILENT_FOR_S,
    )


class _Server(uvicorn.Server):
    """Tells when it has started, and ends as a program that was asked to end, not as one that was killed."""

    def __init__(self, config: uvicorn.Config, started: Callable[[], None]) -> None:
        super().__init__(config)
        self._tell_started = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._tell_started()

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        before = {
            number: signal.signal(number, self.handle_exit) for number in (signal.SIGINT, signal.SIGTERM)
        }
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
