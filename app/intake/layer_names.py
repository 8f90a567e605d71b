"""Layers that a list names without saying their kind, or by their kind alone."""

from __future__ import annotations

import re
from collections.abc import Iterable

from app.contracts.jobs import INKJET, Layer
from app.contracts.plant import Plant
from app.intake.findings import Findings
from app.intake.references import layer_kinds


class LayerNames:
    """Guesses that leave no choice, each of them noted.

    A name stands for the one kind of layer that has a word in common with it (varnish-gloss is a varnish);
    a kind stands for the one consumable that has a word in common with it. Where there are two, or none,
    nothing is guessed.
    """

    def __init__(self, plant: Plant | None, file: str, findings: Findings) -> None:
        self._plant = plant
        self._kinds = layer_kinds(plant) - {INKJET} if plant else set[str]()
        self._consumables = {consumable.id for consumable in plant.consumables} if plant else set[str]()
        self._file = file
        self._findings = findings

    def layer(self, name: str) -> Layer | None:
        """The layer, or None where the name does not tell. Without a plant nothing can tell: any will do."""
        if self._plant is None:
            return Layer(kind=name, consumable=name)
        if name in self._consumables or name not in self._kinds:
            kind = _only(_alike(name, self._kinds))
            return None if kind is None else self._noted(name, kind, name)
        consumable = _only(_alike(name, self._consumables))
        return None if consumable is None else self._noted(name, name, consumable)

    def _noted(self, said: str, kind: str, consumable: str) -> Layer:
        self._findings.note(f"{self._file}: the finish “{said}” is read as {kind}:{consumable}.")
        return Layer(kind=kind, consumable=consumable)


def _alike(name: str, known: Iterable[str]) -> list[str]:
    return [other for other in sorted(known) if _words(name) & _words(other)]


def _words(name: str) -> set[str]:
    return set(re.findall(r"[^\W_]+", name.casefold()))


def _only(names: list[str]) -> str | None:
    return names[0] if len(names) == 1 else None
