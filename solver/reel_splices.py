"""Splices in the web of runs: where rolls end inside them, and flagged splices of rolls left in the web."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from solver.roll_choice import Place, RollChoice, Use, place_of
from solver.roll_plan import RolledStretch, RollPlan
from solver.sequence import Placement


class SpliceOrigin(StrEnum):
    """Who made a splice, and whether its place is known."""

    ROLL_END = "roll end"
    USUAL_ROLL_END = "usual roll end"
    """Rolls were not chosen: rolls of the usual length are taken to end evenly spaced."""
    FLAGGED = "flagged on the roll"


@dataclass(frozen=True, slots=True)
class WebSplice:
    """A splice after so much of a run's own web; at most 0 on the strip before it.

    `run` is its number on the line; `roll` the one that begins there or that the splice is flagged on, None
    where rolls were not chosen.
    """

    run: int
    after_um: int
    origin: SpliceOrigin
    roll: str | None


def web_splices(plan: RollPlan, line_idx: int) -> tuple[WebSplice, ...]:
    """The splices of a line's runs, in the order of its web."""
    runs = plan.sequence.lines[line_idx].runs
    numbers = {run.placement: number for number, run in enumerate(runs, start=1)}
    found: list[WebSplice] = []
    chosen: set[int] = set()
    for each in plan.stretches:
        if plan.settled and each.stretch.line_idx == line_idx and isinstance(each.choice, RollChoice):
            chosen |= {numbers[key[1]] for key in each.stretch.runs if key is not None}
            found += _of_choice(each, each.choice, numbers)
    for number, run in enumerate(runs, start=1):
        if number not in chosen:
            found += (
                WebSplice(number, end.at_um, SpliceOrigin.USUAL_ROLL_END, None) for end in run.roll_ends
            )
    return tuple(sorted(found, key=lambda splice: (splice.run, splice.after_um, splice.origin)))


def _of_choice(each: RolledStretch, choice: RollChoice, numbers: dict[Placement, int]) -> Iterator[WebSplice]:
    for place, origin, roll in _places(each, choice):
        key = each.stretch.runs[place.segment]
        if key is not None:
            after_um = each.stretch.run_um(place.segment, place.offset_um)
            yield WebSplice(numbers[key[1]], after_um, origin, roll)


def _places(each: RolledStretch, choice: RollChoice) -> Iterator[tuple[Place, SpliceOrigin, str]]:
    for use_idx, use in enumerate(choice.uses):
        if use_idx:
            yield use.begins, SpliceOrigin.ROLL_END, use.roll
        for at_um in use.run_through_um:
            yield _place_on(each, use, at_um), SpliceOrigin.FLAGGED, use.roll


def _place_on(each: RolledStretch, use: Use, at_um: int) -> Place:
    """Where on the stretch a place of a roll lies; in what a roll end wastes it is where that is cut away."""
    stretch = each.stretch.stretch
    begin_um = stretch.bounds_um[use.begins.segment] + use.begins.offset_um
    return place_of(stretch, begin_um + max(0, at_um - use.from_um - use.wasted_um))
