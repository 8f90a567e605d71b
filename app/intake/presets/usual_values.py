"""Usual values of stocks and consumables that lists leave out, by the words of their names."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from app.contracts.plant import Consumable
from app.intake.defaults import Usual
from app.intake.presets import table_reasons, usual_tables

GEAR_PITCH = "1/8 in"

_LETTERS = re.compile(r"[^\W\d_]+")

_INKS = ("spot", "")
"""Kinds of layer whose colour words tell how dark they are; other kinds are as light as they are."""


class UsualValues:
    """What the trade would expect of a material, a consumable or a gear wheel nobody described."""

    def thickness_um(self, material: str) -> Usual[int]:
        """Thickness of the whole laminate in µm."""
        return Usual(int(_material(material)["thickness_um"]), _why("thickness_um"))

    def liner_thickness_um(self, material: str) -> Usual[int]:
        """Thickness of the liner in µm: by the liner's own word, else by the material's."""
        row = _row(usual_tables()["liners"], material) or _material(material)
        return Usual(int(row["liner_thickness_um"]), _why("liner_thickness_um"))

    def eur_per_m2(self, material: str) -> Usual[Decimal]:
        """Price in €/m²."""
        return Usual(Decimal(_material(material)["eur_per_m2"]), _why("eur_per_m2"))

    def roll_m(self, material: str) -> Usual[Decimal]:
        """Length of its usual roll in m."""
        return Usual(Decimal(_material(material)["usual_roll_m"]), _why("usual_roll_m"))

    def material_class(self, material: str) -> Usual[str]:
        """What decides its spoilage: paper, film, or nothing where no word tells."""
        return Usual(str(_material(material)["material_class"]), _why("material_class"))

    def print_settings(self, material: str) -> Usual[str]:
        """Name of the inkjet's settings for it."""
        return Usual(str(_material(material)["print_settings"]), _why("print_settings"))

    def consumable(self, kind: str, name: str) -> Usual[Consumable]:
        """An ink, varnish, foil or laminate by the kind of its layer and the words of its name."""
        by_kind = usual_tables()["consumables"]
        known_kind = kind if kind in by_kind else ""
        values = dict(by_kind[known_kind])
        shade = _row(usual_tables()["darkness"], name) if known_kind in _INKS else None
        if shade is not None:
            values["darkness"] = shade["darkness"]
        reasons = table_reasons()
        why = " ".join(f"{field}: {reasons[field]}" for field in values)
        return Usual(Consumable(id=name, **values), why)

    def gear_pitch(self) -> Usual[str]:
        """Pitch that teeth are cut in."""
        return Usual(GEAR_PITCH, "Common practice, no source: label cylinders are cut at 1/8 inch.")


def _why(field: str) -> str:
    return table_reasons()[field]


def _material(text: str) -> dict[str, Any]:
    """The row of the materials' table; of what is said of the liner nothing counts."""
    face = re.sub(r"\S+\s*liner\b", "", text.casefold())
    rows = usual_tables()["materials"]
    row: dict[str, Any] = _row(rows, face) or rows[-1]
    return row


def _row(rows: Iterable[dict[str, Any]], text: str) -> dict[str, Any] | None:
    """The first row one of whose words stands in the text as whole words."""
    said = f" {' '.join(_LETTERS.findall(text.casefold()))} "
    return next((row for row in rows if any(f" {word} " in said for word in row["words"])), None)
