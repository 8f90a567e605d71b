"""Every line's web is covered once by the rolls chosen for it, in order; every roll is told to its end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import accumulate, pairwise

from solver.roll_choice import CutOut, Place, Rest, RestKind, RollChoice, Shortage
from solver.roll_ledger import RollPart, RollPiece
from solver.rolls import Roll
from solver.sequence import Piece
from solver.stretches import Segment, SegmentKind
from tests.checker.complaints import differs
from tests.checker.rolls_store import RollStore, rest_kind, uses_by_roll
from tests.checker.rolls_web import (
    OWN,
    Laid,
    RollLedger,
    StretchWeb,
    in_run_um,
    laid_uses,
    on_stretch,
)
from tests.checker.web import ROLL_END, Ledger

_PARTS = {RestKind.RUN_OUT: RollPart.CORE_TAIL, RestKind.SCRAP: RollPart.SCRAP, RestKind.STUB: RollPart.STUB}


def coverage_complaints(
    stretch: StretchWeb, choice: RollChoice | Shortage | None, rolls: RollLedger
) -> list[str]:
    """The ledger's rolls lie on a stretch without gap or overlap, piece by piece as the web has it."""
    where = stretch.name
    laid = on_stretch(stretch, rolls)
    if not isinstance(choice, RollChoice):
        return [f"{where}: {piece.roll} lies on it though no rolls were chosen" for piece in laid]
    complaints = []
    at_um = stretch.from_um
    for piece in laid:
        web = piece.web
        assert web is not None
        here = f"{where}, roll {piece.roll} from {piece.from_um} µm"
        complaints += differs(here, "begins on the web at µm", web.from_um, at_um)
        complaints += differs(here, "µm of web", web.length_um, piece.length_um)
        if not any(web == _cut(whole, web) for whole in stretch.under(web.from_um, web.to_um)):
            complaints.append(
                f"{here}: is told as {web.kind} of run {web.run}, which is not what the web has"
            )
        at_um = web.to_um
    return complaints + differs(where, "rolls end on the web at µm", at_um, stretch.to_um)


def _cut(whole: Piece, like: Piece) -> Piece:
    """A piece of web cut to where another one lies, if that is inside it."""
    if whole.from_um <= like.from_um and like.to_um <= whole.to_um:
        return replace(whole, from_um=like.from_um, to_um=like.to_um)
    return whole


def choice_complaints(stretch: StretchWeb, choice: RollChoice, rolls: RollLedger) -> list[str]:
    """The ledger has the rolls as they were chosen, and they were chosen for this web."""
    said = [(piece.roll, piece.from_um, piece.to_um) for piece in on_stretch(stretch, rolls)]
    right: list[tuple[str, int, int]] = []
    for laid in laid_uses(stretch, choice):
        for piece in stretch.under(laid.from_um, laid.to_um):
            start_um = laid.use.from_um + max(piece.from_um, laid.from_um) - laid.from_um
            end_um = laid.use.from_um + min(piece.to_um, laid.to_um) - laid.from_um
            right.append((laid.use.roll, start_um, end_um))
    return differs(stretch.name, "rolls and their µm, in web order,", said, right)


def place_complaints(
    stretch: StretchWeb, segments: Sequence[Segment], choice: RollChoice, store: RollStore
) -> list[str]:
    """Uses begin and end where they say, and waste what the web has as their roll ends' waste.

    Inside other waste (a start-up, what is left blank) nothing tells where a roll ends, so there it may be
    told anywhere.
    """
    complaints = []
    wasted_um = 0
    bounds_um = (0, *accumulate(segment.length_um for segment in segments))
    for laid in laid_uses(stretch, choice):
        use, where = laid.use, f"{stretch.name}, roll {laid.use.roll} from {laid.use.from_um} µm"
        for what, said, at_um in (("begins", use.begins, laid.from_um), ("ends", use.ends, laid.to_um)):
            right_um = stretch.good_um(at_um)
            said_um = bounds_um[min(said.segment, len(segments))] + said.offset_um
            inside = stretch.from_um < at_um < stretch.to_um
            if inside and not stretch.told_between(said_um, right_um):
                right_um = said_um
            complaints += differs(where, f"{what} at", said, _place(segments, right_um))
        complaints += [
            f"{where}: wastes {piece.kind} of run {piece.run}"
            for piece in stretch.under(laid.from_um, laid.from_um + use.wasted_um)
            if piece.kind in OWN
        ]
        wasted_um += use.wasted_um
        complaints += differs(
            where, "flagged splices left in it", use.run_through_um, _run_through(laid, store)
        )
    for before, behind in pairwise(choice.uses):
        complaints += differs(f"{stretch.name}, roll {behind.roll}", "begins at", behind.begins, before.ends)
    web_um = sum(piece.length_um for piece in stretch.pieces if piece.cause == ROLL_END)
    return complaints + differs(stretch.name, "µm wasted by roll ends", wasted_um, web_um)


def _place(segments: Sequence[Segment], at_um: int) -> Place | None:
    """The place of a stretch, on the strip where that touches it, else in what ends there; None beyond it."""
    touching: list[Place] = []
    start_um = 0
    for number, segment in enumerate(segments):
        if 0 <= at_um - start_um <= segment.length_um:
            touching.append(Place(number, at_um - start_um))
        start_um += segment.length_um
    strips = [place for place in touching if segments[place.segment].kind is SegmentKind.STRIP]
    return next(iter(strips or touching), None)


def _run_through(laid: Laid, store: RollStore) -> tuple[int, ...]:
    roll = store.rolls[laid.use.roll]
    return tuple(
        flaw.from_um
        for flaw in roll.flaws
        if flaw.from_um == flaw.to_um and laid.use.from_um < flaw.from_um < laid.use.to_um
    )


