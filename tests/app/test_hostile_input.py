"""Whatever is in the files, it is either taken or refused: no other error ever comes out."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts.sequences import Goal
from app.errors import BadInput, NothingCanRun
from app.intake.queue import read_queue
from app.services import planning
from app.translation.solving import Question
from tests.app.queues import SAMPLE, sample_files, sample_plant, sample_rows
from tests.app.workbooks import (
    SHEET_PART,
    STRINGS_PART,
    parts_of,
    replace_parts,
    write_raw_workbook,
    write_workbook,
)
from tests.examples import examples

START = datetime(2027, 3, 1, 6)
ODD_VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([0, 1, -1, 1e-6, 1e9, 24, "", "+", "inkjet", "24:00", "2027-03-01T06:00", [], {}]),
    st.text(max_size=12),
)
ODD_CELLS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["0", "1", "-1", "1e9", "999999999", "CMYK", "inkjet", "a:b+c:d", "=1+1", '"', "\x00", ";"]
    ),
)


def places(value: Any, way: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place inside a JSON value."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in inside:
        yield (*way, key)
        yield from places(part, (*way, key))


PLACES = list(places(sample_plant()))
COLUMNS = list(sample_rows()[0])


def plan_or_refuse(folder: Path) -> None:
    """Plan what a folder holds as the command line would."""
    try:
        queue = read_queue(folder / "plant.json", folder / "jobs.csv")
        question = Question(queue.plant, queue.jobs, START)
        planning.check(question)
        planning.plan(question, Goal.BALANCED, work=2)
    except (BadInput, NothingCanRun):
        return


@examples(150)
@given(st.lists(st.tuples(st.sampled_from(PLACES), ODD_VALUES), min_size=1, max_size=2))
def test_a_plant_with_odd_values_is_planned_or_refused(
    changes: list[tuple[tuple[str | int, ...], Any]],
) -> None:
    plant: Any = sample_plant()
    for way, new in changes:
        inside = plant
        try:
            for part in way[:-1]:
                inside = inside[part]
            inside[way[-1]] = new
        except (KeyError, IndexError, TypeError):
            continue
    with TemporaryDirectory() as folder:
        sample_files(Path(folder)).write_plant(plant)
        plan_or_refuse(Path(folder))


@examples(150)
@given(st.lists(st.tuples(st.integers(0, 8), st.sampled_from(COLUMNS), ODD_CELLS), min_size=1, max_size=3))
def test_jobs_with_odd_cells_are_planned_or_refused(changes: list[tuple[int, str, str]]) -> None:
    rows = sample_rows()
    for row_idx, column, new in changes:
        rows[row_idx][column] = new
    with TemporaryDirectory() as folder:
        sample_files(Path(folder)).write_jobs(rows)
        plan_or_refuse(Path(folder))


@examples(100)
@given(st.binary(max_size=200), st.sampled_from(["plant.json", "jobs.csv"]), st.integers(0, 2000))
def test_files_with_odd_bytes_are_planned_or_refused(odd: bytes, name: str, at: int) -> None:
    with TemporaryDirectory() as folder:
        sample_files(Path(folder))
        path = Path(folder) / name
        content = path.read_bytes()
        path.write_bytes(content[:at] + odd + content[at + len(odd) :])
        plan_or_refuse(Path(folder))


def sample_workbook(path: Path) -> None:
    rows = sample_rows()
    write_workbook(path, [list(rows[0]), *(list(row.values()) for row in rows)])


def read_or_refuse(jobs: Path) -> None:
    try:
        queue = read_queue(SAMPLE / "plant.json", jobs)
    except BadInput:
        return
    assert queue.jobs


@examples(100)
@given(st.binary(max_size=60), st.integers(0, 10_000))
def test_workbooks_with_odd_bytes_are_read_or_refused(odd: bytes, at: int) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "jobs.xlsx"
        sample_workbook(path)
        content = path.read_bytes()
        at %= len(content)
        path.write_bytes(content[:at] + odd + content[at + len(odd) :])
        read_or_refuse(path)


ODD_XML = st.one_of(
    st.binary(max_size=12),
    st.sampled_from(
        [
            b"<c>",
            b"</c>",
            b"</row>",
            b'<row r="0">',
            b'<c r="A0"><v>1</v></c>',
            b'<c r="ZZ7"><v>1</v></c>',
            b'<c r="B3" t="e"><v>#N/A</v></c>',
            b'<c r="C3"><v>1e999</v></c>',
            b'<c r="C3"><v>nan</v></c>',
            b'<c r="C3" s="99"><v>-1</v></c>',
            b'<c r="H3" t="d"><v>2027-13-45</v></c>',
            b'<c r="C3" t="s"><v>99999</v></c>',
            b'<c r="C3" t="b"><v>7</v></c>',
            b'<mergeCells><mergeCell ref="B3:A1"/></mergeCells>',
            b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>',
            b"<!DOCTYPE a [<!ENTITY b 'c'>]>",
            b"&b;",
            b"<![CDATA[",
        ]
    ),
)


@examples(150)
@given(
    st.sampled_from([SHEET_PART, STRINGS_PART, "xl/workbook.xml", "xl/styles.xml"]), ODD_XML, st.floats(0, 1)
)
def test_workbooks_with_odd_xml_are_read_or_refused(part: str, odd: bytes, at: float) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "jobs.xlsx"
        sample_workbook(path)
        content = parts_of(path)[part]
        cut = content.find(b"<", int(at * len(content)))
        replace_parts(path, {part: content[:cut] + odd + content[cut:]})
        read_or_refuse(path)


HEADING = "job,version,quantity,substrate,die,colours,finishes,due,customer"
ONE_CELL = '<sheetData><row r="1"><c r="A1"><v>1</v></c></row></sheetData>'


MERGE = '<mergeCell ref="A1:B2"/>'


def text(content: Callable[[], str]) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.with_suffix(".csv").write_text(content(), encoding="utf-8")

    return write


def book(sheet: Callable[[], str], strings: Callable[[], str] = str) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        write_raw_workbook(path.with_suffix(".xlsx"), sheet(), strings())

    return write


def rows_of(count: int) -> str:
    return "".join(f'<row r="{idx}"><c r="A{idx}"><v>1</v></c></row>' for idx in range(1, count + 1))


def unknown_codes(count: int) -> str:
    rows = (f"J{idx},v,1,PAPER-{idx},D-{idx},C,spot:x-{idx},,\n" for idx in range(count))
    return f"{HEADING}\n{''.join(rows)}"


HOSTILE = {
    "a million rows": book(lambda: f"<sheetData>{rows_of(1_000_000)}</sheetData>"),
    "a million empty rows": book(lambda: f"<sheetData>{'<row/>' * 1_000_000}</sheetData>"),
    "cells without places": book(
        lambda: f"<sheetData><row>{'<c><v>1</v></c>' * 1_800_000}</row></sheetData>"
    ),
    "a cell in the far corner": book(lambda: '<sheetData><row><c r="XFD1048576"/></row></sheetData>'),
    "a zip bomb": book(lambda: " " * 100_000_000),
    "a million strings": book(lambda: ONE_CELL, lambda: "<si><t>a</t></si>" * 1_700_000),
    "a million merged cells": book(lambda: f"{ONE_CELL}<mergeCells>{MERGE * 1_000_000}</mergeCells>"),
    "nested quotes": text(lambda: '"' * 9_999_999),
    "quotes in quotes": text(lambda: f"{HEADING}\n" + '"a""' * 2_400_000),
    "nothing but commas": text(lambda: "," * 9_999_999),
    "nothing but line ends": text(lambda: "\n" * 9_999_999),
    "a file too large": text(lambda: "x" * 30_000_000),
    "wide characters": text(lambda: f"{HEADING}\n" + ("😀" * 200 + ",v,1,s,d,,,,\n") * 11_000),
    "faults without end": text(lambda: unknown_codes(49_990)),
}
MOST_SECONDS, MOST_MEGABYTES = 2, 200
READ = """
import re, sys, time
from pathlib import Path
from app.errors import BadInput
from app.intake.queue import read_queue
begun = time.process_time()
try:
    read_queue(Path(sys.argv[1]), Path(sys.argv[2]))
except BadInput as refused:
    faults = len(refused.faults)
seconds = time.process_time() - begun
most_kb = re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1]
print(faults, seconds, int(most_kb) / 1000)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the most memory a process ever had is read from /proc")
@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_file_is_refused_quickly_and_in_little_memory(tmp_path: Path, what: str) -> None:
    HOSTILE[what](tmp_path / "jobs")
    (jobs,) = tmp_path.iterdir()
    result = subprocess.run(
        [sys.executable, "-c", READ, str(SAMPLE / "plant.json"), str(jobs)],
        cwd=SAMPLE.parents[1],
        capture_output=True,
        text=True,
        check=True,
    )
    faults, seconds, megabytes = map(float, result.stdout.split())
    assert faults >= 1
    assert seconds < MOST_SECONDS
    assert megabytes < MOST_MEGABYTES
