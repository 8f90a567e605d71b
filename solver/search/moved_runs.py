"""What moved runs cost, pair by pair, for whoever looks at pairs of runs before any order of them."""

from __future__ import annotations

import numpy as np

from solver.search.kernels.tables import NO_JOB, Floats, Ints, Rows


def moved_eur(before: Ints, after: Rows) -> Floats:
    """(before, after) what it costs that the runs `after` stand directly behind runs of the jobs `before`,
    `NO_JOB` for first on the line, where the sequence in force has them elsewhere.
    """
    behind = before[:, None]
    stays = (behind == after["follows"]) | (behind == after["also_follows"]) | (behind == after["or_follows"])
    return np.where(stays, 0.0, after["moved_eur"])


def moved_first_eur(started: Rows, after: Rows) -> Floats:
    """(after,) the same of the line's first run, behind one that had started if there is one."""
    before = started["job"] if len(started) else np.array([NO_JOB])
    first: Floats = moved_eur(before, after)[0]
    return first
