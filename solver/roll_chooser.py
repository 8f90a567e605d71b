"""Choosing the rolls of a stretch, once for all costings in which nothing about it has changed."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import Protocol

from solver.roll_candidates import Candidate, usable_rolls
from solver.roll_choice import RollChoice, Shortage
from solver.rolls import StockRules
from solver.stretches import Stretch


class Chooser(Protocol):
    """Chooses the rolls of a stretch, in a search of so much at most."""

    def __call__(
        self, stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules, most_grown: int, /
    ) -> RollChoice | Shortage: ...


class Remembering:
    """A chooser that remembers what it chose.

    An order is costed again and again until roll ends and hours agree. Stretches move by minutes then, which
    matters to their rolls only where one is not there yet.
    """

    def __init__(self, choose: Chooser) -> None:
        self._choose = choose
        self._chosen: dict[Hashable, RollChoice] = {}

    def __call__(
        self, stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules, most_grown: int, /
    ) -> RollChoice | Shortage:
        asked = _whatever_the_hour(stretch, candidates, prices), most_grown
        known = self._chosen.get(asked)
        if known is not None:
            return known
        choice = self._choose(stretch, candidates, prices, most_grown)
        if isinstance(choice, RollChoice):
            self._chosen[asked] = choice
        return choice


def _whatever_the_hour(stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules) -> Hashable:
    """What a choice depends on: of the hours only which roll is there for which part of the stretch."""
    segments = tuple(replace(segment, needed_ms=0) for segment in stretch.segments)
    usable = tuple(
        replace(each, candidate=0, roll=replace(each.roll, available_ms=0))
        for each in usable_rolls(stretch, candidates, prices)
    )
    return segments, usable, prices
