"""A plant of which much is remembered, so that orders of its queues are costed while somebody drags a run.

Translating a plant and its jobs, laying jobs out and working changeovers out takes a hundred times as long as
putting runs in time. What hangs on neither the clock nor the stock is kept from question to question, and
from one version of the plant to the next where that changed nothing of it.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from app.contracts.costings import HandMadeOrder
from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import Goal
from app.translation.jobs import undated_job_of
from app.translation.sequences import Costed
from app.translation.solving import Question
from solver import jobs as solver_jobs
from solver import plant as solver_plant
from solver.account import account_with
from solver.cheapest_rolls import RolledSequence
from solver.fits import Fits, lasting
from solver.roll_plan import RollPlan
from solver.schedule import Scheduler
from solver.sequence import Order, Placement
from solver.weights import GOALS

MOST_JOBS = 20_000
"""Jobs remembered of a plant."""
MOST_QUESTIONS = 16
"""Queues remembered of a plant: other jobs, another start, other locks."""
MOST_KNOWN = 60_000
"""Run plans, settings and changeovers remembered of a goal, 2 kB each at most; a day of 200 runs has some
thousand.
"""


Seat = tuple[str, tuple[str, ...] | None]
"""A line and stations of it, if they are said; else those that come first."""


@dataclass(frozen=True, slots=True)
class KnownJob:
    """A version of a job, it for the solver without its times, and where it was found to run whole."""

    version: int
    job: Job
    undated: solver_jobs.Job
    seats: dict[Seat, tuple[int, ...]] = field(default_factory=dict)


Check = Callable[[Question, RunOrder], None]
"""Refuses an order of a queue with lines, jobs or stations that are unknown, or a job twice."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A queue that was asked about, its jobs by number, and a scheduler for every goal."""

    question: Question
    jobs: Mapping[str, KnownJob]
    schedulers: dict[Goal, Scheduler] = field(default_factory=dict)

    def placed_before(self, order: HandMadeOrder) -> Order | None:
        """Placements of an order that has every job once, each where it was found before that it can run;
        None: it has to be looked at closely.
        """
        if order.left_out_lots:
            return None
        problem = self.question.problem
        lines: list[tuple[Placement, ...]] = [()] * len(problem.plant.lines)
        named = list(order.left_out)
        for line_order in order.lines:
            line, placements = line_order.line, []
            if line not in problem.line_idx:
                return None
            for run in line_order.runs:
                known = self.jobs.get(run.job)
                seat = None if known is None or run.lot else known.seats.get((line, run.stations))
                if seat is None:
                    return None
                placements.append(Placement(problem.job_idx[run.job], seat))
                named.append(run.job)
            line_idx = problem.line_idx[line]
            lines[line_idx] = tuple(placements)
            problem.able.update((line_idx, placed.job_idx, placed.stations) for placed in placements)
        if len(named) != len(problem.job_idx) or set(named) != problem.job_idx.keys():
            return None
        return tuple(lines)

    def placed(self, order: HandMadeOrder, check: Check) -> Order:
        """Placements of an order that is looked at closely; they are remembered."""
        run_order = order.run_order
        check(self.question, run_order)
        placements = self.question.placements(run_order)
        for line_order in order.lines:
            line_placements = placements[self.question.problem.line_idx[line_order.line]]
            for run, placed in zip(line_order.runs, line_placements, strict=True):
                if placed.lot is None:
                    self.jobs[run.job].seats[line_order.line, run.stations] = placed.stations
        return placements


@dataclass(frozen=True, slots=True)
class KnownFits:
    """By goal, what jobs and changeovers take on all versions of a plant that differ in hours and stock."""

    lasting: solver_plant.Plant
    by_goal: dict[Goal, Fits] = field(default_factory=dict)


QuestionKey = tuple[datetime, tuple[tuple[str, int], ...], tuple[Lock, ...], RunOrder | None]


