"""A rehearsal: afterwards nothing has to be loaded any more, and the process can be forked."""

from __future__ import annotations

import subprocess
import sys

REHEARSES = """
import os
os.environ["OPENBLAS_NUM_THREADS"] = "1"
from solver.search.rehearsal import ENTRIES, is_rehearsed, rehearse
rehearse()
assert is_rehearsed()
print(*(kernel.__name__ for kernel in ENTRIES if not kernel.signatures), sep=",")
print(len(os.listdir("/proc/self/task")) if os.path.exists("/proc/self/task") else 1)
"""


def test_it_leaves_every_kernel_loaded_and_no_thread_behind() -> None:
    told = subprocess.run([sys.executable, "-c", REHEARSES], capture_output=True, text=True, check=True)
    not_loaded, threads = told.stdout.splitlines()
    assert not_loaded == ""
    assert threads == "1"
