"""Room for the changeovers that kernels work out, and what they need to know for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from solver.changeover import SPLICE_TABLE
from solver.layout import MS_PER_MIN
from solver.plant import Line
from solver.problem import Problem
from solver.search.book import ChangeoverTables, WebTables
from solver.search.kernels.changeover_room import move_cases
from solver.search.kernels.changeovers import NO_KEY
from solver.search.kernels.tables import (
    CASE,
    PATH,
    SETUP,
    WEB_STATION,
    Ints,
    Rows,
)
from solver.search.slots import Slots
from solver.sequence import Stock
from solver.tooling import EMPTY, Loaded, change_ms
from solver.weights import Weights

FIRST_ROOM = 1 << 12
"""Cases there is room for at first; the room doubles when it is used up."""
HASH_ROWS_A_CASE = 2
NOTHING_THREADED = -1
NOT_KNOWN = -1
LARGEST_MONEY = 1 << 61
"""Money of a changeover in parts of a euro stays below this: where prices are so fine that it would not,
they are rounded to coarser parts."""


@dataclass(frozen=True, slots=True)
class Shape:
    """Which stations a run uses, on which stock, and which are thrown off meanwhile.

    `threaded` is what the splice table's aspects hold. The line's present state has a shape too: it uses
    no station, and its stock may be None.
    """

    used: tuple[int, ...]
    stock: Stock | None
    thrown_off: frozenset[int]
    threaded: Loaded


def room_for_changeovers(stations: int, cases: int = FIRST_ROOM) -> ChangeoverTables:
    """Empty tables. An island needs its own."""
    rows = _empty_hash(cases)
    return ChangeoverTables(
        cases=rows,
        setups=rows.view(SETUP),
        guarded=np.zeros((cases, stations, 2), np.int64),
        known=np.zeros(1, np.int64),
    )


def doubled(before: ChangeoverTables) -> ChangeoverTables:
    """The same changeovers with room for twice as many."""
    cases = _empty_hash(2 * len(before.guarded))
    setups = cases.view(SETUP)
    move_cases(before.cases, before.setups, cases, setups)
    return ChangeoverTables(
        cases=cases,
        setups=setups,
        guarded=np.concatenate([before.guarded, np.zeros_like(before.guarded)]),
        known=before.known.copy(),
    )


def _empty_hash(cases: int) -> Rows:
    rows = np.zeros(cases * HASH_ROWS_A_CASE, CASE)
    rows.view(SETUP)["ms"] = NOT_KNOWN
    rows["key"] = NO_KEY
    return rows


def web_tables(
    problem: Problem, weights: Weights, line: Line, slots: Slots, shapes: Sequence[Shape]
) -> WebTables:
    """A line's web, its prices under a goal, and what changes between shapes take."""
    unit = math.lcm(line.setup_speed_um_min, slots.unit)
    stocks = list(dict.fromkeys(shape.stock for shape in shapes if shape.stock is not None))
    substrates = list(dict.fromkeys(stock.substrate for stock in stocks))
    um_eur = [weights.waste_eur_per_um(problem.eur_per_um(stock)) for stock in stocks]
    ms_eur = weights.changeover * line.eur_per_ms
    *prices, ms_price = _in_parts([*um_eur, ms_eur], line, slots)
    every = range(len(line.stations))
    codes = max((len(slot.times) for slot in slots.slots), default=1)
    return WebTables(
        path=_path_row(line, unit, ms_price, float(ms_eur)),
        stations=_station_rows(line),
        used=np.array([[idx in shape.used for idx in every] for shape in shapes], np.uint8),
        thrown_off=np.array([[idx in shape.thrown_off for idx in every] for shape in shapes], np.uint8),
        substrates=np.array(
            [
                NOTHING_THREADED if shape.stock is None else substrates.index(shape.stock.substrate)
                for shape in shapes
            ],
            np.int64,
        ),
        price_stocks=np.array(
            [NOTHING_THREADED if shape.stock is None else stocks.index(shape.stock) for shape in shapes],
            np.int64,
        ),
        threading=_threading(problem, line, shapes, unit),
        prices=np.array(prices, np.int64),
        um_eur=np.array([float(eur) for eur in um_eur], np.float64),
        slot_stations=np.array([slot.station_idx for slot in slots.slots] + [0], np.int64),
        slot_registers=np.array([slot.aspect.register_um for slot in slots.slots] + [0], np.int64),
        slot_times=np.array(
            [
                [int(time * unit) for time in slot.times] + [0] * (codes - len(slot.times))
                for slot in slots.slots
            ]
            + [[0] * codes],
            np.int64,
        ),
    )


