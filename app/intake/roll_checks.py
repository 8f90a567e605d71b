"""Are rolls what they can be: flaws inside them, in date, on an unwind where they can be?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from app.contracts.base import plain_number
from app.contracts.known_names import unknown
from app.contracts.plant import Flaw, FlawKind, Plant, Roll, StockedWidth
from app.errors import Fault
from app.intake.at_start import AtStart
from app.intake.findings import Findings
from app.intake.numbers import unmistakable


@dataclass(frozen=True, slots=True)
class RollFault:
    """What is wrong with a roll: the field of the contract, the place among its flaws if it is one, what was
    found there, and what would be right.
    """

    field: str
    value: str | None
    right: str
    flaw: int | None = None

    @property
    def place(self) -> str:
        """The field, and which of the flaws."""
        return self.field if self.flaw is None else f"{self.field}[{self.flaw}]"


def flaw_faults(roll: Roll) -> Iterator[RollFault]:
    """Flaws without an extent, beyond the end, or over each other."""
    behind: Flaw | None = None
    for idx, flaw in enumerate(roll.flaws):
        right = _extent_wrong(flaw, roll.length_m) or _order_wrong(flaw, behind)
        if right is not None:
            yield RollFault("flaws", flaw_text(flaw), right, idx)
        if behind is None or flaw.end_m > behind.end_m:
            behind = flaw


def start_faults(roll: Roll, code: str, width_mm: Decimal, at_start: AtStart) -> Iterator[RollFault]:
    """What cannot be as a plan begins: out of date, on an unwind before it is there or of another stock."""
    if roll.best_before is not None and at_start.has_come(roll.best_before):
        begins = "" if at_start.begins is None else f", {at_start.begins.isoformat(timespec='minutes')}"
        right = f"should lie after the plan's start{begins}: a roll that is out of date is no stock"
        yield RollFault("best_before", roll.best_before.isoformat(), right)
    if roll.on_unwind is None:
        return
    if roll.on_unwind not in at_start.threaded:
        right = unknown("line", roll.on_unwind, at_start.threaded)
        yield RollFault("on_unwind", roll.on_unwind, right)
        return
    if roll.arrives is not None and at_start.is_to_come(roll.arrives):
        right = "should be empty for a roll on an unwind: it is there already"
        yield RollFault("arrives", roll.arrives.isoformat(), right)
    threaded = at_start.threaded[roll.on_unwind]
    if threaded is not None and threaded != (code, width_mm):
        stock = _stock_text(*threaded)
        right = (
            f"should be a roll of {stock}, which the line has threaded, not of {_stock_text(code, width_mm)}"
        )
        yield RollFault("on_unwind", roll.on_unwind, right)


def flaw_text(flaw: Flaw) -> str:
    """A flaw as a stock list has it: defect 120-135, splice 300."""
    to = "" if flaw.to_m is None else f"-{unmistakable(flaw.to_m)}"
    return f"{flaw.kind} {unmistakable(flaw.from_m)}{to}"


@dataclass
class Unwinds:
    """Which roll is on which line's unwind, and where that was said."""

    rolls: dict[str, str] = field(default_factory=dict)

    def second(self, line: str, said: str) -> str | None:
        """Note a roll on a line's unwind; where another one was said to be on it, if so."""
        first = self.rolls.setdefault(line, said)
        return None if first == said else first


