"""Waste by what causes it: of the web, as the account prices it, and of rolls besides."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from solver.ledger import web_ledger
from solver.problem import Problem
from solver.roll_ledger import RollPart, RollPiece, roll_ledger
from solver.roll_plan import RollPlan
from solver.sequence import PieceKind, Stock

ROLL = "roll"
"""Cause of what is lost of rolls without running on a line."""

TRIM = "trim"
"""Kind of the strips cut off rolls that are slit."""

_KEPT = frozenset({RollPart.WEB, RollPart.STUB})


@dataclass(frozen=True, slots=True)
class CausedWaste:
    """Waste of one cause and kind on one stock, at the stock's price.

    Parameters
    ----------
    cause
        What it belongs to: "run" (its spoilage allowance), "changeover", "roll end", "closure", or "roll".
    kind
        What it is.
    stock
        Of parts of rolls as wide as they were slit to, of a strip cut off as wide as that.
    """

    cause: str
    kind: str
    stock: Stock
    length_um: int
    eur: Fraction

    @property
    def area_m2(self) -> Fraction:
        return Fraction(self.length_um * self.stock.width_um, 10**12)

    @property
    def is_spoilage(self) -> bool:
        """Whether the order cannot change it: the account has no money for it."""
        return self.kind == PieceKind.SPOILAGE

    @property
    def is_of_rolls(self) -> bool:
        return self.cause == ROLL


def waste_by_cause(problem: Problem, plan: RollPlan) -> tuple[CausedWaste, ...]:
    """All waste, sorted. Without spoilage and what is lost of rolls it costs what the account says."""
    lengths_um: Counter[tuple[str, str, Stock]] = Counter()
    for pieces in web_ledger(problem, plan.sequence):
        for piece in pieces:
            if piece.kind is not PieceKind.SELLABLE:
                lengths_um[piece.cause, piece.kind.value, piece.stock] += piece.length_um
    substrates = {roll.id: substrate.code for substrate, _, roll in problem.plant.rolls}
    for roll, parts in (roll_ledger(problem, plan) if plan.settled else {}).items():
        for part in parts:
            for kind, width_um in _lost(part):
                lengths_um[ROLL, kind, Stock(substrates[roll], width_um)] += part.length_um
    return tuple(
        CausedWaste(cause, kind, stock, length_um, length_um * problem.eur_per_um(stock))
        for (cause, kind, stock), length_um in sorted(
            lengths_um.items(),
            key=lambda item: (item[0][0], item[0][1], item[0][2].substrate, item[0][2].width_um),
        )
    )


def _lost(part: RollPiece) -> Iterator[tuple[str, int]]:
    """What is lost of a part of a roll, and how wide that is: the part itself, the strip cut off along it."""
    if part.part not in _KEPT:
        yield part.part.value, part.width_um
    if part.slit_from_um is not None:
        yield TRIM, part.slit_from_um - part.width_um
