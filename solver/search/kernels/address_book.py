"""Tables by their addresses: kernels hand each other one array of numbers instead of forty arrays.

Handing over an array costs several ns and a counted reference, which is more than most kernels' work. An
address book has for every table the address of its first item and up to three lengths; `solver.search.book`
writes it and keeps the tables alive. What is opened here is a view without an owner. Every line of a plant
has a book, and the plant has one, in which the lines' stand.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np
from numba import types
from numba.extending import intrinsic
from numba.np.arrayobj import populate_array

from solver.search.kernels.tables import (
    ARRIVAL,
    CASE,
    FIELD,
    LINE,
    LOCK,
    PACKED_NEED,
    PATH,
    PLAN,
    SEAT,
    SET_NEED,
    SETUP,
    SPLIT,
    STEP,
    STOCK,
    TOOL,
    WASH_NEED,
    WEB_STATION,
    WORD,
    Flags,
    Floats,
    Ints,
    Randomness,
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
    AT_SEATS,
    AT_USES,
    AT_USED_UP_TO,
    AT_WASH_CODES,
    AT_RESETS,
    AT_CLOSURES,
    AT_STOCKS,
    AT_ARRIVALS,
    AT_TOOL_COPIES,
    AT_SHAPE_STOCKS,
    AT_START,
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
    AT_LATER,
    AT_STATE,
    AT_TRIAL,
    AT_TRACE,
    AT_KEPT,
    AT_KEPT_EUR,
    AT_ORDER,
    AT_ORIGIN,
    AT_STEPS,
    AT_LATE_EUR,
    AT_KEPT_TRACE,
    AT_JOB_PLANS,
    AT_NEAR,
    AT_EXCHANGED,
) = range(0, 54 * FIELDS, FIELDS)
"""Where the entry of a line's table begins."""

LINE_ENTRIES: dict[str, tuple[int, int, np.dtype[Any]]] = {
    "line": (AT_LINE, 1, LINE),
    "plans": (AT_PLANS, 1, PLAN),
    "fields": (AT_FIELDS, 1, FIELD),
    "words": (AT_WORDS, 1, WORD),
    "packed": (AT_PACKED, 2, PACKED_NEED),
    "washed": (AT_WASHED, 2, WASH_NEED),
    "added": (AT_ADDED, 2, SET_NEED),
    "tools": (AT_TOOLS, 1, TOOL),
    "seats": (AT_SEATS, 1, SEAT),
    "uses": (AT_USES, 1, np.dtype(np.int64)),
    "used_up_to": (AT_USED_UP_TO, 2, np.dtype(np.int64)),
    "wash_codes": (AT_WASH_CODES, 3, np.dtype(np.int64)),
    "resets": (AT_RESETS, 1, np.dtype(np.uint8)),
    "closures": (AT_CLOSURES, 2, np.dtype(np.int64)),
    "stocks": (AT_STOCKS, 1, STOCK),
    "arrivals": (AT_ARRIVALS, 1, ARRIVAL),
    "tool_copies": (AT_TOOL_COPIES, 3, np.dtype(np.int64)),
    "shape_stocks": (AT_SHAPE_STOCKS, 1, np.dtype(np.int64)),
    "start": (AT_START, 1, np.dtype(np.int64)),
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
    "later": (AT_LATER, 1, np.dtype(np.int64)),
    "state": (AT_STATE, 1, np.dtype(np.int64)),
    "trial": (AT_TRIAL, 1, np.dtype(np.int64)),
    "trace": (AT_TRACE, 2, np.dtype(np.int64)),
    "kept": (AT_KEPT, 2, np.dtype(np.int64)),
    "kept_eur": (AT_KEPT_EUR, 1, np.dtype(np.float64)),
    "order": (AT_ORDER, 1, np.dtype(np.int64)),
    "origin": (AT_ORIGIN, 1, np.dtype(np.int64)),
    "steps": (AT_STEPS, 1, STEP),
    "late_eur": (AT_LATE_EUR, 1, np.dtype(np.float64)),
    "kept_trace": (AT_KEPT_TRACE, 2, np.dtype(np.int64)),
    "job_plans": (AT_JOB_PLANS, 3, np.dtype(np.int64)),
    "near": (AT_NEAR, 2, np.dtype(np.int64)),
    "exchanged": (AT_EXCHANGED, 2, np.dtype(np.int64)),
}
"""By name of a table: where its entry begins, its dimensions, what it holds."""

