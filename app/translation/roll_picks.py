"""Which rolls a crew fetches and splices on, at which call, and what becomes of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.contracts.crew_calls import NextRoll
from app.contracts.run_sheets import RollPart, RollPick, RollRest, RollSpan, StockPick
from app.translation.crew_calls import is_spliced
from app.translation.times import PlanClock
from app.translation.units import m_from_um, mm_from_um
from solver.crew_call import Call, CallKind
from solver.problem import Problem
from solver.roll_choice import Rest, RestKind, RollChoice, Shortage, Use
from solver.roll_plan import RolledStretch, RollPlan
from solver.rolls import Roll
from solver.sequence import LineRuns, Piece
from solver.web_stretches import RunKey, by_stock

_RESTS = {RestKind.RUN_OUT: RollRest.CORE, RestKind.STUB: RollRest.STORE, RestKind.SCRAP: RollRest.SCRAP}


@dataclass(frozen=True, slots=True)
class Picked:
    """What goes on a line's unwind, for which run first (0: what was threaded before the plan), and when, in
    ms from the plan's start.
    """

    pick: RollPick | StockPick
    run: int
    needed_ms: int

    @property
    def is_there(self) -> bool:
        """Whether nobody has to bring it: it is on the unwind as the plan begins."""
        return self.run == 0 or (isinstance(self.pick, RollPick) and self.pick.on_unwind)


@dataclass(frozen=True, slots=True)
class LinePicks:
    """What goes on a line's unwind in order, and which roll goes on at which call."""

    picked: tuple[Picked, ...]
    next_rolls: dict[int, NextRoll]


def rolls_by_line(
    problem: Problem,
    plan: RollPlan,
    clock: PlanClock,
    ledger: Sequence[tuple[Piece, ...]],
    calls: Sequence[Sequence[Call]],
) -> tuple[LinePicks, ...]:
    """What every line takes from the store.

    Parameters
    ----------
    ledger, calls
        Of the plan's sequence, by line.
    """
    rolls = {roll.id: roll for _, _, roll in problem.plant.rolls}
    used_before = _lines_before(problem, plan)
    return tuple(
        _LinePicks(plan, clock, rolls, used_before, line, line_idx, pieces, own_calls).picks()
        for line_idx, (line, pieces, own_calls) in enumerate(
            zip(plan.sequence.lines, ledger, calls, strict=True)
        )
    )


_UseOfRoll = tuple[int, str]
"""A stretch's number in the plan, and a roll that it takes."""


def _lines_before(problem: Problem, plan: RollPlan) -> dict[_UseOfRoll, str]:
    """The line that has taken a roll before a stretch takes its rest: stretches come as they begin."""
    last: dict[str, str] = {}
    before: dict[_UseOfRoll, str] = {}
    for stretch_idx, each in enumerate(plan.stretches):
        if isinstance(each.choice, RollChoice):
            for roll in {use.roll for use in each.choice.uses}:
                if roll in last:
                    before[stretch_idx, roll] = last[roll]
                last[roll] = problem.plant.lines[each.stretch.line_idx].id
    return before


