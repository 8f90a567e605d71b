"""Rolls of a stock list: the columns that say something of a row's roll, and how they are read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from pydantic import ValidationError

from app.contracts.faults import contract_faults
from app.contracts.plant import Flaw, FlawKind, Roll
from app.intake.at_start import AtStart
from app.intake.cell_error import CellError
from app.intake.cells import length_m
from app.intake.findings import Findings
from app.intake.lines import Separators
from app.intake.records import Record, record_fault
from app.intake.roll_checks import Unwinds, flaw_faults, in_unwinding_order, start_faults
from app.intake.spellings import FLAW_WORDS

OF_ROLL = ("received", "best_before", "location", "defects", "reserved_for", "on_unwind")
"""Columns that belong to a roll alone."""

_WITHOUT_A_ROLL = ("received", "location")
"""Those that a list of whole stocks may have too; nobody needs them there."""

_COLUMN = {
    "id": "roll",
    "length_m": "metres",
    "flaws": "defects",
    "arrives": "delivery_at",
}
"""Columns of the contract's fields, where they are called otherwise."""

_FLAW = re.compile(
    r"(?P<kind>[^\W\d]+)[ :]*(?P<first>[0-9][0-9.,' ]*?) ?m?"
    r"(?: ?(?:[-–—]|to) ?(?P<last>[0-9][0-9.,' ]*?) ?m?)?"
)
_RIGHT = "should list flaws parted by ; in metres from the outside end, such as defect 120-135; splice 300"


def flaws(text: str, separators: Separators) -> tuple[Flaw, ...]:
    """Flagged places of a roll in unwinding order, from `defect 120-135; splice 300`."""
    return in_unwinding_order([_flaw(part.strip(), separators) for part in text.split(";") if part.strip()])


def _flaw(text: str, separators: Separators) -> Flaw:
    found = _FLAW.fullmatch(text)
    kind = FLAW_WORDS.get(found["kind"].casefold()) if found else None
    if found is None or kind is None or (kind == FlawKind.DEFECT and found["last"] is None):
        raise CellError(_RIGHT)
    from_m = length_m(found["first"], separators)
    to_m = None if found["last"] is None else length_m(found["last"], separators)
    return Flaw(kind=FlawKind(kind), from_m=from_m, to_m=to_m)


def check_roll_columns(record: Record, file: str, findings: Findings) -> None:
    """What a row says of a roll needs the roll's name, and the roll its metres."""
    said = record.row.cells
    if not said.get("roll"):
        for column in OF_ROLL:
            if column not in _WITHOUT_A_ROLL and said.get(column):
                record_fault(findings, file, record, "roll", f"must be named where {column} is given")
                return
    elif "metres" not in said or not said["metres"]:
        record_fault(findings, file, record, "metres", "must not be empty")
    elif record.values.get("metres") == 0:
        record_fault(
            findings, file, record, "metres", "should be above 0: a roll that is used up is no stock"
        )


def rolls_of(
    records: Iterable[Record], at_start: AtStart | None, file: str, findings: Findings
) -> dict[int, Roll]:
    """The roll of every row that names one, by the row's number; with faults where one cannot be.

    Without a start nothing is said of dates and unwinds.
    """
    unwinds = Unwinds()
    rolls: dict[int, Roll] = {}
    for record in records:
        if "roll" not in record.values:
            continue
        roll = _roll(record, file, findings)
        if roll is None:
            continue
        rolls[record.row.number] = roll
        _check(record, roll, at_start, file, findings)
        first = None if roll.on_unwind is None else unwinds.second(roll.on_unwind, f"row {record.row.number}")
        if first is not None:
            right = f"should have one roll on it: {first} names this unwind already"
            record_fault(findings, file, record, "on_unwind", right)
    return rolls


def _check(record: Record, roll: Roll, at_start: AtStart | None, file: str, findings: Findings) -> None:
    for fault in flaw_faults(roll):
        findings.fault(file, fault.right, row=record.row.number, field="defects", value=fault.value)
    if at_start is not None:
        for fault in start_faults(roll, record.values["code"], record.values["width_mm"], at_start):
            record_fault(findings, file, record, _COLUMN.get(fault.field, fault.field), fault.right)


def _roll(record: Record, file: str, findings: Findings) -> Roll | None:
    try:
        return Roll.model_validate(dict(_fields(record.values)))
    except ValidationError as error:
        for fault in contract_faults(error, file, ()):
            field = re.split(r"[.\[]", fault.field or "")[0]
            record_fault(findings, file, record, _COLUMN.get(field, field), fault.right)
        return None


def _fields(values: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Fields of the contract that a row gives; a time of delivery without metres is the roll's own."""
    for column in OF_ROLL:
        if column in values:
            yield "flaws" if column == "defects" else column, values[column]
    yield "id", values["roll"]
    yield "length_m", values["metres"]
    if "delivery_at" in values and "delivery_m" not in values:
        yield "arrives", values["delivery_at"]