(
    AT_LINES,
    AT_COUNTS,
    AT_SUMS,
    AT_RUNS,
    AT_TRIAL_RUNS,
    AT_LINE_EUR,
    AT_TRIAL_EUR,
    AT_FIRST_START,
    AT_TRIAL_START,
    AT_PARTS,
    AT_PLACE,
    AT_BEST,
    AT_SEATED,
    AT_SPLITS,
    AT_LOCKS,
    AT_MEMBERS,
    AT_LOCK_PLACES,
    AT_LEFT_OUT,
    AT_SHARES,
    AT_RANDOMNESS,
    AT_HALT,
    AT_CYCLE,
    AT_HEAT,
    AT_WAITING,
    AT_PROMISE,
    AT_DISPATCHED,
    AT_FACTORS,
    AT_COPY_PLACE,
    AT_COPY_FREE,
    AT_STANDING,
    AT_PRESENT_PLACE,
    AT_PRESENT_FREE,
    AT_DRAWN,
    AT_ENDS,
    AT_PRESENT_ENDS,
    AT_FOLLOWING,
    AT_EARLIEST,
    AT_NOT_BEFORE,
    AT_UNBOUND,
    AT_TAKEN_FROM,
    AT_COPY_TOOLS,
    AT_THREADED,
    AT_WAITS,
    AT_HELD_UP,
    AT_PLACES,
    AT_BEGINS,
    AT_MOMENT,
    AT_MOMENTS,
    AT_MOMENT_ROWS,
) = range(0, 49 * FIELDS, FIELDS)
"""Where the entry of a plant's table begins."""

PLANT_ENTRIES: dict[str, tuple[int, int, np.dtype[Any]]] = {
    "lines": (AT_LINES, 1, np.dtype(np.int64)),
    "counts": (AT_COUNTS, 1, np.dtype(np.int64)),
    "sums": (AT_SUMS, 1, np.dtype(np.float64)),
    "runs": (AT_RUNS, 1, np.dtype(np.int64)),
    "trial_runs": (AT_TRIAL_RUNS, 1, np.dtype(np.int64)),
    "line_eur": (AT_LINE_EUR, 1, np.dtype(np.float64)),
    "trial_eur": (AT_TRIAL_EUR, 1, np.dtype(np.float64)),
    "first_start": (AT_FIRST_START, 1, np.dtype(np.int64)),
    "trial_start": (AT_TRIAL_START, 1, np.dtype(np.int64)),
    "parts": (AT_PARTS, 2, np.dtype(np.int64)),
    "place": (AT_PLACE, 1, np.dtype(np.int64)),
    "best": (AT_BEST, 1, np.dtype(np.int64)),
    "seated": (AT_SEATED, 1, np.dtype(np.int64)),
    "splits": (AT_SPLITS, 1, SPLIT),
    "locks": (AT_LOCKS, 1, LOCK),
    "members": (AT_MEMBERS, 1, np.dtype(np.int64)),
    "lock_places": (AT_LOCK_PLACES, 2, np.dtype(np.int64)),
    "left_out": (AT_LEFT_OUT, 1, np.dtype(np.uint8)),
    "shares": (AT_SHARES, 1, np.dtype(np.float64)),
    "randomness": (AT_RANDOMNESS, 1, np.dtype(np.uint64)),
    "halt": (AT_HALT, 1, np.dtype(np.uint8)),
    "cycle": (AT_CYCLE, 1, np.dtype(np.int64)),
    "heat": (AT_HEAT, 1, np.dtype(np.float64)),
    "waiting": (AT_WAITING, 1, np.dtype(np.int64)),
    "promise": (AT_PROMISE, 1, np.dtype(np.float64)),
    "dispatched": (AT_DISPATCHED, 1, np.dtype(np.int64)),
    "factors": (AT_FACTORS, 1, np.dtype(np.float64)),
    "copy_place": (AT_COPY_PLACE, 1, np.dtype(np.int64)),
    "copy_free": (AT_COPY_FREE, 1, np.dtype(np.int64)),
    "standing": (AT_STANDING, 1, np.dtype(np.int64)),
    "present_place": (AT_PRESENT_PLACE, 1, np.dtype(np.int64)),
    "present_free": (AT_PRESENT_FREE, 1, np.dtype(np.int64)),
    "drawn": (AT_DRAWN, 1, np.dtype(np.int64)),
    "ends": (AT_ENDS, 1, np.dtype(np.int64)),
    "present_ends": (AT_PRESENT_ENDS, 1, np.dtype(np.int64)),
    "following": (AT_FOLLOWING, 1, np.dtype(np.int64)),
    "earliest": (AT_EARLIEST, 1, np.dtype(np.int64)),
    "not_before": (AT_NOT_BEFORE, 1, np.dtype(np.int64)),
    "unbound": (AT_UNBOUND, 1, np.dtype(np.uint8)),
    "taken_from": (AT_TAKEN_FROM, 2, np.dtype(np.int64)),
    "copy_tools": (AT_COPY_TOOLS, 1, np.dtype(np.int64)),
    "threaded": (AT_THREADED, 1, np.dtype(np.int64)),
    "waits": (AT_WAITS, 1, np.dtype(np.uint8)),
    "held_up": (AT_HELD_UP, 1, np.dtype(np.int64)),
    "places": (AT_PLACES, 2, np.dtype(np.int64)),
    "begins": (AT_BEGINS, 1, np.dtype(np.int64)),
    "moment": (AT_MOMENT, 1, np.dtype(np.int64)),
    "moments": (AT_MOMENTS, 2, np.dtype(np.int64)),
    "moment_rows": (AT_MOMENT_ROWS, 2, np.dtype(np.int64)),
}
"""By name of a table: where its entry begins, its dimensions, what it holds."""

