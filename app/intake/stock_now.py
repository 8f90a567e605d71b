"""What is in the store now, from a stock list beside a plant file, in place of what that says of it."""

from __future__ import annotations

from pathlib import Path

from app.contracts.base import ZERO, plain_number
from app.contracts.known_names import unknown
from app.contracts.plant import Plant, StockedWidth, Substrate
from app.intake.at_start import Beginning
from app.intake.findings import Findings
from app.intake.mapping_file import NO_MAPPING, TableMapping
from app.intake.stock_rows import OF_SUBSTRATE, StockRows, read_stock_rows


def with_stock_now(
    plant: Plant,
    path: Path,
    beginning: Beginning,
    findings: Findings,
    mapping: TableMapping = NO_MAPPING,
) -> Plant:
    """The plant with the stock of a list; as it was where the list has faults.

    The list is whole: a width of the plant that it does not name is used up, unless the plant does not
    follow its amount. It may bring widths that the plant does not have, but no stocks. What it says of a
    stock itself is the plant file's to say.
    """
    faults_before = len(findings.faults)
    rows = read_stock_rows(path, findings, mapping, beginning.on(plant))
    if rows is None:
        return plant
    _check_codes(rows, plant)
    by_code = {code: rows.widths(records) for code, records in rows.by_code.items()}
    if len(findings.faults) > faults_before:
        return plant
    _note_columns(rows, findings)
    substrates = tuple(
        _with_widths(substrate, by_code.get(substrate.code, ()), rows.file, findings)
        for substrate in plant.substrates
    )
    return plant.model_copy(update={"substrates": substrates})


def _check_codes(rows: StockRows, plant: Plant) -> None:
    known = {substrate.code for substrate in plant.substrates}
    for record in rows.records:
        if record.values["code"] not in known:
            rows.fault(record, "code", unknown("substrate", record.values["code"], known))


def _note_columns(rows: StockRows, findings: Findings) -> None:
    said = [column for column in OF_SUBSTRATE if any(column in record.values for record in rows.records)]
    if said:
        findings.note(f"{rows.file}: {', '.join(said)} of a stock are as the plant file says.")


def _with_widths(
    substrate: Substrate, listed: tuple[StockedWidth, ...], file: str, findings: Findings
) -> Substrate:
    by_width = {stocked.width_mm: stocked for stocked in listed}
    own = {stocked.width_mm: stocked for stocked in substrate.widths}
    gone = [
        stocked for stocked in substrate.widths if stocked.width_mm not in by_width and _is_there(stocked)
    ]
    if gone:
        widths = ", ".join(f"{plain_number(stocked.width_mm)} mm" for stocked in gone)
        findings.note(f"{file}: has no row of {substrate.code} in {widths}: nothing of it is there.")
    by_width |= {
        stocked.width_mm: stocked.model_copy(update={"on_hand_m": ZERO, "deliveries": (), "rolls": ()})
        for stocked in gone
    }
    return substrate.model_copy(update={"widths": tuple((own | by_width).values())})


def _is_there(stocked: StockedWidth) -> bool:
    """Whether a plant file says that there is some of it, or will be."""
    return bool(stocked.on_hand_m or stocked.deliveries or stocked.rolls)
