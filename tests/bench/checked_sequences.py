"""Sequences that a benchmark measures, before the independent checker."""

from __future__ import annotations

from solver.ledger import web_ledger
from solver.problem import Problem
from solver.sequence import Sequence
from solver.weights import Weights
from tests.checker import check_sequence

CLOSE = 1e-9
"""Relative: costs counted in floating point and exactly may differ by so much."""


class WrongSequenceError(RuntimeError):
    """A sequence that breaks a rule, or costs something else than was said."""


def refuse_wrong(
    name: str, problem: Problem, sequence: Sequence, weights: Weights, said_eur: float | None = None
) -> None:
    """Let nothing pass but a sequence that the checker agrees with.

    Parameters
    ----------
    name
        What the sequence is called in a complaint.
    said_eur
        What its weighed cost was said to be; None where nothing was said.

    Raises
    ------
    WrongSequenceError
        With every complaint.
    """
    complaints = check_sequence(problem, sequence, weights, web_ledger(problem, sequence))
    eur = float(sequence.weighed_eur)
    if said_eur is not None and abs(said_eur - eur) > CLOSE * max(1.0, abs(eur)):
        complaints.append(f"it costs {eur} €, not {said_eur} € as was said")
    if complaints:
        raise WrongSequenceError(f"{name}: {'; '.join(complaints)}")
