"""Processes that begin together compile a kernel once; the others take it from disk."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
KERNEL = """
from solver.search.kernels.compiled import compiled


@compiled
def whole(number):
    total = 0
    for step in range(number):
        total += step % 7
    return total
"""
PROCESS = """
from kernel_of_two import whole

print("ready", flush=True)
input()
whole(5)
print(len(whole.stats.cache_misses), len(whole.stats.cache_hits))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="files cannot be held there")
def test_of_two_processes_that_begin_together_one_compiles(tmp_path: Path) -> None:
    (tmp_path / "kernel_of_two.py").write_text(KERNEL, encoding="ascii")
    path = os.pathsep.join((str(tmp_path), str(ROOT)))
    begun = [
        subprocess.Popen(
            (sys.executable, "-c", PROCESS),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": path, "NUMBA_CACHE_DIR": str(tmp_path / "compiled")},
        )
        for _ in range(2)
    ]
    for process in begun:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in begun:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    told = [process.communicate()[0].split() for process in begun]
    assert sorted(told) == [["0", "1"], ["1", "0"]]