class KnownPlant:
    """A version of a plant with what is remembered of it. For one thread at a time.

    Parameters
    ----------
    before
        The version before it, whose jobs need not be loaded again. What they and changeovers take is kept
        where the two versions differ in hours and stock alone.
    """

    def __init__(self, plant: Plant, before: KnownPlant | None = None) -> None:
        self.plant = plant
        self.jobs: dict[str, KnownJob] = {}
        self.fits: KnownFits | None = None if before is None else before.fits
        self._jobs_before = {} if before is None else before.jobs
        self._asked: OrderedDict[QuestionKey, Asked] = OrderedDict()
        self._checked = False

    def unknown(self, versions: Mapping[str, int]) -> list[str]:
        """Which of these jobs are not known in these versions."""
        return [job for job, version in versions.items() if not self._knows(job, version)]

    def _knows(self, job: str, version: int) -> bool:
        known = self.jobs.get(job)
        if known is not None and known.version == version:
            return True
        before = self._jobs_before.pop(job, None)
        if before is None or before.version != version:
            return False
        self.learn([before.job], {job: version})
        return True

    def learn(self, jobs: Iterable[Job], versions: Mapping[str, int]) -> None:
        """Take up jobs in these versions."""
        for job in jobs:
            self.jobs[job.job] = KnownJob(versions[job.job], job, undated_job_of(self.plant, job))

    def forget_jobs(self, but: Collection[str]) -> None:
        """Forget jobs where they have become many."""
        if len(self.jobs) > MOST_JOBS:
            self.jobs = {job: known for job, known in self.jobs.items() if job in but}

    def asked(
        self, start: datetime, versions: Mapping[str, int], locks: tuple[Lock, ...], in_force: RunOrder | None
    ) -> Asked:
        """A queue of known jobs from a start on."""
        key = (start, tuple(sorted(versions.items())), locks, in_force)
        asked = self._asked.get(key)
        if asked is None:
            known = {job: self.jobs[job] for job, _ in key[1]}
            undated = {job: each.undated for job, each in known.items()}
            jobs = tuple(each.job for each in known.values())
            question = Question(self.plant, jobs, start, locks, in_force, undated)
            asked = self._asked[key] = Asked(question, known)
            if len(self._asked) > MOST_QUESTIONS:
                self._asked.popitem(last=False)
        self._asked.move_to_end(key)
        return asked

    def costed(self, asked: Asked, order: HandMadeOrder, goal: Goal, check: Check, *, rolls: bool) -> Costed:
        """An order with its rolls, if they are to be chosen and there are any; else by usual rolls.

        Raises
        ------
        BadInput
            What the check raises; where plant or jobs contradict themselves, a job cannot run where the order
            has it, or is missing.
        """
        question = asked.question
        placements = asked.placed_before(order) or asked.placed(order, check)
        if rolls and question.problem.plant.has_rolls:
            rolled = question.with_rolls(placements, goal)
        else:
            sequence = account_with(self._scheduler(asked, goal), placements)
            rolled = RolledSequence(question.problem, RollPlan(sequence, (), settled=True))
        return Costed(rolled, question.clock, self.plant.site.name, goal, GOALS[goal])

    def _scheduler(self, asked: Asked, goal: Goal) -> Scheduler:
        problem = asked.question.problem
        by_goal = self._fits_of(problem.plant).by_goal
        if goal in by_goal and by_goal[goal].known > MOST_KNOWN:
            del by_goal[goal]
            for each in self._asked.values():
                each.schedulers.pop(goal, None)
        scheduler = asked.schedulers.get(goal)
        if scheduler is None:
            fits = by_goal.setdefault(goal, Fits(problem, GOALS[goal]))
            scheduler = asked.schedulers[goal] = Scheduler(problem, GOALS[goal], fits)
        return scheduler

    def _fits_of(self, plant: solver_plant.Plant) -> KnownFits:
        if self.fits is None or not self._checked:
            here = lasting(plant)
            if self.fits is None or self.fits.lasting != here:
                self.fits = KnownFits(here)
            self._checked = True
        return self.fits
