"""What a planning request is worked out from; what is wrong with it is told with its place."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from app.contracts.locks import LineLock, Lock, PositionLock, StartedLock
from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.planning_requests import Keeping, NewPlanningRequest, PlanningInput
from app.contracts.plant import Plant
from app.errors import BadInput, NothingCanRun
from app.services.planning_snapshot import (
    NOTHING_KEPT,
    KeptRuns,
    NothingKept,
    Snapshot,
    only_lines,
    snapshot,
)
from app.services.sequences import state_of
from app.services.workshop import Workshop
from app.store import job_lookup
from app.store.engine import database_url
from app.store.store import View
from tests.app.databases import migrated_sqlite
from tests.app.service.served import SAMPLES, Served, send_sample, served

__all__ = ["migrated_sqlite"]

ALL = ("J-2101", "J-2102", "J-2103", "J-2104")
CLOSED = {"J-old": "finished", "J-off": "cancelled"}
START = "2027-03-01T05:00:00+00:00"
BEGINS = datetime(2027, 3, 1, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory, migrated_sqlite: Path) -> Iterator[Served]:
    """The small sample, with a job whose die is not there, a finished and a cancelled one."""
    path = tmp_path_factory.mktemp("snapshot") / "press.db"
    shutil.copyfile(migrated_sqlite, path)
    with served(database_url(f"sqlite:///{path}")) as running:
        client = running.asking()
        send_sample(client)
        sample = client.get("/api/v1/jobs/J-2101").json()["item"]
        others = [sample | {"job": job} for job in CLOSED] + [sample | {"job": "J-new", "die": "D-NEW"}]
        assert client.post("/api/v1/jobs/bulk", json={"items": others}).status_code == 200
        for job, status in CLOSED.items():
            body, read = {"status": status, "reason": "so it is"}, {"If-Match": '"1"'}
            assert client.put(f"/api/v1/jobs/{job}/status", json=body, headers=read).status_code == 200
        yield running


@dataclass(frozen=True)
class Asking:
    """Asks for what a request is worked out from."""

    service: Served
    kept: KeptRuns = NOTHING_KEPT

    def __call__(self, plant: str = "main", **asked: Any) -> Snapshot:
        asked = {"jobs": ALL, "start": START, **asked}
        if "which" in asked:
            del asked["jobs"]
        with self.service.shop.store.reading(plant) as view:
            return snapshot(self.service.shop, view, NewPlanningRequest(**asked), self._kept_of)

    def _kept_of(self, shop: Workshop, view: View, keep: Keeping, begins: datetime) -> KeptRuns:
        assert begins == BEGINS
        return self.kept

    def faults(self, **asked: Any) -> dict[str | None, tuple[str | None, str]]:
        """What is refused, by its place."""
        with pytest.raises(BadInput) as refused:
            self(**asked)
        return {fault.field: (fault.value, fault.right) for fault in refused.value.faults}


@pytest.fixture
def asking(service: Served) -> Asking:
    return Asking(service)


def names(taken: Snapshot) -> list[str]:
    return [job.job for job in taken.input.jobs]


def test_all_that_is_needed_is_in_it_and_can_be_read_again(asking: Asking) -> None:
    taken = asking(goal="on-time-first", work=500, seed=7, alternatives=2, reasons=False)
    assert names(taken) == list(ALL)
    assert taken.notes == ()
    read = PlanningInput.model_validate_json(taken.input.model_dump_json(by_alias=True))
    assert read == taken.input.model_copy(update={"jobs": read.jobs})
    assert [job.model_dump() for job in read.jobs] == [
        job.model_dump(exclude={"revision"}) for job in taken.input.jobs
    ]
    assert (read.goal, read.seconds, read.work, read.seed) == ("on-time-first", None, 500, 7)
    assert (read.alternatives, read.reasons, read.start) == (2, False, BEGINS)


def test_its_state_tells_when_plant_or_jobs_have_changed(asking: Asking) -> None:
    with asking.service.shop.store.reading("main") as view:
        version = asking.service.shop.plants.of(view).setup_version
        expected = state_of(version, job_lookup.versions(view, ["J-2101", "J-2104"]))
    assert asking(jobs=("J-2101", "J-2104")).state == expected
    assert asking(jobs=("J-2104", "J-2101")).state == expected
    assert asking(jobs=("J-2101", "J-2102")).state != expected


def test_without_names_all_open_jobs_are_meant_and_those_that_cannot_run_yet_stand_aside(
    asking: Asking,
) -> None:
    taken = asking(jobs=())
    assert names(taken) == list(ALL)
    assert taken.notes == ("J-new stands aside: die D-NEW is not known.",)


@pytest.mark.parametrize(
    ("which", "meant"),
    [
        ({"customer": "example care"}, ["J-2102", "J-2104"]),
        ({"substrate": "PAPER-80", "die": "D-101"}, ["J-2101", "J-2103"]),
        ({"due_before": "2027-03-01T12:00:00+01:00"}, ["J-2102", "J-2103"]),
        ({"ready_before": "2027-01-01T00:00:00+01:00"}, list(ALL)),
    ],
)
def test_of_the_open_jobs_those_are_taken_that_are_meant(
    asking: Asking, which: dict[str, str], meant: list[str]
) -> None:
    assert names(asking(which=which)) == meant


def test_jobs_that_are_named_keep_their_order(asking: Asking) -> None:
    assert names(asking(jobs=("J-2104", "J-2101"))) == ["J-2104", "J-2101"]


def test_the_plan_begins_as_the_plant_says_where_nobody_says_otherwise(asking: Asking) -> None:
    assert asking(start=None).input.start.isoformat() == "2027-03-01T06:00:00+01:00"
    assert asking(start="2027-03-02T06:00:00Z").input.start == datetime(2027, 3, 2, 6, tzinfo=UTC)


def test_a_plan_for_some_lines_knows_no_other(asking: Asking) -> None:
    taken = asking(lines=("P1",), jobs=("J-2101",))
    assert [line.id for line in taken.input.plant.lines] == ["P1"]
    assert [line.id for line in asking().input.plant.lines] == ["H1", "P1"]


def test_lines_and_jobs_that_there_are_not_are_told_with_their_places(asking: Asking) -> None:
    told = asking.faults(lines=("H1", "H9"), jobs=("J-2101", "J-0", "J-old", "J-off"))
    assert {place: value for place, (value, _) in told.items()} == {
        "lines[1]": "H9",
        "jobs[1]": "J-0",
        "jobs[2]": "J-old",
        "jobs[3]": "J-off",
    }
    assert "the nearest known one is “H1”" in told["lines[1]"][1]
    assert told["jobs[2]"][1] == "should be a job that is open; it is finished"


def test_locks_are_looked_at_against_jobs_and_lines(asking: Asking) -> None:
    locks = [
        {"lock": "on-line", "job": "J-2101", "line": "P1"},
        {"lock": "at-position", "job": "J-2104", "position": 1},
        {"lock": "before", "job": "J-new", "then": "J-2101"},
    ]
    told = asking.faults(jobs=("J-2101", "J-new"), lines=("H1",), locks=locks)
    assert set(told) == {"locks[0].line", "locks[1].job", "locks[2].job"}
    assert told["locks[2].job"][1] == "should be a job that can run; it waits: die D-NEW is not known"


def test_locks_that_make_no_sense_are_told_at_once(asking: Asking) -> None:
    running = {
        "lock": "started",
        "job": "J-2101",
        "line": "H1",
        "changeover_start": "2027-03-01T05:00:00+01:00",
        "print_start": "2027-03-01T04:00:00+01:00",
        "end": "2027-03-01T07:00:00+01:00",
    }
    told = asking.faults(locks=[running, {"lock": "together", "jobs": ["J-2101", "J-2101"]}])
    assert set(told) == {"locks[0].print_start", "locks[1].jobs[1]"}


def test_where_no_job_is_left_there_is_nothing_to_ask_for(asking: Asking) -> None:
    with pytest.raises(NothingCanRun, match="No job is open that is meant"):
        asking(which={"customer": "nobody"})
    with pytest.raises(NothingCanRun, match="J-new stands aside: die D-NEW is not known"):
        asking(jobs=("J-new",))


def test_a_plant_without_lines_is_told(asking: Asking) -> None:
    told = asking.faults(plant="other", jobs=())
    assert told["lines"][1] == "should be asked for once the plant has a line"


IN_FORCE = RunOrder(lines=(LineOrder(line="H1", runs=(OrderedRun(job="J-2103"), OrderedRun(job="J-2101"))),))


def frozen(*jobs: str) -> tuple[Lock, ...]:
    """Jobs that keep their places on H1."""
    locks: list[Lock] = []
    for position, job in enumerate(jobs, start=1):
        locks.append(LineLock(lock="on-line", job=job, line="H1"))
        locks.append(PositionLock(lock="at-position", job=job, position=position))
    return tuple(locks)


def positions(taken: Snapshot) -> dict[str, int]:
    return {lock.job: lock.position for lock in taken.input.locks if isinstance(lock, PositionLock)}


def test_what_is_kept_of_released_sequences_goes_into_it(service: Served) -> None:
    asking = Asking(service, NothingKept(IN_FORCE, frozen("J-2103", "J-2101"), ("H1 keeps two runs.",)))
    taken = asking(keep={"frozen_min": 120})
    assert taken.input.in_force == IN_FORCE
    assert positions(taken) == {"J-2103": 1, "J-2101": 2}
    assert taken.notes == ("H1 keeps two runs.",)
    assert asking().input.in_force is None
    assert asking().input.locks == ()


def test_what_the_solver_refuses_is_told_at_once(service: Served) -> None:
    twice = RunOrder(lines=(LineOrder(line="H1", runs=(OrderedRun(job="J-2103"),) * 2),))
    told = Asking(service, NothingKept(twice)).faults(keep={})
    assert "J-2103" in str(told)


def test_kept_runs_of_jobs_that_are_not_planned_leave_no_gap(service: Served) -> None:
    asking = Asking(service, NothingKept(IN_FORCE, frozen("J-2103", "J-new", "J-2101", "J-2104")))
    taken = asking(jobs=("J-2101", "J-2103", "J-new"), keep={})
    assert positions(taken) == {"J-2103": 1, "J-2101": 2}
    assert asking(lines=("P1",), jobs=("J-2101",), keep={}).input.locks == ()


def test_what_people_fix_comes_before_what_is_kept(service: Served) -> None:
    asking = Asking(service, NothingKept(IN_FORCE, frozen("J-2103", "J-2101")))
    mine = {"lock": "fixed-start", "job": "J-2103", "at": "2027-03-01T12:00:00+01:00"}
    taken = asking(locks=[mine], keep={})
    assert positions(taken) == {"J-2101": 1}
    assert taken.notes == ("J-2103 is planned as the locks say, not as it is released.",)


def test_a_job_that_is_running_is_planned_whether_it_is_meant_or_not(service: Served) -> None:
    running = StartedLock(
        lock="started",
        job="J-2103",
        line="H1",
        changeover_start=datetime(2027, 3, 1, 4, tzinfo=UTC),
        print_start=datetime(2027, 3, 1, 4, 30, tzinfo=UTC),
        end=datetime(2027, 3, 1, 6, tzinfo=UTC),
    )
    taken = Asking(service, NothingKept(locks=(running,)))(jobs=("J-2101",), keep={})
    assert names(taken) == ["J-2101", "J-2103"]
    assert taken.input.locks == (running,)
    assert taken.notes == ("J-2103 is running, so it is in the plan too.",)


def test_what_is_on_lines_that_are_not_planned_stays_there() -> None:
    document = json.loads((SAMPLES / "small" / "plant.json").read_text(encoding="utf-8"))
    width = document["substrates"][0]["widths"][0]
    width.pop("on_hand_m")
    width["rolls"] = [
        {"id": "R-1", "length_m": 900, "on_unwind": "H1"},
        {"id": "R-2", "length_m": 900, "on_unwind": "P1"},
    ]
    document["lines"][1]["present"] = {"loaded": {"die": {"die": "D-101"}}}
    plant, notes = Plant.model_validate(document), list[str]()
    alone = only_lines(plant, ("H1",), notes)
    assert [roll.id for roll in alone.substrates[0].widths[0].rolls] == ["R-1"]
    assert notes == [
        "P1 is not planned: dies and cylinders on it are taken to be free.",
        "Roll R-2 of PAPER-80 is on the unwind of P1, which is not planned, and is not taken.",
    ]
    left = only_lines(alone.model_copy(update={"lines": plant.lines}), ("P1",), notes)
    assert left.substrates[0].widths[0].rolls == ()
    assert left.substrates[0].widths[0].on_hand_m == 0
    assert only_lines(plant, (), notes) is plant
