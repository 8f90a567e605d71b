"""A plant from a preset and what a site says otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from app.contracts.assumptions import Assumption
from app.contracts.faults import contract_faults, field_names, json_path
from app.contracts.known_names import unknown
from app.contracts.plant import Plant
from app.intake.findings import Findings
from app.intake.json_text import NOT_READ, read_json
from app.intake.presets import PRESETS, preset_value, reason_for
from app.intake.references import check_references

Place = tuple[str | int, ...]
"""Where a value stands inside a JSON value: keys and indices from the outside in."""

_ITEM_KEYS = ("id", "code", "name")
"""Fields by which the items of a list are known: stations, stocks, aspects."""


def preset_plant(
    name: str,
    overrides: Mapping[str, Any] | None,
    findings: Findings,
    *,
    zone: str | None = None,
    file: str | None = None,
) -> tuple[Plant, tuple[Assumption, ...]] | None:
    """A preset with a site's own values in it, and every value that is still the preset's.

    Parameters
    ----------
    name
        A preset: plain, hybrid, buffered-hybrid.
    overrides
        A part of a plant file. Objects are merged; items of a list are merged by their `id`, `code` or
        `name` (without one by their place), unknown ones are added; null takes a value away. Anything else,
        an empty list included, replaces what was there. A key that is a path, such as
        `lines[0].eur_per_h`, sets the value at that place as a whole.
    findings
        Takes every fault, by path.
    zone
        The site's time zone, where it is known otherwise.
    file
        What the overrides are called in messages.

    Returns
    -------
    The plant and its assumptions in the order of the plant file; None where something is wrong.
    """
    named = file or f"preset {name}"
    if name not in PRESETS:
        findings.fault(named, unknown("preset", name, PRESETS), field="preset", value=name)
        return None
    faults_before = len(findings.faults)
    merge = _Merge(preset_value(name))
    if zone is not None:
        merge.take({"site": {"zone": zone}}, named, findings)
    merge.take(overrides or {}, named, findings)
    if len(findings.faults) > faults_before:
        return None
    try:
        plant = Plant.model_validate(merge.value)
    except ValidationError as error:
        findings.faults += contract_faults(error, named, field_names(Plant))
        return None
    check_references(plant, named, findings)
    if len(findings.faults) > faults_before:
        return None
    return plant, tuple(merge.assumptions(name))


def read_overrides(path: Path, findings: Findings) -> dict[str, Any] | None:
    """What a site says otherwise, from a JSON file; None with a fault."""
    value = read_json(path, findings)
    if value is NOT_READ:
        return None
    if not isinstance(value, dict):
        findings.fault(str(path), "should be an object in braces {}")
        return None
    return value


def leaves(value: Any, place: Place = ()) -> Iterator[tuple[Place, Any]]:
    """Every value that is neither object nor list, with its place."""
    if isinstance(value, Mapping):
        for key, item in value.items():
            yield from leaves(item, (*place, key))
    elif isinstance(value, list | tuple):
        for idx, item in enumerate(value):
            yield from leaves(item, (*place, idx))
    else:
        yield place, value


@dataclass
class _Merge:
    """A preset's value into which a site's own values go; `given` are the places of those."""

    value: dict[str, Any]
    given: list[Place] = field(default_factory=list)

    def take(self, overrides: Mapping[str, Any], file: str, findings: Findings) -> None:
        for key, new in overrides.items():
            if "." in key or "[" in key:
                self._set_path(key, new, file, findings)
            else:
                self._merge_field(self.value, key, new, ())

    def assumptions(self, name: str) -> Iterator[Assumption]:
        """What is still the preset's.

        Raises
        ------
        RuntimeError
            Where the preset has a value without a reason: a mistake in the shipped data.
        """
        for place, value in leaves(self.value):
            if any(place[: len(given)] == given for given in self.given):
                continue
            path = json_path(place)
            reason = reason_for(name, path)
            if reason is None:
                raise RuntimeError(f"preset {name} gives no reason for {path}")
            yield Assumption.at(path, value, reason)

    def _merge_field(self, owner: dict[str, Any], key: str, new: Any, place: Place) -> None:
        here = (*place, key)
        if new is None:
            owner.pop(key, None)
        elif key in owner and _mergeable(owner[key], new):
            self._merge_into(owner[key], new, here)
        else:
            owner[key] = new
            self.given.append(here)

    def _merge_into(self, old: Any, new: Any, place: Place) -> None:
        if isinstance(old, dict):
            for key, value in new.items():
                self._merge_field(old, key, value, place)
            return
        for idx, item in enumerate(new):
            at = _item_idx(old, item, idx)
            if at is None:
                self.given.append((*place, len(old)))
                old.append(item)
            else:
                self._merge_into(old[at], item, (*place, at))

    def _set_path(self, path: str, new: Any, file: str, findings: Findings) -> None:
        place = _place(self.value, path)
        if place is None:
            known = (json_path(at) for at, _ in leaves(self.value))
            findings.fault(file, unknown("path", path, known), field=path)
            return
        owner: Any = self.value
        for part in place[:-1]:
            owner = owner[part]
        if new is None and isinstance(owner, dict):
            owner.pop(place[-1], None)
            return
        owner[place[-1]] = new
        self.given.append(place)


def _mergeable(old: Any, new: Any) -> bool:
    if isinstance(old, dict):
        return isinstance(new, Mapping)
    if not (isinstance(old, list) and isinstance(new, list) and old and new):
        return False
    return all(isinstance(item, Mapping) for item in (*old, *new))


def _item_idx(old: list[Any], item: Mapping[str, Any], idx: int) -> int | None:
    """Which item of a list is meant: the one of that name, else, without a name, the one at that place."""
    for key in _ITEM_KEYS:
        if key in item:
            return next((at for at, known in enumerate(old) if known.get(key) == item[key]), None)
    return idx if idx < len(old) else None


def _place(value: Any, path: str) -> Place | None:
    """The place of a path that is there, or of a new field of an object that is."""
    places = {json_path(place): place for place in _nodes(value, ())}
    if path in places:
        return places[path]
    owner, _, name = path.rpartition(".")
    at = places.get(owner)
    if at is None or not name or "[" in name:
        return None
    found = value
    for part in at:
        found = found[part]
    return (*at, name) if isinstance(found, dict) else None


def _nodes(value: Any, place: Place) -> Iterator[Place]:
    yield place
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _nodes(item, (*place, key))
    elif isinstance(value, list):
        for idx, item in enumerate(value):
            yield from _nodes(item, (*place, idx))
