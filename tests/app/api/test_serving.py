"""A running service: where it listens, and how it stops."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import httpx2
import pytest

from app.api.serving import address, listen
from app.errors import BadInput
from app.settings import read_settings

ROOT = Path(__file__).parents[3]


class Running:
    """A service in a process of its own."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.address, key = self.told().split()
        self.headers = {"Authorization": f"Bearer {key}"}

    def told(self) -> str:
        """The next line it prints."""
        if self.process.stdout is None:
            raise AssertionError("it cannot be heard")
        return self.process.stdout.readline().strip()

    def ask(self) -> int:
        return httpx2.get(f"{self.address}/slow", headers=self.headers, timeout=30).status_code


@contextmanager
def running(seconds: float, stop_within: str) -> Iterator[Running]:
    command = [sys.executable, "-m", "tests.app.api.slow_service", str(seconds), stop_within]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            yield Running(process)
        finally:
            process.kill()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_service_that_is_told_to_stop_ends_what_it_answers_first(number: signal.Signals) -> None:
    with running(1.0, "20 s") as service, ThreadPoolExecutor() as other:
        asked = other.submit(service.ask)
        assert service.told() == "begun"
        service.process.send_signal(number)
        assert asked.result() == 200
        assert [service.told(), service.told()] == ["closed", "ended"]
        assert service.process.wait() == 0


def test_nobody_is_let_in_once_it_is_told_to_stop() -> None:
    with running(2.0, "20 s") as service, ThreadPoolExecutor() as other:
        asked = other.submit(service.ask)
        assert service.told() == "begun"
        service.process.send_signal(signal.SIGTERM)
        if service.process.stderr is None:
            raise AssertionError("it cannot be heard")
        while "Shutting down" not in service.process.stderr.readline():
            pass
        with pytest.raises(httpx2.TransportError):
            httpx2.get(f"{service.address}/healthz")
        assert asked.result() == 200


def test_an_address_is_told_as_it_is_reached() -> None:
    with listen(read_settings({}, port=0)) as listener:
        port = listener.getsockname()[1]
        assert address(listener) == f"http://127.0.0.1:{port}"


def test_a_port_that_is_taken_is_refused() -> None:
    with listen(read_settings({}, port=0)) as listener:
        port = listener.getsockname()[1]
        with pytest.raises(BadInput, match="cannot be listened at"):
            listen(read_settings({}, port=port))


def test_an_address_of_another_machine_is_refused() -> None:
    settings = read_settings({}, host="192.0.2.1", open_to_network=True, port=0)
    with pytest.raises(BadInput, match=r"192\.0\.2\.1:0"):
        listen(settings)
