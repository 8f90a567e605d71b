"""The tables that kernels read, and the address book they find them by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from solver.search.kernels.address_book import ENTRIES, FIELDS, LINE_ENTRIES, PLANT_ENTRIES
from solver.search.kernels.tables import Flags, Floats, Ints, Randomness, Rows


@dataclass(frozen=True, slots=True)
class LineTables:
    """A line and its run plans.

    `fields` (slots,) and `words` (n,) say where the state keeps what slots hold; `packed` is (plans, words),
    `washed` and `added` (plans, most of them); `used_up_to` (plans, most) the places of the state that note
    until when scarce tools of a plan are in use; `wash_codes` (tables, from, to); `resets` (columns,) flags
    the sets of inkjets; `closures` (n, 2) start and end in ms; `tool_copies` (slots, values, 2) the range of
    copies of the scarce tool that is a value, if it is one; `shape_stocks` (shapes,) the stock of a shape;
    `uses` (plans,) the slots of every plan as bits; `start` (state,) the line as the plan begins. The last
    row of `stocks` stands for all that are not followed; there is none if none is.
    """

    line: Rows
    plans: Rows
    fields: Rows
    words: Rows
    packed: Rows
    washed: Rows
    added: Rows
    tools: Rows
    seats: Rows
    uses: Ints
    used_up_to: Ints
    wash_codes: Ints
    resets: Flags
    closures: Ints
    stocks: Rows
    arrivals: Rows
    tool_copies: Ints
    shape_stocks: Ints
    start: Ints


@dataclass(frozen=True, slots=True)
class WebTables:
    """What a line's web and prices make of changeovers.

    `path` has one row of what holds for the line; `stations` a row each. By shape: `used` and
    `thrown_off` (shapes, stations), `substrates` and `price_stocks` (numbers of substrate and price, -1
    where nothing is threaded). `threading` (shapes, shapes, 2) is time and register metres of the splice
    table's task. `prices` (stocks,) of a µm, in parts of a euro, `um_eur` in euro. By slot:
    `slot_stations`, `slot_registers` and `slot_times` (slots, codes).
    """

    path: Rows
    stations: Rows
    used: Flags
    thrown_off: Flags
    substrates: Ints
    price_stocks: Ints
    threading: Ints
    prices: Ints
    um_eur: Floats
    slot_stations: Ints
    slot_registers: Ints
    slot_times: Ints


@dataclass(frozen=True, slots=True)
class ChangeoverTables:
    """Changeovers known so far: an open hash of `cases` by key, and the same memory as their `setups`.

    `guarded` (cases, tasks, 2) has, by a case's number, station and time of the tasks that may be hidden,
    longest first; `known` how many cases there are.
    """

    cases: Rows
    setups: Rows
    guarded: Ints
    known: Ints


@dataclass(frozen=True, slots=True)
class Scratch:
    """What placing runs writes beside its result.

    `was` is what the columns that the run at hand changes held; `aside` (column, value) of those changed
    before it; `fetched` (copy, slot, station, until when it is in use) of the copies taken; `replaced` what
    the slots of scarce tools held; `dropped` what is left out; `later` (1,) when a run that has to wait for
    stock may start.
    """

    was: Ints
    aside: Ints
    fetched: Ints
    replaced: Ints
    dropped: Flags
    later: Ints


@dataclass(frozen=True, slots=True)
class Placing:
    """An order of a line that is placed in time.

    `state` is the line, changed run by run; `trial` (runs,) the plans in order; `trace` (runs, 8) what comes
    out; `kept` (runs + 1, state) the line before every position and at the end, and `kept_eur` its cost
    there, without the cleaning behind the last run.
    """

    state: Ints
    trial: Ints
    trace: Ints
    kept: Ints
    kept_eur: Floats


@dataclass(frozen=True, slots=True)
class LineWalk:
    """A line on a walk from order to order, beside what `Placing` has, which is of the trial.

    `order` (runs,) are plans; `origin` (runs,) where the trial's runs are in the order, below 0 those that
    are not; `steps` (runs,) what stretches need to know; `late_eur` (runs + 1,) the lateness from a position
    on; `kept_trace` the trace of the order, empty unless starts are asked for.
    """

    order: Ints
    origin: Ints
    steps: Rows
    late_eur: Floats
    kept_trace: Ints


@dataclass(frozen=True, slots=True)
class Choices:
    """What changes of a line's order are drawn from.

    `job_plans` (items, cuts, 2) are the plans of what is to be placed, by how its job is cut; `near` (items,
    k) what likes to follow what, -1 where there are fewer; `exchanged` (plans, pairs) the plan with two
    stations exchanged, or -1.
    """

    job_plans: Ints
    near: Ints
    exchanged: Ints


@dataclass(frozen=True, slots=True)
class Walk:
    """Where a walk over orders of a plant is.

    `lines` are the entries of the lines' books. `counts` and `sums` are by the names in `kernels.walk`. By
    line: `runs` and `trial_runs` of its order and of the trial, `line_eur` and `trial_eur` what they cost by
    themselves, `first_start` and `trial_start` when their first changeovers start. `parts` (n, 3) are what a
    change touches: line, first position, and the one from which on the trial goes on like the order. `place`
    (items,) is where the order has something, -1 where not. `best` is an order of the plant: runs of every
    line, then their plans. `seated` is room for plans; `splits` are the jobs that may be split.
    """

    lines: Ints
    counts: Ints
    sums: Floats
    runs: Ints
    trial_runs: Ints
    line_eur: Floats
    trial_eur: Floats
    first_start: Ints
    trial_start: Ints
    parts: Ints
    place: Ints
    best: Ints
    seated: Ints
    splits: Rows
    left_out: Flags


@dataclass(frozen=True, slots=True)
class LockTables:
    """Locks, and the jobs of those that keep several together; `lock_places` (items, 2) is room for lines and
    positions.
    """

    locks: Rows
    members: Ints
    lock_places: Ints


@dataclass(frozen=True, slots=True)
class Drawing:
    """How changes are drawn: shares of their kinds, and random numbers; `halt` tells to stop. `cycle` and
    `heat` are by the names in `kernels.annealing`.
    """

    shares: Floats
    randomness: Randomness
    halt: Flags
    cycle: Ints
    heat: Floats


@dataclass(frozen=True, slots=True)
class Dispatching:
    """Where a dispatching is, by the names in `kernels.dispatching`."""

    waiting: Ints
    promise: Floats
    dispatched: Ints
    factors: Floats


@dataclass(frozen=True, slots=True)
class Sharing:
    """Lines placed in step, and what they share.

    Of every copy of a shared tool: `copy_place` the place it stands at, -1 in the store, and `copy_free`
    until when it is in use; `present_place` and `present_free` as the plan begins; `copy_tools` which tool it
    is. `standing` (places,) is the copy at every place, or -1. `drawn` (stocks,) is what was taken. `ends`
    (items,) is when what was placed ended, -1 before that, `begins` when its changeover started, and
    `present_ends` the ends as the plan begins; `unbound` what waits for no other. By line: `following` its
    next position, `earliest` a start that it cannot undercut, `not_before` what stock makes it wait for.
    `taken_from` (n, 2) are places that were emptied for a run, with what stood there. `threaded` is the
    followed stock on each line; `waits` (items,) flags what waits for another, empty where nothing does,
    `held_up` lines whose next run may; `places` (places, 3) are line, column and mask of what a place holds.
    """

    copy_place: Ints
    copy_free: Ints
    standing: Ints
    present_place: Ints
    present_free: Ints
    drawn: Ints
    ends: Ints
    present_ends: Ints
    following: Ints
    earliest: Ints
    not_before: Ints
    unbound: Flags
    taken_from: Ints
    copy_tools: Ints
    threaded: Ints
    waits: Flags
    held_up: Ints
    places: Ints
    begins: Ints


@dataclass(frozen=True, slots=True)
class Moments:
    """How far an order is placed, lines in step, at several moments.

    `moment` is all that placing in step changes, one after the other: `following`, the states of the lines,
    and of `Walk` and `Sharing` what says where things are. `moments` (rows, moment) are copies of it;
    `moment_rows` (2, n) the rows of those of the order, the earliest first, and rows for those of the trial.
    """

    moment: Ints
    moments: Ints
    moment_rows: Ints


Tables = (
    LineTables
    | WebTables
    | ChangeoverTables
    | Scratch
    | Placing
    | LineWalk
    | Choices
    | Walk
    | LockTables
    | Drawing
    | Dispatching
    | Sharing
    | Moments
)


class Book:
    """An address book of tables, which it keeps alive; for one thread, since some are written."""

    def __init__(self, *tables: Tables) -> None:
        self.rows: Ints = np.zeros(FIELDS * max(len(LINE_ENTRIES), len(PLANT_ENTRIES)), np.int64)
        self._tables: dict[type[Tables], Tables] = {}
        for each in tables:
            self.enter(each)

    def enter(self, tables: Tables) -> None:
        """Enter tables, in place of those of their kind.

        Raises
        ------
        ValueError
            Where one has not the form that kernels open it in.
        """
        for entry in fields(tables):
            self._enter(entry.name, getattr(tables, entry.name))
        self._tables[type(tables)] = tables

    def _enter(self, name: str, table: npt.NDArray[Any]) -> None:
        at, dimensions, dtype = ENTRIES[name]
        if table.ndim != dimensions or table.dtype != dtype or not table.flags.c_contiguous:
            raise ValueError(
                f"table {name} must be {dimensions}-dimensional {dtype}, is {table.ndim}, {table.dtype}"
            )
        self.rows[at] = table.ctypes.data
        self.rows[at + 1 : at + 1 + dimensions] = table.shape


def entries_of(books: Sequence[Book]) -> Ints:
    """The books of lines as a plant's book has them."""
    found = np.zeros((len(books), FIELDS), np.int64)
    for entry, book in zip(found, books, strict=True):
        entry[:2] = book.rows.ctypes.data, len(book.rows)
    return found.ravel()
