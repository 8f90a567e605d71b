"""What a worker is asked in tests: the small sample, within limits that any machine keeps."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from datetime import UTC, datetime

from app.contracts.locks import Lock
from app.contracts.planning_requests import PlanningInput
from app.contracts.plant import Plant
from app.contracts.sequences import Goal
from tests.app.costed_plans import QUEUE

START = datetime(2027, 3, 1, 5, tzinfo=UTC)
WORK = 300
ENDLESS_S = 3000.0
"""Longer than any test waits."""


def planning_input(
    work: int | None = WORK,
    seconds: float | None = None,
    plant: Plant = QUEUE.plant,
    locks: Sequence[Lock] = (),
    alternatives: int = 0,
    reasons: bool = False,
) -> bytes:
    """What a request is worked out from, as it is stored."""
    asked = PlanningInput(
        plant=plant,
        jobs=tuple(QUEUE.jobs),
        start=START,
        locks=tuple(locks),
        goal=Goal.BALANCED,
        seconds=seconds,
        work=work,
        seed=0,
        alternatives=alternatives,
        reasons=reasons,
    )
    return zlib.compress(asked.model_dump_json(by_alias=True).encode())


def endless() -> bytes:
    """A search that goes on until somebody ends it."""
    return planning_input(work=None, seconds=ENDLESS_S)
