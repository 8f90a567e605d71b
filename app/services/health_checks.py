"""Whether all that the service needs is there: each check says what it found, and what to do."""

from __future__ import annotations

import platform
import shutil
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from importlib.metadata import version
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from app import __version__
from app.documents.pdf import FONT_FAMILY, pdf_from_html
from app.translation.compiled_kernels import kernels_are_compiled

LEAST_FREE_MB = 500
"""Less is enough for days, but a full disk stops everything at once."""

_PACKAGES = ("fastapi", "uvicorn", "pydantic", "sqlalchemy", "alembic", "numba", "numpy", "ortools", "tzdata")


class Verdict(StrEnum):
    """What a check comes to."""

    GOOD = "good"
    NOTE = "note"
    BAD = "bad"


@dataclass(frozen=True, slots=True)
class Found:
    """What a check found; a note is no fault, but worth knowing."""

    what: str
    verdict: Verdict
    told: str


def versions() -> Iterator[Found]:
    """The program, Python, and the libraries that matter."""
    told = ", ".join(f"{name} {version(name)}" for name in _PACKAGES)
    python = platform.python_version()
    verdict = Verdict.GOOD if sys.version_info >= (3, 11) else Verdict.BAD
    yield Found("versions", verdict, f"runwright {__version__}, Python {python}, {told}")


def time_zones() -> Iterator[Found]:
    """The zones of the IANA list: without them no site's clock can be read."""
    try:
        ZoneInfo("Europe/Berlin")
    except ZoneInfoNotFoundError:
        yield Found("time zones", Verdict.BAD, "there are none: pip install tzdata")
        return
    yield Found("time zones", Verdict.GOOD, "are there")


def pdf_letters() -> Iterator[Found]:
    """A PDF without its font has empty places where text should stand, and says nothing."""
    pdf = pdf_from_html(f"<p style=\"font-family: '{FONT_FAMILY}'\">Press</p>")
    if b"/FontFile" in pdf:
        yield Found("PDF", Verdict.GOOD, "is written with its letters")
    else:
        yield Found("PDF", Verdict.BAD, "is written without letters: install the program anew")


def compiled_search() -> Iterator[Found]:
    """The first search compiles for about half a minute."""
    if kernels_are_compiled():
        yield Found("search", Verdict.GOOD, "is compiled for this machine")
    else:
        yield Found(
            "search", Verdict.NOTE, "will be compiled by the first plan: about half a minute, this once"
        )


def disk(folder: Path) -> Iterator[Found]:
    """Room where the database lies."""
    free_mb = shutil.disk_usage(folder).free // 1024**2
    told = f"{free_mb:,} MB free at {folder}"
    if free_mb < LEAST_FREE_MB:
        yield Found("disk", Verdict.BAD, f"{told}; at least {LEAST_FREE_MB} MB should be")
    else:
        yield Found("disk", Verdict.GOOD, told)


Check = Callable[[], Iterable[Found]]


def all_found(checks: Iterable[Check]) -> Iterator[Found]:
    """What every check finds; one that breaks is itself a bad find."""
    for check in checks:
        try:
            yield from check()
        except Exception as error:
            yield Found(check.__name__.replace("_", " "), Verdict.BAD, f"{type(error).__name__}: {error}")


MACHINE: tuple[Check, ...] = (versions, time_zones, pdf_letters, compiled_search)
"""Checks of this machine, whatever the settings."""
