"""A preset's lines with a shop's own dies and stocks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from app.contracts.assumptions import Assumption
from app.contracts.base import Contract
from app.contracts.jobs import Job
from app.contracts.plant import Consumable, Plant, Substrate
from app.intake.defaults import Defaults
from app.intake.dies_file import DieList
from app.intake.filled import Filled

_UNITS = {"thickness_um": "µm", "liner_thickness_um": "µm", "eur_per_m2": "€/m²", "usual_roll_m": "m"}
_UNITS |= {"max_speed_m_min": "m/min", "reel_m": "m", "repeat_mm": "mm"}


@dataclass(frozen=True, slots=True)
class BarePlant:
    """What a preset and two lists make together."""

    preset: Plant
    dies: DieList
    stock: Sequence[Filled[Substrate]]

    def plant(self, consumables: Sequence[Filled[Consumable]] = ()) -> Plant:
        """The plant: tools and stocks of the lists, everything else of the preset."""
        return self.preset.model_copy(
            update={
                "substrates": tuple(filled.value for filled in self.stock),
                "dies": tuple(filled.value for filled in self.dies.dies),
                "cylinders": tuple(filled.value for filled in self.dies.cylinders),
                "consumables": self.preset.consumables + tuple(filled.value for filled in consumables),
            }
        )

    def consumables_of(self, jobs: Iterable[Job], defaults: Defaults) -> tuple[Filled[Consumable], ...]:
        """Consumables that jobs name and the preset does not, in the order they are first named."""
        known = {consumable.id for consumable in self.preset.consumables}
        layers = (layer for job in jobs for group in job.finishes for layer in group)
        kind_by_name: dict[str, str] = {}
        for layer in layers:
            if layer.consumable is not None and layer.consumable not in known:
                kind_by_name.setdefault(layer.consumable, layer.kind)
        made = []
        for name, kind in kind_by_name.items():
            usual = defaults.consumable(kind, name)
            fields = ("darkness", "plate", "max_speed_m_min", "reel_m")
            reasons = {field: usual.reason for field in fields if getattr(usual.value, field) is not None}
            made.append(Filled(usual.value, reasons))
        return tuple(made)

    def assumptions(self, consumables: Sequence[Filled[Consumable]]) -> Iterator[Assumption]:
        """Every value that was filled in, at its place in the plant."""
        yield from _assumptions("substrates", self.stock)
        yield from _assumptions("dies", self.dies.dies)
        yield from _assumptions("cylinders", self.dies.cylinders)
        yield from _assumptions("consumables", consumables, len(self.preset.consumables))


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
