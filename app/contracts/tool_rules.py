"""What dies and cylinders must not say: repeats given twice or not at all, liners out of order."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from app.contracts.contradiction import Contradiction
from app.contracts.plant import Cylinder, Die

_TWICE = "should not be given beside repeat_mm"
_PITCH = "must be given beside teeth, such as 1/8 in"


def cylinder_contradictions(cylinder: Cylinder) -> Iterator[Contradiction]:
    """What in a cylinder contradicts something else in it."""
    if cylinder.repeat_mm is not None and cylinder.teeth is not None:
        yield Contradiction("teeth", str(cylinder.teeth), _TWICE)
    elif cylinder.repeat_mm is None and cylinder.teeth is None:
        yield Contradiction("repeat_mm", None, "must be given, or teeth with their pitch")
    elif cylinder.teeth is not None and cylinder.pitch is None:
        yield Contradiction("pitch", None, _PITCH)


def die_contradictions(die: Die) -> Iterator[Contradiction]:
    """What in a die contradicts something else in it."""
    if die.repeat_mm is not None and die.teeth is not None:
        yield Contradiction("teeth", str(die.teeth), _TWICE)
    elif die.repeat_mm is None and die.teeth is None and die.cylinder is None:
        yield Contradiction("repeat_mm", None, "must be given, or teeth with their pitch, or a cylinder")
    elif die.teeth is not None and die.pitch is None and die.cylinder is None:
        yield Contradiction("pitch", None, _PITCH)
    if die.min_liner_um and die.max_liner_um and die.min_liner_um > die.max_liner_um:
        yield Contradiction("max_liner_um", str(die.max_liner_um), "should not be below min_liner_um")


def cylinders_of(die: Die, known: Collection[str]) -> Iterator[tuple[str, str]]:
    """Cylinders that a die names and that are not known, each with the field that names it."""
    for field in ("cylinder", "print_cylinder"):
        named = getattr(die, field)
        if named is not None and named not in known:
            yield field, named