class _LinePicks:
    """The rolls of one line."""

    def __init__(
        self,
        plan: RollPlan,
        clock: PlanClock,
        rolls: dict[str, Roll],
        used_before: dict[_UseOfRoll, str],
        line: LineRuns,
        line_idx: int,
        pieces: tuple[Piece, ...],
        calls: Sequence[Call],
    ) -> None:
        self._clock = clock
        self._rolls = rolls
        self._used_before = used_before
        self._line = line
        self._webs_um = [sum(piece.length_um for piece in web) for web in by_stock(pieces)]
        self._calls = calls
        self._stretches = plan.on_line(line_idx)

    def picks(self) -> LinePicks:
        picked: list[Picked] = []
        next_rolls: dict[int, NextRoll] = {}
        for (stretch_idx, each), length_um in zip(self._stretches, self._webs_um, strict=True):
            if not isinstance(each.choice, RollChoice):
                picked.append(self._stock(each, length_um))
                continue
            calls = self._spliced_at(each, each.choice)
            for use, call in zip(each.choice.uses, calls, strict=True):
                if call is not None:
                    next_rolls[call.number] = NextRoll(
                        roll=use.roll,
                        location=self._rolls[use.roll].location,
                        from_m=m_from_um(use.from_um),
                    )
            picked += self._picks(stretch_idx, each, each.choice, calls)
        return LinePicks(tuple(picked), next_rolls)

    def _stock(self, each: RolledStretch, length_um: int) -> Picked:
        """A stretch whose stock is not followed by roll, or whose rolls do not suffice."""
        call = self._changeover_splice(each)
        stock, shortage = each.stretch.stock, each.choice
        needed_ms = each.stretch.first_ms if call is None else call.expected_ms
        return Picked(
            StockPick(
                substrate=stock.substrate,
                width_mm=mm_from_um(stock.width_um),
                length_m=m_from_um(length_um),
                missing_m=m_from_um(shortage.missing_um if isinstance(shortage, Shortage) else 0),
                missing_job=each.stretch.stretch.segments[shortage.segment].job
                if isinstance(shortage, Shortage)
                else "",
                job=each.stretch.stretch.segments[0].job,
                needed=self._clock.moment(needed_ms),
                call=None if call is None else call.number,
            ),
            each.stretch.stretch.segments[0].run,
            needed_ms,
        )

    def _picks(
        self, stretch_idx: int, each: RolledStretch, choice: RollChoice, calls: Sequence[Call | None]
    ) -> Iterator[Picked]:
        """A stretch's rolls, each once, in the order in which they go on."""
        parts: dict[str, list[tuple[Use, Call | None]]] = {}
        for use, call in zip(choice.uses, calls, strict=True):
            parts.setdefault(use.roll, []).append((use, call))
        segments = each.stretch.stretch.segments
        for roll_id, uses in parts.items():
            roll, stock = self._rolls[roll_id], each.stretch.stock
            first, first_call = uses[0]
            segment = segments[first.begins.segment]
            needed_ms = segment.needed_ms if first_call is None else first_call.expected_ms
            rest = next((rest for rest in choice.rests if rest.roll == roll_id), None)
            rest_of = self._used_before.get((stretch_idx, roll_id))
            yield Picked(
                RollPick(
                    roll=roll_id,
                    substrate=stock.substrate,
                    width_mm=mm_from_um(stock.width_um),
                    length_m=m_from_um(roll.length_um),
                    location=roll.location,
                    on_unwind=first_call is None and roll.on_unwind == self._line.line and rest_of is None,
                    rest_of=rest_of,
                    needed=self._clock.moment(needed_ms),
                    job=segment.job,
                    parts=tuple(
                        RollPart(
                            from_m=m_from_um(use.from_um),
                            to_m=m_from_um(use.to_um),
                            job=segments[use.begins.segment].job,
                            version=segments[use.begins.segment].version,
                            call=None if call is None else call.number,
                        )
                        for use, call in uses
                    ),
                    cut_out=tuple(
                        RollSpan(from_m=m_from_um(cut.from_um), to_m=m_from_um(cut.to_um))
                        for cut in choice.cut_outs
                        if cut.roll == roll_id
                    ),
                    splices_left_in_m=tuple(
                        m_from_um(at_um) for use, _ in uses for at_um in use.run_through_um
                    ),
                    rest=RollRest.NOTHING if rest is None else _RESTS[rest.kind],
                    rest_m=m_from_um(_length_um(rest)),
                    # Its rest comes as narrow as it was slit to.
                    slit_from_mm=None
                    if first.slit_from_um is None or rest_of is not None
                    else mm_from_um(first.slit_from_um),
                ),
                segment.run,
                needed_ms,
            )

    def _spliced_at(self, each: RolledStretch, choice: RollChoice) -> list[Call | None]:
        """The call at which every use goes on; None where the roll is there, or the plan has not settled."""
        found: list[Call | None] = [None] * len(choice.uses)
        if choice.uses and not choice.uses[0].wasted_um:
            found[0] = self._changeover_splice(each)
        for key in dict.fromkeys(key for key in each.stretch.runs if key is not None):
            uses = self._ends_in(each, choice, key)
            calls = self._roll_ends(key)
            if len(uses) == len(calls):
                for use_idx, call in zip(uses, calls, strict=True):
                    found[use_idx] = call
        return found

    def _ends_in(self, each: RolledStretch, choice: RollChoice, key: RunKey) -> list[int]:
        """Which uses begin with a roll end in a run, in the order of its web."""
        stretch = each.stretch
        own = [
            (stretch.run_um(use.begins.segment, use.begins.offset_um), use_idx)
            for use_idx, use in enumerate(choice.uses)
            if use.wasted_um and stretch.runs[use.begins.segment] == key
        ]
        return [use_idx for _, use_idx in sorted(own)]

    def _roll_ends(self, key: RunKey) -> list[Call]:
        numbers = [number for number, run in enumerate(self._line.runs, start=1) if run.placement == key[1]]
        return [call for call in self._calls if call.kind is CallKind.ROLL_END and call.run in numbers]

    def _changeover_splice(self, each: RolledStretch) -> Call | None:
        """The changeover's call at which a stretch's stock is spliced on; its first where a splice takes no
        time, since no stop is made for it then.
        """
        first = each.stretch.pieces[0][0].run
        kinds = (CallKind.STOP, CallKind.JOB_CHANGE)
        calls = [
            call
            for call in self._calls
            if call.run == first and call.kind in kinds and call.strip and call.strip.splice_at_um is not None
        ]
        return next(filter(is_spliced, calls), calls[0] if calls else None)


def _length_um(rest: Rest | None) -> int:
    return 0 if rest is None else rest.to_um - rest.from_um
