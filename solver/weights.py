"""Goals: how a sequence's parts are weighed against each other."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from solver.checks import Checks


@dataclass(frozen=True, slots=True)
class Weights:
    """Factors on the parts of the cost. Moved runs, and what chosen rolls cost besides their splices, count
    once under every goal.

    Parameters
    ----------
    waste
        Factor on the price of wasted stock.
    waste_eur_per_m
        When given, the price of a wasted metre whatever the stock, instead of factor and price.
    changeover
        Factor on changeover, waiting, roll-end and interruption minutes.
    running
        Factor on running minutes.
    late
        Factor on late costs.
    """

    waste: Fraction = Fraction(1)
    changeover: Fraction = Fraction(1)
    running: Fraction = Fraction(1)
    late: Fraction = Fraction(1)
    waste_eur_per_m: Fraction | None = None

    def __post_init__(self) -> None:
        checks = Checks("weights")
        for name in ("waste", "changeover", "running", "late"):
            checks.not_negative(name, getattr(self, name))
        if self.waste_eur_per_m is not None:
            checks.not_negative("waste_eur_per_m", self.waste_eur_per_m)
        checks.done()

    def waste_eur_per_um(self, eur_per_um: Fraction) -> Fraction:
        """Weighed price of a µm of web whose stock costs `eur_per_um`."""
        if self.waste_eur_per_m is not None:
            return self.waste_eur_per_m / 1_000_000
        return self.waste * eur_per_um


_SMALL = Fraction(1, 1000)

GOALS: dict[str, Weights] = {
    "balanced": Weights(),
    "least-waste": Weights(waste_eur_per_m=Fraction(1000), changeover=_SMALL, running=_SMALL),
    "least-changeover-time": Weights(waste=_SMALL, changeover=Fraction(1000), running=_SMALL),
    "on-time-first": Weights(late=Fraction(1000)),
}
"""The named goals."""
