"""Run sheets of a line as one page that needs nothing else, as a PDF of the same page, and as JSON.

The page holds no script and asks for nothing outside itself; every text of the plan is escaped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from pathlib import Path

from markupsafe import Markup

from app.contracts.run_sheets import LineRunSheets, NeededItem, RunSheet, SheetRun
from app.documents.contract_file import write_contract
from app.documents.figures import clock_on
from app.documents.page import environment, style_of
from app.documents.pdf import pdf_from_html
from app.documents.told_calls import CallGroup, call_groups, changes_of
from app.documents.told_rolls import ToldRoll, told_roll
from app.documents.told_settings import ToldTooling, told_tooling
from app.drawings.run_code import run_code_drawing

STEM = "run-sheet-"


@dataclass(frozen=True, slots=True)
class RunPart:
    """What the page says of one run."""

    run: SheetRun
    code: Markup
    tooling: ToldTooling
    calls: tuple[CallGroup, ...]


@dataclass(frozen=True, slots=True)
class SheetPart:
    """What the page says of one shift."""

    sheet: RunSheet
    rolls: tuple[ToldRoll, ...]
    on_unwind: ToldRoll | None
    rooms: tuple[tuple[str, tuple[tuple[NeededItem, ...], ...]], ...]
    runs: tuple[RunPart, ...]

    def clock(self, moment: datetime) -> str:
        """The time of day, and of which day where the shift is not all on that one."""
        begins, ends = self.sheet.shift.begins, self.sheet.shift.ends
        in_a_day = ends is not None and ends.date() == begins.date()
        return clock_on(begins.date() if in_a_day else None, moment)


def run_sheets_html(sheets: Sequence[RunSheet]) -> str:
    """The sheets of one line as one HTML page, each shift on a sheet of its own.

    Raises
    ------
    ValueError
        Where there are none, or of more than one line.
    """
    lines = {sheet.line for sheet in sheets}
    if len(lines) != 1:
        raise ValueError(f"a page holds the run sheets of one line, not of {len(lines)}")
    page = environment()
    page.filters |= {"changes": changes_of, "by_station": _by_station}
    return page.get_template("run_sheet.html.j2").render(
        style=Markup(style_of("run_sheet.css")), parts=[_sheet_part(sheet) for sheet in sheets]
    )


def write_run_sheets(sheets: Sequence[RunSheet], folder: Path) -> list[Path]:
    """Write the sheets line by line as HTML, PDF and JSON into a folder, made if need be; they replace older
    ones.

    Raises
    ------
    OSError
        Where the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    by_line = [(line, list(own)) for line, own in groupby(sheets, key=lambda sheet: sheet.line)]
    stems = file_stems([line for line, _ in by_line])
    written: list[Path] = []
    for (line, own), stem in zip(by_line, stems, strict=True):
        html = run_sheets_html(own)
        html_path, pdf_path, json_path = (folder / f"{stem}.{kind}" for kind in ("html", "pdf", "json"))
        html_path.write_text(html, encoding="utf-8", errors="replace")
        pdf_path.write_bytes(pdf_from_html(html))
        write_contract(LineRunSheets(line=line, sheets=tuple(own)), json_path)
        written += [html_path, pdf_path, json_path]
    return written


def file_stems(lines: Sequence[str]) -> list[str]:
    """Names for the files of lines: letters, digits, - and _ of theirs; numbered where two would be alike."""
    stems: list[str] = []
    for line in lines:
        plain = "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in line)
        stem, number = STEM + plain, 1
        while stem.casefold() in {taken.casefold() for taken in stems}:
            number += 1
            stem = f"{STEM}{plain}-{number}"
        stems.append(stem)
    return stems


def _sheet_part(sheet: RunSheet) -> SheetPart:
    needed = sheet.needed_by
    return SheetPart(
        sheet=sheet,
        rolls=tuple(told_roll(roll) for roll in sheet.rolls),
        on_unwind=None if sheet.on_unwind is None else told_roll(sheet.on_unwind),
        rooms=(
            ("Plate room", _together(needed.plate_room)),
            ("Die store", _together(needed.die_store)),
            ("Stock room", _together(needed.stock_room)),
        ),
        runs=tuple(
            RunPart(run, run_code_drawing(run.code), told_tooling(run), tuple(call_groups(run.calls)))
            for run in sheet.runs
        ),
    )


def _together(items: Sequence[NeededItem]) -> tuple[tuple[NeededItem, ...], ...]:
    """Items that are needed at the same time at one station, as one entry."""
    grouped = groupby(items, key=lambda item: (item.by, item.job, item.station, item.call))
    return tuple(tuple(group) for _, group in grouped)


def _by_station(items: Sequence[NeededItem]) -> list[list[NeededItem]]:
    """Items that go to one station together, in the order of the first of them."""
    grouped: dict[str, list[NeededItem]] = {}
    for item in items:
        grouped.setdefault(item.station, []).append(item)
    return list(grouped.values())