ENTRIES = LINE_ENTRIES | PLANT_ENTRIES


_populate: Any = populate_array


def _view(item: np.dtype[Any], dimensions: int) -> Any:
    """The type of a table of such items: rows that follow each other in memory, without an owner."""
    return types.Array(numba.from_dtype(item), dimensions, "C")


def _write_view(context: Any, builder: Any, book: tuple[Any, Any], first: Any, view: Any) -> Any:
    """Write out how an entry of an address book, which is a type and a value, becomes a view."""
    book_type, book_value = book
    numbers = context.make_array(book_type)(context, builder, book_value).data

    def entry(number: int) -> Any:
        place = builder.add(first, context.get_constant(types.intp, number))
        return builder.load(builder.gep(numbers, [place]))

    table = context.make_array(view)(context, builder)
    shape = [entry(1 + dimension) for dimension in range(view.ndim)]
    size = context.get_constant(types.intp, context.get_abi_sizeof(context.get_data_type(view.dtype)))
    strides = [size]
    for length in reversed(shape[1:]):
        strides.insert(0, builder.mul(strides[0], length))
    data = builder.inttoptr(entry(0), table.data.type)
    _populate(table, data=data, shape=shape, strides=strides, itemsize=size, meminfo=None)
    return table._getvalue()  # noqa: SLF001  # how structures of the compiler give their value


def _opener(item: Any, dimensions: int) -> Any:
    """What opens any entry of such a table. Written out where it is called, it takes little to compile."""
    view = _view(np.dtype(item), dimensions)

    def opened(typing_context: Any, book: Any, at: Any) -> Any:
        def write(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            first = context.cast(builder, arguments[1], signature.args[1], types.intp)
            return _write_view(context, builder, (signature.args[0], arguments[0]), first, view)

        return view(book, at), write

    return intrinsic(opened)


def _opener_of(name: str) -> Any:
    """What opens the one table of a name."""
    at, dimensions, item = ENTRIES[name]
    view = _view(item, dimensions)

    def opened(typing_context: Any, book: Any) -> Any:
        def write(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            first = context.get_constant(types.intp, at)
            return _write_view(context, builder, (signature.args[0], arguments[0]), first, view)

        return view(book), write

    return intrinsic(opened)


ints: Callable[[Ints, int], Ints] = _opener(np.int64, 1)
"""Open a table of numbers, by where its entry begins; the others have more dimensions, money or flags."""
ints_2: Callable[[Ints, int], Ints] = _opener(np.int64, 2)
ints_3: Callable[[Ints, int], Ints] = _opener(np.int64, 3)
floats: Callable[[Ints, int], Floats] = _opener(np.float64, 1)
flags: Callable[[Ints, int], Flags] = _opener(np.uint8, 1)
flags_2: Callable[[Ints, int], Flags] = _opener(np.uint8, 2)

line_row: Callable[[Ints], Rows] = _opener_of("line")
"""Open the one table of the kind; a line and its web path have one row."""
plan_rows: Callable[[Ints], Rows] = _opener_of("plans")
field_rows: Callable[[Ints], Rows] = _opener_of("fields")
word_rows: Callable[[Ints], Rows] = _opener_of("words")
packed_rows: Callable[[Ints], Rows] = _opener_of("packed")
wash_rows: Callable[[Ints], Rows] = _opener_of("washed")
set_rows: Callable[[Ints], Rows] = _opener_of("added")
tool_rows: Callable[[Ints], Rows] = _opener_of("tools")
stock_rows: Callable[[Ints], Rows] = _opener_of("stocks")
arrival_rows: Callable[[Ints], Rows] = _opener_of("arrivals")
path_row: Callable[[Ints], Rows] = _opener_of("path")
station_rows: Callable[[Ints], Rows] = _opener_of("stations")
case_rows: Callable[[Ints], Rows] = _opener_of("cases")
setup_rows: Callable[[Ints], Rows] = _opener_of("setups")
seat_rows: Callable[[Ints], Rows] = _opener_of("seats")
step_rows: Callable[[Ints], Rows] = _opener_of("steps")
lock_rows: Callable[[Ints], Rows] = _opener_of("locks")
split_rows: Callable[[Ints], Rows] = _opener_of("splits")
randomness_of: Callable[[Ints], Randomness] = _opener_of("randomness")
