"""Whole orders through the kernels: what they cost, and what they leave out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solver.search.changeover_memo import FIRST_ROOM
from solver.search.compile import CompiledLine, CompiledPlant
from solver.search.islands import no_halt
from solver.search.kernels.orders import place_order
from solver.search.kernels.tables import BEFORE, DONE, FULL, LOW, Floats, Ints
from solver.search.kernels.timeline import place_runs
from solver.search.kernels.walk import TRIED_EUR
from solver.search.walk_room import LineRoom, PlantRoom, no_drawing

NO_LIMIT = float("inf")
SETUP_MS, OUTGOING_UM, INCOMING_UM = 3, 4, 5
"""Columns of what a changeover takes."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """An order of a line placed in time.

    `trace` has a row for every position, in ms and µm: start, print start, end, changeover, outgoing
    and incoming waste, interruptions and their waste; `left_out` are positions that can never start.
    """

    eur: float
    left_out: tuple[int, ...]
    trace: Ints


@dataclass(frozen=True, slots=True)
class DecodedPlant:
    """An order of a plant placed in time: of every line the trace, and the positions that are left out."""

    eur: float
    left_out: tuple[tuple[int, ...], ...]
    traces: tuple[Ints, ...]


class Decoder:
    """Places orders of a line by itself, learning changeovers on the way. For one thread."""

    def __init__(self, compiled: CompiledLine) -> None:
        self.compiled = compiled
        self._left_out = np.zeros(compiled.plant.items, np.uint8)
        self._room: LineRoom | None = None

    @property
    def room(self) -> LineRoom:
        """The book and the changeovers known so far."""
        return self._room_for(self.compiled.plant.room)

    def decode(self, numbers: Ints) -> Decoded:
        """Place an order; runs that can never start are left out, and the rest placed again."""
        self._left_out[:] = 0
        left_out: list[int] = []
        while True:
            code, position, state, eur = self.place(self.compiled.state, self.compiled.eur, numbers, 0)
            if code == DONE:
                break
            left_out.append(position)
            self._left_out[self.compiled.tables.plans[numbers[position]]["item"]] = 1
        # Of the room that it was placed in: a larger one would be new.
        trace = self._room_for(len(numbers)).placing.trace[: len(numbers)].copy()
        trace[left_out] = 0
        return Decoded(eur + self.clean_down_eur(state), tuple(left_out), trace)

    def place(
        self, state: Ints, eur: float, numbers: Ints, first: int, limit_eur: float = NO_LIMIT
    ) -> tuple[int, int, Ints, float]:
        """Place the runs of an order from a position on, after a state and a cost before it.

        Returns `DONE`, `DROPPED`, or `ABOVE` the limit, the position it came to, the state there, and
        the cost so far, without cleaning behind the last run.
        """
        room, position = self._room_for(len(numbers)), first
        room.placing.trial[: len(numbers)] = numbers
        room.placing.state[:] = state
        while True:
            code, position, eur = place_runs(
                room.book.rows, eur, position, len(numbers), limit_eur, False, True, 0, -1
            )
            if code != FULL:
                return code, position, room.placing.state.copy(), eur
            room.enlarge()

    def clean_down_eur(self, state: Ints) -> float:
        """Cleaning behind the last run placed, where it is low-migration work."""
        row = self.compiled.tables.line[0]
        is_last_low = state[BEFORE] >= 0 and state[LOW]
        return float(row["clean_down_out_ms"] * row["stopped_ms_eur"]) if is_last_low else 0.0

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

    def _room_for(self, runs: int) -> LineRoom:
        """Orders may be longer than a queue: a matrix is read off one that has every pair in it."""
        if self._room is None:
            self._room = LineRoom(self.compiled, runs, FIRST_ROOM, self._left_out)
        elif len(self._room.placing.trial) < runs:
            self._room.resize(runs)
        return self._room


class PlantDecoder:
    """Places orders of a plant, its lines in step, learning changeovers on the way. For one thread."""

    def __init__(self, compiled: CompiledPlant) -> None:
        self.compiled = compiled
        halt = no_halt()
        self.room = PlantRoom(compiled, [None] * len(compiled.lines), halt, no_drawing(halt))

    def decode(self, numbers: Ints) -> DecodedPlant:
        """Place an order, as `CompiledPlant.numbers` gives it; runs that can never start are left out."""
        eur = self.eur(numbers)
        walk, orders = self.room.walk, self.compiled.line_numbers(numbers)
        left_out: list[tuple[int, ...]] = []
        traces: list[Ints] = []
        for line, room, order in zip(self.compiled.lines, self.room.lines, orders, strict=True):
            gone = np.flatnonzero(walk.left_out[line.tables.plans["item"][order]])
            trace = room.placing.trace[: len(order)].copy()
            trace[gone] = 0
            left_out.append(tuple(gone.tolist()))
            traces.append(trace)
        return DecodedPlant(eur, tuple(left_out), tuple(traces))

    def eur(self, numbers: Ints) -> float:
        """What an order costs, weighed."""
        while place_order(self.room.book.rows, numbers) == FULL:
            self.room.enlarge()
        return float(self.room.walk.sums[TRIED_EUR])
