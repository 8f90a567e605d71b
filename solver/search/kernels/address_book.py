"""Tables by their addresses: kernels hand each other one array of numbers instead of forty arrays.

Handing over an array costs several ns and a counted reference, which is more than most kernels' work. An
address book has for every table the address of its first item and up to three lengths; `solver.search.book`
writes it and keeps the tables alive. What is opened here is a view without an owner.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from solver.search.kernels.compiled import part, part_by_constant
from solver.search.kernels.tables import (
    ARRIVAL,
    CASE,
    FIELD,
    LINE,
    PACKED_NEED,
    PATH,
    PLAN,
    SET_NEED,
    SETUP,
    STOCK,
    TOOL,
    WASH_NEED,
    WEB_STATION,
    WORD,
    Flags,
    Floats,
    Ints,
    Rows,
)

FIELDS = 4
"""Numbers of an entry: address and lengths."""


(
    AT_LINE,
    AT_PLANS,
    AT_FIELDS,
    AT_WORDS,
    AT_PACKED,
    AT_WASHED,
    AT_ADDED,
    AT_TOOLS,
    AT_USED_UP_TO,
    AT_WASH_CODES,
    AT_RESETS,
    AT_CLOSURES,
    AT_STOCKS,
    AT_ARRIVALS,
    AT_TOOL_COPIES,
    AT_SHAPE_STOCKS,
    AT_PATH,
    AT_STATIONS,
    AT_USED,
    AT_THROWN_OFF,
    AT_SUBSTRATES,
    AT_PRICE_STOCKS,
    AT_THREADING,
    AT_PRICES,
    AT_UM_EUR,
    AT_SLOT_STATIONS,
    AT_SLOT_REGISTERS,
    AT_SLOT_TIMES,
    AT_CASES,
    AT_SETUPS,
    AT_GUARDED,
    AT_KNOWN,
    AT_WAS,
    AT_ASIDE,
    AT_FETCHED,
    AT_REPLACED,
    AT_DROPPED,
) = range(0, 37 * FIELDS, FIELDS)
"""Where a table's entry begins."""

ENTRIES: dict[str, tuple[int, int, np.dtype[Any]]] = {
    "line": (AT_LINE, 1, LINE),
    "plans": (AT_PLANS, 1, PLAN),
    "fields": (AT_FIELDS, 1, FIELD),
    "words": (AT_WORDS, 1, WORD),
    "packed": (AT_PACKED, 2, PACKED_NEED),
    "washed": (AT_WASHED, 2, WASH_NEED),
    "added": (AT_ADDED, 2, SET_NEED),
    "tools": (AT_TOOLS, 1, TOOL),
    "used_up_to": (AT_USED_UP_TO, 2, np.dtype(np.int64)),
    "wash_codes": (AT_WASH_CODES, 3, np.dtype(np.int64)),
    "resets": (AT_RESETS, 1, np.dtype(np.uint8)),
    "closures": (AT_CLOSURES, 2, np.dtype(np.int64)),
    "stocks": (AT_STOCKS, 1, STOCK),
    "arrivals": (AT_ARRIVALS, 1, ARRIVAL),
    "tool_copies": (AT_TOOL_COPIES, 3, np.dtype(np.int64)),
    "shape_stocks": (AT_SHAPE_STOCKS, 1, np.dtype(np.int64)),
    "path": (AT_PATH, 1, PATH),
    "stations": (AT_STATIONS, 1, WEB_STATION),
    "used": (AT_USED, 2, np.dtype(np.uint8)),
    "thrown_off": (AT_THROWN_OFF, 2, np.dtype(np.uint8)),
    "substrates": (AT_SUBSTRATES, 1, np.dtype(np.int64)),
    "price_stocks": (AT_PRICE_STOCKS, 1, np.dtype(np.int64)),
    "threading": (AT_THREADING, 3, np.dtype(np.int64)),
    "prices": (AT_PRICES, 1, np.dtype(np.int64)),
    "um_eur": (AT_UM_EUR, 1, np.dtype(np.float64)),
    "slot_stations": (AT_SLOT_STATIONS, 1, np.dtype(np.int64)),
    "slot_registers": (AT_SLOT_REGISTERS, 1, np.dtype(np.int64)),
    "slot_times": (AT_SLOT_TIMES, 2, np.dtype(np.int64)),
    "cases": (AT_CASES, 1, CASE),
    "setups": (AT_SETUPS, 1, SETUP),
    "guarded": (AT_GUARDED, 3, np.dtype(np.int64)),
    "known": (AT_KNOWN, 1, np.dtype(np.int64)),
    "was": (AT_WAS, 1, np.dtype(np.int64)),
    "aside": (AT_ASIDE, 2, np.dtype(np.int64)),
    "fetched": (AT_FETCHED, 2, np.dtype(np.int64)),
    "replaced": (AT_REPLACED, 1, np.dtype(np.int64)),
    "dropped": (AT_DROPPED, 1, np.dtype(np.uint8)),
}
"""By name of a table: where its entry begins, its dimensions, what it holds."""


