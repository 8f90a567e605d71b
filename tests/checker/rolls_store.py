"""The store of rolls, played again stretch by stretch: what is left of every roll, and what it may become."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from solver.problem import Problem
from solver.roll_choice import RestKind, RollChoice, Use
from solver.rolls import FlawKind, Roll, StockRules
from solver.sequence import Stock
from tests.checker.rolls_web import StretchWeb


@dataclass
class RollStore:
    """The rolls of a plant while stretches are served.

    `used_um` is how much of a roll is gone for good; `free_ms` is when it comes off its line; `slit_to` is
    the stock that a wider roll was slit to.
    """

    problem: Problem
    used_um: dict[str, int] = field(default_factory=dict)
    free_ms: dict[str, int] = field(default_factory=dict)
    slit_to: dict[str, Stock] = field(default_factory=dict)

    @property
    def rules(self) -> StockRules:
        return self.problem.plant.stock_rules

    @cached_property
    def by_stock(self) -> dict[Stock, tuple[Roll, ...]]:
        """The stocks that are followed by roll, with the rolls that are in store as wide as that."""
        return {
            Stock(substrate.code, stocked.width_um): stocked.rolls
            for substrate in self.problem.plant.substrates
            for stocked in substrate.widths
            if stocked.rolls
        }

    @cached_property
    def rolls(self) -> dict[str, Roll]:
        return {roll.id: roll for rolls in self.by_stock.values() for roll in rolls}

    @cached_property
    def in_store_as(self) -> dict[str, Stock]:
        """What a roll was before anything was done with it."""
        return {roll.id: stock for stock, rolls in self.by_stock.items() for roll in rolls}

    def stock_of(self, roll: Roll) -> Stock:
        """What a roll is now: as wide as it was slit to."""
        return self.slit_to.get(roll.id, self.in_store_as[roll.id])

    def of_stock(self, stock: Stock) -> list[Roll]:
        """All rolls that are of a stock now, those slit to its width with them."""
        return [roll for roll in self.rolls.values() if self.stock_of(roll) == stock]

    def take(self, stretch: StretchWeb, choice: RollChoice) -> None:
        """Note what a stretch uses of its rolls."""
        for roll_id, uses in uses_by_roll(choice.uses).items():
            roll, left_at_um = self.rolls[roll_id], uses[-1].to_um
            if self.stock_of(roll) != stretch.stock:
                self.slit_to[roll_id] = stretch.stock
            kept = rest_kind(roll, left_at_um, self.rules) is RestKind.STUB
            self.used_um[roll_id] = left_at_um if kept else roll.length_um
            self.free_ms[roll_id] = stretch.end_ms

    def is_mounted(self, stretch: StretchWeb, roll: Roll) -> bool:
        """Whether a roll is on the unwind when a stretch begins."""
        return stretch.is_first and roll.on_unwind == stretch.line

    def is_opened(self, roll: Roll) -> bool:
        """Whether somebody has used it already."""
        return roll.on_unwind is not None or roll.id in self.used_um

    def is_held_elsewhere(self, stretch: StretchWeb, roll: Roll) -> bool:
        """Whether it is on another line's unwind and nobody has used it so far."""
        return roll.on_unwind not in (None, stretch.line) and roll.id not in self.used_um

    def has_mounted(self, stretch: StretchWeb) -> bool:
        """Whether a roll of its stock is on its line's unwind as the plan begins."""
        return any(roll.on_unwind == stretch.line for roll in self.by_stock.get(stretch.stock, ()))

    def could_take(self, stretch: StretchWeb, roll: Roll) -> bool:
        """Whether anything of a roll could be used anywhere in a stretch."""
        left_um = usable_um(roll, self.used_um.get(roll.id, 0), roll.length_um - self.rules.core_tail_um)
        lasts = roll.best_before_ms is None or roll.best_before_ms >= stretch.end_ms
        if left_um == 0 or not lasts or self.is_held_elsewhere(stretch, roll):
            return False
        there_ms = max(roll.arrives_ms, self.free_ms.get(roll.id, 0))
        pieces = stretch.pieces[:1] if self.is_mounted(stretch, roll) else stretch.pieces
        return any(
            roll.reserved_for in (None, piece.job) and there_ms <= stretch.needed_ms(piece)
            for piece in pieces
        )


def uses_by_roll(uses: Iterable[Use]) -> dict[str, list[Use]]:
    """A choice's uses by roll, in web order."""
    found: dict[str, list[Use]] = {}
    for use in uses:
        found.setdefault(use.roll, []).append(use)
    return found


def usable_um(roll: Roll, from_um: int, to_um: int) -> int:
    """Web of a part of a roll that is no defect."""
    defects_um = sum(
        max(0, min(flaw.to_um, to_um) - max(flaw.from_um, from_um))
        for flaw in roll.flaws
        if flaw.kind is FlawKind.DEFECT
    )
    return max(0, to_um - from_um) - defects_um


def rest_kind(roll: Roll, from_um: int, rules: StockRules) -> RestKind:
    """What the rest of a roll is: run out where nothing but core and defects is left, else by its length."""
    if usable_um(roll, from_um, roll.length_um - rules.core_tail_um) <= 0:
        return RestKind.RUN_OUT
    return RestKind.STUB if roll.length_um - from_um >= rules.least_stub_um else RestKind.SCRAP
