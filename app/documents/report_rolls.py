"""A line's rolls as table rows: what lies where on its web, and what becomes of the rest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from app.contracts.roll_use import RollPart, UsedRoll
from app.contracts.sequences import Sequence
from app.documents.figures import tenths
from app.drawings.web_strip import WebRoll


@dataclass(frozen=True, slots=True)
class LaidRoll:
    """A part of a roll on a line's web.

    Parameters
    ----------
    behind
        What becomes of the roll's web up to its next use: nothing is said of a roll that is used up.
    """

    roll: str
    stock: str
    location: str
    from_m: Decimal
    to_m: Decimal
    roll_from_m: Decimal
    roll_to_m: Decimal
    behind: str

    @property
    def on_web(self) -> WebRoll:
        return WebRoll(self.roll, self.from_m, self.to_m)


def laid_rolls(sequence: Sequence, line: str) -> tuple[LaidRoll, ...]:
    """The rolls of a line's web, in its order; none where rolls are not chosen."""
    laid = (each for roll in sequence.rolls or () for each in _laid(roll, line))
    return tuple(sorted(laid, key=lambda each: each.from_m))


def _laid(roll: UsedRoll, line: str) -> Iterator[LaidRoll]:
    slit = "" if roll.slit_to_mm is None else f", slit from {roll.width_mm:f} mm"
    for place, part in enumerate(roll.parts):
        if part.line == line and part.web_from_m is not None and part.web_to_m is not None:
            yield LaidRoll(
                roll=roll.roll,
                stock=f"{roll.substrate} {roll.mounted_mm:f} mm{slit}",
                location=roll.location,
                from_m=part.web_from_m,
                to_m=part.web_to_m,
                roll_from_m=part.from_m,
                roll_to_m=part.to_m,
                behind=", then ".join(_behind(roll.parts[place + 1 :])),
            )


def _behind(parts: tuple[RollPart, ...]) -> Iterator[str]:
    """What follows on the roll until it is used again."""
    for part in parts:
        if part.line is not None:
            yield f"used on {part.line}"
            return
        yield f"{tenths(part.length_m)} m {part.part}"
