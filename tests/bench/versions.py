"""What a figure was measured with: date, cores, versions."""

from __future__ import annotations

import os
import platform
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version

PACKAGES = ("runwright", "numpy", "numba", "ortools")
SERVICE_PACKAGES = ("runwright", "fastapi", "uvicorn", "pydantic", "sqlalchemy", "psycopg")


@cache
def versions(packages: tuple[str, ...] = PACKAGES) -> dict[str, str]:
    """Versions of the interpreter and of the packages that do the work."""
    return {"python": platform.python_version()} | {package: version(package) for package in packages}


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def circumstances(packages: tuple[str, ...] = PACKAGES) -> dict[str, object]:
    """Date, cores and versions, as they are written beside a figure."""
    return {"date": datetime.now(UTC).date().isoformat(), "cores": cores(), "versions": versions(packages)}