def roll_end_complaints(stretch: StretchWeb, ends: tuple[Laid, ...]) -> list[str]:
    """Runs have their roll ends where rolls end on their web, but for what has started."""
    right: dict[int, list[int]] = {piece.run: [] for piece in stretch.pieces if piece.run}
    for laid in ends:
        number = _piece_at(stretch, laid.from_um).run
        if number and stretch.runs[number - 1].changeover is not None:
            right[number].append(in_run_um(stretch.line_web, number, laid.from_um))
    complaints = []
    for number, ends_um in right.items():
        run = stretch.runs[number - 1]
        complaints += differs(f"run {run.name}", "roll ends chosen at µm", run.roll_ends, ends_um)
    return complaints


def _piece_at(stretch: StretchWeb, at_um: int) -> Piece:
    return next(piece for piece in stretch.pieces if piece.to_um > at_um)


def rest_complaints(stretch: StretchWeb, choice: RollChoice, store: RollStore) -> list[str]:
    """What a choice does not use of its rolls: cut out before and between uses, and the rests."""
    cut_outs: list[CutOut] = []
    rests: list[Rest] = []
    complaints = []
    for roll_id, uses in uses_by_roll(choice.uses).items():
        roll, where = store.rolls[roll_id], f"{stretch.name}, roll {roll_id}"
        at_um = store.used_um.get(roll_id, 0)
        for use in uses:
            if use.from_um < at_um:
                complaints.append(f"{where}: is used from {use.from_um} µm, up to {at_um} µm is gone already")
            if use.from_um > at_um:
                cut_outs.append(CutOut(roll_id, at_um, use.from_um))
            at_um = use.to_um
        if at_um > roll.length_um - store.rules.core_tail_um:
            complaints.append(f"{where}: is used up to {at_um} µm, into its core tail")
        if at_um < roll.length_um:
            rests.append(Rest(roll_id, rest_kind(roll, at_um, store.rules), at_um, roll.length_um))
    complaints += differs(stretch.name, "cut out", choice.cut_outs, tuple(cut_outs))
    return complaints + differs(stretch.name, "rests", choice.rests, tuple(rests))


def roll_complaints(store: RollStore, rolls: RollLedger, ledger: Ledger) -> list[str]:
    """Roll by roll: from 0 to its length without gap, unwinding forwards, cut out only at flaws."""
    complaints = []
    for roll_id, pieces in rolls.items():
        roll = store.rolls.get(roll_id)
        if roll is None:
            complaints.append(f"roll {roll_id}: is in no store")
            continue
        complaints += _length_complaints(roll, pieces)
        complaints += _part_complaints(store, roll, pieces)
        complaints += _unwinding_complaints(roll, pieces)
    return complaints + _kind_complaints(store, rolls, ledger)


def _length_complaints(roll: Roll, pieces: tuple[RollPiece, ...]) -> list[str]:
    where = f"roll {roll.id}"
    complaints = []
    at_um = 0
    for piece in pieces:
        complaints += differs(where, "name on its pieces", piece.roll, roll.id)
        complaints += differs(where, f"{piece.part} begins at µm", piece.from_um, at_um)
        if piece.to_um <= piece.from_um:
            complaints.append(f"{where}: {piece.part} at {piece.from_um} µm is empty")
        if (piece.part is RollPart.WEB) != (piece.web is not None):
            complaints.append(f"{where}: {piece.part} at {piece.from_um} µm has web or lacks it")
        at_um = piece.to_um
    return complaints + differs(where, "ends at µm", at_um, roll.length_um)


def _part_complaints(store: RollStore, roll: Roll, pieces: tuple[RollPiece, ...]) -> list[str]:
    """What did not run: cut out up to the end of a flaw, and one rest of the right kind."""
    where = f"roll {roll.id}"
    last_um = max((piece.to_um for piece in pieces if piece.part is RollPart.WEB), default=0)
    complaints = []
    for piece in pieces:
        if piece.part is RollPart.WEB:
            continue
        right = RollPart.CUT_OUT
        if piece.from_um >= last_um:
            right = _PARTS[rest_kind(roll, piece.from_um, store.rules)]
        complaints += differs(where, f"rest or gap at {piece.from_um} µm", piece.part, right)
        if piece.part is RollPart.CUT_OUT and piece.to_um not in {flaw.to_um for flaw in roll.flaws}:
            complaints.append(f"{where}: is cut out up to {piece.to_um} µm, where no flaw ends")
    return complaints


def _unwinding_complaints(roll: Roll, pieces: tuple[RollPiece, ...]) -> list[str]:
    webs = [piece.web for piece in pieces if piece.web is not None]
    return [
        f"roll {roll.id}: its web at {behind.from_um} µm of {behind.line} lies before what unwinds earlier"
        for before, behind in pairwise(webs)
        if before.line == behind.line and behind.from_um < before.to_um
    ]


def _kind_complaints(store: RollStore, rolls: RollLedger, ledger: Ledger) -> list[str]:
    """Of every stock no roll has more of a kind than the lines' web has."""
    there: Counter[tuple[object, ...]] = Counter()
    for piece in (piece for pieces in ledger for piece in pieces):
        there[piece.stock, piece.kind, piece.cause] += piece.length_um
    laid: Counter[tuple[object, ...]] = Counter()
    for web in _webs(rolls):
        laid[web.stock, web.kind, web.cause] += web.length_um
    return [
        f"ledger: rolls hold {laid[key]} µm of {' '.join(map(str, key))}, the web {there[key]} µm"
        for key in laid
        if laid[key] > there[key] or key[0] not in store.by_stock
    ]


def _webs(rolls: RollLedger) -> Iterator[Piece]:
    return (piece.web for pieces in rolls.values() for piece in pieces if piece.web is not None)
