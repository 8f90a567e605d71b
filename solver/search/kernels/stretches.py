"""Stretches of an order that stay as they were in a changed order, but for a shift in time.

Behind a change most runs follow the same run as before, with all they need as before: their changeovers
and what they waste are known, and only the hour is another. Such a stretch is passed over without placing
its runs. It ends where a run needs a station that holds something else than before, or where the shift
moves a run over the edge of a closure, or makes it wait, or no longer wait, for its job to be ready.

Slots are told apart by bits of one number; where two share one, a run is only looked at more closely.
"""

from __future__ import annotations

from typing import Any

from solver.search.kernels.address_book import (
    AT_CLOSURES,
    AT_KEPT,
    AT_KEPT_EUR,
    AT_ORIGIN,
    AT_STATE,
    AT_TRACE,
    AT_TRIAL,
    AT_USES,
    AT_WASH_CODES,
    arrival_rows,
    floats,
    ints,
    ints_2,
    ints_3,
    line_row,
    packed_rows,
    plan_rows,
    set_rows,
    step_rows,
    stock_rows,
    wash_rows,
    word_rows,
)
from solver.search.kernels.changeovers import changed_slots
from solver.search.kernels.compiled import inlined, part
from solver.search.kernels.tables import (
    BEFORE,
    CLOSURE,
    END,
    HEAD,
    NEVER_MS,
    PRINT_CLOSURE,
    PRINT_START,
    SLOT_BITS,
    Ints,
    Rows,
)

GOES_COLD, TOOLS_MOVE, STOCK, ALWAYS = 1 << 59, 1 << 60, 1 << 61, 1 << 62
"""Bits of what else a run may look at: whether channels are awake that it puts to sleep, where scarce tools
are, whether there is stock; one with a fixed start or that waits for stock is always placed."""


@inlined
def pass_over(book: Ints, at: int, runs: int, trial_runs: int) -> tuple[int, float]:
    """Move a line over the stretch of its trial that begins at a position.

    `runs` are those of the order, `trial_runs` of the trial. The state is the line before `at`; it becomes
    the line behind the stretch.

    Returns
    -------
    The position behind the stretch, `at` where there is none, and what the stretch costs.
    """
    kept, kept_eur, steps = ints_2(book, AT_KEPT), floats(book, AT_KEPT_EUR), step_rows(book)
    origin, state = ints(book, AT_ORIGIN), ints(book, AT_STATE)
    line = line_row(book)[0]
    begin = origin[at]
    if begin < 0 or state[BEFORE] != kept[begin, BEFORE]:
        return at, 0.0
    shift_ms = state[END] - kept[begin, END]
    if state[PRINT_START] - kept[begin, PRINT_START] != shift_ms:
        return at, 0.0
    if state[CLOSURE] != kept[begin, CLOSURE] or state[PRINT_CLOSURE] != kept[begin, PRINT_CLOSURE]:
        return at, 0.0
    asleep = line["asleep"]
    differs = differing_slots(book, kept, state, begin, asleep) | ALWAYS
    if stock_rows(book).shape[0] > 0:
        differs |= _differing_stock(stock_rows(book), kept, state, begin, runs, line["drawn_at"], shift_ms)
    if line["places_at"] < state.shape[0]:
        moved = _moved_tools(line, kept, state, begin, shift_ms)
        if moved < 0:
            return at, 0.0
        differs |= moved
    end, late_eur = begin, 0.0
    last = min(runs, begin + trial_runs - at)
    ahead = at - begin
    while end < last and origin[ahead + end] == end:
        step = steps[end]
        if shift_ms != 0 and not -step["earlier_ms"] <= shift_ms <= step["later_ms"]:
            break
        looks_at = step["uses"] & differs
        if looks_at:
            if looks_at & (GOES_COLD | TOOLS_MOVE | ALWAYS):
                break
            if looks_at & STOCK and not _has_stock(
                (stock_rows(book), arrival_rows(book)),
                kept,
                state,
                begin,
                end,
                (line["drawn_at"], shift_ms, step["ready_ms"]),
            ):
                break
            if looks_at & ~STOCK:
                if not changes_alike(book, kept, state, begin, end, step["plan"]):
                    break
                forget_changed(book, kept, state, begin, step["plan"])
                differs &= TOOLS_MOVE | STOCK | ALWAYS
                differs |= differing_slots(book, kept, state, begin, asleep)
        if shift_ms != 0:
            late_ms = step["late_ms"]
            if late_ms > 0:
                late_eur -= step["late_once_eur"] + step["late_ms_eur"] * late_ms
            late_ms += shift_ms
            if late_ms > 0:
                late_eur += step["late_once_eur"] + step["late_ms_eur"] * late_ms
        end += 1
    if end == begin:
        return at, 0.0
    _set_behind(line, kept, state, begin, end, shift_ms)
    return ahead + end, kept_eur[end] - kept_eur[begin] + late_eur


