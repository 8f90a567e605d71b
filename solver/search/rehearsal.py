"""Every way of searching, once, on next to nothing.

Where that was never done on this machine, it compiles everything that any search needs; elsewhere it takes it
from disk. Either way a process that has rehearsed begins a search at once, and so does one forked from it: no
thread is left behind.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from solver.feasibility import station_choices
from solver.jobs import Job, Layer, Version
from solver.locks import AtPosition
from solver.plant import Aspect, AspectRule, Consumable, Die, Line, Plant, Station, StockedWidth, Substrate
from solver.problem import Problem
from solver.search.changeover_memo import doubled, room_for_changeovers
from solver.search.decoded_costing import DecodedCosting
from solver.search.kernels.annealing import anneal
from solver.search.kernels.changeover_room import move_cases
from solver.search.kernels.compiled import is_on_disk
from solver.search.kernels.orders import place_order
from solver.search.kernels.path_descent import search_path
from solver.search.kernels.tour import search_tour
from solver.search.pairwise import FEWEST_RUNS
from solver.search.preparation import nothing_collected
from solver.search.rolled import solve_with_rolls
from solver.search.stop import Stop
from solver.sequence import Placement
from solver.weights import Weights

ENTRIES = (anneal, search_path, search_tour, place_order, move_cases)
"""The kernels that searches and their reasons call; all others are called by these."""

WIDTH_UM, REPEAT_UM, SPEED_UM_MIN = 100_000, 1_000_000, 50_000_000
CHANGE_MS = 60_000


def is_rehearsed() -> bool:
    """Whether all that any search needs was compiled on this machine before."""
    return all(is_on_disk(kernel) for kernel in ENTRIES)


def rehearse() -> None:
    """Search next to nothing in every way there is."""
    with nothing_collected():
        for problem in _queues():
            solve_with_rolls(problem, Weights(), Stop(work=1), threads=1)
            placements = tuple(
                Placement(job_idx, station_choices(problem, 0, job_idx)[0])
                for job_idx in range(len(problem.jobs))
            )
            DecodedCosting(problem, Weights(), (placements,)).outcomes([(placements,)])
        doubled(room_for_changeovers(1))


def _queues() -> Iterator[Problem]:
    """One that is placed in time, under a lock; then lines on which the queue is a matrix: a path to due
    times, and a round trip.
    """
    few, many = FEWEST_RUNS - 1, FEWEST_RUNS + 1
    yield replace(_queue(few), locks=(AtPosition("0", 1),))
    yield _queue(many, due_ms=CHANGE_MS)
    yield _queue(many)


def _queue(jobs: int, due_ms: int | None = None) -> Problem:
    """So many jobs on one line, each with another ink. There is a better order than the one they stand in:
    nothing is searched where there is none.
    """
    inks = [f"ink {number}" for number in range(jobs)]
    wash_up = Aspect("consumable", AspectRule.WASH_UP, CHANGE_MS)
    line = Line(
        id="line",
        stations=(
            Station("splice table", "splice table", 0),
            Station("flexo", "flexo", 0, ("ink",), (wash_up,)),
            Station("die", "die", 0, ("die-cut",)),
        ),
        web_width_um=WIDTH_UM,
        print_width_um=WIDTH_UM,
        max_speed_um_min=SPEED_UM_MIN,
        setup_speed_um_min=SPEED_UM_MIN,
        eur_per_ms=Fraction(1, CHANGE_MS),
    )
    return Problem(
        Plant(
            lines=(line,),
            substrates=(Substrate("paper", Fraction(0), (StockedWidth(WIDTH_UM),)),),
            dies=(Die("one metre", REPEAT_UM, across=1, around=1, label_width_um=WIDTH_UM),),
            consumables=tuple(map(Consumable, inks)),
            wash_up_ms={
                (before, after): CHANGE_MS * (1 + (number * place) % jobs)
                for number, before in enumerate(inks)
                for place, after in enumerate(inks)
                if before != after
            },
        ),
        tuple(
            Job(
                id=str(number),
                versions=(Version("only", 100 * (number + 1)),),
                substrate="paper",
                die="one metre",
                layer_groups=((Layer("ink", ink),),),
                due_ms=due_ms,
                late_eur_per_h=Fraction(60),
            )
            for number, ink in enumerate(inks)
        ),
    )
