"""What became of the rolls in the store, as contracts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from app.contracts import roll_use
from app.translation.times import PlanClock
from app.translation.units import m_from_um, mm_from_um
from solver.plant import StockedWidth, Substrate
from solver.problem import Problem
from solver.roll_choice import Shortage
from solver.roll_ledger import RollPiece, roll_ledger, unopened
from solver.roll_plan import RollPlan
from solver.rolls import Roll
from solver.web_stretches import LineStretch


def missing_stock(problem: Problem, plan: RollPlan, clock: PlanClock) -> tuple[roll_use.MissingStock, ...]:
    """Where a plan's rolls do not suffice."""
    return tuple(_missing(problem, clock, *short) for short in plan.shortages)


def used_rolls(problem: Problem, plan: RollPlan) -> Iterator[roll_use.UsedRoll]:
    """The rolls that something was taken of, in the store's order; none where the plan has not settled."""
    parts = roll_ledger(problem, plan) if plan.settled else {}
    for substrate, stocked, roll in problem.plant.rolls:
        if roll.id in parts:
            yield roll_use.UsedRoll(
                roll=roll.id,
                substrate=substrate.code,
                width_mm=mm_from_um(stocked.width_um),
                slit_to_mm=_slit_to_mm(parts[roll.id]),
                length_m=m_from_um(roll.length_um),
                location=roll.location,
                parts=tuple(_part(own) for own in _joined(parts[roll.id])),
            )


def _slit_to_mm(pieces: Sequence[RollPiece]) -> Decimal | None:
    return None if pieces[0].slit_from_um is None else mm_from_um(pieces[0].width_um)


def _joined(pieces: Iterable[RollPiece]) -> list[list[RollPiece]]:
    """A roll's pieces, those together that ran one behind the other on one line."""
    joined: list[list[RollPiece]] = []
    for piece in pieces:
        web, before = piece.web, joined[-1][-1].web if joined else None
        if web and before and (before.line, before.to_um) == (web.line, web.from_um):
            joined[-1].append(piece)
        else:
            joined.append([piece])
    return joined


def _part(pieces: list[RollPiece]) -> roll_use.RollPart:
    first, last = pieces[0], pieces[-1]
    return roll_use.RollPart(
        part=first.part.value,
        from_m=m_from_um(first.from_um),
        to_m=m_from_um(last.to_um),
        length_m=m_from_um(last.to_um - first.from_um),
        line=first.web.line if first.web else None,
        web_from_m=m_from_um(first.web.from_um) if first.web else None,
        web_to_m=m_from_um(last.web.to_um) if last.web else None,
    )


def unopened_rolls(problem: Problem, plan: RollPlan, clock: PlanClock) -> Iterator[roll_use.UnopenedRoll]:
    """The rolls that nothing was taken of, in the store's order."""
    of: dict[str, tuple[Substrate, StockedWidth]] = {
        roll.id: (substrate, stocked) for substrate, stocked, roll in problem.plant.rolls
    }
    left: tuple[Roll, ...] = unopened(problem, plan) if plan.settled else ()
    for roll in left:
        substrate, stocked = of[roll.id]
        yield roll_use.UnopenedRoll(
            roll=roll.id,
            substrate=substrate.code,
            width_mm=mm_from_um(stocked.width_um),
            length_m=m_from_um(roll.length_um),
            location=roll.location,
            reserved_for=roll.reserved_for,
            on_unwind=roll.on_unwind,
            arrives=clock.moment(roll.arrives_ms) if roll.arrives_ms else None,
        )


def _missing(
    problem: Problem, clock: PlanClock, stretch: LineStretch, shortage: Shortage
) -> roll_use.MissingStock:
    return roll_use.MissingStock(
        line=problem.plant.lines[stretch.line_idx].id,
        substrate=stretch.stock.substrate,
        width_mm=mm_from_um(stretch.stock.width_um),
        missing_m=m_from_um(shortage.missing_um),
        job=stretch.stretch.segments[shortage.segment].job,
        run=shortage.run,
        needed=clock.moment(shortage.needed_ms),
        proven=shortage.proven,
    )