@inlined
def differing_slots(book: Ints, kept: Ints, state: Ints, begin: int, asleep: int) -> int:
    """Slots that hold something else than in the order, as bits, and whether some can be put to sleep."""
    words, end = word_rows(book), line_row(book)[0]["slots_to"] - HEAD
    differs = 0
    for word in range(words.shape[0]):
        other = state[HEAD + word] ^ kept[begin, HEAD + word]
        differs |= (other + words[word]["low"]) & words[word]["top"]
    for column in range(words.shape[0], end):
        differs |= (state[HEAD + column] != kept[begin, HEAD + column]) << (column % SLOT_BITS)
    return differs | GOES_COLD if differs & asleep else differs


@inlined
def changes_alike(book: Ints, kept: Ints, state: Ints, begin: int, at: int, plan_idx: int) -> bool:
    """Whether a run changes as much as in the order, though its stations hold something else, and leaves
    them alike.
    """
    words, packed = word_rows(book), packed_rows(book)
    washed, added, codes = wash_rows(book), set_rows(book), ints_3(book, AT_WASH_CODES)
    alike = True
    for idx in range(words.shape[0]):
        need, word = packed[plan_idx, idx], words[idx]
        low, top, always = word["low"], word["top"], word["always"]
        now = changed_slots(state[HEAD + idx], need["mask"], need["value"], low, top, always)
        before = changed_slots(kept[at, HEAD + idx], need["mask"], need["value"], low, top, always)
        other = state[HEAD + idx] ^ kept[begin, HEAD + idx]
        alike &= (now ^ before) & (other + low) == 0
        alike &= other & need["scarce"] == 0
    for idx in range(washed.shape[1]):
        washing = washed[plan_idx, idx]
        column = HEAD + washing["column"]
        if state[column] != kept[begin, column]:
            alike &= (
                codes[washing["table"], state[column], washing["value"]]
                == codes[washing["table"], kept[at, column], washing["value"]]
            )
    for idx in range(added.shape[1]):
        column, value = HEAD + added[plan_idx, idx]["column"], added[plan_idx, idx]["value"]
        if state[column] != kept[begin, column]:
            # The same members missing, or sets that differ behind the run.
            alike &= state[column] | value == kept[at, column] | value
            alike &= value & ~state[column] == value & ~kept[at, column]
    return bool(alike)


@inlined
def forget_changed(book: Ints, kept: Ints, state: Ints, begin: int, plan_idx: int) -> None:
    """What a run sets no longer differs behind it."""
    for word in range(word_rows(book).shape[0]):
        mask = packed_rows(book)[plan_idx, word]["mask"]
        state[HEAD + word] = (state[HEAD + word] & ~mask) | (kept[begin, HEAD + word] & mask)
    for idx in range(wash_rows(book).shape[1]):
        column = HEAD + wash_rows(book)[plan_idx, idx]["column"]
        state[column] = kept[begin, column]
    for idx in range(set_rows(book).shape[1]):
        column = HEAD + set_rows(book)[plan_idx, idx]["column"]
        state[column] = kept[begin, column]


@part
def _differing_stock(
    stocks: Rows, kept: Ints, state: Ints, begin: int, count: int, drawn_at: int, shift_ms: int
) -> int:
    """The bit of stock where runs must look again whether there is enough of it."""
    for stock in range(stocks.shape[0]):
        drawn = drawn_at + stock
        more_um = state[drawn] - kept[begin, drawn]
        if max(kept[count, drawn], kept[count, drawn] + more_um) > stocks[stock]["on_hand_um"] and (
            more_um != 0 or shift_ms != 0
        ):
            return STOCK
    return 0


@part
def _has_stock(
    rows: tuple[Rows, Rows], kept: Ints, state: Ints, begin: int, at: int, rest: tuple[int, int, int]
) -> bool:
    """Whether a run finds enough stock at once, in the order and now.

    `rows` are stocks and arrivals; `rest` where the state has what is drawn, the shift, and when the run is
    ready.
    """
    stocks, arrivals = rows
    drawn_at, shift_ms, ready_ms = rest
    start_ms = max(kept[at, END], ready_ms)
    shifted_ms = max(kept[at, END] + shift_ms, ready_ms)
    for stock in range(stocks.shape[0]):
        drawn = drawn_at + stock
        if kept[at, drawn] != kept[at + 1, drawn]:
            before_um = kept[at + 1, drawn]
            now_um = before_um + state[drawn] - kept[begin, drawn]
            there_um = now_there_um = stocks[stock]["on_hand_um"]
            for arrival in range(stocks[stock]["arrivals_from"], stocks[stock]["arrivals_to"]):
                if arrivals[arrival]["at_ms"] <= start_ms:
                    there_um += arrivals[arrival]["length_um"]
                if arrivals[arrival]["at_ms"] <= shifted_ms:
                    now_there_um += arrivals[arrival]["length_um"]
            if before_um > there_um or now_um > now_there_um:
                return False
    return True


