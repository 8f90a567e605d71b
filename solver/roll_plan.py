"""Rolls for a whole sequence: chosen stretch by stretch, in the order in which stretches begin.

What is left of a roll can be taken again by a later stretch, on any line, once the stretch that used it has
ended. Roll ends cost minutes and metres, which shift what comes behind; so the sequence is costed again with
them, and rolls are chosen again for that, until both agree.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar

from solver.account import account
from solver.problem import Problem
from solver.roll_candidates import Candidate, Part
from solver.roll_choice import CutOut, Rest, RestKind, RollChoice, Shortage, Use
from solver.rolls import FlawKind, Roll
from solver.sequence import Order, RollEnds, Sequence, Stock
from solver.stock import MOST_GROWN, choose_rolls
from solver.web_stretches import LineStretch, RunKey, stretches_of
from solver.weights import Weights

MS_PER_DAY = 86_400_000
PartOfRoll = TypeVar("PartOfRoll", Use, CutOut, Rest)
MOST_ROUNDS = 6
"""Costings until roll ends and the hours they fall in agree."""


@dataclass(frozen=True, slots=True)
class RolledStretch:
    """A stretch and its rolls; `choice` is None where its stock is not followed by roll.

    The rolls' metres are counted from their first metre, whatever was used of them before.
    """

    stretch: LineStretch
    choice: RollChoice | Shortage | None


@dataclass(frozen=True, slots=True)
class RollPlan:
    """The rolls of a sequence.

    Parameters
    ----------
    sequence
        Costed with the roll ends of these rolls.
    settled
        Whether roll ends lie where the costed sequence has them: they do not where hours and places never
        agree, closures being in the way.
    """

    sequence: Sequence
    stretches: tuple[RolledStretch, ...]
    settled: bool

    @property
    def shortages(self) -> tuple[tuple[LineStretch, Shortage], ...]:
        return tuple(
            (each.stretch, each.choice) for each in self.stretches if isinstance(each.choice, Shortage)
        )


def with_rolls(problem: Problem, order: Order, weights: Weights) -> tuple[Problem, RollPlan]:
    """Choose the rolls of an order; the problem comes back with their ends."""
    for _ in range(MOST_ROUNDS):
        sequence = account(problem, order, weights)
        rolled = tuple(_chosen(problem, sequence, weights))
        ends = _roll_ends(rolled)
        if ends == problem.roll_ends:
            return problem, RollPlan(sequence, rolled, settled=True)
        problem = replace(problem, roll_ends=ends)
    return problem, RollPlan(account(problem, order, weights), rolled, settled=False)


def _chosen(problem: Problem, sequence: Sequence, weights: Weights) -> Iterator[RolledStretch]:
    """Rolls for every stretch, each from what the earlier ones leave."""
    store, rules = _Store(problem), problem.plant.stock_rules
    begun: set[int] = set()
    for stretch in stretches_of(problem, sequence, weights):
        is_first = stretch.line_idx not in begun
        begun.add(stretch.line_idx)
        if not store.follows(stretch.stock):
            yield RolledStretch(stretch, None)
            continue
        choice = choose_rolls(stretch.stretch, store.candidates(stretch, is_first), rules, MOST_GROWN)
        if isinstance(choice, RollChoice):
            choice = store.take(choice, _end_ms(sequence, stretch))
        yield RolledStretch(stretch, choice)


def _end_ms(sequence: Sequence, stretch: LineStretch) -> int:
    """When the last run of a stretch ends."""
    placements = {key[1] for key in stretch.runs if key is not None}
    ends_ms = [run.end_ms for run in sequence.lines[stretch.line_idx].runs if run.placement in placements]
    return max(ends_ms, default=stretch.first_ms)


class _Store:
    """What is there of every roll while stretches are served."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self._rolls: dict[Stock, tuple[Roll, ...]] = {
            Stock(substrate.code, stocked.width_um): stocked.rolls
            for substrate, stocked, _ in problem.plant.rolls
        }
        self._used_um: dict[str, int] = {}
        self._free_ms: dict[str, int] = {}

    def follows(self, stock: Stock) -> bool:
        return stock in self._rolls

    def candidates(self, stretch: LineStretch, is_first: bool) -> list[Candidate]:
        """What could be taken, its metres counted from what is used already; `is_first` on its line."""
        line = self._problem.plant.lines[stretch.line_idx].id
        last_ms = max(segment.needed_ms for segment in stretch.stretch.segments)
        found: list[Candidate] = []
        for roll in self._rolls[stretch.stock]:
            used_um = self._used_um.get(roll.id, 0)
            lasts = roll.best_before_ms is None or roll.best_before_ms > last_ms
            if used_um >= roll.length_um or not lasts:
                continue
            if roll.on_unwind not in (None, line) and used_um == 0:
                continue
            candidate = Candidate(
                roll=roll.id,
                length_um=roll.length_um - used_um,
                parts=tuple(_parts(roll, used_um)),
                eur_per_um=self._problem.eur_per_um(stretch.stock),
                age_days=Fraction(-(roll.received_ms or 0), MS_PER_DAY),
                available_ms=max(roll.arrives_ms, self._free_ms.get(roll.id, 0)),
                reserved_for=roll.reserved_for,
                mounted=is_first and roll.on_unwind == line,
            )
            found.append(candidate)
        return found

    def take(self, choice: RollChoice, end_ms: int) -> RollChoice:
        """Note what is used; returns the choice in metres of whole rolls."""
        taken = replace(
            choice,
            uses=tuple(
                replace(
                    use, run_through_um=tuple(at_um + self._used_before(use) for at_um in use.run_through_um)
                )
                for use in map(self._in_whole_roll, choice.uses)
            ),
            cut_outs=tuple(map(self._in_whole_roll, choice.cut_outs)),
            rests=tuple(map(self._in_whole_roll, choice.rests)),
        )
        for rest in taken.rests:
            goes_back = rest.kind is RestKind.STUB
            self._used_um[rest.roll] = rest.from_um if goes_back else rest.to_um
            self._free_ms[rest.roll] = end_ms
        return taken

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


def _roll_ends(rolled: tuple[RolledStretch, ...]) -> RollEnds:
    """Where the rolls of all stretches end, by run; a run of a followed stock is there even without one."""
    ends: dict[RunKey, list[int]] = {}
    for each in rolled:
        if not isinstance(each.choice, RollChoice):
            continue
        for key in each.stretch.runs:
            if key is not None:
                ends.setdefault(key, [])
        for use in each.choice.uses:
            key = each.stretch.runs[use.begins.segment]
            if use.wasted_um and key is not None:
                ends[key].append(each.stretch.run_um(use.begins.segment, use.begins.offset_um))
    return {key: tuple(sorted(ends_um)) for key, ends_um in ends.items()}
