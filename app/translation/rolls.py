"""Rolls of label stock for the solver, and back."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from app.contracts.plant import Delivery, Flaw, FlawKind, Roll, StockedWidth, StockRules, Substrate
from app.translation.times import PlanClock
from app.translation.units import m_from_um, um_from_m, um_from_mm
from solver import rolls as solver_rolls

MOST_ROLLS_DELIVERED = 1000
"""Of one delivery that is taken roll by roll."""


def solver_roll_of(roll: Roll, clock: PlanClock) -> solver_rolls.Roll:
    """A roll in the solver's units, its times counted from the plan's start."""
    return solver_rolls.Roll(
        id=roll.id,
        length_um=um_from_m(roll.length_m),
        received_ms=None if roll.received is None else clock.ms(roll.received),
        best_before_ms=None if roll.best_before is None else clock.ms(roll.best_before),
        location=roll.location,
        flaws=tuple(
            solver_rolls.Flaw(
                solver_rolls.FlawKind(flaw.kind.value), um_from_m(flaw.from_m), um_from_m(flaw.end_m)
            )
            for flaw in roll.flaws
        ),
        reserved_for=roll.reserved_for,
        on_unwind=roll.on_unwind,
        arrives_ms=0 if roll.arrives is None else max(0, clock.ms(roll.arrives)),
    )


def roll_contract(roll: solver_rolls.Roll, clock: PlanClock) -> Roll:
    """A solver's roll in the trade's units; what is there says nothing of when it came."""
    return Roll(
        id=roll.id,
        length_m=m_from_um(roll.length_um),
        received=None if roll.received_ms is None else clock.moment(roll.received_ms),
        best_before=None if roll.best_before_ms is None else clock.moment(roll.best_before_ms),
        location=roll.location,
        flaws=tuple(_flaw(flaw) for flaw in roll.flaws),
        reserved_for=roll.reserved_for,
        on_unwind=roll.on_unwind,
        arrives=clock.moment(roll.arrives_ms) if roll.arrives_ms else None,
    )


def solver_rolls_of(
    substrate: Substrate, stocked: StockedWidth, clock: PlanClock
) -> tuple[solver_rolls.Roll, ...]:
    """All rolls of a width that is followed by roll, those of its deliveries among them."""
    rolls = [solver_roll_of(roll, clock) for roll in stocked.rolls]
    for number, delivery in enumerate(stocked.deliveries, 1):
        name = f"{substrate.code} {stocked.width_mm.normalize():f} mm, delivery {number}"
        rolls += (solver_roll_of(roll, clock) for roll in _delivered(name, delivery, substrate.usual_roll_m))
    return tuple(rolls)


def stock_rules_of(rules: StockRules) -> solver_rolls.StockRules:
    """The rules of stock in the solver's units."""
    return solver_rolls.StockRules(
        least_stub_um=um_from_m(rules.least_stub_m),
        core_tail_um=um_from_m(rules.core_tail_m),
        open_eur=Fraction(rules.open_eur),
        stub_eur=Fraction(rules.stub_eur),
        age_eur_per_day=Fraction(rules.age_eur_per_day),
        most_trim_um=um_from_mm(rules.most_trim_mm),
    )


def _delivered(name: str, delivery: Delivery, usual_m: Decimal | None) -> Iterator[Roll]:
    """Rolls of the usual length that a delivery comes as; nobody has numbered them yet."""
    if usual_m is not None and delivery.length_m > MOST_ROLLS_DELIVERED * usual_m:
        raise ValueError(f"{name}: {delivery.length_m} m would be more than {MOST_ROLLS_DELIVERED} rolls")
    left_m, number = delivery.length_m, 0
    while left_m > 0:
        number += 1
        length_m = left_m if usual_m is None else min(left_m, usual_m)
        yield Roll(id=f"{name}, roll {number}", length_m=length_m, received=delivery.at, arrives=delivery.at)
        left_m -= length_m


def _flaw(flaw: solver_rolls.Flaw) -> Flaw:
    is_splice = flaw.kind is solver_rolls.FlawKind.SPLICE
    return Flaw(
        kind=FlawKind(flaw.kind.value),
        from_m=m_from_um(flaw.from_um),
        to_m=None if is_splice else m_from_um(flaw.to_um),
    )
