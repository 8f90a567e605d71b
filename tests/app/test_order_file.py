"""What a file with an order of runs may hold."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.contracts.orders import LabelRange, RunOrder
from app.errors import BadInput, Fault
from app.intake.queue import read_queue_and_order
from tests.app.queues import Files

IN_ORDER = "line,job\nH1,J-2104\nH1,J-2101\nH1,J-2103\nH1,J-2102\n"


def read(files: Files, text: str, name: str = "order.csv") -> RunOrder:
    path = files.folder / name
    path.write_text(text, encoding="utf-8")
    return read_queue_and_order(files.plant, files.jobs, path)[1]


def faults_of(files: Files, text: str, name: str = "order.csv") -> tuple[Fault, ...]:
    with pytest.raises(BadInput) as refused:
        read(files, text, name)
    return refused.value.faults


def test_runs_of_a_line_come_in_the_order_of_their_rows(files: Files) -> None:
    order = read(files, "line,job\nH1,J-2103\nP1,J-2104\nH1,J-2101\nH1,J-2102\n")
    assert [(line.line, [run.job for run in line.runs]) for line in order.lines] == [
        ("H1", ["J-2103", "J-2101", "J-2102"]),
        ("P1", ["J-2104"]),
    ]


def test_stations_may_be_named_and_a_row_without_a_line_leaves_its_job_out(files: Files) -> None:
    order = read(files, "line,job,stations\nH1,J-2101,inkjet; flexo-3 ;die\n,J-2102,\n,J-2103,\nH1,J-2104,\n")
    assert order.lines[0].runs[0].stations == ("inkjet", "flexo-3", "die")
    assert order.lines[0].runs[1].stations is None
    assert order.left_out == ("J-2102", "J-2103")


def test_json_needs_no_more_than_lines_runs_and_jobs(files: Files) -> None:
    value = {
        "lines": [{"line": "H1", "runs": [{"job": job} for job in ("J-2101", "J-2102", "J-2103", "J-2104")]}]
    }
    order = read(files, json.dumps(value), "order.json")
    assert [run.job for run in order.lines[0].runs] == ["J-2101", "J-2102", "J-2103", "J-2104"]


def test_a_row_may_be_a_lot_and_one_without_a_line_leaves_that_lot_out(files: Files) -> None:
    order = read(
        files,
        "line,job,first_label,last_label\nH1,J-2101,1,4000\nP1,J-2101,4001,9000\n,J-2101,9001,12000\n"
        "H1,J-2102,,\n,J-2103,,\n,J-2104,,\n",
    )
    (first, whole), (second,) = (line.runs for line in order.lines)
    assert [first.lot, second.lot, whole.lot] == [labels(1, 4000), labels(4001, 9000), None]
    assert order.left_out == ("J-2103", "J-2104")
    assert [(left.job, left.lot, left.row) for left in order.left_out_lots] == [
        ("J-2101", labels(9001, 12000), 4)
    ]


def labels(first: int, last: int) -> LabelRange:
    return LabelRange(first_label=first, last_label=last)


@pytest.mark.parametrize(
    ("rows", "row", "field", "value", "right"),
    [
        ("H1,J-2101,1,\n", 2, "last_label", None, "must be given where the other end of the lot is"),
        ("H1,J-2101,0,500\n", 2, "first_label", "0", "whole number above 0"),
        ("H1,J-2101,1,1.5\n", 2, "last_label", "1.5", "whole number above 0"),
        ("H1,J-2101,500,499\n", 2, "last_label", "499", "should be at least the first label, 500"),
        ("H1,J-2101,1,500\nH1,J-2101,,\n", 3, "job", "J-2101", "with first_label and last_label in each row"),
        ("H1,J-2101,,\nH1,J-2101,1,500\n", 3, "job", "J-2101", "with first_label and last_label in each row"),
    ],
)
def test_a_lot_that_is_wrong_is_refused(
    files: Files, rows: str, row: int, field: str, value: str | None, right: str
) -> None:
    (fault,) = faults_of(files, f"line,job,first_label,last_label\n{rows}")
    assert (fault.row, fault.field, fault.value) == (row, field, value)
    assert right in fault.right


@pytest.mark.parametrize(
    ("text", "row", "field", "value", "right"),
    [
        (IN_ORDER.replace("J-2101", "J-2011"), 3, "job", "J-2011", "nearest known one is “J-2101”"),
        (IN_ORDER.replace("H1,J-2101", "H2,J-2101"), 3, "line", "H2", "unknown line"),
        (IN_ORDER.replace("J-2101", "J-2104"), 3, "job", "J-2104", "once only"),
        (IN_ORDER.replace("J-2101", ""), 3, "job", None, "must not be empty"),
        (
            "line,job,stations\nH1,J-2101,inkjet;die\n",
            2,
            "stations",
            "inkjet;die",
            "each of inkjet, varnish, die",
        ),
        ("line,job,stations\nH1,J-2101,inkjet;flexo-8;die\n", 2, "stations", "flexo-8", "unknown station"),
        ("line,job,stations\nH1,J-2101,inkjet;;die\n", 2, "stations[1]", "", "without blanks"),
        ("line;job\nH1;J-2011\n", 2, "job", "J-2011", "nearest known one is “J-2101”"),
        ("job\nJ-2101\n", 1, "line", None, "this column must be there"),
    ],
)
def test_a_row_that_is_wrong_is_refused(
    files: Files, text: str, row: int, field: str | None, value: str | None, right: str
) -> None:
    faults = faults_of(files, text)
    assert [(fault.row, fault.field, fault.value) for fault in faults] == [(row, field, value)]
    assert right in faults[0].right


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("{}", "must be given"),
        ('{"lines": [{"line": "H1"}]}', "must be given"),
        ('{"lines": [{"line": "H1", "runs": [{"job": 5}]}]}', "valid string"),
        ('{"lines": [{"line": "H1", "runs": [{"job": "J", "lot": {"first_label": 1}}]}]}', "must be given"),
        ("[", "is not JSON"),
    ],
)
def test_json_that_is_no_sequence_is_refused(files: Files, text: str, right: str) -> None:
    (fault,) = faults_of(files, text, "order.json")
    assert right in fault.right


def test_faults_of_all_three_files_are_told_together(files: Files, tmp_path: Path) -> None:
    files.plant.write_text("{", encoding="utf-8")
    files.jobs.write_text("job\n", encoding="utf-8")
    named = {fault.file for fault in faults_of(files, "line\n")}
    assert named == {str(files.plant), str(files.jobs), str(tmp_path / "order.csv")}
