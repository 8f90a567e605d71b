"""The web ledger by roll: what every metre of every roll that was taken became."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from solver.ledger import web_ledger
from solver.problem import Problem
from solver.roll_choice import RestKind, RollChoice, Use
from solver.roll_plan import RollPlan
from solver.rolls import Roll
from solver.sequence import Piece
from solver.web_stretches import by_stock


class RollPart(StrEnum):
    """What a part of a roll became."""

    WEB = "web"
    CUT_OUT = "cut out"
    CORE_TAIL = "core tail"
    SCRAP = "scrap"
    STUB = "stub"


@dataclass(frozen=True, slots=True)
class RollPiece:
    """A part of a roll, `[from_um, to_um)` from the first metre that unwinds.

    Parameters
    ----------
    part
        Web that ran on a line; cut out with a defect; lost at the core; a rest too short to be kept; a
        rest that is back in the store.
    width_um
        How wide it is: of a roll that was slit, as wide as it was slit to.
    web
        Where it ran and what it was there; None where it did not run.
    slit_from_um
        How wide the roll was, if it was slit.
    """

    roll: str
    from_um: int
    to_um: int
    part: RollPart
    width_um: int
    web: Piece | None = None
    slit_from_um: int | None = None

    @property
    def length_um(self) -> int:
        return self.to_um - self.from_um

    @property
    def trim_um2(self) -> int:
        """Area of the strip that was cut off along it: waste that is no metre of any web."""
        return 0 if self.slit_from_um is None else (self.slit_from_um - self.width_um) * self.length_um


def roll_ledger(problem: Problem, plan: RollPlan) -> dict[str, tuple[RollPiece, ...]]:
    """By roll: all of it in order, of every roll that was taken. Lengths add up to the roll's.

    Raises
    ------
    ValueError
        Where the plan has not settled: then its rolls are not those of its web.
    """
    if not plan.settled:
        raise ValueError("roll ends and the hours they fall in never agreed")
    lengths_um = {roll.id: roll.length_um for _, _, roll in problem.plant.rolls}
    pieces: dict[str, list[RollPiece]] = {}
    ledger = web_ledger(problem, plan.sequence)
    for line_idx, line_pieces in enumerate(ledger):
        for (_, each), web in zip(plan.on_line(line_idx), by_stock(line_pieces), strict=True):
            if isinstance(each.choice, RollChoice):
                for piece in _laid(each.choice, each.stretch.stock.width_um, web):
                    pieces.setdefault(piece.roll, []).append(piece)
    return {roll: tuple(_whole(roll, own, lengths_um[roll])) for roll, own in sorted(pieces.items())}


def _laid(choice: RollChoice, width_um: int, web: Sequence[Piece]) -> Iterator[RollPiece]:
    """A stretch's web on the rolls chosen for it, and what of them did not run."""
    slit_from_um = {use.roll: use.slit_from_um for use in choice.uses}
    for piece in _parts(choice, width_um, web):
        yield replace(piece, slit_from_um=slit_from_um[piece.roll])


def _parts(choice: RollChoice, width_um: int, web: Sequence[Piece]) -> Iterator[RollPiece]:
    left = list(web)
    for use in choice.uses:
        yield from _of_use(use, width_um, left)
    for cut_out in choice.cut_outs:
        yield RollPiece(cut_out.roll, cut_out.from_um, cut_out.to_um, RollPart.CUT_OUT, width_um)
    for rest in choice.rests:
        yield RollPiece(rest.roll, rest.from_um, rest.to_um, _PARTS[rest.kind], width_um)


_PARTS = {
    RestKind.RUN_OUT: RollPart.CORE_TAIL,
    RestKind.SCRAP: RollPart.SCRAP,
    RestKind.STUB: RollPart.STUB,
}


def _of_use(use: Use, width_um: int, left: list[Piece]) -> Iterator[RollPiece]:
    """Take a use's length off the web that is left."""
    at_um = use.from_um
    while at_um < use.to_um:
        piece = left.pop(0)
        length_um = min(piece.length_um, use.to_um - at_um)
        cut_um = piece.from_um + length_um
        ran = replace(piece, to_um=cut_um)
        yield RollPiece(use.roll, at_um, at_um + length_um, RollPart.WEB, width_um, ran)
        if cut_um < piece.to_um:
            left.insert(0, replace(piece, from_um=cut_um))
        at_um += length_um


def _whole(roll: str, pieces: list[RollPiece], length_um: int) -> Iterator[RollPiece]:
    """A roll's pieces in order. A stub that another stretch took up again is no stub any more."""
    ordered = sorted(pieces, key=lambda piece: (piece.from_um, piece.to_um))
    later_um = max((piece.from_um for piece in ordered if piece.part is not RollPart.STUB), default=0)
    at_um = 0
    for piece in ordered:
        if piece.part is RollPart.STUB and piece.from_um <= later_um:
            continue
        if piece.length_um == 0:
            continue
        if piece.from_um != at_um:
            raise ValueError(f"roll {roll} has nothing from {at_um} to {piece.from_um} µm")
        yield piece
        at_um = piece.to_um
    if at_um != length_um:
        raise ValueError(f"roll {roll} is {length_um} µm long, its pieces {at_um} µm")


def unopened(problem: Problem, plan: RollPlan) -> tuple[Roll, ...]:
    """The rolls that nothing was taken of."""
    return tuple(roll for _, _, roll in problem.plant.rolls if roll.id not in plan.opened)
