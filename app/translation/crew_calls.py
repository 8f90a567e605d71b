"""The crew's calls as contracts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from app.contracts import crew_calls as contracts
from app.contracts.sequences import Closure
from app.translation.sequences import loaded_text, task_contract
from app.translation.times import PlanClock
from app.translation.units import m_from_um, min_from_ms
from solver.call_words import late_sentence, stop_sentence
from solver.crew_call import Call, CallKind, Countdown, Doff, FoilReelEnd, Staged, UnderStation
from solver.sequence import Interruption
from solver.set_up_strip import SetUpStrip


def call_contract(
    call: Call, clock: PlanClock, next_roll: contracts.NextRoll | None = None
) -> contracts.Call:
    """A call in the trade's units.

    Where the line is not brought to a stand nobody has to begin early: then there is no margin.
    """
    told = call if stands(call) else _without_margin(call)
    return contracts.Call(
        number=call.number,
        kind=contracts.CallKind(call.kind.value),
        run=call.run,
        job=call.job,
        sentence=stop_sentence(told),
        late=late_sentence(call),
        reading_m=m_from_um(call.reading_um),
        begin_m=m_from_um(call.reading_um - told.margin_um),
        margin_m=m_from_um(told.margin_um),
        awaited_m=m_from_um(call.mark_um),
        at_m=m_from_um(call.at_x_um),
        speed_m_min=m_from_um(call.speed_um_min),
        expected=clock.moment(call.expected_ms),
        minutes=min_from_ms(call.duration_ms),
        further_min=min_from_ms(call.further_ms),
        under=tuple(_under(there) for there in call.under),
        tasks=tuple(
            contracts.HandTask(
                hand=work.hand,
                from_min=min_from_ms(work.from_ms),
                to_min=min_from_ms(work.to_ms),
                task=task_contract(work.task),
            )
            for work in call.work
        ),
        made_ready=tuple(task_contract(task) for task in call.ready.hidden),
        brought=tuple(brought(staged) for staged in call.ready.staged),
        next_roll=next_roll,
        strip=None if call.strip is None else _strip(call.strip),
        doff=_doff(call.about) if isinstance(call.about, Doff) else None,
        foil_reel=_foil_reel(call.about) if isinstance(call.about, FoilReelEnd) else None,
        closure=_closure(call.about, clock) if isinstance(call.about, Interruption) else None,
    )


def stands(call: Call) -> bool:
    """Whether the crew brings the line to a stand for it."""
    return call.duration_ms > Fraction(0) and call.kind is not CallKind.CLOSURE


def is_spliced(call: Call) -> bool:
    """Whether the splice of a changeover lies under the splice table then."""
    return call.strip is not None and call.strip.splice_at_um == call.at_x_um


def brought(staged: Staged) -> contracts.Brought:
    """Something to have at hand, in the trade's units."""
    return contracts.Brought(
        station=staged.station, aspect=staged.aspect, item=loaded_text(staged.aspect, staged.item)
    )


def _without_margin(call: Call) -> Call:
    there = call.countdown
    to_pass_um = (-there.to_pass_um if there.passed else there.to_pass_um) - call.margin_um
    if there.version is None:
        to_pass_um = there.to_pass_um + call.margin_um
        return replace(call, margin_um=0, countdown=replace(there, to_pass_um=to_pass_um))
    countdown = Countdown(there.run, there.job, there.version, abs(to_pass_um), passed=to_pass_um <= 0)
    return replace(call, margin_um=0, countdown=countdown)


def _under(there: UnderStation) -> contracts.UnderStation:
    piece = there.piece
    return contracts.UnderStation(
        station=there.station,
        position_m=m_from_um(there.x_um),
        kind="" if piece is None else piece.kind.value,
        job="" if piece is None else piece.job,
        version=None if piece is None else piece.version,
    )


def _strip(strip: SetUpStrip) -> contracts.SetUpStrip:
    return contracts.SetUpStrip(
        length_m=m_from_um(strip.length_um),
        splice_at_m=None if strip.splice_at_um is None else m_from_um(strip.splice_at_um),
        splice_m=m_from_um(strip.splice_um),
        start_up_m=m_from_um(strip.start_up_um),
        spoil_outgoing_m=m_from_um(sum(_lengths_um(strip.spoil_before))),
        spoil_incoming_m=m_from_um(sum(_lengths_um(strip.spoil_after))),
        set_on=tuple(
            contracts.SetOn(
                station=there.station, from_m=m_from_um(there.from_um), to_m=m_from_um(there.to_um)
            )
            for there in strip.set_on
        ),
    )


def _lengths_um(intervals: tuple[tuple[int, int], ...]) -> Iterator[int]:
    return (to_um - from_um for from_um, to_um in intervals)


def _doff(doff: Doff) -> contracts.Doff:
    return contracts.Doff(version=doff.version, number=doff.number, of=doff.of, reels=doff.reels)


def _foil_reel(end: FoilReelEnd) -> contracts.FoilReelEnd:
    return contracts.FoilReelEnd(station=end.station, consumable=end.consumable)


def _closure(closed: Interruption, clock: PlanClock) -> Closure:
    return Closure(
        closed_from=clock.moment(closed.closure_start_ms), closed_to=clock.moment(closed.closure_end_ms)
    )
