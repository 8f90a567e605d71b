"""May a thing be stored as it was sent: does it contradict itself, does the plant have what it names?

Jobs are taken whatever they name, since an order may come before its die or its stock; readiness tells.
Stock and tools must fit what is stored already, so that a plant is always whole.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from dataclasses import field as made_by
from decimal import Decimal
from functools import cached_property

from app.contracts.base import Contract, plain_number
from app.contracts.contradiction import Contradiction
from app.contracts.job_rules import contradictions
from app.contracts.known_names import unknown
from app.contracts.plant import Plant, Roll
from app.contracts.posted_jobs import PostedJob
from app.contracts.stock_items import PostedDelivery, PostedRoll, PostedSubstrate
from app.contracts.tool_rules import cylinder_contradictions, cylinders_of, die_contradictions
from app.contracts.tooling_items import PostedConsumable, PostedCylinder, PostedDie
from app.intake.roll_checks import Unwinds, flaw_faults

Found = Iterator[Contradiction]


@dataclass
class ItemChecks:
    """What is wrong with items that are to be stored, one after another.

    Parameters
    ----------
    plant
        The plant as it is stored; None where only jobs are looked at, which need none. Items do not see each
        other but for rolls on one unwind.
    sent
        Ids of the rolls among the items: what is stored of them does not count.
    """

    plant: Plant | None
    sent: Collection[str] = ()
    _unwinds: Unwinds = made_by(default_factory=Unwinds)

    def __post_init__(self) -> None:
        for substrate in () if self.plant is None else self.plant.substrates:
            for stocked in substrate.widths:
                for roll in stocked.rolls:
                    if roll.on_unwind is not None and roll.id not in self.sent:
                        self._unwinds.second(roll.on_unwind, roll.id)

    def of(self, item: Contract) -> Found:
        """What is wrong with an item, by field."""
        match item:
            case PostedJob():
                yield from contradictions(item)
            case PostedSubstrate():
                yield from self._substrate(item)
            case PostedRoll():
                yield from self._roll(item)
            case PostedDelivery():
                yield from self._stock(item.substrate, item.width_mm)
            case PostedDie():
                yield from die_contradictions(item)
                for field, named in cylinders_of(item, self._cylinders):
                    yield Contradiction(field, named, unknown("cylinder", named, self._cylinders))
            case PostedCylinder():
                yield from cylinder_contradictions(item)
            case _:
                pass

    @property
    def _known(self) -> Plant:
        if self.plant is None:
            raise RuntimeError("the plant is needed for this")
        return self.plant

    @cached_property
    def _cylinders(self) -> frozenset[str]:
        return frozenset(cylinder.id for cylinder in self._known.cylinders)

    @cached_property
    def _lines(self) -> frozenset[str]:
        return frozenset(line.id for line in self._known.lines)

    @cached_property
    def _widths(self) -> dict[str, dict[Decimal, bool]]:
        """Widths by stock, and whether they are followed by roll."""
        return {
            substrate.code: {stocked.width_mm: bool(stocked.rolls) for stocked in substrate.widths}
            for substrate in self._known.substrates
        }

    def _substrate(self, substrate: PostedSubstrate) -> Found:
        stored = self._widths.get(substrate.code, {})
        seen: set[Decimal] = set()
        for idx, width in enumerate(substrate.widths):
            place = f"widths[{idx}]"
            if width.width_mm in seen:
                yield Contradiction(f"{place}.width_mm", str(width.width_mm), "should be there once only")
            seen.add(width.width_mm)
            if width.on_hand_m is not None and stored.get(width.width_mm):
                right = "should not be given where rolls are stored: it follows from them"
                yield Contradiction(f"{place}.on_hand_m", str(width.on_hand_m), right)
        gone = sorted(width_mm for width_mm, by_roll in stored.items() if by_roll and width_mm not in seen)
        for width_mm in gone:
            right = f"should still have {plain_number(width_mm)} mm: rolls of it are stored"
            yield Contradiction("widths", None, right)

    def _stock(self, code: str, width_mm: Decimal) -> Found:
        widths = self._widths.get(code)
        if widths is None:
            yield Contradiction("substrate", code, unknown("substrate", code, self._widths))
        elif width_mm not in widths:
            known = [f"{plain_number(width)} mm" for width in sorted(widths)]
            right = unknown(f"width of {code}", f"{plain_number(width_mm)} mm", known)
            yield Contradiction("width_mm", str(width_mm), right)

    def _roll(self, roll: PostedRoll) -> Found:
        yield from self._stock(roll.substrate, roll.width_mm)
        for fault in flaw_faults(roll_of(roll)):
            yield Contradiction(fault.place, fault.value, fault.right)
        if roll.on_unwind is None:
            return
        if roll.on_unwind not in self._lines:
            right = unknown("line", roll.on_unwind, self._lines)
            yield Contradiction("on_unwind", roll.on_unwind, right)
        first = self._unwinds.second(roll.on_unwind, roll.id)
        if first is not None:
            yield Contradiction("on_unwind", roll.on_unwind, f"roll {first} is on it already")


def roll_of(posted: PostedRoll) -> Roll:
    """The roll as a plant holds it, under its stock and width."""
    return Roll(**{name: getattr(posted, name) for name in Roll.model_fields})


def holders(plant: Plant, item: Contract) -> tuple[str, ...]:
    """What of the plant needs an item that is to be removed, in words; none: nothing does."""
    match item:
        case PostedSubstrate():
            return tuple(_needing_substrate(plant, item))
        case PostedCylinder():
            return tuple(_needing_cylinder(plant, item))
        case PostedConsumable():
            return tuple(_needing_consumable(plant, item))
        case PostedDie():
            return tuple(_loaded(plant, "die", item.id))
        case _:
            return ()


def _needing_substrate(plant: Plant, item: PostedSubstrate) -> Iterator[str]:
    for substrate in plant.substrates:
        if substrate.code != item.code:
            continue
        for stocked in substrate.widths:
            width = plain_number(stocked.width_mm)
            if stocked.rolls:
                yield f"{len(stocked.rolls)} rolls of {width} mm are stored"
            if stocked.deliveries:
                yield f"{len(stocked.deliveries)} deliveries of {width} mm are to come"
    for line in plant.lines:
        if line.present.substrate == item.code:
            yield f"line {line.id} has it threaded"


def _needing_cylinder(plant: Plant, item: PostedCylinder) -> Iterator[str]:
    for die in plant.dies:
        if item.id in (die.cylinder, die.print_cylinder):
            yield f"die {die.id} names it"
    yield from _loaded(plant, "cylinder", item.id)


def _needing_consumable(plant: Plant, item: PostedConsumable) -> Iterator[str]:
    for wash_up in plant.wash_ups:
        if item.id in (wash_up.before, wash_up.after):
            yield f"the wash-up {wash_up.before} → {wash_up.after} names it"
    yield from _loaded(plant, "consumable", item.id)


def _loaded(plant: Plant, field: str, value: str) -> Iterator[str]:
    for line in plant.lines:
        for station, tooling in line.present.loaded.items():
            if getattr(tooling, field) == value:
                yield f"it is loaded at {station} of line {line.id}"