@part
def _moved_tools(line: Any, kept: Ints, state: Ints, begin: int, shift_ms: int) -> int:
    """Whether scarce tools are where they were: 0, or the bit of what differs, or -1 where they are not.

    Until when one is in use no longer matters once the last run prints, except for the question which
    of several copies is free longest.
    """
    moved = TOOLS_MOVE if shift_ms != 0 else 0
    for at in range(line["in_use_at"], state.shape[0]):
        now, before = state[at], kept[begin, at]
        if line["places_at"] <= at < line["stored_at"]:
            if now != before:
                return -1
        elif now <= state[PRINT_START] and before <= kept[begin, PRINT_START]:
            if now != before:
                if not line["single_copies"]:
                    return -1
                moved = TOOLS_MOVE
        elif now != before + shift_ms:
            return -1
    return moved


@part
def _set_behind(line: Any, kept: Ints, state: Ints, begin: int, end: int, shift_ms: int) -> None:
    """The line behind a stretch: as it was there, but for what differed before and still does."""
    for at in range(HEAD, line["drawn_at"]):
        # What differs still was not changed by the stretch.
        state[at] ^= kept[begin, at] ^ kept[end, at]
    for at in range(line["drawn_at"], line["in_use_at"]):
        state[at] += kept[end, at] - kept[begin, at]
    for at in range(line["in_use_at"], state.shape[0]):
        if kept[end, at] != kept[begin, at]:
            is_place = line["places_at"] <= at < line["stored_at"]
            state[at] = kept[end, at] if is_place else kept[end, at] + shift_ms
    for at in range(HEAD):
        state[at] = kept[end, at]
    state[END] += shift_ms
    state[PRINT_START] += shift_ms


@part
def note_steps(book: Ints, first: int, runs: int) -> None:
    """What stretches need to know of a trial's runs from a position on, once it was placed with snapshots and
    a trace.
    """
    order, kept, trace = ints(book, AT_TRIAL), ints_2(book, AT_KEPT), ints_2(book, AT_TRACE)
    uses, steps = ints(book, AT_USES), step_rows(book)
    for at in range(first, runs):
        plan = plan_rows(book)[order[at]]
        step = steps[at]
        end_ms, before_ms = kept[at + 1, END], kept[at, END]
        step["uses"] = uses[order[at]] | STOCK
        if _tools_move(line_row(book)[0], kept, at):
            step["uses"] |= TOOLS_MOVE
        if trace[at, 0] > max(before_ms, plan["ready_ms"]):
            step["uses"] |= ALWAYS
        if kept[at, CLOSURE] != kept[at + 1, CLOSURE] or plan["ready_ms"] > before_ms or at == 0:
            step["uses"] |= GOES_COLD
        earlier_ms = before_ms - max(plan["ready_ms"], 0)
        window_ms = kept[at, PRINT_START] - plan["window_ms"]
        later_ms = _until_closure(book, kept[at, CLOSURE], before_ms) - 1
        if earlier_ms < 0 or window_ms < 0 or later_ms < 0:
            # It waits, or hidden work does.
            step["earlier_ms"] = step["later_ms"] = 0
        else:
            again_ms = (
                max(line_row(book)[0]["interruption_ms"], line_row(book)[0]["cold_interruption_ms"]) + 1
            )
            print_ms = kept[at + 1, PRINT_START]
            print_closure, closure = kept[at + 1, PRINT_CLOSURE], kept[at + 1, CLOSURE]
            earlier_ms = min(earlier_ms, window_ms, _since_closure(book, kept[at, CLOSURE], before_ms))
            earlier_ms = min(earlier_ms, _since_closure(book, print_closure, print_ms) - again_ms)
            earlier_ms = min(earlier_ms, _since_closure(book, closure, end_ms) - again_ms)
            later_ms = min(later_ms, _until_closure(book, print_closure, print_ms))
            later_ms = min(later_ms, _until_closure(book, closure, end_ms))
            later_ms = min(later_ms, line_row(book)[0]["horizon_ms"] - end_ms)
            step["earlier_ms"], step["later_ms"] = max(0, earlier_ms), max(0, later_ms)
        step["plan"] = order[at]
        step["ready_ms"] = plan["ready_ms"]
        step["late_ms"] = end_ms - plan["due_ms"]
        step["late_once_eur"], step["late_ms_eur"] = plan["late_once_eur"], plan["late_ms_eur"]


@part
def _tools_move(line: Any, kept: Ints, at: int) -> bool:
    moves = False
    for copy in range(line["places_at"], kept.shape[1]):
        moves |= kept[at, copy] != kept[at + 1, copy]
    return bool(moves)


@part
def _until_closure(book: Ints, closure: int, at_ms: int) -> int:
    """Time to the beginning of a closure."""
    if closure >= ints_2(book, AT_CLOSURES).shape[0]:
        return NEVER_MS
    return int(ints_2(book, AT_CLOSURES)[closure, 0] - at_ms)


@part
def _since_closure(book: Ints, closure: int, at_ms: int) -> int:
    """Time since the end of the closure before one."""
    if closure == 0:
        return NEVER_MS
    return int(at_ms - ints_2(book, AT_CLOSURES)[closure - 1, 1])