def check_rolls(plant: Plant, file: str, findings: Findings) -> None:
    """Note what contradicts itself among the rolls of a plant, whenever a plan begins."""
    seen: set[str] = set()
    unwinds = Unwinds()
    lines = [line.id for line in plant.lines]
    for place, _, stocked in _by_roll(plant):
        if stocked.on_hand_m is not None:
            right = "should not be given beside rolls: it follows from them"
            findings.fault(file, right, field=f"{place}.on_hand_m", value=str(stocked.on_hand_m))
        for idx, roll in enumerate(stocked.rolls):
            at = f"{place}.rolls[{idx}]"
            if roll.id in seen:
                findings.fault(file, "should be there once in the plant", field=f"{at}.id", value=roll.id)
            seen.add(roll.id)
            _tell(flaw_faults(roll), at, file, findings)
            if roll.on_unwind is None:
                continue
            if roll.on_unwind not in lines:
                right = unknown("line", roll.on_unwind, lines)
                findings.fault(file, right, field=f"{at}.on_unwind", value=roll.on_unwind)
            first = unwinds.second(roll.on_unwind, f"roll {roll.id}")
            if first is not None:
                right = f"{first} is on it already"
                findings.fault(file, right, field=f"{at}.on_unwind", value=roll.on_unwind)


def check_rolls_at_start(at_start: AtStart, file: str, findings: Findings) -> None:
    """Note what cannot be of a plant's own rolls when a plan begins.

    Lines that there are not are told by `check_rolls`.
    """
    for place, code, stocked in _by_roll(at_start.plant):
        for idx, roll in enumerate(stocked.rolls):
            if roll.on_unwind is None or roll.on_unwind in at_start.threaded:
                faults = start_faults(roll, code, stocked.width_mm, at_start)
                _tell(faults, f"{place}.rolls[{idx}]", file, findings)


def note_stock_rules(plant: Plant, file: str, findings: Findings) -> None:
    """Say what rolls are taken to lose and cost, where a plant has rolls and does not say."""
    if "stock_rules" in plant.model_fields_set or not any(_by_roll(plant)):
        return
    rules = plant.stock_rules
    findings.note(
        f"{file}: stock_rules is not in the plant: rests of {plain_number(rules.least_stub_m)} m are kept, "
        f"{plain_number(rules.core_tail_m)} m are lost at a core, opening one costs {rules.open_eur:.2f} €, "
        f"taking a rest back {rules.stub_eur:.2f} €, "
        f"a day by which it is younger {rules.age_eur_per_day:.2f} €, and it may be slit where it is up to "
        f"{plain_number(rules.most_trim_mm)} mm too wide: figures of ours without a source."
    )


def _by_roll(plant: Plant) -> Iterator[tuple[str, str, StockedWidth]]:
    """Widths that are followed by roll, with their path and the code of their stock."""
    for substrate_idx, substrate in enumerate(plant.substrates):
        for width_idx, stocked in enumerate(substrate.widths):
            if stocked.rolls:
                yield f"substrates[{substrate_idx}].widths[{width_idx}]", substrate.code, stocked


def _tell(faults: Iterator[RollFault], at: str, file: str, findings: Findings) -> None:
    for fault in faults:
        findings.faults.append(Fault(fault.right, file=file, field=f"{at}.{fault.place}", value=fault.value))


def _extent_wrong(flaw: Flaw, length_m: Decimal) -> str | None:
    whole = f"the roll's {plain_number(length_m)} m"
    if flaw.kind is FlawKind.SPLICE:
        if flaw.to_m not in (None, flaw.from_m):
            return "a splice lies at one metre, not over several"
        return None if 0 < flaw.from_m < length_m else f"should lie inside {whole}"
    if flaw.to_m is None or flaw.to_m <= flaw.from_m:
        return "a defect should end behind where it begins"
    return None if flaw.to_m <= length_m else f"should end within {whole}"


def _order_wrong(flaw: Flaw, behind: Flaw | None) -> str | None:
    if behind is None or (flaw.from_m >= behind.end_m and flaw != behind):
        return None
    return f"should lie behind {flaw_text(behind)}, not over it"


def _stock_text(code: str, width_mm: Decimal | None) -> str:
    return code if width_mm is None else f"{code} in {plain_number(width_mm)} mm"


def in_unwinding_order(flaws: Sequence[Flaw]) -> tuple[Flaw, ...]:
    """Flaws as they come off a roll."""
    return tuple(sorted(flaws, key=lambda flaw: (flaw.from_m, flaw.end_m)))
