"""What a file of locks may hold, and what a plan makes of it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from app.contracts.locks import LOCK_KINDS, FixedStartLock, StartedLock
from app.errors import BadInput, Fault
from app.intake.queue import Queue
from app.intake.sources import QueueSource, read_source
from tests.app.queues import Files

STARTED = {
    "lock": "started",
    "job": "J-2101",
    "line": "H1",
    "changeover_start": "2027-03-01T05:40",
    "print_start": "2027-03-01T05:55",
    "end": "2027-03-01T06:30",
}
EVERY_KIND: list[dict[str, Any]] = [
    STARTED,
    {"lock": "fixed-start", "job": "J-2102", "at": "2027-03-01T09:00"},
    {"lock": "on-line", "job": "J-2103", "line": "H1"},
    {"lock": "at-position", "job": "J-2104", "position": 1},
    {"lock": "together", "jobs": ["J-2103", "J-2104"]},
    {"lock": "before", "job": "J-2103", "then": "J-2102"},
]


def read(files: Files, locks: object) -> Queue:
    path = files.folder / "locks.json"
    path.write_text(json.dumps({"locks": locks}), encoding="utf-8")
    return read_source(QueueSource(files.jobs, files.plant, locks=path))


def faults_of(files: Files, locks: object) -> tuple[Fault, ...]:
    with pytest.raises(BadInput) as refused:
        read(files, locks)
    return refused.value.faults


def test_every_kind_of_lock_is_read(files: Files) -> None:
    locks = read(files, EVERY_KIND).locks
    assert tuple(lock.lock for lock in locks) == LOCK_KINDS
    assert isinstance(locks[0], StartedLock)
    assert isinstance(locks[1], FixedStartLock)
    assert locks[1].at.hour == 9


def test_a_queue_without_the_file_has_no_locks(files: Files) -> None:
    assert read_source(QueueSource(files.jobs, files.plant)).locks == ()


@pytest.mark.parametrize(
    ("lock", "field", "right"),
    [
        ({"lock": "on-line", "job": "J-2011", "line": "H1"}, "locks[0].job", "nearest known one is “J-2101”"),
        ({"lock": "on-line", "job": "J-2101", "line": "H9"}, "locks[0].line", "unknown line"),
        ({"lock": "on-line", "job": "J-2101"}, "locks[0].line", "must be given"),
        (
            {"lock": "at-position", "job": "J-2101", "position": 0},
            "locks[0].position",
            "greater than or equal",
        ),
        ({"lock": "together", "jobs": ["J-2101"]}, "locks[0].jobs", "at least 2"),
        ({"lock": "together", "jobs": ["J-2101", "J-2101"]}, "locks[0].jobs[1]", "once only"),
        ({"lock": "before", "job": "J-2101", "then": "J-9"}, "locks[0].then", "unknown job"),
        ({"lock": "fixed-start", "job": "J-2101", "at": "9 o'clock"}, "locks[0].at", "date and time"),
        ({"lock": "pinned", "job": "J-2101"}, "locks[0]", "known are at-position, before"),
        ({"job": "J-2101"}, "locks[0]", "must be given: lock"),
        (STARTED | {"end": "2027-03-01T05:50"}, "locks[0].end", "should not be earlier than print_start"),
    ],
)
def test_a_wrong_lock_is_named_with_what_would_be_right(
    files: Files, lock: dict[str, Any], field: str, right: str
) -> None:
    (fault,) = faults_of(files, [lock])
    assert (fault.field, right in fault.right) == (field, True), fault


def test_faults_of_all_files_are_told_at_once(files: Files) -> None:
    files.jobs.write_text("job,quantity\nJ-1,x\n", encoding="utf-8")
    told = {fault.file for fault in faults_of(files, [{"lock": "pinned"}])}
    assert told == {str(files.jobs), str(files.folder / "locks.json")}


def test_a_plan_keeps_its_locks(files: Files) -> None:
    path = files.folder / "locks.json"
    path.write_text(
        json.dumps({"locks": [{"lock": "at-position", "job": "J-2104", "position": 1}]}), encoding="utf-8"
    )
    out = files.folder / "out"
    result = files.run("plan", "--work", "60", "--locks", str(path), "--out", str(out))
    assert result.exit_code == 0
    value = json.loads((out / "sequence.json").read_text(encoding="utf-8"))
    assert "J-2104" in [line["runs"][0]["job"] for line in value["lines"] if line["runs"]]
    assert value["broken_locks"] == []


def test_locks_that_contradict_each_other_are_named(files: Files) -> None:
    locks = [
        {"lock": "at-position", "job": "J-2104", "position": 1},
        {"lock": "at-position", "job": "J-2103", "position": 1},
        {"lock": "on-line", "job": "J-2104", "line": "H1"},
        {"lock": "on-line", "job": "J-2103", "line": "H1"},
        {"lock": "together", "jobs": ["J-2101", "J-2102"]},
    ]
    path = files.folder / "locks.json"
    path.write_text(json.dumps({"locks": locks}), encoding="utf-8")
    result = files.run("plan", "--work", "60", "--locks", str(path))
    assert result.exit_code == 2
    assert "these cannot all be kept" in result.stderr
    assert "J-2104 is number 1 on its line" in result.stderr
    assert "J-2103 is number 1 on its line" in result.stderr
    assert "stay together" not in result.stderr


def test_a_costing_names_the_locks_that_its_order_breaks_on_the_sites_clock(files: Files) -> None:
    order = files.folder / "order.csv"
    order.write_text("line,job\nH1,J-2101\nH1,J-2103\nH1,J-2104\nH1,J-2102\n", encoding="utf-8")
    path = files.folder / "locks.json"
    locks = [
        {"lock": "at-position", "job": "J-2102", "position": 1},
        {"lock": "fixed-start", "job": "J-2103", "at": "2027-03-01T06:05"},
        {"lock": "on-line", "job": "J-2103", "line": "H1"},
    ]
    path.write_text(json.dumps({"locks": locks}), encoding="utf-8")
    out = files.folder / "out"
    result = files.run("cost", "--sequence", str(order), "--locks", str(path), "--out", str(out))
    assert result.exit_code == 0
    value = json.loads((out / "sequence.json").read_text(encoding="utf-8"))
    assert value["broken_locks"] == [
        "J-2102 is number 1 on its line",
        "J-2103 starts at 2027-03-01T06:05+01:00",
    ]
