"""Rolls of label stock in the store: what flaws they have, and how much of them can be used.

Metres of a roll are counted from the first that unwinds; times are ms from the plan's start, below 0
before it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from solver.checks import Checks


class FlawKind(StrEnum):
    """What is wrong with a place of a roll."""

    DEFECT = "defect"
    """Web that cannot be sold: it is cut out, or runs through as waste."""
    SPLICE = "splice"
    """Two webs joined by whoever made the roll, flagged at its edge."""


@dataclass(frozen=True, slots=True)
class Flaw:
    """A flagged place of a roll, from the first metre that unwinds; of a splice both ends are one."""

    kind: FlawKind
    from_um: int
    to_um: int

    def __post_init__(self) -> None:
        checks = Checks(f"{self.kind} at {self.from_um} µm")
        checks.not_negative("from_um", self.from_um)
        if self.kind is FlawKind.SPLICE:
            checks.that(self.from_um == self.to_um, f"a splice has no length, to_um is {self.to_um}")
        else:
            checks.that(self.from_um < self.to_um, f"must end after it begins, to_um is {self.to_um}")
        checks.done()


@dataclass(frozen=True, slots=True)
class Roll:
    """A roll in the store, or on its way there.

    Parameters
    ----------
    received_ms
        When it came into the store; None where nobody knows.
    best_before_ms
        From when on it must not be used; None where it keeps.
    location
        Where it lies.
    flaws
        In unwinding order, without overlap, inside the roll; a splice lies between its ends.
    reserved_for
        Id of the only job that may take it; it need not be in the queue.
    on_unwind
        Id of the line on whose unwind it is mounted.
    arrives_ms
        When it can be used; 0 where it is there.
    """

    id: str
    length_um: int
    received_ms: int | None = None
    best_before_ms: int | None = None
    location: str = ""
    flaws: tuple[Flaw, ...] = ()
    reserved_for: str | None = None
    on_unwind: str | None = None
    arrives_ms: int = 0

    def __post_init__(self) -> None:
        checks = Checks(f"roll {self.id}")
        checks.positive_or_none("length_um", self.length_um)
        checks.not_negative("arrives_ms", self.arrives_ms)
        checks.that(
            self.on_unwind is None or self.arrives_ms == 0, "must be there already to be on an unwind"
        )
        self._check_flaws(checks)
        checks.done()

    def _check_flaws(self, checks: Checks) -> None:
        behind_um = 0
        for idx, flaw in enumerate(self.flaws):
            where = f"{flaw.kind} from {flaw.from_um} to {flaw.to_um} µm"
            checks.that(flaw.to_um <= self.length_um, f"{where} lies beyond the end, {self.length_um} µm")
            checks.that(
                flaw.from_um >= behind_um and flaw not in self.flaws[:idx],
                f"{where} must lie behind the flaw before it",
            )
            checks.that(
                flaw.kind is not FlawKind.SPLICE or 0 < flaw.from_um < self.length_um,
                f"{where} must lie between the roll's ends",
            )
            behind_um = flaw.to_um

    def usable_um(self, core_tail_um: int) -> int:
        """Its length without defects and without what is lost at its core, what is both counted once."""
        end_um = max(0, self.length_um - core_tail_um)
        defects_um = sum(max(0, min(flaw.to_um, end_um) - min(flaw.from_um, end_um)) for flaw in self.flaws)
        return end_um - defects_um

    @property
    def is_out_of_date(self) -> bool:
        """Whether it is past its best-before as soon as it could be used."""
        return self.best_before_ms is not None and self.best_before_ms <= self.arrives_ms


@dataclass(frozen=True, slots=True)
class StockRules:
    """What rolls lose and cost whatever is made from them.

    Parameters
    ----------
    least_stub_um
        A rest of at least so much goes back to the store; a shorter one is scrap.
    core_tail_um
        What is lost at the core of every roll that runs to its end.
    open_eur
        Price of opening a roll that nobody has used so far.
    age_eur_per_day
        Price of every day by which a roll is younger than the oldest that could be taken.
    most_trim_um
        How much wider than needed a roll may be that is slit down; 0: rolls are never slit.
    stub_eur
        Price of taking a rest back to the store, once for every rest that goes there.
    """

    least_stub_um: int = 0
    core_tail_um: int = 0
    open_eur: Fraction = Fraction(0)
    age_eur_per_day: Fraction = Fraction(0)
    most_trim_um: int = 0
    stub_eur: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        checks = Checks("stock rules")
        prices = ("open_eur", "age_eur_per_day", "stub_eur")
        for name in ("least_stub_um", "core_tail_um", "most_trim_um", *prices):
            checks.not_negative(name, getattr(self, name))
        checks.done()


@dataclass(frozen=True, slots=True)
class RolledStock:
    """What rolls of one stock give: usable µm at the start, and µm by the time they arrive, in that order."""

    on_hand_um: int
    arrivals: tuple[tuple[int, int], ...]


def stock_of_rolls(
    rolls: Iterable[Roll], core_tail_um: int, queue: Collection[str] | None = None
) -> RolledStock:
    """How much of a stock its rolls give.

    Defects, core tails and rolls past their best-before give nothing. Rolls that arrive later come as
    deliveries. `queue` holds the ids of its jobs: what is reserved for others is not there for it. None:
    nothing is known of jobs, so every roll counts. What is reserved for a job of the queue counts for all.
    """
    on_hand_um = 0
    arriving_um: dict[int, int] = {}
    for roll in rolls:
        kept = queue is not None and roll.reserved_for is not None and roll.reserved_for not in queue
        usable_um = 0 if kept or roll.is_out_of_date else roll.usable_um(core_tail_um)
        if roll.arrives_ms == 0:
            on_hand_um += usable_um
        elif usable_um:
            arriving_um[roll.arrives_ms] = arriving_um.get(roll.arrives_ms, 0) + usable_um
    return RolledStock(on_hand_um, tuple(sorted(arriving_um.items())))
