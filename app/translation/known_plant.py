"""A plant of which much is remembered, so that orders of its queues are costed while somebody drags a run.

Translating a plant and its jobs, laying jobs out and working changeovers out takes a hundred times as long as
putting runs in time. What hangs on neither the clock nor the stock is kept from question to question, and
from one version of the plant to the next where that changed nothing of it.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
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


@dataclass(frozen=True, slots=True)
class KnownJob:
    """A version of a job, and it for the solver without its times."""

    version: int
    job: Job
    undated: solver_jobs.Job


Check = Callable[[Question, RunOrder], None]
"""Refuses an order of a queue with lines, jobs or stations that are unknown, or a job twice."""
Seat = tuple[str, str, tuple[str, ...] | None]
"""A line, a job that is to run there whole, and its stations, if they are said."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A queue that was asked about; a scheduler for every goal; where its jobs were placed so far."""

    question: Question
    schedulers: dict[Goal, Scheduler] = field(default_factory=dict)
    seats: dict[Seat, Placement] = field(default_factory=dict)

    def placed_before(self, order: HandMadeOrder) -> Order | None:
        """Placements of an order that has every job once, each where it was found before that it can run;
        None: it has to be looked at closely.
        """
        if order.left_out_lots:
            return None
        lines: list[tuple[Placement, ...]] = [()] * len(self.question.problem.plant.lines)
        named = list(order.left_out)
        for line_order in order.lines:
            line, placements = line_order.line, []
            for run in line_order.runs:
                placed = None if run.lot else self.seats.get((line, run.job, run.stations))
                if placed is None:
                    return None
                placements.append(placed)
                named.append(run.job)
            lines[self.question.problem.line_idx[line]] = tuple(placements)
        job_idx = self.question.problem.job_idx
        if len(named) != len(job_idx) or set(named) != job_idx.keys():
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
                    self.seats[line_order.line, run.job, run.stations] = placed
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
    fits
        What is remembered of another version of it; kept where that differs in hours and stock alone.
    """

    def __init__(self, plant: Plant, fits: KnownFits | None = None) -> None:
        self.plant = plant
        self._jobs: dict[str, KnownJob] = {}
        self._asked: OrderedDict[QuestionKey, Asked] = OrderedDict()
        self.fits = fits
        self._checked = False

    def unknown(self, versions: Mapping[str, int]) -> list[str]:
        """Which of these jobs are not known in these versions."""
        jobs = self._jobs
        return [job for job, version in versions.items() if job not in jobs or jobs[job].version != version]

    def learn(self, jobs: Iterable[Job], versions: Mapping[str, int]) -> None:
        """Take up jobs in these versions."""
        if len(self._jobs) > MOST_JOBS:
            self._jobs.clear()
        for job in jobs:
            self._jobs[job.job] = KnownJob(versions[job.job], job, undated_job_of(self.plant, job))

    def asked(
        self, start: datetime, versions: Mapping[str, int], locks: tuple[Lock, ...], in_force: RunOrder | None
    ) -> Asked:
        """A queue of known jobs from a start on."""
        key = (start, tuple(sorted(versions.items())), locks, in_force)
        asked = self._asked.get(key)
        if asked is None:
            known = [self._jobs[job] for job, _ in key[1]]
            undated = {each.undated.id: each.undated for each in known}
            jobs = tuple(each.job for each in known)
            asked = self._asked[key] = Asked(Question(self.plant, jobs, start, locks, in_force, undated))
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
