"""Assumed values that stand for one thing, what they are called, and how they are taken lower and higher."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from app.contracts.assumptions import Assumption, Origin, value_text
from app.contracts.faults import json_path
from app.contracts.plant import Plant
from app.intake.preset_plant import Place, leaves

LOWER, HIGHER = Decimal("0.7"), Decimal("1.3")
"""Factors on an assumed value: what differs from shop to shop by a third either way is usual."""

_STEP_FROM_ZERO = {"min": Decimal(1), "m": Decimal(5)}
"""What is tried in place of 0, by unit: a factor does not move it."""

_TOGETHER = (
    (r"(lines\[\d+\])\.(stations\[\d+\]\.position_m|pull_back_zone\..*|counter_x_m)", r"\1.web path"),
    (r"(station_kinds\..*)\.aspects\[\d+\]\.(minutes|register_m)", r"\1.\2"),
    (r"(lines\[\d+\]\.stations\[\d+\])\.aspects\[\d+\]\.(minutes|register_m)", r"\1.\2"),
    (r"(.*\.channel_speed_m_min)\..*", r"\1"),
    (r"(lines\[\d+\])\.(spoilage_pct\..*|default_spoilage_pct)", r"\1.spoilage"),
    (r"consumables\[\d+\]\.darkness", "darkness"),
    (r"substrates\[\d+\]\.((?:liner_)?thickness_um|usual_roll_m)", r"substrates.\1"),
)
"""Paths that stand for one thing, and what that is called."""

_WORDS = {
    "minutes": "minutes",
    "register_m": "register metres",
    "eur_per_h": "rate",
    "eur_per_m2": "price",
    "late_eur": "price of a missed van",
    "late_eur_per_h": "price of an hour of lateness",
    "moved_run_eur": "price of a moved run",
    "open_eur": "price of opening a roll",
    "stub_eur": "price of taking a rest back",
    "age_eur_per_day": "price of a younger roll",
    "least_stub_m": "shortest stub worth keeping",
    "core_tail_m": "metres lost at a core",
    "most_trim_mm": "widest strip to slit off a roll",
    "max_speed_m_min": "fastest speed",
    "setup_speed_m_min": "set-up speed",
    "channel_speed_m_min": "speeds of the channels",
    "settle_m": "metres until another substrate runs true",
    "splice_m": "metres lost in a splice",
    "stop_min": "minutes of a stop",
    "overs_pct": "overs",
    "after_press_min": "minutes from press to van",
    "doff_min": "minutes to change reels",
    "hands": "people at a stop",
    "hands_while_running": "people making ready while it runs",
    "job_change_min": "minutes of a change of job",
}
_UNIT_ENDING = re.compile(r"_(m_s2|m_min|per_min|min|mm|um|m|pct)$")

_TRIED_LAST = re.compile(
    r".*(web_width|print_width|repeat|max_reel_diameter|edge_trim|core_wall|thickness|copies|clean_down"
    r"|deceleration).*"
)
"""What decides whether a job can run, or what its crew is told, rather than what an order costs: tried last,
should time be short.
"""

_BOUNDS = {"darkness": (Decimal(0), Decimal(1))}
_BELOW_100 = Decimal("99.999999")


@dataclass(frozen=True, slots=True)
class Group:
    """Assumed numbers that move together; `places` and `values` as the plant has them, in its order."""

    name: str
    first: Assumption
    places: tuple[Place, ...]
    values: tuple[Decimal | int, ...]

    def moved(self, factor: Decimal) -> tuple[Decimal | int, ...] | None:
        """The values taken lower or higher; None where that changes nothing."""
        only_zero = not any(self.values)
        moved = tuple(
            _moved(str(place[-1]), value, factor, self.first.unit, only_zero)
            for place, value in zip(self.places, self.values, strict=True)
        )
        return None if moved == self.values else moved

    def shown(self, factor: Decimal, moved: tuple[Decimal | int, ...]) -> str:
        """What was tried, for people: the value, or the factor on several."""
        if len(set(self.values)) == 1:
            return value_text(moved[0])
        return f"× {value_text(factor)}"


def groups_of(plant: Plant, assumptions: Iterable[Assumption]) -> tuple[Group, ...]:
    """The assumed numbers of a plant by what they stand for, in the order of the assumptions, limits last.

    Assumptions whose path the plant does not have, or whose value is no number, are passed over: no
    number can be taken lower or higher there.
    """
    numbers = numbers_of(plant)
    by_key: dict[str, list[tuple[Assumption, Place, Decimal | int]]] = {}
    for assumption in assumptions:
        found = numbers.get(assumption.path)
        if assumption.origin is Origin.ASSUMED and found is not None:
            by_key.setdefault(_key(assumption.path), []).append((assumption, *found))
    groups = (
        Group(
            name=_name(plant, key, members[0][0].path),
            first=members[0][0],
            places=tuple(place for _, place, _ in members),
            values=tuple(value for _, _, value in members),
        )
        for key, members in by_key.items()
    )
    return tuple(sorted(groups, key=lambda group: _TRIED_LAST.fullmatch(group.first.path) is not None))


def numbers_of(plant: Plant) -> dict[str, tuple[Place, Decimal | int]]:
    """Every number that a plant holds, by its path."""
    return {
        json_path(place): (place, value)
        for place, value in leaves(plant_value(plant))
        if isinstance(value, Decimal | int) and not isinstance(value, bool)
    }


def plant_value(plant: Plant) -> dict[str, Any]:
    """A plant as its file has it, numbers exact."""
    return plant.model_dump(by_alias=True, exclude_none=True)


def with_values(value: Any, new: Mapping[Place, Decimal | int], place: Place = ()) -> Any:
    """A plant's value with other numbers at some places."""
    if place in new:
        return new[place]
    if isinstance(value, Mapping):
        return {key: with_values(item, new, (*place, key)) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [with_values(item, new, (*place, idx)) for idx, item in enumerate(value)]
    return value


def _key(path: str) -> str:
    for pattern, key in _TOGETHER:
        match = re.fullmatch(pattern, path)
        if match:
            return match.expand(key)
    return path


def _name(plant: Plant, key: str, path: str) -> str:
    """What a group is called: the plate's minutes at flexo, the price of PAPER-80, the web path of H1."""
    owner, _, field = key.rpartition(".")
    words = _WORDS.get(field) or _UNIT_ENDING.sub("", field).replace("_", " ")
    owned = re.fullmatch(
        r"(lines|substrates|dies|cylinders|consumables)\[(\d+)\](?:\.stations\[(\d+)\])?", owner
    )
    if owned is not None:
        return f"{words} of {_owner(plant, owned)}"
    if owner.startswith("station_kinds."):
        return f"{words} at {owner.removeprefix('station_kinds.')}"
    if owner == "substrates":
        return f"{words} of the stocks"
    return "darkness of the inks" if key == "darkness" else words


def _owner(plant: Plant, owned: re.Match[str]) -> str:
    item: Any = getattr(plant, owned[1])[int(owned[2])]
    name = str(item.code if owned[1] == "substrates" else item.id)
    return name if owned[3] is None else f"{item.stations[int(owned[3])].id} of {name}"


def _moved(field: str, value: Decimal | int, factor: Decimal, unit: str, from_zero: bool) -> Decimal | int:
    """A value taken lower or higher, still one that its field can hold."""
    higher = factor > 1
    if isinstance(value, int):
        return _moved_count(field, value, factor)
    if value == 0:
        return _STEP_FROM_ZERO.get(unit, value) if from_zero and higher else value
    places = Decimal("0.001") if field.endswith("_mm") else Decimal("0.000001")
    moved = (value * factor).quantize(places)
    least, most = _BOUNDS.get(field, (Decimal(0), _BELOW_100 if unit == "%" else moved))
    return max(least, min(most, moved))


def _moved_count(field: str, value: int, factor: Decimal) -> int:
    if field.endswith("_um"):
        return max(1, round(value * factor))
    least = 0 if field in ("hands_while_running", "copies") else 1
    return max(least, value + (1 if factor > 1 else -1))
