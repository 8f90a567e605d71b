"""Usual values as tests know them: every material and consumable alike."""

from __future__ import annotations

from decimal import Decimal

from app.contracts.plant import Consumable
from app.intake.defaults import Usual


class FixedDefaults:
    """Fills in the same for everything and remembers the materials it was asked about."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def thickness_um(self, material: str) -> Usual[int]:
        self.asked.append(material)
        return Usual(150, f"thickness of {material}")

    def liner_thickness_um(self, material: str) -> Usual[int]:
        return Usual(50, f"liner of {material}")

    def eur_per_m2(self, material: str) -> Usual[Decimal]:
        return Usual(Decimal("0.5"), f"price of {material}")

    def roll_m(self, material: str) -> Usual[Decimal]:
        return Usual(Decimal(1500), f"roll of {material}")

    def material_class(self, material: str) -> Usual[str]:
        return Usual("film", f"class of {material}")

    def print_settings(self, material: str) -> Usual[str]:
        return Usual("usual", f"settings of {material}")

    def consumable(self, kind: str, name: str) -> Usual[Consumable]:
        return Usual(Consumable(id=name, plate=kind != "varnish"), f"{kind} {name}")

    def gear_pitch(self) -> Usual[str]:
        return Usual("1/8 in", "pitch of the trade")
