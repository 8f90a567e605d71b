"""The service as a process of its own: started as `runwright serve` starts it, stopped or killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from sqlalchemy import URL

from app.settings import variable
from tests.bench.process_tree import cpu_s
from tests.bench.service_client import HOST, WrongAnswerError, answered, ask

ROOT = Path(__file__).parents[2]
START_S, STOP_S = 120.0, 60.0
READY = "/readyz"
NO_LIMITS = {
    variable("requests_per_minute_by_key"): "0",
    variable("requests_per_minute_by_address"): "0",
    variable("slots"): "0",
}
"""A benchmark has one key and one address, and asks more often than anybody may; nothing is planned."""

RUNWRIGHT = (sys.executable, "-c", "from app.cli import main; main()")


@dataclass
class Process:
    """A server that answers at a port."""

    port: int
    popen: subprocess.Popen[bytes]

    @property
    def cpu_s(self) -> float:
        """Processor seconds that it has taken so far."""
        return cpu_s(self.popen.pid)

    def kill(self) -> None:
        """End it as a power cut would."""
        self.popen.send_signal(signal.SIGKILL)
        self.popen.wait(STOP_S)

    def stop(self) -> None:
        """Ask it to end."""
        if self.popen.poll() is None:
            self.popen.terminate()
            try:
                self.popen.wait(STOP_S)
            except subprocess.TimeoutExpired:
                self.kill()


def served(url: URL, log: IO[bytes] | None = None, **settings: str) -> Process:
    """`runwright serve` on a database, ready to answer.

    Parameters
    ----------
    log
        Where its log goes; None: nowhere.
    settings
        Settings of the service beside those that take its limits away.
    """
    asked = ("serve", "--database", _text(url))
    environment = NO_LIMITS | {variable(name): value for name, value in settings.items()}
    return started((*RUNWRIGHT, *asked), READY, environment, log)


def started(
    command: Sequence[str], ready: str, environment: Mapping[str, str], log: IO[bytes] | None = None
) -> Process:
    """A server of any command that takes `--port`, once it answers at an address with 200.

    Raises
    ------
    RuntimeError
        If it ends before, or does not answer in time.
    """
    port = free_port()
    popen = subprocess.Popen(
        (*command, "--port", str(port)),
        cwd=ROOT,
        env=os.environ | environment,
        stdin=subprocess.DEVNULL,
        stdout=log or subprocess.DEVNULL,
        stderr=log or subprocess.DEVNULL,
    )
    process = Process(port, popen)
    until_s = time.monotonic() + START_S
    while not _answers(port, ready):
        if popen.poll() is not None or time.monotonic() > until_s:
            process.stop()
            raise RuntimeError(
                f"{' '.join(command)} does not answer at {ready}; it ended with {popen.returncode}"
            )
        time.sleep(0.02)
    return process


@contextmanager
def running(process: Process) -> Iterator[Process]:
    """A server for as long as it is needed."""
    try:
        yield process
    finally:
        process.stop()


def free_port() -> int:
    """A port that nobody listens at."""
    with socket.socket() as listening:
        listening.bind((HOST, 0))
        port: int = listening.getsockname()[1]
        return port


def _answers(port: int, path: str) -> bool:
    try:
        answered(port, ask("GET", path))
    except (OSError, EOFError, WrongAnswerError):
        return False
    return True


def _text(url: URL) -> str:
    return url.render_as_string(hide_password=False)
