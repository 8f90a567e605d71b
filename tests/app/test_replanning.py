"""What a plan keeps of what is released: what is still to be made, what runs, what keeps its place."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts.locks import LineLock, PositionLock, StartedLock
from app.contracts.orders import LabelRange, RunOrder
from app.contracts.planning_requests import Keeping, NewPlanningRequest
from app.contracts.plant import PresentState
from app.contracts.posted_jobs import JobStatus
from app.contracts.sequences import CostedPlan, Goal, Run
from app.services import planning
from app.services.planning_snapshot import snapshot
from app.services.queue_now import laid, plant_at
from app.services.replanning import Kept, kept_of
from app.services.workshop import Workshop
from app.store import job_lookup, lines, plants, records
from app.store.kinds import JOBS
from app.store.store import Store
from app.translation.solving import Question
from tests.app.databases import migrated_sqlite
from tests.app.released_floor import (
    JOBS_THERE,
    SPLIT,
    START,
    Floor,
    Lines,
    at,
    create,
    in_force,
    job,
    two_lines,
    undone,
)
from tests.examples import examples

__all__ = ["migrated_sqlite"]

ORDER: Lines = {"H1": ("A", "B", "D"), "H2": ("C", "E", "F")}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, migrated_sqlite: Path) -> Iterator[Workshop]:
    path = tmp_path_factory.mktemp("floor") / "press.db"
    shutil.copyfile(migrated_sqlite, path)
    store = Store(f"sqlite:///{path}")
    create(store)
    yield Workshop(store, now=lambda: START)
    store.close()


@pytest.fixture
def floor(shop: Workshop) -> Iterator[Floor]:
    with undone(shop) as running:
        yield running


def started(kept: Kept) -> dict[str, StartedLock]:
    """What runs, by line."""
    return {lock.line: lock for lock in kept.locks if isinstance(lock, StartedLock)}


def frozen(kept: Kept) -> dict[str, tuple[str, int | None]]:
    """By job, line and place that it keeps."""
    places = {lock.job: lock.position for lock in kept.locks if isinstance(lock, PositionLock)}
    return {lock.job: (lock.line, places.get(lock.job)) for lock in kept.locks if isinstance(lock, LineLock)}


def planned(floor: Floor, sequence: str, job: str) -> list[Run]:
    """Runs of a job as a sequence has them."""
    return [run for line in floor.plan(sequence).sequence.lines for run in line.runs if run.job == job]


def minutes(run: Run) -> timedelta:
    """How long a run was to take."""
    return timedelta(minutes=float(run.run_min + run.roll_end_min))


def assert_near(one: datetime, other: datetime) -> None:
    """The same moment, but for parts of a ms."""
    assert abs(one - other) <= timedelta(milliseconds=1)


def test_without_releases_and_runs_nothing_is_kept(floor: Floor) -> None:
    assert floor.kept(frozen_min=60) == Kept()


def test_nothing_is_kept_where_that_is_not_wanted(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H1", 5)
    assert kept_of(floor.shop, floor.work, Keeping(released=False), START) == Kept()


def test_what_is_released_is_in_force_at_its_stations_on_the_lines_that_have_a_release(floor: Floor) -> None:
    sequence = floor.release({"H1": ("A", "B")})
    kept = floor.kept()
    assert in_force(kept) == {"H1": ["A", "B"]}
    assert kept.in_force is not None
    ((first, _),) = (line.runs for line in kept.in_force.lines)
    assert first.stations == planned(floor, sequence, "A")[0].stations
    assert kept.locks == ()
    assert kept.notes == ()


def test_the_release_of_every_line_counts_whichever_sequence_it_is_of(floor: Floor) -> None:
    floor.release({"H1": ("A", "B"), "H2": ("C",)})
    floor.release({"H2": ("E", "F")})
    assert in_force(floor.kept()) == {"H1": ["A", "B"], "H2": ["E", "F"]}


def test_jobs_that_are_not_open_any_more_are_not_in_force(floor: Floor) -> None:
    floor.release(ORDER)
    floor.close("A", JobStatus.CANCELLED)
    floor.close("E", JobStatus.FINISHED)
    records.remove(floor.work, JOBS, "F")
    kept = floor.kept(frozen_min=60)
    assert in_force(kept) == {"H1": ["B", "D"], "H2": ["C"]}
    assert frozen(kept) == {"B": ("H1", 1), "D": ("H1", 2), "C": ("H2", 1)}
    assert kept.made == ()


def test_runs_that_have_ended_are_not_in_force_and_their_jobs_are_told(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H1", 5, 20)
    floor.begins("C", "H1", 20, 35)
    kept = floor.kept(40)
    assert in_force(kept) == {"H1": ["B", "D"], "H2": ["E", "F"]}
    assert kept.made == ("A", "C")
    assert kept.locks == ()


def test_what_has_begun_runs_on_as_long_as_it_was_to_take(floor: Floor) -> None:
    sequence = floor.release(ORDER)
    floor.begins("A", "H1", 12, changeover_start=at(3))
    kept = floor.kept(15)
    (run,) = planned(floor, sequence, "A")
    lock = started(kept)["H1"]
    assert (lock.job, lock.changeover_start, lock.print_start) == ("A", at(3), at(12))
    assert_near(lock.end, at(12) + minutes(run))
    assert lock.stations == run.stations
    assert in_force(kept)["H1"] == ["A", "B", "D"]
    assert kept.notes == ()


def test_what_should_have_ended_ends_when_the_plan_begins_and_that_is_told(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H1", 5)
    kept = floor.kept(60)
    assert started(kept)["H1"].end == at(60)
    assert [note for note in kept.notes if note.startswith("A should have ended on H1 at 2027-03-01T06:1")]


def test_what_is_said_to_begin_after_the_plan_does_occupies_its_line_from_there(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H1", 30)
    lock = started(floor.kept(0))["H1"]
    assert (lock.changeover_start, lock.print_start) == (at(0), at(30))
    assert lock.end > at(30)


def test_a_run_that_began_before_the_line_closed_goes_on_when_it_opens(floor: Floor) -> None:
    sequence = floor.release(ORDER)
    calendar = {"closures": [{"from": "2027-03-01T06:10", "to": "2027-03-01T09:00"}]}
    line = two_lines().lines[0].model_copy(update={"calendar": two_lines().calendar.model_validate(calendar)})
    lines.put_all(floor.work, (line, two_lines().lines[1]))
    floor.begins("A", "H1", 5)
    (run,) = planned(floor, sequence, "A")
    assert_near(started(floor.kept(8))["H1"].end, at(5) + minutes(run) + timedelta(minutes=170))


def test_a_run_that_began_out_of_turn_is_before_those_that_it_passed(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("D", "H1", 2)
    kept = floor.kept(5, frozen_min=240)
    assert in_force(kept)["H1"] == ["D", "A", "B"]
    assert frozen(kept)["A"] == ("H1", 1)
    assert frozen(kept)["B"] == ("H1", 2)


def test_a_job_that_runs_on_another_line_than_released_is_in_force_there(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H2", 2)
    kept = floor.kept(5)
    assert in_force(kept) == {"H1": ["B", "D"], "H2": ["A", "C", "E", "F"]}
    lock = started(kept)["H2"]
    assert lock.stations is None
    assert at(10) < lock.end < at(25)


def test_what_runs_unreleased_occupies_its_line_as_long_as_it_takes_there(floor: Floor) -> None:
    sequence = floor.keep({"H2": ("F",)})
    floor.begins("F", "H2", 0)
    kept = floor.kept(5)
    (run,) = planned(floor, sequence, "F")
    assert_near(started(kept)["H2"].end, at(0) + minutes(run))
    assert in_force(kept) == {"H2": ["F"]}


def test_what_runs_but_cannot_is_told_and_planned_as_if_it_had_not_begun(floor: Floor) -> None:
    records.upsert(floor.work, JOBS, [job("A", die="D-NEW", revision=2)])
    floor.begins("A", "H1", 0)
    floor.begins("Z", "H2", 0)
    kept = floor.kept(5)
    assert kept.locks == ()
    assert kept.in_force is None
    assert [note.partition(",")[0] for note in kept.notes] == ["A runs on H1", "Z runs on H2"]


def test_of_two_runs_that_have_not_ended_the_later_one_runs(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H1", 0)
    floor.begins("B", "H1", 14)
    kept = floor.kept(20)
    assert started(kept)["H1"].job == "B"
    assert in_force(kept)["H1"] == ["B", "D"]
    assert kept.made == ("A",)
    assert kept.notes == (
        "A has begun on H1 and never ended, but something else has begun there since: it is taken to have "
        "ended.",
    )


def test_of_runs_that_cannot_go_on_together_the_later_one_does(floor: Floor) -> None:
    """Both need the only die."""
    plant = two_lines()
    one = tuple(die.model_copy(update={"copies": 1}) for die in plant.dies)
    first, second = plant.lines
    empty = second.model_copy(update={"present": PresentState()})
    plants.put(floor.work, plant.model_copy(update={"dies": one, "lines": (first, empty)}))
    floor.release(ORDER)
    floor.begins("A", "H1", 3)
    floor.begins("C", "H2", 0)
    kept = floor.kept(5)
    assert {line: lock.job for line, lock in started(kept).items()} == {"H1": "A"}
    (note,) = kept.notes
    assert note.startswith("C runs on H2 as actuals say, but cannot: ")
    assert "D-101" in note


def test_a_job_that_is_released_anew_after_it_has_run_is_to_be_made_again(floor: Floor) -> None:
    floor.begins("A", "H1", -120, -100)
    floor.release(ORDER)
    kept = floor.kept()
    assert in_force(kept)["H1"] == ["A", "B", "D"]
    assert kept.made == ()


def test_a_run_that_ended_while_the_plan_was_worked_out_has_been_made(floor: Floor) -> None:
    """The plan has it with the time at which it began, or would have begun it later."""
    floor.begins("A", "H1", 2, 14)
    floor.release(ORDER)
    assert in_force(floor.kept(20))["H1"] == ["B", "D"]


def test_a_job_that_two_releases_have_is_in_force_by_the_later_one(floor: Floor) -> None:
    floor.release({"H1": ("A", "B")})
    floor.release({"H2": ("C", "A")})
    kept = floor.kept()
    assert in_force(kept) == {"H1": ["B"], "H2": ["C", "A"]}
    assert kept.notes == ("A is released on H1 too, by an older release: that is passed over.",)


def test_runs_that_were_to_begin_soon_keep_line_and_place_among_those_left(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H1", 5, 20)
    floor.begins("C", "H2", 5)
    kept = floor.kept(20, frozen_min=15)
    assert frozen(kept) == {"B": ("H1", 1), "E": ("H2", 1)}
    assert frozen(floor.kept(20, frozen_min=40)) == {
        "B": ("H1", 1),
        "D": ("H1", 2),
        "E": ("H2", 1),
        "F": ("H2", 2),
    }
    assert frozen(floor.kept(20)) == {}


def test_a_run_that_its_line_cannot_take_any_more_keeps_no_place(floor: Floor) -> None:
    floor.release(ORDER)
    records.upsert(floor.work, JOBS, [job("C", die="D-NEW")])
    hybrid, other = two_lines().lines
    lines.put_all(floor.work, (hybrid.model_copy(update={"max_repeat_mm": Decimal(100)}), other))
    kept = floor.kept(frozen_min=20)
    assert frozen(kept) == {}
    assert [note.partition(":")[0] for note in kept.notes] == [
        "A cannot stay on H1",
        "C cannot stay on H2",
    ]
    assert kept.notes[1].endswith("the plant does not have all that it names.")
    assert frozen(floor.kept(frozen_min=60)) == {"E": ("H2", 1), "F": ("H2", 2)}


def test_a_line_that_is_not_there_any_more_has_nothing_in_force(floor: Floor) -> None:
    floor.release(ORDER)
    lines.put_all(floor.work, two_lines().lines[:1])
    kept = floor.kept(frozen_min=60)
    assert in_force(kept) == {"H1": ["A", "B", "D"]}
    assert {line for line, _ in frozen(kept).values()} == {"H1"}


LOTS: Lines = {"H1": ((SPLIT, 1, 9000), "A"), "H2": ((SPLIT, 9001, 20400), "C")}


def test_a_lot_that_has_run_is_not_in_force_and_the_others_are(floor: Floor) -> None:
    floor.release(LOTS)
    floor.begins(SPLIT, "H1", 5, 15, lot=LabelRange(first_label=1, last_label=9000))
    kept = floor.kept(20)
    assert in_force(kept) == {"H1": ["A"], "H2": [SPLIT, "C"]}
    assert kept.in_force is not None
    assert kept.in_force.lines[1].runs[0].lot == LabelRange(first_label=9001, last_label=20400)
    assert kept.made == ()


def test_an_actual_that_names_no_lot_is_of_the_one_that_is_released_there(floor: Floor) -> None:
    floor.release(LOTS)
    floor.begins(SPLIT, "H2", 5, 15)
    assert in_force(floor.kept(20)) == {"H1": [SPLIT, "A"], "H2": ["C"]}


def test_a_job_of_which_one_lot_has_begun_is_taken_to_run_whole_where_it_is(floor: Floor) -> None:
    sequence = floor.release(LOTS)
    floor.begins(SPLIT, "H1", 5, lot=LabelRange(first_label=1, last_label=9000))
    kept = floor.kept(6)
    runs = planned(floor, sequence, SPLIT)
    assert_near(started(kept)["H1"].end, at(5) + sum(map(minutes, runs), timedelta(0)))
    assert in_force(kept) == {"H1": [SPLIT, "A"], "H2": ["C"]}
    (note,) = kept.notes
    assert note.startswith(f"{SPLIT} has begun and is still to be made in 1 more lots: ")


def test_labels_that_ran_of_a_job_released_whole_are_told(floor: Floor) -> None:
    floor.release({"H1": (SPLIT, "A")})
    floor.begins(SPLIT, "H1", 5, 15, lot=LabelRange(first_label=1, last_label=9000))
    kept = floor.kept(20)
    assert in_force(kept)["H1"] == [SPLIT, "A"]
    assert kept.notes == (
        f"{SPLIT}, labels 1 to 9000, has run on H1: its run on H1 is still to be made, with all its labels.",
    )


def test_a_job_in_lots_is_not_held_in_its_place(floor: Floor) -> None:
    floor.release(LOTS)
    kept = floor.kept(frozen_min=120)
    assert frozen(kept) == {"A": ("H1", None), "C": ("H2", None)}
    assert len(kept.notes) == 2


def costed(floor: Floor, kept: Kept, begins: datetime) -> CostedPlan | None:
    """The order in force under all that is kept, with whatever else is open left out."""
    plant = plant_at(floor.shop.plants.of(floor.work).plant, begins, [])
    order = kept.in_force or RunOrder(lines=())
    running = {lock.job for lock in kept.locks if isinstance(lock, StartedLock)}
    known = floor.shop.plants.of(floor.work).codes
    names = [*order.job_names, *(job for job in running if job not in order.job_names)]
    jobs = tuple(laid(job) for job in job_lookup.by_number(floor.work, names) if not known.missing_of(job))
    question = Question(plant, jobs, begins, kept.locks, kept.in_force)
    return planning.cost(question, order, Goal.BALANCED) if jobs else None


events = st.tuples(
    st.sampled_from(JOBS_THERE),
    st.sampled_from(("H1", "H2")),
    st.integers(-30, 60),
    st.none() | st.integers(1, 30),
)


@examples(15)
@given(
    st.permutations(JOBS_THERE),
    st.integers(0, 6),
    st.sampled_from((("H1", "H2"), ("H1",), ("H2", "H1"), ())),
    st.lists(events, max_size=4),
    st.sets(st.sampled_from(JOBS_THERE), max_size=2),
    st.integers(0, 45),
    st.sampled_from((0, 20, 90)),
)
def test_what_is_in_force_keeps_all_locks_and_moves_nothing(
    shop: Workshop,
    order: list[str],
    cut: int,
    releases: tuple[str, ...],
    told: list[tuple[str, str, int, int | None]],
    cancelled: set[str],
    minute: int,
    frozen_min: int,
) -> None:
    """Whatever has been released, run and cancelled: nobody has to move anything to go on as released."""
    by_line = {"H1": tuple(order[:cut]), "H2": tuple(order[cut:])}
    with undone(shop) as floor:
        for line in releases:
            if by_line[line]:
                floor.release({line: by_line[line]})
        for name, line, begun, lasted in told:
            floor.begins(name, line, begun, None if lasted is None else begun + lasted)
        for name in cancelled:
            floor.close(name, JobStatus.CANCELLED)
        kept = floor.kept(minute, frozen_min)
        runs = [run for line in in_force(kept).values() for run in line]
        running = started(kept)
        assert len(set(runs)) == len(runs)
        assert {lock.job for lock in running.values()} <= set(runs)
        assert not (set(runs) - {lock.job for lock in running.values()}) & cancelled
        assert not set(runs) & set(kept.made)
        assert all(lock.changeover_start <= at(minute) <= lock.end for lock in running.values())
        plan = costed(floor, kept, at(minute))
        if plan is not None:
            assert plan.sequence.broken_locks == ()
            assert plan.sequence.left_out == ()
            assert plan.sequence.totals.moved_runs in (0, None)


def test_an_open_job_that_has_been_made_is_not_planned_again_unless_it_is_named(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H1", 5, 20)
    asked = NewPlanningRequest(start=at(20), keep=Keeping(), work=1)
    taken = snapshot(floor.shop, floor.work, asked, kept_of)
    assert sorted(job.job for job in taken.input.jobs) == ["B", "C", "D", "E", "F", SPLIT]
    assert "A has been made as it was released, so it is not in the plan, though open." in taken.notes
    named = asked.model_copy(update={"jobs": ("A", "B")})
    taken = snapshot(floor.shop, floor.work, named, kept_of)
    assert [job.job for job in taken.input.jobs] == ["A", "B"]


def jobs_on(plan: CostedPlan, line: str) -> list[str]:
    """Jobs that a plan has on a line."""
    return [run.job for each in plan.sequence.lines if each.line == line for run in each.runs]


def test_a_plan_keeps_what_runs_and_what_is_frozen_and_pays_for_what_it_moves(floor: Floor) -> None:
    floor.release(ORDER)
    floor.begins("A", "H1", 5)
    rush = job("R", due="2027-03-01T08:15:00+01:00", late_eur=5000)
    records.upsert(floor.work, JOBS, [rush])
    asked = NewPlanningRequest(
        jobs=(*JOBS_THERE, "R"),
        start=at(10),
        keep=Keeping(frozen_min=30),
        work=1000,
        alternatives=0,
        reasons=False,
    )
    taken = snapshot(floor.shop, floor.work, asked, kept_of).input
    question = Question(taken.plant, taken.jobs, taken.start, taken.locks, taken.in_force)
    plan = planning.plan(question, taken.goal, work=taken.work, seed=taken.seed)
    first, second = jobs_on(plan, "H1"), jobs_on(plan, "H2")
    assert first[:2] == ["A", "B"]
    assert second[:2] == ["C", "E"]
    assert "R" in first + second
    totals, cost = plan.sequence.totals, plan.sequence.cost
    assert plan.sequence.broken_locks == ()
    assert totals.moved_runs is not None
    assert cost.moved_eur == totals.moved_runs * taken.plant.moved_run_eur
    assert totals.moved_runs == sum(run.moved for line in plan.sequence.lines for run in line.runs)