def _pointing(typing_context: Any, address: Any) -> Any:
    """How an address becomes a pointer."""

    def write(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.inttoptr(arguments[0], cgutils.voidptr_t)

    return types.voidptr(address), write


_pointer: Any = intrinsic(_pointing)
carray: Any = numba.carray  # type: ignore[attr-defined]  # its stubs do not export it


@part_by_constant
def ints(book: Ints, at: int) -> Ints:
    """A table of numbers."""
    table: Ints = carray(_pointer(book[at]), (book[at + 1],), np.int64)
    return table


@part_by_constant
def ints_2(book: Ints, at: int) -> Ints:
    """A table of numbers in two dimensions."""
    table: Ints = carray(_pointer(book[at]), (book[at + 1], book[at + 2]), np.int64)
    return table


@part_by_constant
def ints_3(book: Ints, at: int) -> Ints:
    """A table of numbers in three dimensions."""
    table: Ints = carray(_pointer(book[at]), (book[at + 1], book[at + 2], book[at + 3]), np.int64)
    return table


@part_by_constant
def floats(book: Ints, at: int) -> Floats:
    """A table of money."""
    table: Floats = carray(_pointer(book[at]), (book[at + 1],), np.float64)
    return table


@part_by_constant
def flags(book: Ints, at: int) -> Flags:
    """A table of flags."""
    table: Flags = carray(_pointer(book[at]), (book[at + 1],), np.uint8)
    return table


@part_by_constant
def flags_2(book: Ints, at: int) -> Flags:
    """A table of flags in two dimensions."""
    table: Flags = carray(_pointer(book[at]), (book[at + 1], book[at + 2]), np.uint8)
    return table


@part
def line_row(book: Ints) -> Rows:
    """The line, one row."""
    table: Rows = carray(_pointer(book[AT_LINE]), (book[AT_LINE + 1],), LINE)
    return table


@part
def plan_rows(book: Ints) -> Rows:
    """The run plans."""
    table: Rows = carray(_pointer(book[AT_PLANS]), (book[AT_PLANS + 1],), PLAN)
    return table


@part
def field_rows(book: Ints) -> Rows:
    """Where the state keeps what slots hold."""
    table: Rows = carray(_pointer(book[AT_FIELDS]), (book[AT_FIELDS + 1],), FIELD)
    return table


@part
def word_rows(book: Ints) -> Rows:
    """The words that pack many slots."""
    table: Rows = carray(_pointer(book[AT_WORDS]), (book[AT_WORDS + 1],), WORD)
    return table


@part
def packed_rows(book: Ints) -> Rows:
    """What plans need in those words."""
    table: Rows = carray(_pointer(book[AT_PACKED]), (book[AT_PACKED + 1], book[AT_PACKED + 2]), PACKED_NEED)
    return table


@part
def wash_rows(book: Ints) -> Rows:
    """The consumables that plans need."""
    table: Rows = carray(_pointer(book[AT_WASHED]), (book[AT_WASHED + 1], book[AT_WASHED + 2]), WASH_NEED)
    return table


@part
def set_rows(book: Ints) -> Rows:
    """The sets that plans need."""
    table: Rows = carray(_pointer(book[AT_ADDED]), (book[AT_ADDED + 1], book[AT_ADDED + 2]), SET_NEED)
    return table


@part
def tool_rows(book: Ints) -> Rows:
    """Slots of plans where scarce tools come and go."""
    table: Rows = carray(_pointer(book[AT_TOOLS]), (book[AT_TOOLS + 1],), TOOL)
    return table


@part
def stock_rows(book: Ints) -> Rows:
    """The followed stocks."""
    table: Rows = carray(_pointer(book[AT_STOCKS]), (book[AT_STOCKS + 1],), STOCK)
    return table


@part
def arrival_rows(book: Ints) -> Rows:
    """What arrives of them."""
    table: Rows = carray(_pointer(book[AT_ARRIVALS]), (book[AT_ARRIVALS + 1],), ARRIVAL)
    return table


@part
def path_row(book: Ints) -> Rows:
    """The web path, one row."""
    table: Rows = carray(_pointer(book[AT_PATH]), (book[AT_PATH + 1],), PATH)
    return table


@part
def station_rows(book: Ints) -> Rows:
    """The stations on it."""
    table: Rows = carray(_pointer(book[AT_STATIONS]), (book[AT_STATIONS + 1],), WEB_STATION)
    return table


@part
def case_rows(book: Ints) -> Rows:
    """The changeovers known so far."""
    table: Rows = carray(_pointer(book[AT_CASES]), (book[AT_CASES + 1],), CASE)
    return table


@part
def setup_rows(book: Ints) -> Rows:
    """Their set-ups, four rows in the place of a case."""
    table: Rows = carray(_pointer(book[AT_SETUPS]), (book[AT_SETUPS + 1],), SETUP)
    return table
