"""A queue that is on a service, as somebody named it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path


@dataclass(frozen=True, slots=True)
class ServerQueue:
    """A queue that is on a service.

    Parameters
    ----------
    key
        Opens the service; a scheduler's.
    jobs
        A list to be sent first, whose jobs alone are planned; None: all that are open.
    locks
        A file of what is fixed.
    start
        When the plan is to begin; without an offset on the site's clock.
    """

    server: str
    key: str = field(repr=False)
    jobs: Path | None = None
    locks: Path | None = None
    start: datetime | None = None
