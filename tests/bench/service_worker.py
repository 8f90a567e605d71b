"""`runwright worker` as a process of its own: started, waited for, killed with all below it."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL

from tests.bench.process_tree import descendants, parents, send
from tests.bench.service_process import ROOT, RUNWRIGHT

GONE_WITHIN_S = 10.0
READY_WITHIN_S = 300.0
"""On a machine that is busy with other things, too."""

READY = b'"ready to search"'
"""What the log says once children can be had."""


class LeftBehindError(RuntimeError):
    """Processes go on that should have ended with another."""


@dataclass
class WorkerProcess:
    """A worker's process, and where it logs."""

    popen: subprocess.Popen[bytes]
    log: Path

    @property
    def pid(self) -> int:
        return self.popen.pid

    @property
    def has_ended(self) -> bool:
        return self.popen.poll() is not None

    @property
    def child(self) -> int | None:
        """The process that searches: the one below that which children come from."""
        return next((pid for pid, depth in descendants(self.pid) if depth > 1), None)

    @property
    def is_ready(self) -> bool:
        """Whether it can search: it has said so since it was started."""
        return READY in self.log.read_bytes()

    def wait_until_ready(self) -> None:
        """Wait until children can be had.

        Raises
        ------
        RuntimeError
            If it ends before, or takes too long.
        """
        until_s = time.monotonic() + READY_WITHIN_S
        while not self.is_ready:
            if self.has_ended or time.monotonic() > until_s:
                raise RuntimeError(f"a worker did not get ready: {told_by(self.log)}")
            time.sleep(0.05)

    def kill(self) -> None:
        """End it as a power cut would; all below it has to end by itself.

        Raises
        ------
        LeftBehindError
            If anything below it goes on.
        """
        below = [pid for pid, _ in descendants(self.pid)]
        self.popen.send_signal(signal.SIGKILL)
        self.popen.wait()
        _require_gone(below)

    def close(self) -> None:
        """End it whatever state it is in, stopped or ended already."""
        send(self.pid, signal.SIGCONT)
        self.popen.kill()
        self.popen.wait()


def working(
    url: URL,
    name: str,
    log: Path,
    settings: Mapping[str, str],
    command: Sequence[str] = RUNWRIGHT,
    before: Sequence[str] = (),
    *,
    slots: int = 1,
) -> WorkerProcess:
    """A worker.

    Parameters
    ----------
    log
        Written anew.
    settings
        Variables of its environment.
    command
        What is run as `runwright`.
    before
        What runs it: a command whose last argument is a command.
    """
    address = url.render_as_string(hide_password=False)
    words = (*before, *command, "worker", "--database", address, "--slots", f"{slots}", "--name", name)
    with log.open("wb") as stream:
        popen = subprocess.Popen(
            words,
            cwd=ROOT,
            env=os.environ | settings,
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=stream,
        )
    return WorkerProcess(popen, log)


def told_by(log: Path, characters: int = 1000) -> str:
    """The end of a log."""
    return log.read_text(encoding="utf-8", errors="replace")[-characters:]


def _require_gone(pids: Sequence[int]) -> None:
    until_s = time.monotonic() + GONE_WITHIN_S
    while left := set(pids) & parents().keys():
        if time.monotonic() > until_s:
            raise LeftBehindError(f"processes of a killed worker go on: {sorted(left)}")
        time.sleep(0.02)
