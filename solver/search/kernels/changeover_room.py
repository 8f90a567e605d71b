"""More room for the changeovers known so far: an open hash moved into a larger one."""

from __future__ import annotations

from solver.search.kernels.changeovers import NO_KEY, insert
from solver.search.kernels.compiled import compiled
from solver.search.kernels.tables import ROWS_A_CASE, Rows


@compiled
def move_cases(before: Rows, setups_before: Rows, cases: Rows, setups: Rows) -> None:
    """Give every case of a hash, with its set-ups, a place in another one that has room for all."""
    for spot in range(before.shape[0]):
        if before[spot]["key"] != NO_KEY:
            moved = insert(cases, before[spot]["key"], before[spot]["changes"])
            # The case lies over the first of its set-ups' rows.
            cases[moved] = before[spot]
            for row in range(1, ROWS_A_CASE):
                setups[ROWS_A_CASE * moved + row] = setups_before[ROWS_A_CASE * spot + row]
