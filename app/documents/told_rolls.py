"""A roll of the pick list in short words."""

from __future__ import annotations

from dataclasses import dataclass

from app.contracts.run_sheets import RollPick, RollRest
from app.documents.figures import tenths


@dataclass(frozen=True, slots=True)
class ToldRoll:
    """A roll, where it lies, what of it runs for what, and what becomes of the rest."""

    pick: RollPick
    where: str
    parts: tuple[str, ...]
    flaws: tuple[str, ...]
    rest: str


def told_roll(pick: RollPick) -> ToldRoll:
    """A roll in words."""
    flaws = [f"cut out {tenths(cut.from_m)}–{tenths(cut.to_m)} m" for cut in pick.cut_out]
    flaws += [f"flagged splice at {tenths(at_m)} m runs through" for at_m in pick.splices_left_in_m]
    return ToldRoll(
        pick=pick,
        where=pick.where,
        parts=tuple(f"{tenths(part.from_m)}–{tenths(part.to_m)} m" for part in pick.parts),
        flaws=tuple(flaws),
        rest=_rest(pick),
    )


def _rest(pick: RollPick) -> str:
    length = f"{tenths(pick.rest_m)} m"
    match pick.rest:
        case RollRest.NOTHING:
            return "nothing is left"
        case RollRest.CORE:
            return f"{length} core tail"
        case RollRest.STORE:
            return f"{length} to the store"
        case RollRest.SCRAP:
            return f"{length} scrap"
