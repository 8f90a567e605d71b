"""A process that ends with the one that started it, even in the middle of compiled code."""

from __future__ import annotations

import ctypes
import os
import signal
import sys

_SIGNAL_AT_PARENTS_END = 1
"""PR_SET_PDEATHSIG of Linux."""


def die_with(parent: int) -> None:
    """Be killed by the system when the parent, the process of this number, ends. Where the system does not
    do that, the end of a pipe to it has to be watched.
    """
    if sys.platform == "linux":
        ctypes.CDLL(None, use_errno=True).prctl(_SIGNAL_AT_PARENTS_END, signal.SIGKILL, 0, 0, 0)
    if os.getppid() != parent:  # it ended before the system was told
        os._exit(1)
