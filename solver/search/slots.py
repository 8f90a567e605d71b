"""What stations hold, in numbers: one slot for every aspect whose change costs anything."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from solver.changeover import SPLICE_TABLE
from solver.plant import Aspect, AspectRule, Line
from solver.problem import Problem
from solver.run_plan import Place, RunPlan
from solver.sequence import Lot
from solver.tooling import (
    EMPTY,
    Loaded,
    change_ms,
    channels_of,
    counted_at,
    present_loaded,
)

LARGEST_KEY = 1 << 60
"""Keys are exact up to here; beyond, random multipliers make a clash unlikely (below 1e-9 a day)."""


@dataclass(frozen=True, slots=True)
class Slot:
    """An aspect of a station that the search follows.

    Parameters
    ----------
    numbers
        Its values, numbered from 0, which is empty; of a set the bit of every member.
    codes
        For wash-ups: (from, to) numbers to the code of their time.
    times
        The times of its changes by code; 0 is no change. Of a set: of so many members.
    """

    station_idx: int
    aspect_idx: int
    aspect: Aspect
    numbers: dict[str, int] = field(default_factory=dict)
    codes: dict[tuple[int, int], int] = field(default_factory=dict)
    times: list[Fraction] = field(default_factory=lambda: [Fraction(0)])

    def number(self, text: str) -> int:
        """The number of a value, the bits of a set; new ones are added."""
        if self.aspect.rule is AspectRule.ADDED:
            return sum(1 << self.numbers.setdefault(each, len(self.numbers)) for each in channels_of(text))
        if not self.numbers:
            self.numbers[EMPTY] = 0
        return self.numbers.setdefault(text, len(self.numbers))


@dataclass(frozen=True, slots=True)
class Need:
    """A value that a plan needs in a slot."""

    slot: int
    value: int


class Slots:
    """All slots of a line, for the plans that may run on it.

    Attributes
    ----------
    scarce, scarce_slots
        Tools with fewer copies than places on this line, with these, and the slots of all of them.
    shared_slots
        The slots where tools come and go that lines share.
    """

    def __init__(
        self, problem: Problem, line_idx: int, plans: Sequence[RunPlan], shared: Iterable[Place]
    ) -> None:
        self._problem = problem
        self._line_idx = line_idx
        line = problem.plant.lines[line_idx]
        self.scarce = scarce_tools(problem, [line_idx], plans)
        scarce_places = {place for places in self.scarce.values() for place in places}
        shared_places = {place for place in shared if place[0] == line_idx}
        self.slots = [
            Slot(station_idx, aspect_idx, aspect)
            for station_idx, station in enumerate(line.stations)
            for aspect_idx, aspect in enumerate(station.aspects)
            if not follows_stock(line, station_idx, aspect)
            and (
                _costs(problem, aspect)
                or (line_idx, station_idx, aspect_idx) in scarce_places | shared_places
            )
        ]
        self._at = {(slot.station_idx, slot.aspect_idx): idx for idx, slot in enumerate(self.slots)}
        self.scarce_slots = {self.at(place) for place in sorted(scarce_places)}
        self.shared_slots = {self.at(place) for place in sorted(shared_places)}
        self.holding(present_loaded(line))
        self.needs = [self._needs(plan) for plan in plans]
        for slot in self.slots:
            self._note_times(slot, plans)
        self.unit = math.lcm(*(time.denominator for slot in self.slots for time in slot.times))

    def at(self, place: Place) -> int:
        """The slot at a place of the line."""
        return self._at[place[1], place[2]]

    def holding(self, loaded: Sequence[Loaded]) -> list[int]:
        """The numbers of what the stations hold, slot by slot."""
        return [slot.number(loaded[slot.station_idx][slot.aspect_idx]) for slot in self.slots]

    def radices(self, shapes: int) -> list[int]:
        """The place of every slot's code in a changeover's key, above the pair of shapes; 0 for those that
        change where values differ, whose changes are a key of their own.
        """
        radix = shapes * shapes
        radices: list[int] = []
        for slot in self.slots:
            codes = 1 if slot.aspect.rule is AspectRule.DIFFERS else len(slot.times)
            radices.append(radix if codes > 1 else 0)
            radix *= codes
        if radix <= LARGEST_KEY:
            return radices
        return [scattered(idx) if exact else 0 for idx, exact in enumerate(radices)]

    def _needs(self, plan: RunPlan) -> list[Need]:
        return [
            Need(slot_idx, self.slots[slot_idx].number(value))
            for station_idx, values in zip(plan.used, plan.needs, strict=True)
            for aspect_idx, value in enumerate(values)
            if value is not None and (slot_idx := self._at.get((station_idx, aspect_idx))) is not None
        ]

    def _note_times(self, slot: Slot, plans: Sequence[RunPlan]) -> None:
        aspect = slot.aspect
        match aspect.rule:
            case AspectRule.DIFFERS:
                slot.times.append(Fraction(aspect.duration_ms))
            case AspectRule.ADDED:
                slot.times.extend(
                    Fraction(aspect.duration_ms * count) for count in range(1, len(slot.numbers) + 1)
                )
            case AspectRule.WASH_UP:
                code_of = {Fraction(0): 0}
                for before, held in slot.numbers.items():
                    for after, value in slot.numbers.items():
                        if after == EMPTY:
                            continue
                        time_ms = change_ms(self._problem, aspect, before, after)
                        if time_ms not in code_of:
                            code_of[time_ms] = len(slot.times)
                            slot.times.append(time_ms)
                        slot.codes[held, value] = code_of[time_ms]


def follows_stock(line: Line, station_idx: int, aspect: Aspect) -> bool:
    """Whether an aspect is one of the splice table that the stock decides, so that no slot is needed."""
    table = line.stations[SPLICE_TABLE]
    return station_idx == SPLICE_TABLE and not table.does and aspect.name in ("roll", "width")


def threaded_by(line: Line, plan: RunPlan) -> Loaded:
    """What the splice table's aspects hold after a plan, as far as the stock decides it."""
    values = dict(zip(plan.used, plan.needs, strict=True)).get(SPLICE_TABLE, ())
    return tuple(
        (value or EMPTY) if follows_stock(line, SPLICE_TABLE, aspect) else EMPTY
        for aspect, value in zip(line.stations[SPLICE_TABLE].aspects, values, strict=False)
    )


