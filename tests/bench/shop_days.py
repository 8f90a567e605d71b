"""Days of a shop with several lines, drawn from their name: all that makes such a day hard is on.

`40/3 tight` has 40 jobs for 3 lines. Its vans leave as drawn, or sooner where they would leave so late that
no order missed one; in `40/3 loose` every van leaves at twice the drawn time. The day comes through the
application's translation: it has shifts and a closure, jobs that wait for plates, dies and cylinders that
lines share, stock that is followed and partly still to come, and lines as another day left them. What is not
drawn is added here: some work of low migration, and on days of `FEWEST_LOCKED` jobs and more a run that has
started and some locks. The same name gives the same day; `40/3 tight 2` is another one of the same kind.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from app.translation.solving import Question
from solver.feasibility import station_choices
from solver.locks import Before, Lock, OnLine, Started, Together
from solver.problem import Problem
from tests.bench.open_hours import OpenHours
from tests.builders.plant_days import MEAN_JOB_MIN, drawn_day

SIZES = ("20/1", "20/2", "40/2", "40/3", "80/3", "200/4")
"""Jobs and lines."""
TIGHT, LOOSE = "tight", "loose"
DAYS = tuple(f"{size} {dues}" for size in SIZES for dues in (TIGHT, LOOSE))

NAMED = re.compile(rf"([1-9]\d*)/([1-8]) ({TIGHT}|{LOOSE})(?: ([2-9]|[1-9]\d+))?")

FIRST_SEED = 7
FEWEST_LOCKED = 8
LOW_MIGRATION_SHARE = 0.08
MIN_MS = 60_000
CLEAN_DOWN_IN_MS, CLEAN_DOWN_OUT_MS = 20 * MIN_MS, 5 * MIN_MS
TIGHT_SHARE = 1.5
"""On tight days the last van leaves within this many times the open time that the work takes about."""
STARTED_BEFORE_MS, STARTED_PRINTS_MS, STARTED_ENDS_MS = -40 * MIN_MS, -15 * MIN_MS, 35 * MIN_MS
"""When the started run's changeover began, when it began to print, and when it will end."""


class NoSuchDayError(ValueError):
    """A name that no day can be drawn from."""


@dataclass(frozen=True, eq=False)
class ShopDay:
    """A named day, as the solver takes it."""

    name: str
    problem: Problem

    @property
    def jobs(self) -> int:
        """How many jobs are in the queue."""
        return len(self.problem.jobs)

    @property
    def lines(self) -> int:
        """How many lines there are."""
        return len(self.problem.plant.lines)


def shop_day(name: str) -> ShopDay:
    """The day of a name.

    Raises
    ------
    NoSuchDayError
        Where the name is not jobs, lines, one of tight and loose, and perhaps a number from 2 on.
    """
    jobs, lines, dues, number = _read(name)
    day = drawn_day(FIRST_SEED - 1 + number, jobs, lines)
    problem = Question(day.plant, day.jobs, day.start).problem
    rng = random.Random(f"{jobs}/{lines}/{number}")
    problem = _loose(problem) if dues == LOOSE else _tight(problem)
    problem = _with_low_migration(problem, rng)
    if jobs >= FEWEST_LOCKED:
        problem = replace(problem, locks=tuple(_locks(problem, rng)))
    return ShopDay(name, problem)


def _read(name: str) -> tuple[int, int, str, int]:
    read = NAMED.fullmatch(name)
    if read is None:
        raise NoSuchDayError(
            f"{name}: a day is named by jobs, lines and {TIGHT} or {LOOSE}, as `40/3 tight` or `40/3 tight 2`"
        )
    jobs, lines, dues, number = read.groups(default="1")
    return int(jobs), int(lines), dues, int(number)


def _loose(problem: Problem) -> Problem:
    jobs = (replace(job, due_ms=job.due_ms and 2 * job.due_ms) for job in problem.jobs)
    return Problem(problem.plant, tuple(jobs))


def _tight(problem: Problem) -> Problem:
    """The same with vans so near that some orders miss them: what is drawn counts where it is nearer."""
    hours, after_ms = OpenHours(problem.plant.lines[0].calendar), problem.plant.after_press_ms
    work_ms = len(problem.jobs) * MEAN_JOB_MIN * MIN_MS / len(problem.plant.lines)
    open_ms = [None if job.due_ms is None else hours.open_ms(job.due_ms - after_ms) for job in problem.jobs]
    share = min(1.0, TIGHT_SHARE * work_ms / max(1, *(ms for ms in open_ms if ms is not None)))
    jobs = (
        replace(job, due_ms=None if ms is None else hours.moment_ms(round(share * ms)) + after_ms)
        for job, ms in zip(problem.jobs, open_ms, strict=True)
    )
    return Problem(problem.plant, tuple(jobs))


def _with_low_migration(problem: Problem, rng: random.Random) -> Problem:
    """The same with some jobs of low migration, and lines that are cleaned for them."""
    jobs = tuple(replace(job, low_migration=rng.random() < LOW_MIGRATION_SHARE) for job in problem.jobs)
    lines = tuple(
        replace(line, clean_down_in_ms=CLEAN_DOWN_IN_MS, clean_down_out_ms=CLEAN_DOWN_OUT_MS)
        for line in problem.plant.lines
    )
    return Problem(replace(problem.plant, lines=lines), jobs)


def _locks(problem: Problem, rng: random.Random) -> Iterator[Lock]:
    """A started run, a job that stays on a line, two that stay together, one that ends before another begins.

    No job is in two of them, and each line's first job is nobody's but the started one's, so they do not
    contradict each other.
    """
    lines = range(len(problem.plant.lines))
    able = {
        job_idx: [line_idx for line_idx in lines if station_choices(problem, line_idx, job_idx)]
        for job_idx in range(len(problem.jobs))
    }
    waiting = [job_idx for job_idx, line_idxs in able.items() if line_idxs]
    rng.shuffle(waiting)

    def taken(line_idx: int | None = None) -> int:
        at = next(at for at, job_idx in enumerate(waiting) if line_idx in (None, *able[job_idx]))
        return waiting.pop(at)

    def job_id(job_idx: int) -> str:
        return problem.jobs[job_idx].id

    started_line = problem.plant.lines[0].id
    ready = next(job_idx for job_idx in waiting if 0 in able[job_idx] and not problem.jobs[job_idx].ready_ms)
    waiting.remove(ready)
    yield Started(job_id(ready), started_line, STARTED_BEFORE_MS, STARTED_PRINTS_MS, STARTED_ENDS_MS)
    last = len(lines) - 1
    yield OnLine(job_id(taken(last)), problem.plant.lines[last].id)
    yield Together((job_id(taken(0)), job_id(taken(0))))
    yield Before(job_id(taken()), job_id(taken()))
