"""Whole orders of one line through the kernel: what an order costs, and what it leaves out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solver.search.book import Book, Scratch
from solver.search.changeover_memo import doubled, room_for_changeovers
from solver.search.compile import CompiledLine
from solver.search.kernels.tables import BEFORE, DONE, DROPPED, FULL, Floats, Ints
from solver.search.kernels.timeline import place_runs

NO_LIMIT = float("inf")
TRACED = 8
"""Columns of a trace."""
SETUP_MS, OUTGOING_UM, INCOMING_UM = 3, 4, 5
"""Columns of what a changeover takes."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """An order placed in time.

    `trace` has a row for every position, in ms and µm: start, print start, end, changeover, outgoing
    and incoming waste, interruptions and their waste; `left_out` are positions that can never start.
    """

    eur: float
    left_out: tuple[int, ...]
    trace: Ints


class Decoder:
    """Places orders of a compiled line, learning changeovers on the way. For one thread."""

    def __init__(self, compiled: CompiledLine) -> None:
        self.compiled = compiled
        self.changeovers = room_for_changeovers(len(compiled.web.stations))
        self.scratch = new_scratch(compiled)
        self.book = Book(compiled.tables, compiled.web, self.changeovers, self.scratch)
        self._no_snapshots = np.zeros((0, len(compiled.state)), np.int64)
        self._no_costs = np.zeros(0)

    def decode(self, numbers: Ints) -> Decoded:
        """Place an order; runs that can never start are left out, and the rest placed again."""
        trace = np.zeros((len(numbers), TRACED), np.int64)
        self.scratch.dropped[:] = 0
        left_out: list[int] = []
        while True:
            code, position, eur = self._place(numbers, trace)
            if code == DONE:
                return Decoded(eur, tuple(left_out), trace)
            left_out.append(position)
            trace[position:] = 0
            self.scratch.dropped[self.compiled.tables.plans[numbers[position]]["job"]] = 1

    def changeover_costs(self, numbers: Ints) -> tuple[Ints, Floats]:
        """Time in ms and money of every changeover of an order; 0 for runs that are left out."""
        compiled, web = self.compiled, self.compiled.web
        rows, trace = compiled.tables.plans, self.decode(numbers).trace
        before = compiled.state[BEFORE]
        shape_before = compiled.tables.line[0]["present_shape"] if before < 0 else rows["shape"][before]
        stocks = web.price_stocks[np.array([shape_before, *rows["shape"][numbers]])]
        outgoing_eur = np.where(stocks[:-1] >= 0, web.um_eur[stocks[:-1]], 0.0)
        eur = trace[:, OUTGOING_UM] * outgoing_eur + trace[:, INCOMING_UM] * web.um_eur[stocks[1:]]
        return trace[:, SETUP_MS], eur + trace[:, SETUP_MS] * float(web.path[0]["ms_eur"])

    def _place(self, numbers: Ints, trace: Ints) -> tuple[int, int, float]:
        state, eur, position = self.compiled.state.copy(), self.compiled.eur, 0
        while True:
            code, position, eur = place_runs(
                self.book.rows,
                state,
                eur,
                numbers,
                position,
                len(numbers),
                NO_LIMIT,
                self._no_snapshots,
                self._no_costs,
                trace,
            )
            if code == FULL:
                self.changeovers = doubled(self.changeovers)
                self.book.enter(self.changeovers)
            elif code in (DONE, DROPPED):
                return code, position, eur
            else:
                raise RuntimeError(f"a decode without a limit came back with {code}")


def new_scratch(compiled: CompiledLine) -> Scratch:
    """Room for what a decode of the line writes beside its result."""
    slots = len(compiled.slots.slots)
    return Scratch(
        was=np.zeros(compiled.packing.columns, np.int64),
        aside=np.zeros((2 * slots + 2, 2), np.int64),
        fetched=np.zeros((slots + 1, 3), np.int64),
        replaced=np.zeros(slots + 1, np.int64),
        dropped=np.zeros(len(compiled.problem.jobs), np.uint8),
    )
