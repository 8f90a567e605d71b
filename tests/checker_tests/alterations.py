"""Every way of altering one value somewhere inside a frozen result."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import Field, fields, is_dataclass, replace
from enum import Enum
from fractions import Fraction
from typing import Any, TypeVar

Alteration = tuple[str, str, Any]
"""Which field of which class, where it is, and the whole result with it altered."""
Altered = TypeVar("Altered")


def alterations(result: Any, where: str = "") -> Iterator[Alteration]:
    """The result with one value altered, for every value it holds at any depth."""
    for each in fields(result):
        here = f"{where}.{each.name}"
        for name, path, value in _altered(result, each, here):
            yield name, path, replace(result, **{each.name: value})


def _altered(owner: Any, each: Field[Any], where: str) -> Iterator[Alteration]:
    value = getattr(owner, each.name)
    if is_dataclass(value):
        yield from alterations(value, where)
    elif isinstance(value, tuple):
        yield from _altered_tuple(owner, each, where, value)
    else:
        yield f"{type(owner).__name__}.{each.name}", where, other_value(value)


def _altered_tuple(owner: Any, each: Field[Any], where: str, values: tuple[Any, ...]) -> Iterator[Alteration]:
    for place, value in enumerate(values):
        if is_dataclass(value):
            for name, path, other in alterations(value, f"{where}[{place}]"):
                yield name, path, (*values[:place], other, *values[place + 1 :])
    if values:
        yield f"{type(owner).__name__}.{each.name}, one less", where, values[:-1]


def shuffled(altered: Sequence[Altered]) -> Sequence[Altered]:
    """The same in a drawn order, always the same one: the first of them are of every kind."""
    return random.Random(0).sample(altered, len(altered))


def other_value(value: Any) -> Any:
    """Another value of the same kind."""
    if value is None:
        return 1
    if isinstance(value, bool):
        return not value
    if isinstance(value, Enum):
        return next(other for other in type(value) if other is not value)
    if isinstance(value, int | Fraction):
        return value + 1
    return f"not {value}"
