"""What the lines really did: which of them run a job now."""

from __future__ import annotations

from sqlalchemy import select

from app.store.kinds import ACTUALS
from app.store.store import View

_C = ACTUALS.table.c


def running_on(view: View, job: str) -> tuple[str, ...]:
    """Lines on which a job has begun and not ended."""
    begun = _C.plant_pk == view.plant, _C.job == job, _C.ended.is_(None)
    return tuple(
        view.connection.execute(select(_C.line).where(*begun).distinct().order_by(_C.line)).scalars()
    )
