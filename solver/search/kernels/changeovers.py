"""The changeovers known so far, found by key and worked out on first sight.

A case is a shape, the shape before it, and what of its slots changes. It has a set-up for a line held with
nothing hidden, one with all hidden that may be, one run out, and cases of its own for some hidden.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from solver.search.kernels.address_book import (
    AT_GUARDED,
    AT_KNOWN,
    AT_PRICE_STOCKS,
    AT_SLOT_REGISTERS,
    AT_SLOT_STATIONS,
    AT_SLOT_TIMES,
    AT_THREADING,
    AT_THROWN_OFF,
    AT_UM_EUR,
    AT_USED,
    AT_WAS,
    AT_WASH_CODES,
    case_rows,
    field_rows,
    flags_2,
    floats,
    ints,
    ints_2,
    ints_3,
    packed_rows,
    path_row,
    plan_rows,
    set_rows,
    setup_rows,
    station_rows,
    wash_rows,
    word_rows,
)
from solver.search.kernels.compiled import compiled, part
from solver.search.kernels.splits import Handover, cheapest_split
from solver.search.kernels.tables import (
    ALL_HIDDEN,
    NONE_HIDDEN,
    ROWS_A_CASE,
    RUN_OUT,
    TOO_LONG_MS,
    Ints,
    Rows,
)

NO_KEY = -1
SCATTER, SCATTER_CHANGES = -7046029254386353131, 0x2545F4914F6CDD1D
"""Odd numbers that spread keys and changes over the hash: 2^64 over the golden ratio, as a signed number, and
the multiplier of xorshift64*."""
STATION_BITS = 20
"""Stations of a line fit in so many bits."""


@part
def find(cases: Rows, key: int, changes: int) -> int:
    """The row of the case with a key and changes, or -1."""
    mask = cases.shape[0] - 1
    spot = (((key + changes * SCATTER_CHANGES) * SCATTER) >> 24) & mask
    while True:
        found = cases[np.uint64(spot)]["key"]
        if found == key and cases[np.uint64(spot)]["changes"] == changes:
            return int(spot)
        if found == NO_KEY:
            return -1
        spot = (spot + 1) & mask


@compiled
def insert(cases: Rows, key: int, changes: int) -> int:
    """Give a key and changes that are not there yet a row of their own; there must be room."""
    mask = cases.shape[0] - 1
    spot = (((key + changes * SCATTER_CHANGES) * SCATTER) >> 24) & mask
    while cases[spot]["key"] != NO_KEY:
        spot = (spot + 1) & mask
    cases[spot]["key"], cases[spot]["changes"] = key, changes
    return int(spot)


@part
def changed_slots(held: int, mask: int, value: int, low: int, top: int, always: int) -> int:
    """The slots of a word that a plan changes, by their tops.

    `held` and `value` are what they hold and shall hold, `mask` the fields of those that the plan needs;
    the rest is the word's row.
    """
    return (((held ^ value) & mask) + low) & (always | held + low) & top


@part
def partly_hidden_key(number: int, stations: int) -> int:
    """The key of a case of its own, for a case of which only some guarded tasks are hidden."""
    return -2 - ((number << STATION_BITS) | stations)


@part
def hidden_stations(book: Ints, spot: int, unit: int, window_ms: int, hands: int, late_stations: int) -> int:
    """Stations, as bits, whose tasks are hidden: longest first, those that still fit.

    A task must fit in the window, and all of them in the hands' share of it; at late stations it would
    need a tool that is still in use.
    """
    case, guarded = case_rows(book)[spot], ints_3(book, AT_GUARDED)
    window = window_ms * unit
    left = window * hands
    stations = 0
    for task in range(case["guarded"]):
        station = 1 << guarded[case["number"], task, 0]
        duration = guarded[case["number"], task, 1]
        if duration <= window and duration <= left and not late_stations & station:
            stations |= station
            left -= duration
    return stations


@part
def learn(
    book: Ints, plan_idx: int, shape_before: int, key: int, changes: int, kind: int, hidden: int
) -> int:
    """Work out a set-up that is not known yet; returns its row, or -1 where there is no room for it.

    Parameters
    ----------
    key, changes
        The case's. What the columns that the plan changes held is in `was`.
    kind, hidden
        Which of its set-ups; `hidden` stations as bits where only some guarded tasks are hidden, else 0.
    """
    known, guarded, cases = ints(book, AT_KNOWN), ints_3(book, AT_GUARDED), case_rows(book)
    used, thrown_off, stations = flags_2(book, AT_USED), flags_2(book, AT_THROWN_OFF), station_rows(book)
    if known[0] + 2 > guarded.shape[0]:
        return -1
    durations = np.zeros(stations.shape[0], np.int64)
    registers = np.zeros(stations.shape[0], np.int64)
    note_changes(book, plan_idx, shape_before, durations, registers)
    spot = find(cases, key, changes)
    if spot < 0:
        spot = _add_case(cases, known, key, changes)
        _note_guarded(book, spot, shape_before, durations)
    if kind == ALL_HIDDEN:
        for task in range(cases[spot]["guarded"]):
            hidden |= 1 << guarded[cases[spot]["number"], task, 0]
    elif kind == NONE_HIDDEN and hidden:
        partly_key = partly_hidden_key(cases[spot]["number"], hidden)
        spot = find(cases, partly_key, changes)
        if spot < 0:
            spot = _add_case(cases, known, partly_key, changes)
    shape = plan_rows(book)[plan_idx]["shape"]
    tasks = np.zeros(stations.shape[0], np.int64)
    count = 0
    for station in range(stations.shape[0]):
        if durations[station] > 0 and not hidden >> station & 1:
            tasks[count] = station
            durations[count] = durations[station]
            count += 1
        if station > 0 and used[shape, station] and thrown_off[shape_before, station]:
            registers[station] = max(registers[station], stations[station]["reengage_um"])
    handover = Handover(shape_before, shape, kind == RUN_OUT, count, tasks, durations, registers)
    _write(book, setup_rows(book)[ROWS_A_CASE * spot + kind], handover)
    return spot


@part
def _write(book: Ints, setup: Any, handover: Handover) -> None:
    """Write what a handover takes."""
    ms, outgoing_um, incoming_um = cheapest_split(book, handover)
    um_eur, stocks = floats(book, AT_UM_EUR), ints(book, AT_PRICE_STOCKS)
    incoming_eur = um_eur[stocks[handover.shape]]
    outgoing_eur = incoming_eur
    if stocks[handover.shape_before] >= 0:
        outgoing_eur = um_eur[stocks[handover.shape_before]]
    eur = outgoing_um * outgoing_eur + incoming_um * incoming_eur + ms * path_row(book)[0]["ms_eur"]
    setup["outgoing_um"], setup["incoming_um"], setup["eur"], setup["ms"] = outgoing_um, incoming_um, eur, ms


@part
def note_changes(book: Ints, plan_idx: int, shape_before: int, durations: Ints, registers: Ints) -> None:
    """By station: times of what changes added up, and the largest of its register metres."""
    was = ints(book, AT_WAS)
    fields, words, packed = field_rows(book), word_rows(book), packed_rows(book)
    washed, added, wash_codes = wash_rows(book), set_rows(book), ints_3(book, AT_WASH_CODES)
    for slot in range(fields.shape[0]):
        field = fields[slot]
        if field["top"]:
            word, need = words[field["column"]], packed[plan_idx, field["column"]]
            changed = changed_slots(
                was[field["column"]], need["mask"], need["value"], word["low"], word["top"], word["always"]
            )
            _note(book, slot, int(changed & field["top"] != 0), durations, registers)
    for idx in range(washed.shape[1]):
        washing = washed[plan_idx, idx]
        code = wash_codes[washing["table"], was[washing["column"]], washing["value"]]
        _note(book, washing["slot"], code, durations, registers)
    for idx in range(added.shape[1]):
        adding = added[plan_idx, idx]
        _note(book, adding["slot"], members(adding["value"] & ~was[adding["column"]]), durations, registers)
    shape = plan_rows(book)[plan_idx]["shape"]
    at_table = ints_3(book, AT_THREADING)
    if at_table[shape_before, shape, 0] > 0:
        durations[0] += at_table[shape_before, shape, 0]
        registers[0] = max(registers[0], at_table[shape_before, shape, 1])


@part
def _note(book: Ints, slot: int, code: int, durations: Ints, registers: Ints) -> None:
    if code > 0 and ints_2(book, AT_SLOT_TIMES)[slot, code] > 0:
        station = ints(book, AT_SLOT_STATIONS)[slot]
        durations[station] += ints_2(book, AT_SLOT_TIMES)[slot, code]
        registers[station] = max(registers[station], ints(book, AT_SLOT_REGISTERS)[slot])


@part
def _add_case(cases: Rows, known: Ints, key: int, changes: int) -> int:
    spot = insert(cases, key, changes)
    cases[spot]["number"] = known[0]
    known[0] += 1
    return spot


@part
def _note_guarded(book: Ints, spot: int, shape_before: int, durations: Ints) -> None:
    """Which of a case's tasks may be hidden: longest first, ties upstream first."""
    unit, stations, used = path_row(book)[0]["unit"], station_rows(book), flags_2(book, AT_USED)
    case, guarded = case_rows(book)[spot], ints_3(book, AT_GUARDED)
    number = case["number"]
    count = total = longest = 0
    for station in range(1, durations.shape[0]):
        duration = durations[station]
        if duration > 0 and stations[station]["hideable"] and not used[shape_before, station]:
            task = count
            while task > 0 and guarded[number, task - 1, 1] < duration:
                guarded[number, task, 0] = guarded[number, task - 1, 0]
                guarded[number, task, 1] = guarded[number, task - 1, 1]
                task -= 1
            guarded[number, task, 0] = station
            guarded[number, task, 1] = duration
            count += 1
            total += duration
            longest = max(longest, duration)
    case["guarded"] = count
    case["guarded_ms"] = min(TOO_LONG_MS, -(-total // unit))
    case["longest_ms"] = TOO_LONG_MS if total > TOO_LONG_MS * unit else -(-longest // unit)


@part
def members(bits: int) -> int:
    """How many bits are set."""
    count = 0
    while bits:
        bits &= bits - 1
        count += 1
    return count
