"""The solver's reasons as contracts: on the site's clock, in the trade's units."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.contracts import reasons as contracts
from app.contracts import sequences
from app.contracts.orders import LabelRange, LeftOutLot, LineOrder, OrderedRun, RunOrder
from app.translation.locks import lock_text
from app.translation.sequences import loaded_text
from app.translation.solving import Question
from app.translation.times import PlanClock
from app.translation.units import m_from_um, min_from_ms, mm_from_um, rounded
from solver.cheapest_rolls import RolledSequence
from solver.costing import Costing
from solver.explain import explain
from solver.explain_difference import Amount, Cause, CostItem, Difference, difference
from solver.explain_lateness import Alone, LateReasons
from solver.explain_places import Elsewhere, RunReasons
from solver.holds import Hold
from solver.other_places import Extent
from solver.schedule import Scheduler
from solver.search.decoded_costing import DecodedCosting
from solver.sequence import Sequence
from solver.task_reasons import ChangeReason, forced_ms, most_sparing
from solver.weights import GOALS, Weights

MOST_SCHEDULED = 16
"""Runs up to which the scheduler costs all other places before the kernels are loaded."""


def explained(
    question: Question, goal: sequences.Goal, sequence: sequences.Sequence, name: str
) -> contracts.Reasons:
    """Why a sequence of a queue is as it is, and what it costs more than the baselines."""
    weights = GOALS[goal]
    rolled = question.rolled(order_of(sequence), goal)
    here = rolled.sequence
    found = explain(Scheduler(rolled.problem, weights), here.order, _costing(rolled, weights))
    tell = _Teller(question)
    return contracts.Reasons(
        goal=goal,
        runs=tuple(tell.run(reasons) for reasons in found.runs),
        late=tuple(tell.late(reasons) for reasons in found.late),
        extent=found.extent.value,
        is_complete=found.extent is Extent.ALL,
        most_places=found.most_places,
        differences=tuple(
            told_difference(question, name, here, other, baseline.sequence, weights)
            for other, baseline in question.baselines(goal).items()
        ),
    )


def _costing(rolled: RolledSequence, weights: Weights) -> Costing | None:
    """The kernels, where they are worth being loaded; else None: the scheduler."""
    if len(rolled.sequence.runs) <= MOST_SCHEDULED:
        return None
    return DecodedCosting(rolled.problem, weights, rolled.sequence.order)


def compared(
    question: Question, goal: sequences.Goal, name: str, order: RunOrder, other: str, other_order: RunOrder
) -> contracts.Difference:
    """What an order costs more than another one.

    Raises
    ------
    BadInput
        Where a job cannot run where one of them has it, or is missing.
    """
    here, there = (question.rolled(one, goal).sequence for one in (order, other_order))
    return told_difference(question, name, here, other, there, GOALS[goal])


def order_of(sequence: sequences.Sequence) -> RunOrder:
    """The order behind a sequence."""
    return RunOrder(
        lines=tuple(
            LineOrder(
                line=line.line,
                runs=tuple(
                    OrderedRun(job=run.job, stations=run.stations, lot=_labels(run.lot)) for run in line.runs
                ),
            )
            for line in sequence.lines
        ),
        left_out=tuple(left_out.job for left_out in sequence.left_out if left_out.lot is None),
        left_out_lots=tuple(
            LeftOutLot(job=left_out.job, lot=left_out.lot)
            for left_out in sequence.left_out
            if left_out.lot is not None
        ),
    )


def _labels(lot: sequences.Lot | None) -> LabelRange | None:
    if lot is None:
        return None
    return LabelRange(first_label=lot.first_label, last_label=lot.last_label)


@dataclass(frozen=True, slots=True)
class _Teller:
    """Tells reasons on the clock of a question."""

    question: Question

    @property
    def clock(self) -> PlanClock:
        return self.question.clock

    def run(self, reasons: RunReasons) -> contracts.RunReasons:
        sparing = most_sparing(reasons.changes)
        return contracts.RunReasons(
            job=reasons.job,
            line=reasons.line,
            number=reasons.number,
            hold=self.hold(reasons.hold),
            places=reasons.places,
            cheapest=self.elsewhere(reasons.cheapest),
            earlier=self.elsewhere(reasons.earlier),
            forbidden=self.elsewhere(reasons.forbidden),
            hold_ahead=None if reasons.hold_ahead is None else self.hold(reasons.hold_ahead),
            changes=tuple(_change(reason) for reason in reasons.changes),
            setup_min=min_from_ms(sum((one.change.duration_ms for one in reasons.changes), Fraction(0))),
            forced_min=min_from_ms(forced_ms(reasons.changes)),
            most_sparing=sparing and contracts.MostSparing(job=sparing[0], minutes=min_from_ms(sparing[1])),
        )

    def late(self, reasons: LateReasons) -> contracts.LateReasons:
        time = reasons.time
        return contracts.LateReasons(
            job=reasons.job,
            line=reasons.line,
            number=reasons.number,
            press_due=self.clock.moment(reasons.press_due_ms),
            end=self.clock.moment(reasons.end_ms),
            late_min=min_from_ms(reasons.lateness_ms),
            late_even_alone=reasons.late_even_alone,
            alone=None if reasons.alone is None else self.alone(reasons.alone),
            before=tuple(
                contracts.SpentBefore(
                    job=spent.job, setup_min=min_from_ms(spent.setup_ms), run_min=min_from_ms(spent.run_ms)
                )
                for spent in time.before
            ),
            setup_min=min_from_ms(time.setup_ms),
            run_min=min_from_ms(time.run_ms),
            waiting_min=min_from_ms(time.waiting_ms),
            closed_min=min_from_ms(time.closed_ms),
            chain=reasons.chain,
            chain_hold=self.hold(reasons.chain_hold),
            remedy=self.elsewhere(reasons.remedy),
            harmless=self.elsewhere(reasons.harmless),
            soonest=self.elsewhere(reasons.soonest),
            soonest_end=self.clock.moment(reasons.soonest_end_ms),
            moves=reasons.moves,
        )

    def alone(self, alone: Alone) -> contracts.Alone:
        return contracts.Alone(
            line=alone.line,
            start=self.clock.moment(alone.start_ms),
            setup_min=min_from_ms(alone.setup_ms),
            run_min=min_from_ms(alone.run_ms),
            end=self.clock.moment(alone.end_ms),
            hold=self.hold(alone.hold),
        )

    def hold(self, hold: Hold) -> contracts.Hold:
        return contracts.Hold(
            awaited=contracts.Awaited(hold.awaited.value),
            until=self.clock.moment(hold.until_ms),
            job=hold.job,
            tool=hold.tool,
            substrate=hold.stock.substrate if hold.stock else None,
            width_mm=mm_from_um(hold.stock.width_um) if hold.stock else None,
            lock=None if hold.lock is None else lock_text(hold.lock, self.clock),
        )

    def elsewhere(self, place: Elsewhere | None) -> contracts.Elsewhere | None:
        if place is None:
            return None
        return contracts.Elsewhere(
            job=place.job,
            line=place.line,
            number=place.number,
            behind=place.behind,
            ahead_of=place.ahead_of,
            stations=place.stations,
            end=None if place.end_ms is None else self.clock.moment(place.end_ms),
            extra_weighed_eur=rounded(place.extra_weighed_eur),
            extra_controllable_eur=rounded(place.extra_controllable_eur),
            late=place.late,
            on_time=place.on_time,
            left_out=place.left_out,
            broken_locks=tuple(lock_text(lock, self.clock) for lock in place.broken),
            mended_locks=tuple(lock_text(lock, self.clock) for lock in place.mended),
        )


def _change(reason: ChangeReason) -> contracts.ChangeReason:
    change = reason.change
    return contracts.ChangeReason(
        station=reason.station,
        aspect=change.aspect,
        before=loaded_text(change.aspect, change.before),
        after=loaded_text(change.aspect, change.after),
        minutes=min_from_ms(change.duration_ms),
        forced=reason.is_forced,
        spared_behind=reason.spared_behind,
        spared_first=reason.spared_first,
    )


def told_difference(
    question: Question, name: str, here: Sequence, other: str, there: Sequence, weights: Weights
) -> contracts.Difference:
    """What a sequence costs more than another one of a queue."""
    found: Difference = difference(question.problem, here, there, weights)
    parts = tuple(_part(item, amount) for item, amount in found.parts)
    total_eur = sum((part.more_eur for part in parts), Decimal(0))
    running_eur = sum((part.more_eur for part in parts if part.cause == Cause.RUNNING.value), Decimal(0))
    return contracts.Difference(
        order=name,
        other=other,
        parts=parts,
        total_eur=total_eur,
        controllable_eur=total_eur - running_eur,
        weighed_eur=sum((part.more_weighed_eur for part in parts), Decimal(0)),
        only_here=found.only_here,
        only_there=found.only_there,
    )


def _part(item: CostItem, amount: Amount) -> contracts.CostPart:
    is_web, are_runs = item.cause is Cause.WASTE, item.cause is Cause.MOVED
    has_time = not is_web and item.cause not in (Cause.MOVED, Cause.STUBS)
    return contracts.CostPart(
        cause=item.cause.value,
        line=item.line,
        station=item.station,
        kind=None if item.kind is None else item.kind.value,
        substrate=item.stock.substrate if item.stock else None,
        width_mm=mm_from_um(item.stock.width_um) if item.stock else None,
        job=item.job,
        more_m=m_from_um(int(amount.amount)) if is_web else None,
        more_min=min_from_ms(amount.amount) if has_time else None,
        more_runs=int(amount.amount) if are_runs else None,
        more_eur=rounded(amount.eur),
        more_weighed_eur=rounded(amount.weighed_eur),
    )
