"""What is there of every roll while the stretches of a sequence are served, one after the other.

A wider roll may be taken for a stretch if it is slit down to its width before it is mounted. All of it is: a
roll that is cut through keeps its metres in their order, and what is left of it is a roll of the width that
it is slit to. So the trim is of its whole length, however much is used.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from solver.problem import Problem
from solver.roll_candidates import Candidate, Part
from solver.roll_choice import CutOut, Rest, RestKind, RollChoice, Use
from solver.rolls import FlawKind, Roll
from solver.sequence import Stock
from solver.web_stretches import LineStretch

MS_PER_DAY = 86_400_000
NEVER_MS = 1 << 62
PartOfRoll = TypeVar("PartOfRoll", Use, CutOut, Rest)


class RollStore:
    """All rolls of a plant, less what stretches have taken so far."""

    def __init__(self, problem: Problem, spare: Collection[str] = ()) -> None:
        """`spare`: ids of the rolls that may be slit."""
        self._problem = problem
        self._spare = spare
        self._rolls: dict[str, list[tuple[int, Roll]]] = {}
        self._followed: set[Stock] = set()
        for substrate, stocked, roll in problem.plant.rolls:
            self._rolls.setdefault(substrate.code, []).append((stocked.width_um, roll))
            self._followed.add(Stock(substrate.code, stocked.width_um))
        self._used_um: dict[str, int] = {}
        self._free_ms: dict[str, int] = {}
        self._slit_to_um: dict[str, int] = {}

    def follows(self, stock: Stock) -> bool:
        """Whether a stock is followed by roll."""
        return stock in self._followed

    def is_mounted(self, stock: Stock, line_idx: int) -> bool:
        """Whether a roll of a stock is on a line's unwind as the plan begins."""
        line = self._problem.plant.lines[line_idx].id
        return any(
            roll.on_unwind == line and width_um == stock.width_um
            for width_um, roll in self._rolls[stock.substrate]
        )

    def candidates(self, stretch: LineStretch, is_first: bool, end_ms: int) -> list[Candidate]:
        """What could be taken: rolls as wide as the stretch, then those to be slit. Metres are counted from
        what is used already; `is_first` on its line.

        Rolls that do not last until the stretch's end are none; on the unwind one still has to make way.
        """
        own: list[Candidate] = []
        wider: list[Candidate] = []
        for stocked_um, roll in self._rolls[stretch.stock.substrate]:
            width_um = self._slit_to_um.get(roll.id, stocked_um)
            if not self._is_here(stretch, roll):
                continue
            lasts = roll.best_before_ms is None or roll.best_before_ms >= end_ms
            if width_um == stretch.stock.width_um:
                candidate = self._candidate(stretch, roll, is_first)
                if lasts:
                    own.append(candidate)
                elif candidate.mounted:
                    own.append(replace(candidate, available_ms=NEVER_MS))
            elif lasts and self._may_slit(stretch, roll, width_um):
                wider.append(self._slit(self._candidate(stretch, roll, False), width_um, stretch.stock))
        return [*own, *wider]

    def take(self, choice: RollChoice, stock: Stock, end_ms: int) -> RollChoice:
        """Note what a stretch uses until it ends; returns the choice in metres of whole rolls."""
        for use in choice.uses:
            if use.slit_from_um is not None:
                self._slit_to_um[use.roll] = stock.width_um
        taken = replace(
            choice,
            uses=tuple(
                replace(
                    use,
                    run_through_um=tuple(at_um + self._used_before(use) for at_um in use.run_through_um),
                    slit_from_um=self._slit_from_um(use.roll, stock),
                )
                for use in map(self._in_whole_roll, choice.uses)
            ),
            cut_outs=tuple(map(self._in_whole_roll, choice.cut_outs)),
            rests=tuple(map(self._in_whole_roll, choice.rests)),
        )
        for use in taken.uses:
            self._used_um[use.roll] = use.to_um
            self._free_ms[use.roll] = end_ms
        for rest in taken.rests:
            if rest.kind is not RestKind.STUB:
                self._used_um[rest.roll] = rest.to_um
        return taken

    def _is_here(self, stretch: LineStretch, roll: Roll) -> bool:
        """Whether something is left of a roll, and it is not on another line's unwind."""
        line = self._problem.plant.lines[stretch.line_idx].id
        used_um = self._used_um.get(roll.id, 0)
        elsewhere = roll.on_unwind not in (None, line) and used_um == 0
        return used_um < roll.length_um and not elsewhere

    def _candidate(self, stretch: LineStretch, roll: Roll, is_first: bool) -> Candidate:
        used_um = self._used_um.get(roll.id, 0)
        line = self._problem.plant.lines[stretch.line_idx].id
        return Candidate(
            roll=roll.id,
            length_um=roll.length_um - used_um,
            parts=tuple(_parts(roll, used_um)),
            eur_per_um=self._problem.eur_per_um(stretch.stock),
            age_days=Fraction(-(roll.received_ms or 0), MS_PER_DAY),
            available_ms=max(roll.arrives_ms, self._free_ms.get(roll.id, 0)),
            reserved_for=roll.reserved_for,
            mounted=is_first and roll.on_unwind == line,
            opened=used_um > 0 or roll.on_unwind is not None,
        )

    def _may_slit(self, stretch: LineStretch, roll: Roll, width_um: int) -> bool:
        """Whether a roll that is so wide may be slit for a stretch: it is whole, and no wider than the line's
        web.
        """
        line = self._problem.plant.lines[stretch.line_idx]
        trim_um = width_um - stretch.stock.width_um
        return (
            roll.id in self._spare
            and roll.id not in self._used_um
            and 0 < trim_um <= self._problem.plant.stock_rules.most_trim_um
            and width_um <= line.web_width_um
        )

    def _slit(self, candidate: Candidate, width_um: int, stock: Stock) -> Candidate:
        """A wider candidate as it is offered for a stock."""
        strip = Stock(stock.substrate, width_um - stock.width_um)
        trim_eur = candidate.length_um * self._problem.eur_per_um(strip)
        return replace(candidate, slit_from_um=width_um, trim_eur=trim_eur)

    def _slit_from_um(self, roll_id: str, stock: Stock) -> int | None:
        """How wide a roll was before it was slit; None where it was not."""
        if roll_id not in self._slit_to_um:
            return None
        return next(width_um for width_um, roll in self._rolls[stock.substrate] if roll.id == roll_id)

    def _in_whole_roll(self, part: PartOfRoll) -> PartOfRoll:
        used_um = self._used_before(part)
        return replace(part, from_um=part.from_um + used_um, to_um=part.to_um + used_um)

    def _used_before(self, part: Use | CutOut | Rest) -> int:
        return self._used_um.get(part.roll, 0)


def _parts(roll: Roll, used_um: int) -> Iterator[Part]:
    """What is left of a roll between its defects, counted from what is used."""
    begin_um = used_um
    marks = [flaw for flaw in roll.flaws if flaw.to_um > used_um]
    splices: list[int] = []
    for flaw in marks:
        if flaw.kind is FlawKind.SPLICE:
            splices.append(flaw.from_um)
            continue
        if flaw.from_um > begin_um:
            yield _part(begin_um, flaw.from_um, splices, used_um)
        begin_um, splices = max(begin_um, flaw.to_um), []
    if roll.length_um > begin_um:
        yield _part(begin_um, roll.length_um, splices, used_um)


def _part(from_um: int, to_um: int, splices_um: list[int], used_um: int) -> Part:
    inside = tuple(at_um - used_um for at_um in splices_um if from_um < at_um < to_um)
    return Part(from_um - used_um, to_um - used_um, inside)