def _in_parts(eur: Sequence[Fraction], line: Line, slots: Slots) -> list[int]:
    """Prices as integers in one part of a euro, so that equal costs compare equal."""
    parts = math.lcm(*(each.denominator for each in eur))
    longest_ms = sum(max(slot.times) for slot in slots.slots) + line.job_change_ms
    longest_ms += (len(line.stations) + 1) * line.stop_ms
    longest_um = 4 * line.stations[-1].x_um + line.settle_um + line.job_change_um
    longest_um += sum(slot.aspect.register_um for slot in slots.slots) + 2 * line.pull_back_um
    longest_um += len(line.stations) * (len(line.stations) + 1) * line.restart_um
    longest_um += sum(station.reengage_um + station.lift_um for station in line.stations)
    longest_ms += Fraction(longest_um * MS_PER_MIN, line.setup_speed_um_min)
    dearest = max(eur[:-1], default=Fraction(0)) * longest_um + eur[-1] * longest_ms
    parts = min(parts, int(LARGEST_MONEY / (dearest + 1)))
    return [round(each * parts) for each in eur]


def _path_row(line: Line, unit: int, ms_price: int, ms_eur: float) -> Rows:
    row = np.zeros(1, PATH)
    row["last_x_um"] = line.stations[-1].x_um
    row["zone_from_um"] = line.pull_back_from_um
    row["zone_to_um"] = line.pull_back_to_um
    row["pull_back_um"] = line.pull_back_um
    row["restart_um"] = line.restart_um
    row["splice_um"] = line.splice_um
    row["settle_um"] = line.settle_um
    row["job_change_um"] = line.job_change_um
    row["registers_in_turn"] = line.registers_in_turn
    row["hands"] = line.hands
    row["unit"] = unit
    row["stop_units"] = line.stop_ms * unit
    row["job_change_units"] = line.job_change_ms * unit
    row["passing_units"] = MS_PER_MIN * unit // line.setup_speed_um_min
    row["ms_price"] = ms_price
    row["ms_eur"] = ms_eur
    return row


def _station_rows(line: Line) -> Rows:
    rows = np.zeros(len(line.stations), WEB_STATION)
    for row, station in zip(rows, line.stations, strict=True):
        row["x_um"] = station.x_um
        row["lift_um"] = station.lift_um
        row["reengage_um"] = station.reengage_um
        row["jets"] = station.is_inkjet
        row["hideable"] = station.guarded and line.hands_while_running > 0
    return rows


def _threading(problem: Problem, line: Line, shapes: Sequence[Shape], unit: int) -> Ints:
    """(shape before, shape, 2) time and register metres at the splice table; nothing while it is empty."""
    found = np.zeros((len(shapes), len(shapes), 2), np.int64)
    aspects = line.stations[SPLICE_TABLE].aspects
    taken: dict[tuple[Loaded, Loaded], tuple[int, int]] = {}
    for before_idx, before in enumerate(shapes):
        for idx, shape in enumerate(shapes):
            pair = before.threaded, shape.threaded
            if pair not in taken:
                time, register_um = Fraction(0), 0
                for aspect, held, value in zip(aspects, *pair, strict=False):
                    if held != EMPTY and value != EMPTY:
                        change = change_ms(problem, aspect, held, value)
                        time += change
                        register_um = max(register_um, aspect.register_um) if change else register_um
                taken[pair] = int(time * unit), register_um
            found[before_idx, idx] = taken[pair]
    return found
