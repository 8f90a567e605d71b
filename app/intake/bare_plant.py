"""A preset's lines with a shop's own dies, stocks and consumables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from app.contracts.assumptions import Assumption
from app.contracts.base import Contract
from app.contracts.jobs import Job
from app.contracts.plant import Consumable, Plant, Substrate
from app.intake.defaults import Defaults, Usual
from app.intake.dies_file import DieList
from app.intake.filled import Filled

_UNITS = {"thickness_um": "µm", "liner_thickness_um": "µm", "eur_per_m2": "€/m²", "usual_roll_m": "m"}
_UNITS |= {"max_speed_m_min": "m/min", "reel_m": "m", "repeat_mm": "mm"}


@dataclass(frozen=True, slots=True)
class BarePlant:
    """What a preset and a shop's lists make together.

    Parameters
    ----------
    listed
        Consumables of a list, each with those fields set that the list gives.
    """

    preset: Plant
    dies: DieList
    stock: Sequence[Filled[Substrate]]
    listed: Sequence[Consumable] = ()

    def plant(self, consumables: Sequence[Filled[Consumable]] | None = None) -> Plant:
        """The plant: tools and stocks of the lists, everything else of the preset.

        Of the preset's consumables, too, counts what the list says. `consumables` are those beside the
        preset's; without them, the list's as they stand there.
        """
        beside = self._beside() if consumables is None else tuple(filled.value for filled in consumables)
        return self.preset.model_copy(
            update={
                "substrates": tuple(filled.value for filled in self.stock),
                "dies": tuple(filled.value for filled in self.dies.dies),
                "cylinders": tuple(filled.value for filled in self.dies.cylinders),
                "consumables": self._of_preset() + beside,
            }
        )

    def consumables_of(self, jobs: Iterable[Job], defaults: Defaults) -> tuple[Filled[Consumable], ...]:
        """Consumables that the preset does not have: the list's, then others as jobs first name them.

        Values that the list does not give are the usual ones of the layers that jobs name them in.
        """
        known = {consumable.id for consumable in self.preset.consumables}
        layers = (layer for job in jobs for group in job.finishes for layer in group)
        kind_by_name: dict[str, str] = {}
        for layer in layers:
            if layer.consumable is not None and layer.consumable not in known:
                kind_by_name.setdefault(layer.consumable, layer.kind)
        said_by_name = {consumable.id: consumable for consumable in self._beside()}
        return tuple(
            _filled(said_by_name.get(name), defaults.consumable(kind_by_name.get(name, ""), name))
            for name in dict.fromkeys([*said_by_name, *kind_by_name])
        )

    def assumptions(self, consumables: Sequence[Filled[Consumable]]) -> Iterator[Assumption]:
        """Every value that was filled in, at its place in the plant."""
        yield from _assumptions("substrates", self.stock)
        yield from _assumptions("dies", self.dies.dies)
        yield from _assumptions("cylinders", self.dies.cylinders)
        yield from _assumptions("consumables", consumables, len(self.preset.consumables))

    def _of_preset(self) -> tuple[Consumable, ...]:
        """The preset's consumables, each with what the list says of it in place of the preset's word."""
        said_by_name = {consumable.id: _said(consumable) for consumable in self.listed}
        return tuple(
            consumable.model_copy(update=said_by_name.get(consumable.id))
            for consumable in self.preset.consumables
        )

    def _beside(self) -> tuple[Consumable, ...]:
        """The list's consumables that the preset does not have."""
        known = {consumable.id for consumable in self.preset.consumables}
        return tuple(consumable for consumable in self.listed if consumable.id not in known)


def _said(consumable: Consumable) -> dict[str, Any]:
    return {field: getattr(consumable, field) for field in consumable.model_fields_set}


def _filled(listed: Consumable | None, usual: Usual[Consumable]) -> Filled[Consumable]:
    """A consumable as its list says, else as usual; a reason for each field that is as usual."""
    said = {} if listed is None else _said(listed)
    fields = ("darkness", "plate", "max_speed_m_min", "reel_m")
    reasons = {
        field: usual.reason
        for field in fields
        if field not in said and getattr(usual.value, field) is not None
    }
    return Filled(usual.value.model_copy(update=said), reasons)


def _assumptions(place: str, entries: Iterable[Filled[Contract]], first: int = 0) -> Iterator[Assumption]:
    for idx, filled in enumerate(entries, first):
        for field, reason in filled.reasons.items():
            yield Assumption(
                path=f"{place}[{idx}].{field}",
                value=_text(getattr(filled.value, field)),
                unit=_UNITS.get(field, ""),
                reason=reason,
            )


def _text(value: object) -> str:
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)
