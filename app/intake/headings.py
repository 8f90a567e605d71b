"""Which column of ours each heading of a file is."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from app.contracts.known_names import unknown
from app.intake.findings import Findings
from app.intake.lines import Line

Mapped = Mapping[str, str]
"""A shop's own heading by column of ours."""

NEAR_MISS = 0.82
"""From this likeness on an unknown heading is taken for a slip of the pen, not for another column."""


@dataclass(frozen=True)
class Columns:
    """Columns of a table: those that must be there, those that may, and how shops spell them."""

    required: tuple[str, ...]
    optional: tuple[str, ...] = ()
    spellings: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def known(self) -> tuple[str, ...]:
        return self.required + self.optional


def plain(heading: str) -> str:
    """A heading without what people vary: case, blanks, underscores, points, brackets, dashes."""
    return "".join(character for character in heading.casefold() if character not in " \t\n_-.()[]:#")


def column_by_plain_heading(columns: Columns, mapped: Mapped) -> dict[str, str]:
    """Every spelling that is understood; a mapped heading stands before, and in place of, the usual ones."""
    found: dict[str, str] = {plain(heading): column for column, heading in mapped.items()}
    for column in columns.known:
        if column not in mapped:
            found.setdefault(plain(column), column)
    for column in columns.known:
        if column not in mapped:
            for spelling in columns.spellings.get(column, ()):
                found.setdefault(plain(spelling), column)
    return found


def match_headings(
    heading: Line, columns: Columns, mapped: Mapped, file: str, findings: Findings
) -> tuple[str | None, ...] | None:
    """The column of each cell of a heading, None where it is none of ours; or None with faults."""
    matching = _Matching(heading, columns, mapped, file, findings)
    return matching.columns_of_cells()


@dataclass(frozen=True)
class _Matching:
    heading: Line
    columns: Columns
    mapped: Mapped
    file: str
    findings: Findings

    def columns_of_cells(self) -> tuple[str | None, ...] | None:
        by_heading = column_by_plain_heading(self.columns, self.mapped)
        found = tuple(by_heading.get(plain(cell)) for cell in self.heading.cells)
        faults_before = len(self.findings.faults)
        self._check_once(found)
        missed = self._check_unknown(found)
        self._check_required(found, missed)
        return found if len(self.findings.faults) == faults_before else None

    def _check_once(self, found: Sequence[str | None]) -> None:
        first: dict[str, str] = {}
        for cell, column in zip(self.heading.cells, found, strict=True):
            if column is None:
                continue
            if column in first:
                right = (
                    f"should be there once only: both “{first[column]}” and “{cell}” head it; "
                    "take one out or name the right one in a mapping file"
                )
                self.findings.fault(self.file, right, row=self.heading.number, field=column)
            first.setdefault(column, cell)

    def _check_unknown(self, found: Sequence[str | None]) -> set[str]:
        """Refuse slips of the pen, note other unknown headings; the columns that were meant."""
        absent = [column for column in self.columns.known if column not in found]
        meant: set[str] = set()
        for cell, column in zip(self.heading.cells, found, strict=True):
            if column is not None or not cell:
                continue
            near = difflib.get_close_matches(plain(cell), map(plain, absent), n=1, cutoff=NEAR_MISS)
            if near:
                meant |= {column for column in absent if plain(column) == near[0]}
                right = unknown("column", cell, absent)
                self.findings.fault(self.file, right, row=self.heading.number, value=cell)
            else:
                self.findings.note(f"{self.file}: the column “{cell}” is not known and not read.")
        return meant

    def _check_required(self, found: Sequence[str | None], meant: set[str]) -> None:
        for column in self.columns.required:
            if column not in found and column not in meant:
                said = f" (the mapping file says “{self.mapped[column]}”)" if column in self.mapped else ""
                right = f"this column must be there{said}"
                self.findings.fault(self.file, right, row=self.heading.number, field=column)
        for column in self.columns.optional:
            if column in self.mapped and column not in found:
                named = f"“{self.mapped[column]}”, which the mapping file names for {column}"
                self.findings.note(f"{self.file}: has no column {named}.")
