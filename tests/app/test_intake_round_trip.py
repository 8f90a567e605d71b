"""Whatever jobs there are, a table of them is read back as those jobs, from CSV and from XLSX."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, time
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from app.contracts.jobs import Job, SpliceRule
from app.intake.findings import Findings
from app.intake.jobs_file import COLUMNS, read_jobs
from app.intake.plant_file import read_plant
from tests.app.queues import SAMPLE
from tests.app.workbooks import CellValue, write_workbook
from tests.examples import examples

PLANT = read_plant(SAMPLE / "plant.json", Findings())
NAMES = st.text(
    st.characters(categories=["L", "N", "P", "S", "Zs"], exclude_characters="_"), max_size=20
).map(str.strip)
CODES = NAMES.filter(bool)
MOMENTS = st.datetimes(datetime(2027, 1, 1), datetime(2027, 12, 31)).map(lambda at: at.replace(microsecond=0))
AMOUNTS = st.decimals(1, 900, places=2)
FINISHES = {
    "": [],
    "inkjet;varnish:varnish-gloss": [["inkjet"], ["varnish:varnish-gloss"]],
    "white:white-opaque;inkjet+spot:warm-red": [["white:white-opaque"], ["inkjet", "spot:warm-red"]],
}


def layers(groups: Sequence[Sequence[str]]) -> list[list[dict[str, str]]]:
    return [
        [dict(zip(("kind", "consumable"), layer.split(":"), strict=False)) for layer in group]
        for group in groups
    ]


@st.composite
def job_values(draw: st.DrawFn) -> dict[str, Any]:
    """The columns of a job apart from those of its versions."""
    finishes = draw(st.sampled_from(sorted(FINISHES)))
    ready, due = sorted([draw(MOMENTS), draw(MOMENTS)])
    return {
        "customer": draw(NAMES),
        "substrate": draw(st.sampled_from(["PAPER-80", "PP-W60"])),
        "die": draw(st.sampled_from(["D-101", "D-102"])),
        "colours": "CMYK" if finishes else "",
        "finishes": finishes,
        "due": draw(st.sampled_from([due, None])),
        "ready": draw(st.sampled_from([ready, None])),
        "full_reels": draw(st.booleans()),
        "labels_per_reel": draw(st.integers(1, 10**6)),
        "core_mm": draw(st.none() | AMOUNTS),
        "late_eur": draw(st.none() | AMOUNTS),
        "splice_rule": draw(st.sampled_from(SpliceRule)),
        "most_splices_a_reel": draw(st.sampled_from([0, None])),
        "largest_reel_mm": draw(st.none() | st.decimals(901, 1200, places=2)),
    }


VERSION_VALUES = st.fixed_dictionaries(
    {"quantity": st.integers(1, 10**8), "overs_pct": st.none() | st.decimals(1, 20, places=2)}
)
JOBS = st.dictionaries(
    CODES,
    st.tuples(job_values(), st.dictionaries(CODES, VERSION_VALUES, min_size=1, max_size=3)),
    min_size=1,
    max_size=3,
)
Drawn = Mapping[str, tuple[dict[str, Any], Mapping[str, dict[str, Any]]]]


def expected(drawn: Drawn) -> tuple[Job, ...]:
    return tuple(
        Job.model_validate(
            values
            | {
                "job": job,
                "colours": sorted(values["colours"]),
                "finishes": layers(FINISHES[values["finishes"]]),
                "versions": [{"version": name, **version} for name, version in versions.items()],
            }
        )
        for job, (values, versions) in drawn.items()
    )


def table(drawn: Drawn, columns: Sequence[str]) -> list[list[Any]]:
    rows = [
        {"job": job, "version": name, **values, **version}
        for job, (values, versions) in drawn.items()
        for name, version in versions.items()
    ]
    return [[row.get(column) for column in columns] for row in rows]


COLUMNS_USED = [
    column for column in COLUMNS.known if column not in ("max_quantity", "roll_width_mm", "late_eur_per_h")
]
HEADINGS = {
    "quantity": "Qty",
    "due": "Due Date",
    "colours": "Colors",
    "substrate": " STOCK",
    "die": "die no.",
}


def read(path: Path) -> tuple[tuple[Job, ...], list[str]]:
    findings = Findings()
    jobs = read_jobs(path, PLANT, findings)
    return jobs, [str(fault) for fault in findings.faults]


def csv_cell(value: Any, delimiter: str) -> str:
    match value:
        case None:
            text = ""
        case bool():
            text = "yes" if value else "no"
        case Decimal():
            text = str(value).replace(".", "," if delimiter == ";" else ".")
        case datetime():
            text = value.isoformat(" ")
        case _:
            text = str(value)
    return '"' + text.replace('"', '""') + '"'


@examples(80)
@given(
    JOBS,
    st.permutations(COLUMNS_USED),
    st.sampled_from(",;\t"),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    st.sampled_from(["\n", "\r\n", "\n\n"]),
    st.booleans(),
)
def test_jobs_come_back_from_csv(
    drawn: Drawn, columns: list[str], delimiter: str, encoding: str, line_end: str, spelled: bool
) -> None:
    heading = [HEADINGS.get(column, column) if spelled else column for column in columns]
    lines = [heading, *table(drawn, columns)]
    text = line_end.join(delimiter.join(csv_cell(cell, delimiter) for cell in line) for line in lines)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "jobs.csv"
        path.write_bytes(text.encode(encoding))
        assert read(path) == (expected(drawn), [])


def workbook_cell(value: Any) -> CellValue:
    match value:
        case None:
            return ""
        case Decimal():
            return float(value)
        case datetime() if value.time() == time():
            return value.isoformat()
        case str() | bool() | int() | datetime():
            return value
        case _:
            raise TypeError(value)


@examples(50)
@given(JOBS, st.permutations(COLUMNS_USED))
def test_jobs_come_back_from_a_workbook(drawn: Drawn, columns: list[str]) -> None:
    rows = [[workbook_cell(cell) for cell in row] for row in table(drawn, columns)]
    with TemporaryDirectory() as folder:
        path = Path(folder) / "jobs.xlsx"
        write_workbook(path, [columns, *rows])
        assert read(path) == (expected(drawn), [])
