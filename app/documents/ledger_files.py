"""The web ledger as files: all of it as JSON, one row a piece as CSV."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from app.contracts.roll_use import RollPart, UsedRoll
from app.contracts.web_ledger import RolledPiece, WebLedger
from app.documents.contract_file import write_contract
from app.documents.figures import plain

STEM = "ledger"
HEADING = (
    "line",
    "run",
    "job",
    "version",
    "kind",
    "cause",
    "substrate",
    "width_mm",
    "from_m",
    "to_m",
    "length_m",
    "roll",
    "roll_from_m",
    "roll_to_m",
    "labels",
    "lanes",
    "first_reel",
    "last_reel",
)
"""Metres count from the line's first in the plan, those of a roll from its first to unwind. A row without a
line is a part of a roll that did not run, so that the rows of a roll add up to its length.
"""


def write_ledger(ledger: WebLedger, folder: Path) -> tuple[Path, Path]:
    """Write both files into a folder, which is made if need be; they replace older ones.

    Raises
    ------
    OSError
        Where the folder cannot be written.
    """
    json_path, csv_path = folder / f"{STEM}.json", folder / f"{STEM}.csv"
    write_contract(ledger, json_path)
    with csv_path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([HEADING, *_rows(ledger)])
    return json_path, csv_path


def _rows(ledger: WebLedger) -> Iterator[tuple[object, ...]]:
    """Web line by line, then roll by roll what did not run."""
    for piece in ledger.pieces:
        yield _piece_cells(piece)
    for roll in ledger.rolls:
        for part in roll.parts:
            if part.line is None:
                yield _part_cells(roll, part)


def _piece_cells(piece: RolledPiece) -> tuple[object, ...]:
    return (
        piece.line,
        piece.run,
        piece.job,
        piece.version or "",
        piece.kind,
        piece.cause,
        piece.substrate,
        plain(piece.width_mm),
        plain(piece.from_m),
        plain(piece.to_m),
        plain(piece.length_m),
        piece.roll or "",
        plain(piece.roll_from_m),
        plain(piece.roll_to_m),
        piece.labels,
        piece.lanes or "",
        piece.first_reel or "",
        piece.last_reel or "",
    )


def _part_cells(roll: UsedRoll, part: RollPart) -> tuple[object, ...]:
    ahead = ("", "", "", "", part.part, "roll", roll.substrate, plain(roll.mounted_mm), "", "")
    on_roll = (plain(part.length_m), roll.roll, plain(part.from_m), plain(part.to_m))
    return (*ahead, *on_roll, 0, "", "", "")
