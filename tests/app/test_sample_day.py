"""The sample day, the same day as a shop has it, and days drawn from a seed."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from app.contracts.jobs import INKJET, Job
from app.contracts.plant import FlawKind, Line, Plant
from app.contracts.readiness import Readiness
from app.intake.queue import read_queue
from app.services import planning
from app.translation.solving import Question
from solver.account import account
from solver.baselines import by_due_time
from solver.feasibility import station_choices
from solver.ledger import web_ledger
from solver.weights import GOALS
from tests.builders.day_files import BARE_COLUMNS, write_bare_day, write_day
from tests.builders.plant_days import SAMPLE_DATA, Day, drawn_day, sample_day
from tests.checker.check import check_sequence

DAY, BARE = SAMPLE_DATA / "day", SAMPLE_DATA / "bare"
SIZES = ((20, 1), (60, 2), (200, 5), (1000, 8))


@pytest.fixture(scope="module")
def day() -> Day:
    return sample_day()


@pytest.fixture(scope="module")
def plant(day: Day) -> Plant:
    return day.plant


@pytest.fixture(scope="module")
def readiness(day: Day) -> Readiness:
    return planning.check(Question(day.plant, day.jobs, day.start))


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


# The files


@pytest.mark.parametrize(("folder", "write"), [(DAY, write_day), (BARE, write_bare_day)])
def test_the_files_are_what_the_drawing_writes(
    folder: Path, write: Callable[[Day, Path], None], day: Day, tmp_path: Path
) -> None:
    write(day, tmp_path)
    written = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert len(written) >= 2
    assert written == {name: (folder / name).read_bytes() for name in written}


def test_the_files_read_back_as_the_drawn_day(day: Day) -> None:
    queue = read_queue(DAY / "plant.json", DAY / "jobs.csv")
    assert queue.plant == day.plant
    assert queue.jobs == day.jobs
    assert queue.notes == ()


def test_the_rolls_of_the_stock_list_give_the_plants_own_stock(day: Day) -> None:
    by_roll = read_queue(DAY / "plant.json", DAY / "jobs.csv", stock_path=DAY / "stock.csv")
    assert by_roll.notes == ()
    assert by_roll.plant != day.plant
    own = Question(day.plant, day.jobs, day.start).problem.followed_stocks
    followed = Question(by_roll.plant, day.jobs, day.start).problem.followed_stocks
    assert {stock: replace(stocked, rolls=()) for stock, stocked in followed.items()} == own


def test_some_rolls_of_the_stock_list_are_awkward(day: Day) -> None:
    plant = read_queue(DAY / "plant.json", DAY / "jobs.csv", stock_path=DAY / "stock.csv").plant
    rolls = [roll for substrate in plant.substrates for stocked in substrate.widths for roll in stocked.rolls]
    assert sum(roll.length_m < plant.stock_rules.least_stub_m for roll in rolls) >= 2
    assert {flaw.kind for roll in rolls for flaw in roll.flaws} == set(FlawKind)
    assert {roll.reserved_for for roll in rolls} - {None} <= {job.job for job in day.jobs}
    assert [roll.on_unwind for roll in rolls if roll.on_unwind] == ["H1", "B1"]
    assert any(roll.reserved_for for roll in rolls)
    assert any(roll.best_before and roll.best_before.date() <= date(2027, 3, 4) for roll in rolls)
    assert len({roll.location for roll in rolls}) > 2


def test_the_bare_stock_list_counts_what_is_on_order(plant: Plant) -> None:
    listed_m = {(row["code"], row["width_mm"]): int(row["metres"]) for row in _rows(BARE / "stock.csv")}
    for substrate in plant.substrates:
        for stocked in substrate.widths:
            ordered_m = sum(delivery.length_m for delivery in stocked.deliveries)
            on_hand_m = stocked.on_hand_m
            assert on_hand_m is not None
            assert listed_m[substrate.code, str(stocked.width_mm)] == on_hand_m + ordered_m
    assert any(stocked.deliveries for substrate in plant.substrates for stocked in substrate.widths)


def test_a_bare_job_row_has_nine_columns_and_the_days_values() -> None:
    bare, full = _rows(BARE / "jobs.csv"), _rows(DAY / "jobs.csv")
    assert tuple(bare[0]) == BARE_COLUMNS
    assert bare == [{column: row[column] for column in BARE_COLUMNS} for row in full]


def test_the_bare_lists_name_every_die_and_stock_of_the_bare_jobs() -> None:
    jobs = _rows(BARE / "jobs.csv")
    assert {row["die"] for row in jobs} <= {row["number"] for row in _rows(BARE / "dies.csv")}
    assert {row["substrate"] for row in jobs} <= {row["code"] for row in _rows(BARE / "stock.csv")}


def test_the_labels_of_a_die_fit_round_its_cylinder() -> None:
    for row in _rows(BARE / "dies.csv"):
        assert float(row["label_height_mm"]) >= 20
        repeat_mm = int(row["teeth"]) * 3.175
        assert int(row["around"]) * float(row["label_height_mm"]) < repeat_mm


# What the day holds


def test_the_page_beside_the_files_tells_the_days_own_figures(day: Day, readiness: Readiness) -> None:
    page = " ".join((SAMPLE_DATA / "README.md").read_text(encoding="utf-8").split())
    versions = sum(len(job.versions) for job in day.jobs)
    customers = len({job.customer for job in day.jobs})
    assert f"{len(day.plant.substrates)} stocks, {len(day.plant.dies)} dies" in page
    assert f"{len(day.jobs)} jobs and {versions} versions of {customers} customers" in page
    waiting = [job for job in readiness.jobs if job.not_ready_until is not None]
    numbers = {2: "Two", 3: "Three", 4: "Four", 5: "Five"}
    assert f"{numbers[len(waiting)]} jobs are not ready when the day begins" in page


def test_the_lines_are_one_of_each_kind(plant: Plant) -> None:
    def kind(line: Line) -> tuple[bool, bool]:
        return any(station.kind == INKJET for station in line.stations), line.pull_back_m > 0

    assert sorted(map(kind, plant.lines)) == [(False, False), (True, False), (True, True)]


def test_the_plant_has_stocks_tools_and_shifts_of_a_real_shop(plant: Plant) -> None:
    assert len(plant.substrates) >= 8
    assert len(plant.dies) >= 20
    mounted = Counter(die.cylinder for die in plant.dies)
    copies = {cylinder.id: cylinder.copies for cylinder in plant.cylinders}
    assert all(dies >= 2 and cylinder is not None and copies[cylinder] for cylinder, dies in mounted.items())
    assert {1, 2} <= {copies[cylinder] for cylinder in mounted if cylinder is not None}
    assert len(plant.calendar.shifts) == 2
    assert plant.calendar.closures
    assert plant.site.plan_from is not None


def test_the_queue_has_jobs_versions_and_finishes_of_a_full_day(day: Day) -> None:
    assert len(day.jobs) >= 60
    assert sum(len(job.versions) for job in day.jobs) >= 200
    assert len({job.colours for job in day.jobs if job.colours}) >= 5
    kinds = {layer.kind for job in day.jobs for group in job.finishes for layer in group}
    assert kinds >= {"inkjet", "white", "spot", "varnish", "cold-foil", "laminate"}


def test_some_due_times_are_tight_and_most_lie_over_the_day_and_the_next(day: Day) -> None:
    ahead = [job.due - day.start for job in day.jobs if job.due is not None]
    assert len(ahead) == len(day.jobs)
    tight = [time for time in ahead if time <= timedelta(hours=6)]
    assert 5 <= len(tight) <= len(ahead) / 4
    assert max(ahead) <= timedelta(hours=36)
    assert min(ahead) > timedelta(0)


def test_some_jobs_are_not_ready_when_the_day_begins(readiness: Readiness) -> None:
    waiting = [job for job in readiness.jobs if job.not_ready_until is not None]
    assert 2 <= len(waiting) <= 10


def test_no_line_can_run_just_two_jobs_and_for_different_reasons(readiness: Readiness) -> None:
    stuck = [job for job in readiness.jobs if not job.can_run]
    assert [job.job for job in stuck] == ["J-3118", "J-3142"]
    film_die, reel = (" ".join(reason for fit in job.lines for reason in fit.reasons) for job in stuck)
    assert "takes a liner of at most 45 µm" in film_die
    assert "larger than the rewinder's" in reel
    assert "liner" not in reel
    assert "rewinder" not in film_die


def test_stock_lasts_for_every_job_that_can_run(readiness: Readiness) -> None:
    assert [job.job for job in readiness.jobs if job.left_out] == []


def test_the_checker_agrees_with_the_account_of_the_day(day: Day) -> None:
    problem = Question(day.plant, day.jobs, day.start).problem
    sequence = account(problem, by_due_time(problem), GOALS["balanced"])
    assert check_sequence(problem, sequence, GOALS["balanced"], web_ledger(problem, sequence)) == []


# Drawn days


@pytest.mark.parametrize(("jobs", "lines"), SIZES)
def test_a_drawn_day_has_the_size_asked_for_and_follows_its_seed(jobs: int, lines: int) -> None:
    day = drawn_day(3, jobs, lines)
    assert (len(day.jobs), len(day.plant.lines)) == (jobs, lines)
    assert day == drawn_day(3, jobs, lines)
    assert day != drawn_day(4, jobs, lines)


@pytest.mark.parametrize(("jobs", "lines"), SIZES)
def test_nearly_every_drawn_job_can_run_somewhere(jobs: int, lines: int) -> None:
    day = drawn_day(5, jobs, lines)
    problem = Question(day.plant, day.jobs, day.start).problem
    stuck = [
        job.id
        for job_idx, job in enumerate(problem.jobs)
        if not any(station_choices(problem, line_idx, job_idx) for line_idx in range(lines))
    ]
    assert len(stuck) <= jobs * 0.03


@pytest.mark.parametrize(("jobs", "lines"), SIZES)
def test_drawn_jobs_come_in_families(jobs: int, lines: int) -> None:
    """Far fewer ways to make a label than jobs, or there would be nothing to put together."""

    def way(job: Job) -> tuple[object, ...]:
        return job.customer, job.substrate, job.die, job.finishes

    day = drawn_day(6, jobs, lines)
    assert len({way(job) for job in day.jobs}) < 0.85 * jobs
    assert len({job.customer for job in day.jobs}) <= max(6, jobs / 3)


def test_a_shop_has_at_most_eight_lines() -> None:
    with pytest.raises(ValueError, match="1 to 8 lines"):
        drawn_day(1, 60, 9)
