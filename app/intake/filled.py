"""A contract of which some values were filled in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

Made = TypeVar("Made", covariant=True)


@dataclass(frozen=True, slots=True)
class Filled(Generic[Made]):
    """A value, and the reason of each field that no list gave, by the field's name."""

    value: Made
    reasons: Mapping[str, str] = field(default_factory=dict)
