"""One clock for what several hosts must agree on: until when a lease lasts, when work began.

On PostgreSQL it is the server's, since no two hosts show the same. A SQLite file is of one host, and its
clock is the store's.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, Interval, func, literal, type_coerce

from app.store.columns import UtcTime
from app.store.engine import is_sqlite
from app.store.store import Work


def now(work: Work) -> ColumnElement[datetime]:
    """The moment, as a statement says it."""
    return later(work, 0)


def later(work: Work, seconds: float) -> ColumnElement[datetime]:
    """So many seconds from now."""
    span = timedelta(seconds=seconds)
    if is_sqlite(work.connection):
        return literal(work.at + span, UtcTime())
    return type_coerce(func.clock_timestamp() + literal(span, Interval()), UtcTime())
