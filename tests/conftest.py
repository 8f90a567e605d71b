"""Properties are tried on the same examples every time, so that a failure is the change's own.

`HYPOTHESIS_PROFILE=explore` draws new ones, and more.

Garbage is collected seldom, and never among what was there before the first test: looking through modules and
compiled kernels again and again takes a tenth of the time of all tests.

Some tests wait for servers and leases: one process more than there are processors works meanwhile.
"""

from __future__ import annotations

import gc
import logging
import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

from tests.examples import PROFILE

settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None)
settings.load_profile(PROFILE)

COLLECT_AFTER = (20_000, 10, 10)
"""New objects, and turns of the younger generations, after which garbage is collected."""

gc.set_threshold(*COLLECT_AFTER)


def pytest_xdist_auto_num_workers() -> int:
    return len(os.sched_getaffinity(0)) + 1 if hasattr(os, "sched_getaffinity") else (os.cpu_count() or 1) + 1


def pytest_collection_finish() -> None:
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def logs_as_they_were() -> Iterator[None]:
    """A test that sends the log somewhere does so for itself alone: the stream is closed behind it."""
    root = logging.getLogger()
    handlers, level = list(root.handlers), root.level
    yield
    for handler in [each for each in root.handlers if each not in handlers]:
        root.removeHandler(handler)
    root.setLevel(level)
