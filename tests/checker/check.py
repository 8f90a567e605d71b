"""The one question: is this sequence right?"""

from __future__ import annotations

from solver.problem import Problem
from solver.sequence import Sequence
from solver.weights import Weights
from tests.checker.left_out import left_out_complaints
from tests.checker.lock_rules import lock_complaints
from tests.checker.money import cost_complaints, line_complaints
from tests.checker.replay import replay
from tests.checker.runs import schedule_complaints
from tests.checker.structure import job_complaints, placement_complaints
from tests.checker.structure import line_complaints as plant_line_complaints
from tests.checker.web import Ledger, ledger_complaints


def check_sequence(
    problem: Problem, sequence: Sequence, weights: Weights, ledger: Ledger | None = None
) -> list[str]:
    """Recompute a sequence from its order alone and name every rule it violates.

    Parameters
    ----------
    problem, weights
        What the sequence was made for.
    sequence
        The sequence to be checked: jobs, stations, times, changeovers, money and locks.
    ledger
        The pieces of every line's web; None to leave them unchecked.

    Returns
    -------
    One sentence for every violated rule; none if all is right. Where jobs, lines or stations do not
    even make an order, only that is told.
    """
    complaints = plant_line_complaints(problem, sequence) + job_complaints(problem, sequence)
    if complaints:
        return complaints
    complaints = placement_complaints(problem, sequence)
    if complaints:
        return complaints
    play = replay(problem, sequence, weights)
    complaints += schedule_complaints(play, {(run.job, run.placement.lot): run for run in sequence.runs})
    complaints += line_complaints(play, sequence)
    complaints += cost_complaints(play, sequence, weights)
    complaints += lock_complaints(problem, sequence)
    complaints += left_out_complaints(play, sequence)
    return complaints if ledger is None else complaints + ledger_complaints(play, ledger)
