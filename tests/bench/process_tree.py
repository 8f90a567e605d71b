"""Processes and their children, as the kernel tells them."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

PROC = Path("/proc")


def stat(pid: int) -> list[str]:
    """What the kernel's `stat` says of a process, from its state on (proc(5)).

    Raises
    ------
    OSError
        If there is none.
    """
    told = (PROC / str(pid) / "stat").read_text(encoding="ascii", errors="replace")
    return told.rpartition(")")[2].split()


def cpu_s(pid: int) -> float:
    """Processor seconds that a process has taken so far; raises as `stat` does."""
    user, system = stat(pid)[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def parents() -> dict[int, int]:
    """The parent of every process that runs or is stopped."""
    found: dict[int, int] = {}
    for folder in PROC.iterdir():
        if not folder.name.isdecimal():
            continue
        try:
            state, parent = stat(int(folder.name))[:2]
        except (OSError, ValueError):
            continue  # it has just ended
        if state not in ("Z", "X"):
            found[int(folder.name)] = int(parent)
    return found


def descendants(pid: int, known: dict[int, int] | None = None) -> Iterator[tuple[int, int]]:
    """All below a process, each with how far below; the nearest first."""
    known = parents() if known is None else known
    generation, depth = [pid], 0
    while generation:
        depth += 1
        generation = [child for child, parent in known.items() if parent in generation]
        for child in generation:
            yield child, depth


def send(pid: int, number: signal.Signals) -> bool:
    """Signal a process; whether there was one."""
    with suppress(ProcessLookupError):
        os.kill(pid, number)
        return True
    return False
