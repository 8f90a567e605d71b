"""What chosen rolls cost besides their splices."""

from __future__ import annotations

from dataclasses import dataclass, fields
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class StubCost:
    """In euro, part by part.

    Splices are not in it: their metres are wasted web, their minutes stop the line. The web that runs on the
    line is not either: whatever rolls are chosen, they give as much of it.

    Parameters
    ----------
    cut_out_eur
        Web cut out: defects, and what is given up with them so that a roll ends elsewhere.
    core_eur
        What is lost at the cores.
    scrap_eur
        Rests too short to be kept.
    trim_eur
        Strips cut off wider rolls.
    opening_eur
        Rolls opened.
    age_eur
        Days by which rolls are younger than the oldest that could be taken: a weight, which nobody pays.
    taking_back_eur
        Rests taken back to the store, each as often as it goes there.
    """

    cut_out_eur: Fraction = Fraction(0)
    core_eur: Fraction = Fraction(0)
    scrap_eur: Fraction = Fraction(0)
    trim_eur: Fraction = Fraction(0)
    opening_eur: Fraction = Fraction(0)
    age_eur: Fraction = Fraction(0)
    taking_back_eur: Fraction = Fraction(0)

    @property
    def total_eur(self) -> Fraction:
        """What is paid: all but age."""
        return self.weighed_eur - self.age_eur

    @property
    def weighed_eur(self) -> Fraction:
        """What the choice of rolls makes least, age with it."""
        return sum((getattr(self, part.name) for part in fields(self)), Fraction(0))

    def __add__(self, other: StubCost) -> StubCost:
        return StubCost(*(getattr(self, part.name) + getattr(other, part.name) for part in fields(StubCost)))
