"""Complaints: what a sequence says against what it should say."""

from __future__ import annotations


def differs(where: str, what: str, said: object, right: object) -> list[str]:
    """One sentence where a value is not what it should be."""
    return [] if said == right else [f"{where}: {what} is {said}, should be {right}"]
