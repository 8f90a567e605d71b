"""A value that contradicts another one of the same thing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A field of a thing by its path, what was found there, and what would be right."""

    field: str
    value: str | None
    right: str
