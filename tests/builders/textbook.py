"""Scheduling problems of textbooks, written as queues of label jobs.

One line whose stations all lie at 0 m, so that a changeover has no strip; stops, job changes,
registers, stock and lateness cost nothing unless they are asked for. Labels are 1 m long, one across,
and run at 1 m/min: a job of p labels runs p minutes. Every job prints with an ink of its own, so a set-up
from one job to another is the wash-up between their inks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from solver.feasibility import station_choices
from solver.jobs import Job, Layer, Version
from solver.locks import AtPosition, Lock
from solver.plant import (
    Aspect,
    AspectRule,
    Consumable,
    Die,
    Line,
    LoadedStation,
    Plant,
    PresentState,
    Station,
    StockedWidth,
    Substrate,
)
from solver.problem import Problem
from solver.sequence import Order, Placement
from solver.sequence import Sequence as RunSequence
from solver.weights import Weights

UM_PER_M = 1_000_000
MS_PER_MIN = 60_000
MIN_PER_H = 60
LABEL_WIDTH_UM = 100_000

SETUP_MINUTES_ONLY = Weights(waste=Fraction(0), changeover=Fraction(1), running=Fraction(0), late=Fraction(0))
"""Own weights: at 1 € a minute the weighed cost is the minutes of set-up and waiting."""

UNLISTED_MIN = 1_000
"""Wash-up between inks that a table of set-ups leaves out: it would not go unnoticed."""

WashUps = Mapping[tuple[str, str], int]
"""Set-up minutes from one ink to another."""


@dataclass(frozen=True, slots=True)
class TextbookJob:
    """A job as textbooks state it.

    Parameters
    ----------
    id
        Its number in the book.
    minutes
        Processing time.
    ready_min, due_min
        Release and due time; None where it has no due time.
    late_eur
        Price of being late at all.
    late_eur_per_min
        Weight: price of a minute's tardiness.
    ink
        The ink it prints with; its id where none is given.
    """

    id: str
    minutes: int = 1
    ready_min: int = 0
    due_min: int | None = None
    late_eur: int = 0
    late_eur_per_min: int = 0
    ink: str | None = None

    @property
    def own_ink(self) -> str:
        return self.id if self.ink is None else self.ink


def textbook_problem(
    jobs: Sequence[TextbookJob],
    wash_up_min: WashUps | None = None,
    loaded_ink: str | None = None,
    eur_per_min: int = 0,
    locks: tuple[Lock, ...] = (),
) -> Problem:
    """One line with one flexo station.

    Parameters
    ----------
    wash_up_min
        Set-ups between inks, 0 included; None where no set-up takes time.
    loaded_ink
        What the station holds at the start; None for an empty one, whose first load is free.
    eur_per_min
        The line's rate.
    """
    loaded = (LoadedStation("flexo-1", {"consumable": loaded_ink}),) if loaded_ink else ()
    inks = {job.own_ink for job in jobs} | ({loaded_ink} if loaded_ink else set())
    unlisted_min = 0 if wash_up_min is None else UNLISTED_MIN
    return Problem(
        _plant(_line(1, unlisted_min, eur_per_min, loaded), inks, wash_up_min or {}),
        tuple(_job(job, (job.own_ink,)) for job in jobs),
        locks,
    )


def matrix_wash_ups(cost_min: Sequence[Sequence[int | None]]) -> dict[tuple[str, str], int]:
    """Wash-ups from a square matrix of set-ups: row from, column to, inks numbered from 1."""
    return {
        (str(before), str(after)): minutes
        for before, row in enumerate(cost_min, start=1)
        for after, minutes in enumerate(row, start=1)
        if minutes is not None and before != after
    }


def closed_tour_problem(cost_min: Sequence[Sequence[int | None]]) -> Problem:
    """A round trip through the cities of a matrix, at 1 € a minute.

    The line stands in city 1, whose ink is loaded; the other cities are jobs; a copy of city 1,
    named "back in 1", is locked last.
    """
    cities = [TextbookJob(str(city)) for city in range(2, len(cost_min) + 1)]
    back = TextbookJob("back in 1", ink="1")
    return textbook_problem(
        [*cities, back],
        matrix_wash_ups(cost_min),
        loaded_ink="1",
        eur_per_min=1,
        locks=(AtPosition(back.id, len(cost_min)),),
    )


def open_path_problem(cost_min: Sequence[Sequence[int | None]]) -> Problem:
    """A path through all cities of a matrix with a free start, at 1 € a minute: the station is empty."""
    cities = [TextbookJob(str(city)) for city in range(1, len(cost_min) + 1)]
    return textbook_problem(cities, matrix_wash_ups(cost_min), eur_per_min=1)


def tool_switching_problem(
    inks_by_job: Sequence[frozenset[str]], stations: int, locks: tuple[Lock, ...] = ()
) -> Problem:
    """Inks as tools, flexo stations as the places of a magazine, at 1 € a minute.

    A job's inks are one group of free order and every station can print each of them. Changing the ink
    of a station takes a minute; the first ink of an empty one is free. Jobs are numbered from 1.
    """
    jobs = tuple(
        _job(TextbookJob(str(number)), tuple(sorted(inks)))
        for number, inks in enumerate(inks_by_job, start=1)
    )
    return Problem(_plant(_line(stations, 1, 1), frozenset().union(*inks_by_job), {}), jobs, locks)


def in_order(problem: Problem, job_ids: Iterable[str]) -> Order:
    """Jobs in this order on the one line, layers at the first feasible stations."""
    job_idxs = [problem.job_idx[job_id] for job_id in job_ids]
    return (tuple(Placement(job_idx, station_choices(problem, 0, job_idx)[0]) for job_idx in job_idxs),)


def job_ids(sequence: RunSequence) -> tuple[str, ...]:
    """Ids of the jobs in the order they run."""
    return tuple(run.job for run in sequence.runs)


def setup_min(sequence: RunSequence) -> Fraction:
    """Minutes of all changeovers."""
    return Fraction(sum(run.changeover.duration_ms for run in sequence.runs if run.changeover), MS_PER_MIN)


def largest_lateness_min(sequence: RunSequence) -> Fraction:
    """Largest end − due, below 0 where every job ends before its due time."""
    return max(
        Fraction(run.end_ms - run.press_due_ms, MS_PER_MIN)
        for run in sequence.runs
        if run.press_due_ms is not None
    )


def _job(job: TextbookJob, inks: tuple[str, ...]) -> Job:
    return Job(
        id=job.id,
        versions=(Version("only", job.minutes),),
        substrate="paper",
        die="one metre",
        layer_groups=(tuple(Layer("ink", ink) for ink in inks),),
        ready_ms=job.ready_min * MS_PER_MIN,
        due_ms=None if job.due_min is None else job.due_min * MS_PER_MIN,
        late_eur=Fraction(job.late_eur),
        late_eur_per_h=Fraction(job.late_eur_per_min * MIN_PER_H),
    )


def _line(
    flexo_stations: int, wash_up_min: int, eur_per_min: int, loaded: tuple[LoadedStation, ...] = ()
) -> Line:
    wash_up = Aspect("consumable", AspectRule.WASH_UP, wash_up_min * MS_PER_MIN)
    flexo = (
        Station(f"flexo-{number}", "flexo", 0, ("ink",), (wash_up,))
        for number in range(1, flexo_stations + 1)
    )
    return Line(
        id="line",
        stations=(Station("splice table", "splice table", 0), *flexo, Station("die", "die", 0, ("die-cut",))),
        web_width_um=LABEL_WIDTH_UM,
        print_width_um=LABEL_WIDTH_UM,
        max_speed_um_min=UM_PER_M,
        setup_speed_um_min=UM_PER_M,
        eur_per_ms=Fraction(eur_per_min, MS_PER_MIN),
        present=PresentState(loaded=loaded),
    )


def _plant(line: Line, inks: Iterable[str], wash_up_min: WashUps) -> Plant:
    return Plant(
        lines=(line,),
        substrates=(Substrate("paper", Fraction(0), (StockedWidth(LABEL_WIDTH_UM),)),),
        dies=(Die("one metre", UM_PER_M, across=1, around=1, label_width_um=LABEL_WIDTH_UM),),
        consumables=tuple(Consumable(ink) for ink in sorted(inks)),
        wash_up_ms={pair: minutes * MS_PER_MIN for pair, minutes in wash_up_min.items()},
    )
