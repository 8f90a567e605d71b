"""The tables that kernels read, and the address book they find them by."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from solver.search.kernels.address_book import ENTRIES, FIELDS
from solver.search.kernels.tables import Flags, Floats, Ints, Rows


@dataclass(frozen=True, slots=True)
class LineTables:
    """A line and its run plans.

    `fields` (slots,) and `words` (n,) say where the state keeps what slots hold; `packed` is (plans, words),
    `washed` and `added` (plans, most of them); `used_up_to` (plans, most) the places of the state that note
    until when scarce tools of a plan are in use; `wash_codes` (tables, from, to); `resets` (columns,) flags
    the sets of inkjets; `closures` (n, 2) start and end in ms; `tool_copies` (slots, values, 2) the range of
    copies of the scarce tool that is a value, if it is one; `shape_stocks` (shapes,) the stock of a shape.
    The last row of `stocks` stands for all that are not followed; there is none if none is.
    """

    line: Rows
    plans: Rows
    fields: Rows
    words: Rows
    packed: Rows
    washed: Rows
    added: Rows
    tools: Rows
    used_up_to: Ints
    wash_codes: Ints
    resets: Flags
    closures: Ints
    stocks: Rows
    arrivals: Rows
    tool_copies: Ints
    shape_stocks: Ints


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
    before it;
    `fetched` (copy, slot, station) of the copies taken; `replaced` what the slots of scarce tools held;
    `dropped` jobs that are left out.
    """

    was: Ints
    aside: Ints
    fetched: Ints
    replaced: Ints
    dropped: Flags


Tables = LineTables | WebTables | ChangeoverTables | Scratch


class Book:
    """An address book of tables, which it keeps alive; for one thread, since some are written."""

    def __init__(self, *tables: Tables) -> None:
        self.rows: Ints = np.zeros(len(ENTRIES) * FIELDS, np.int64)
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
