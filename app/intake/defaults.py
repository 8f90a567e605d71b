"""What a bare list leaves out, as whoever knows the trade's usual values fills it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Generic, Protocol, TypeVar

from app.contracts.plant import Consumable

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class Usual(Generic[Value]):
    """A value nobody gave, and why it is taken."""

    value: Value
    reason: str


class Defaults(Protocol):
    """Usual values by material and by kind of layer.

    `material` is whatever the list says of a stock: its material, else its name, else its code.
    """

    def thickness_um(self, material: str) -> Usual[int]:
        """Thickness of the whole laminate."""
        ...

    def liner_thickness_um(self, material: str) -> Usual[int]:
        """Thickness of the liner alone."""
        ...

    def eur_per_m2(self, material: str) -> Usual[Decimal]:
        """Price of the stock."""
        ...

    def roll_m(self, material: str) -> Usual[Decimal]:
        """Length of its usual roll."""
        ...

    def material_class(self, material: str) -> Usual[str]:
        """What decides its spoilage, such as paper or film."""
        ...

    def print_settings(self, material: str) -> Usual[str]:
        """Name of the inkjet's settings for it."""
        ...

    def consumable(self, kind: str, name: str) -> Usual[Consumable]:
        """An ink, varnish, foil or laminate that jobs name and no list describes."""
        ...

    def gear_pitch(self) -> Usual[str]:
        """Pitch that teeth are cut in where a die list does not say."""
        ...