def scarce_tools(
    problem: Problem, line_idxs: Iterable[int], plans: Iterable[RunPlan]
) -> dict[str, tuple[Place, ...]]:
    """Counted dies and cylinders with fewer copies than places on some lines, and the places.

    The others never have to be taken from a station where they stand. Nor has one that a single job needs,
    which is not split, if it stands nowhere yet.
    """
    counted = problem.copies
    places: dict[str, set[Place]] = {}
    runs: dict[str, set[tuple[int, Lot | None]]] = {}
    for plan in plans:
        for key, plan_places in plan.tool_places.items():
            places.setdefault(key, set()).update(plan_places)
            runs.setdefault(key, set()).add((plan.placement.job_idx, plan.placement.lot))
    standing: set[str] = set()
    for line_idx in line_idxs:
        line = problem.plant.lines[line_idx]
        for station_idx, loaded in enumerate(present_loaded(line)):
            for tool in counted_at(line, station_idx, loaded, counted):
                places.setdefault(tool.key, set()).add((line_idx, station_idx, tool.aspect_idx))
                standing.add(tool.key)
    return {
        key: tuple(sorted(found))
        for key, found in sorted(places.items())
        if len(found) > counted[key] and (key in standing or len(runs.get(key, ())) > 1)
    }


def _costs(problem: Problem, aspect: Aspect) -> bool:
    if aspect.rule is AspectRule.WASH_UP:
        return aspect.duration_ms > 0 or bool(problem.plant.wash_up_ms)
    return aspect.duration_ms > 0


def scattered(idx: int) -> int:
    """An odd number that looks random, the same for the same slot (the mixer of splitmix64)."""
    mixed = (idx + 1) * 0x9E3779B97F4A7C15 & (1 << 64) - 1
    mixed = (mixed ^ mixed >> 30) * 0xBF58476D1CE4E5B9 & (1 << 64) - 1
    mixed = (mixed ^ mixed >> 27) * 0x94D049BB133111EB & (1 << 64) - 1
    return (mixed ^ mixed >> 31) >> 2 | 1
