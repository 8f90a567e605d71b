"""Dies and cylinders with fewer copies than stations that may hold them: who has which.

The same rules as `solver.copies` on one line, where a copy in use is always free when the next run
starts: the question is only which station it is taken from.
"""

from __future__ import annotations

from typing import Any

from solver.search.kernels.address_book import (
    AT_ASIDE,
    AT_FETCHED,
    AT_REPLACED,
    AT_TOOL_COPIES,
    field_rows,
    ints,
    ints_2,
    ints_3,
    line_row,
    plan_rows,
    tool_rows,
)
from solver.search.kernels.compiled import inlined, part
from solver.search.kernels.tables import HEAD, Ints


@inlined
def fetch(book: Ints, state: Ints, plan_idx: int) -> int:
    """Take a plan's scarce tools from elsewhere, emptying slots of this line they stood in.

    Returns how many; `fetched` gets (copy, slot, station, until when it is in use) of each, `aside` (column,
    value) of what was changed, ended by -1; `replaced` what the plan's slots of scarce tools then hold.
    """
    plan, line, tools = plan_rows(book)[plan_idx], line_row(book)[0], tool_rows(book)
    fetched, aside, replaced = ints_2(book, AT_FETCHED), ints_2(book, AT_ASIDE), ints(book, AT_REPLACED)
    count = emptied = 0
    for entry in range(plan["tools_from"], plan["tools_to"]):
        tool = tools[entry]
        if tool["tool"] < 0 or held(book, state, tool["slot"]) == tool["value"]:
            continue
        chosen = tool["copies_from"]
        if tool["copies_to"] - chosen > 1:
            chosen = _longest_free(book, state, plan_idx, entry, count)
        place = state[line["places_at"] + chosen]
        if place >= 0:
            column = field_rows(book)[place]["column"]
            aside[emptied, 0] = column
            aside[emptied, 1] = state[HEAD + column]
            state[HEAD + column] &= ~field_rows(book)[place]["mask"]
            emptied += 1
        fetched[count, 0] = chosen
        fetched[count, 1] = tool["slot"]
        fetched[count, 2] = tool["station"]
        fetched[count, 3] = _free_ms(line, state, chosen)
        count += 1
    aside[emptied, 0] = -1
    for entry in range(plan["tools_from"], plan["tools_to"]):
        replaced[entry - plan["tools_from"]] = held(book, state, tools[entry]["slot"])
    return count


@inlined
def held(book: Ints, state: Ints, slot: int) -> int:
    """The number of what a slot holds."""
    field = field_rows(book)[slot]
    return int((state[HEAD + field["column"]] & field["mask"]) >> field["shift"])


@part
def _longest_free(book: Ints, state: Ints, plan_idx: int, entry: int, count: int) -> int:
    """The copy that a plan takes for an entry of its tools."""
    tool = tool_rows(book)[entry]
    chosen = -1
    for copy in range(tool["copies_from"], tool["copies_to"]):
        if not _spoken_for(book, state, plan_idx, tool["tool"], copy, count) and (
            chosen < 0 or _sooner(line_row(book)[0], state, copy, chosen)
        ):
            chosen = copy
    return chosen


@part
def _spoken_for(book: Ints, state: Ints, plan_idx: int, tool: int, copy: int, count: int) -> bool:
    """Whether a copy is taken already, or stands where the plan needs it anyway."""
    for taken in range(count):
        if ints_2(book, AT_FETCHED)[taken, 0] == copy:
            return True
    plan = plan_rows(book)[plan_idx]
    place = state[line_row(book)[0]["places_at"] + copy]
    for other in range(plan["tools_from"], plan["tools_to"]):
        if tool_rows(book)[other]["tool"] == tool and tool_rows(book)[other]["slot"] == place:
            return True
    return False


@part
def _sooner(line: Any, state: Ints, copy: int, other: int) -> bool:
    """Whether a copy is taken rather than another: from the store first, then the longest free, then
    in web order.
    """
    place, other_place = state[line["places_at"] + copy], state[line["places_at"] + other]
    if (place >= 0) != (other_place >= 0):
        return bool(place < 0)
    free_ms, other_free_ms = _free_ms(line, state, copy), _free_ms(line, state, other)
    if free_ms != other_free_ms:
        return free_ms < other_free_ms
    return bool(place < other_place)


@part
def _free_ms(line: Any, state: Ints, copy: int) -> int:
    """Until when a copy is in use."""
    place = state[line["places_at"] + copy]
    return int(state[line["stored_at"] + copy] if place < 0 else state[line["in_use_at"] + place])


@inlined
def late_stations(book: Ints, fetched: int, opens_ms: int) -> int:
    """Stations, as bits, whose tools are still in use when the window of hidden work opens."""
    stations = 0
    for taken in range(fetched):
        if ints_2(book, AT_FETCHED)[taken, 3] > opens_ms:
            stations |= 1 << ints_2(book, AT_FETCHED)[taken, 2]
    return stations


@inlined
def move_tools(book: Ints, state: Ints, plan_idx: int, count: int) -> None:
    """Note where scarce tools are once a plan is set, which fetched so many: what it replaced is in the
    store.
    """
    plan, line, tools = plan_rows(book)[plan_idx], line_row(book)[0], tool_rows(book)
    copies, fetched, replaced = (
        ints_3(book, AT_TOOL_COPIES),
        ints_2(book, AT_FETCHED),
        ints(book, AT_REPLACED),
    )
    for entry in range(plan["tools_from"], plan["tools_to"]):
        slot = tools[entry]["slot"]
        before = replaced[entry - plan["tools_from"]]
        if before != tools[entry]["value"]:
            for copy in range(copies[slot, before, 0], copies[slot, before, 1]):
                if state[line["places_at"] + copy] == slot:
                    state[line["stored_at"] + copy] = state[line["in_use_at"] + slot]
                    state[line["places_at"] + copy] = -1
    for idx in range(count):
        state[line["places_at"] + fetched[idx, 0]] = fetched[idx, 1]
