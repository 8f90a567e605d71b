"""A line's order placed in time: starts, changeovers and costs, run by run.

The same rules as `solver.schedule`, in integers; a test compares them on drawn orders.
"""

from __future__ import annotations

import numpy as np

from solver.search.kernels.address_book import (
    AT_ASIDE,
    AT_CLOSURES,
    AT_DROPPED,
    AT_KEPT,
    AT_KEPT_EUR,
    AT_LATER,
    AT_RESETS,
    AT_SHAPE_STOCKS,
    AT_STATE,
    AT_TRACE,
    AT_TRIAL,
    AT_USED_UP_TO,
    AT_WAS,
    AT_WASH_CODES,
    arrival_rows,
    case_rows,
    flags,
    floats,
    ints,
    ints_2,
    ints_3,
    line_row,
    packed_rows,
    path_row,
    plan_rows,
    set_rows,
    setup_rows,
    stock_rows,
    wash_rows,
    word_rows,
)
from solver.search.kernels.changeovers import (
    changed_slots,
    find,
    hidden_stations,
    learn,
    members,
    partly_hidden_key,
)
from solver.search.kernels.closures import first_ending_after, open_between, work_through
from solver.search.kernels.compiled import compiled, part
from solver.search.kernels.scarce_tools import fetch, late_stations, move_tools
from solver.search.kernels.tables import (
    ABOVE,
    ALL_HIDDEN,
    BEFORE,
    CLOSURE,
    DONE,
    DROPPED,
    END,
    FULL,
    HEAD,
    LATER,
    LOW,
    NEVER_MS,
    NO_JOB,
    NONE_HIDDEN,
    PRINT_CLOSURE,
    PRINT_START,
    ROWS_A_CASE,
    RUN_OUT,
    TOO_LONG_MS,
    Ints,
)

LARGEST = (1 << 63) - 1


@compiled
def place_runs(
    book: Ints,
    eur: float,
    first: int,
    count: int,
    limit_eur: float,
    keeps: bool,
    traces: bool,
    not_before_ms: int,
    fetched_before: int,
) -> tuple[int, int, float]:
    """Place the runs of the book's trial from position `first` to before `count`, after its state.

    Parameters
    ----------
    eur
        The line's cost so far.
    limit_eur
        Ends once the cost so far is above it.
    keeps, traces
        Whether snapshots are kept before every position, and a trace written: in ms and µm start, print
        start, end, changeover, outgoing and incoming waste, interruptions and their waste.
    not_before_ms
        The runs start then or later.
    fetched_before
        Copies of shared tools that were fetched for the one run to be placed, as lines in step do; -1 where a
        line is placed by itself: then it fetches its scarce tools, and waits for stock without looking at
        other lines.

    Returns
    -------
    One of `DONE`, `ABOVE`, `FULL`, `DROPPED`, `LATER`; the position it came to; the cost so far.
    """
    # Positions are unsigned: of signed ones kernels first ask whether they count from the end.
    # Opened here, and nothing of the loop written as a function of arrays: handing them over at every turn
    # would take longer than all the rest.
    line = line_row(book)[0]
    plans, closures = plan_rows(book), ints_2(book, AT_CLOSURES)
    words, packed, washed, added = word_rows(book), packed_rows(book), wash_rows(book), set_rows(book)
    wash_codes, stocks = ints_3(book, AT_WASH_CODES), stock_rows(book)
    shape_stocks, used_up_to = ints(book, AT_SHAPE_STOCKS), ints_2(book, AT_USED_UP_TO)
    cases, setups = case_rows(book), setup_rows(book)
    was, aside, dropped = ints(book, AT_WAS), ints_2(book, AT_ASIDE), flags(book, AT_DROPPED)
    state, order = ints(book, AT_STATE), ints(book, AT_TRIAL)
    unit = path_row(book)[0]["unit"]
    alone = fetched_before < 0
    counts_stock = stocks.shape[0] > 0
    for position in range(first, count):
        plan_idx = order[np.uint64(position)]
        own = np.uint64(plan_idx)
        plan = plans[own]
        if keeps:
            # Item by item: assigning a row takes long to compile.
            kept = ints_2(book, AT_KEPT)
            for at in range(state.shape[0]):
                kept[position, at] = state[at]
            floats(book, AT_KEPT_EUR)[position] = eur
        if dropped[np.uint64(plan["item"])]:
            continue
        end_ms, before = state[END], state[BEFORE]
        start_ms = max(end_ms, plan["ready_ms"], not_before_ms)
        shape_before = line["present_shape"] if before < 0 else plans[np.uint64(before)]["shape"]
        low, clean = plan["low_migration"], state[LOW]
        clean_ms = low * (1 - clean) * line["clean_down_in_ms"]
        clean_ms += (before >= 0) * (1 - low) * clean * line["clean_down_out_ms"]
        while True:
            closure = first_ending_after(closures, state[CLOSURE], start_ms)
            if closure < closures.shape[0] and closures[np.uint64(closure), 0] <= start_ms:
                start_ms = closures[np.uint64(closure), 1]
                closure += 1
            wait_ms = start_ms - end_ms
            run_out = before < 0 or wait_ms > line["hold_ms"]
            cold = wait_ms > line["cold_after_ms"] or (before < 0 and line["present_cold"])
            aside[0, 0] = -1
            fetched, moves = 0, False
            for idx in range(words.shape[0]):
                need = packed[own, idx]
                moves |= (state[HEAD + idx] ^ need["value"]) & need["scarce"] != 0
            moves &= alone
            if moves:
                fetched = fetch(book, state, plan_idx)
            if not alone:
                fetched = fetched_before
            if cold:
                cool(book, state)
            shape_key = shape_before * line["shapes"] + plan["shape"]
            key, changes = shape_key, 0
            for idx in range(words.shape[0]):
                need, word = packed[own, idx], words[idx]
                held = state[HEAD + idx]
                was[idx] = held
                changed = changed_slots(
                    held, need["mask"], need["value"], word["low"], word["top"], word["always"]
                )
                changes += changed * word["scatter"]
                state[HEAD + idx] = (held & ~need["mask"]) | need["value"]
            for idx in range(washed.shape[1]):
                washing = washed[own, idx]
                held = state[HEAD + washing["column"]]
                was[washing["column"]] = held
                key += washing["radix"] * wash_codes[washing["table"], held, washing["value"]]
                state[HEAD + washing["column"]] = washing["value"]
            for idx in range(added.shape[1]):
                adding = added[own, idx]
                held = state[HEAD + adding["column"]]
                was[adding["column"]] = held
                missing = adding["value"] & ~held
                if missing:
                    key += adding["radix"] * members(missing)
                    state[HEAD + adding["column"]] = held | missing
            key &= LARGEST
            joined = plan["join_class"] > 0 and wait_ms == 0 and before >= 0 and changes == 0
            if joined:
                joined = plans[np.uint64(before)]["join_class"] == plan["join_class"]
                joined &= key == shape_key & LARGEST and not cold and clean_ms == 0
            spot = find(cases, key, changes)
            kind, hidden = RUN_OUT if run_out else NONE_HIDDEN, 0
            if spot >= 0 and not run_out and cases[np.uint64(spot)]["guarded"] > 0:
                opens_ms = max(state[PRINT_START], plan["window_ms"])
                window_ms = open_between(closures, state[PRINT_CLOSURE], opens_ms, end_ms)
                late = late_stations(book, fetched, opens_ms) if fetched else 0
                hands = line["hands_while_running"]
                short_ms = min(window_ms, TOO_LONG_MS - 1)
                if (
                    not late
                    and cases[np.uint64(spot)]["longest_ms"] <= short_ms
                    and cases[np.uint64(spot)]["guarded_ms"] <= short_ms * hands
                ):
                    kind = ALL_HIDDEN
                else:
                    hidden = hidden_stations(book, spot, unit, window_ms, hands, late)
                    if hidden:
                        number = cases[np.uint64(spot)]["number"]
                        spot = find(cases, partly_hidden_key(number, hidden), changes)
            row = ROWS_A_CASE * spot + kind
            if spot < 0 or setups[np.uint64(row)]["ms"] < 0:
                learned = learn(book, plan_idx, shape_before, key, changes, kind, hidden)
                unset(book, state, plan_idx)
                if learned < 0:
                    return FULL, position, eur
                continue
            setup = setups[np.uint64(row)]
            known_ms, known_um, outgoing_um = setup["ms"], setup["incoming_um"], setup["outgoing_um"]
            known_eur = setup["eur"]
            if joined:
                # Runs made alike that follow each other at once run as one.
                known_ms = known_um = outgoing_um = 0
                known_eur = 0.0
            setup_ms, incoming_um = known_ms + clean_ms, known_um
            if cold:
                setup_ms += line["start_up_ms"]
                incoming_um += line["start_up_um"]
            print_start_ms = start_ms + setup_ms
            run_end_ms = print_start_ms + plan["work_ms"]
            short = long = 0
            if closure < closures.shape[0] and run_end_ms > closures[np.uint64(closure), 0]:
                costs = (line["interruption_ms"], line["cold_interruption_ms"], line["cold_after_ms"])
                print_start_ms, short, long = work_through(closures, closure, start_ms, setup_ms, costs)
                run_end_ms, run_short, run_long = work_through(
                    closures, closure, print_start_ms, plan["work_ms"], costs
                )
                short += run_short
                long += run_long
            interruption_ms = short * line["interruption_ms"] + long * line["cold_interruption_ms"]
            lost_um = (short + long) * line["restart_um"] + long * line["start_up_um"]
            if run_end_ms > line["horizon_ms"]:
                unset(book, state, plan_idx)
                return DROPPED, position, eur
            if counts_stock:
                need_um = plan["own_need_um"] + incoming_um + lost_um
                stock, other = plan["stock"], shape_stocks[np.uint64(shape_before)]
                other_um = outgoing_um
                same = int(other == stock)
                need_um += same * other_um
                other_um -= same * other_um
                drawn, other_drawn = (
                    np.uint64(line["drawn_at"] + stock),
                    np.uint64(line["drawn_at"] + other),
                )
                need_um += state[drawn]
                other_um += state[other_drawn]
                lacking = -1
                if (
                    need_um > stocks[np.uint64(stock)]["on_hand_um"]
                    or other_um > stocks[np.uint64(other)]["on_hand_um"]
                ):
                    if not arrived(book, stock, start_ms, need_um):
                        lacking = stock
                    elif not arrived(book, other, start_ms, other_um):
                        lacking = other
                if lacking >= 0:
                    unset(book, state, plan_idx)
                    changes_ms = (end_ms + line["hold_ms"] + 1, end_ms + line["cold_after_ms"] + 1)
                    start_ms = later_start(book, lacking, start_ms, changes_ms)
                    if start_ms >= NEVER_MS:
                        return DROPPED, position, eur
                    if not alone:
                        ints(book, AT_LATER)[0] = start_ms
                        return LATER, position, eur
                    continue
                state[other_drawn] = other_um
                state[drawn] = need_um
            break
        if long:
            sleep_through(book, state, plan_idx)
        if moves:
            move_tools(book, state, plan_idx, fetched)
        for idx in range(used_up_to.shape[1]):
            state[np.uint64(used_up_to[own, idx])] = run_end_ms
        stopped_ms = setup_ms - known_ms + interruption_ms
        if before >= 0 and wait_ms > 0:
            stopped_ms += open_between(closures, state[CLOSURE], end_ms, start_ms)
        run_eur = known_eur + plan["run_eur"] + stopped_ms * line["stopped_ms_eur"]
        run_eur += (incoming_um - known_um + lost_um) * plan["um_eur"]
        late_ms = max(0, run_end_ms - plan["due_ms"])
        run_eur += plan["late_ms_eur"] * late_ms + plan["late_once_eur"] * (late_ms > 0)
        if plan["moved_eur"] > 0:
            behind = plans[np.uint64(before)]["job"] if before >= 0 else NO_JOB
            stays = (behind == plan["follows"]) | (behind == plan["also_follows"])
            run_eur += plan["moved_eur"] * (1 - (stays | (behind == plan["or_follows"])))
        eur += run_eur
        if traces:
            trace = ints_2(book, AT_TRACE)
            trace[position, 0] = start_ms
            trace[position, 1] = print_start_ms
            trace[position, 2] = run_end_ms
            trace[position, 3] = setup_ms
            trace[position, 4] = outgoing_um
            trace[position, 5] = incoming_um
            trace[position, 6] = interruption_ms
            trace[position, 7] = lost_um
        if closure < closures.shape[0] and run_end_ms >= closures[np.uint64(closure), 0]:
            state[PRINT_CLOSURE] = first_ending_after(closures, closure, print_start_ms)
            state[CLOSURE] = first_ending_after(closures, closure, run_end_ms)
        else:
            state[PRINT_CLOSURE] = state[CLOSURE] = closure
        state[END] = run_end_ms
        state[PRINT_START] = print_start_ms
        state[BEFORE] = plan_idx
        state[LOW] = plan["low_migration"]
        if eur > limit_eur:
            return ABOVE, position, eur
    return DONE, count, eur


@part
def clean_down_eur(book: Ints) -> float:
    """Cleaning behind the last run placed, where it is low-migration work."""
    line, state = line_row(book)[0], ints(book, AT_STATE)
    if state[BEFORE] >= 0 and state[LOW]:
        return float(line["clean_down_out_ms"] * line["stopped_ms_eur"])
    return 0.0


@part
def unset(book: Ints, state: Ints, plan_idx: int) -> None:
    """Put back what the columns that a plan changes held before it, and what was set aside for it."""
    was = ints(book, AT_WAS)
    for column in range(word_rows(book).shape[0]):
        state[HEAD + column] = was[column]
    for idx in range(wash_rows(book).shape[1]):
        column = wash_rows(book)[plan_idx, idx]["column"]
        state[HEAD + column] = was[column]
    for idx in range(set_rows(book).shape[1]):
        column = set_rows(book)[plan_idx, idx]["column"]
        state[HEAD + column] = was[column]
    emptied = 0
    while ints_2(book, AT_ASIDE)[emptied, 0] >= 0:
        emptied += 1
    while emptied > 0:
        emptied -= 1
        state[HEAD + ints_2(book, AT_ASIDE)[emptied, 0]] = ints_2(book, AT_ASIDE)[emptied, 1]


@part
def cool(book: Ints, state: Ints) -> None:
    """Put an inkjet's channels to sleep; `aside` remembers them."""
    emptied = 0
    while ints_2(book, AT_ASIDE)[emptied, 0] >= 0:
        emptied += 1
    for column in range(flags(book, AT_RESETS).shape[0]):
        if flags(book, AT_RESETS)[column]:
            ints_2(book, AT_ASIDE)[emptied, 0] = column
            ints_2(book, AT_ASIDE)[emptied, 1] = state[HEAD + column]
            state[HEAD + column] = 0
            emptied += 1
    ints_2(book, AT_ASIDE)[emptied, 0] = -1


@part
def sleep_through(book: Ints, state: Ints, plan_idx: int) -> None:
    """After a closure long enough to go cold only the run's own channels are awake."""
    for column in range(flags(book, AT_RESETS).shape[0]):
        if flags(book, AT_RESETS)[column]:
            state[HEAD + column] = 0
    for idx in range(set_rows(book).shape[1]):
        added = set_rows(book)[plan_idx, idx]
        if flags(book, AT_RESETS)[added["column"]]:
            state[HEAD + added["column"]] = added["value"]


@part
def arrived(book: Ints, stock: int, start_ms: int, drawn_um: int) -> bool:
    """Whether what was there of a stock and has arrived by a start covers what is drawn by then."""
    row = stock_rows(book)[stock]
    there_um = row["on_hand_um"]
    for arrival in range(row["arrivals_from"], row["arrivals_to"]):
        if arrival_rows(book)[arrival]["at_ms"] <= start_ms:
            there_um += arrival_rows(book)[arrival]["length_um"]
    return bool(there_um >= drawn_um)


@part
def later_start(book: Ints, stock: int, start_ms: int, need_changes_ms: tuple[int, int]) -> int:
    """The next start at which a lacking stock may suffice: a delivery, or when a longer wait changes
    what the changeover wastes; `NEVER_MS` where there is none.
    """
    later_ms = NEVER_MS
    for at_ms in need_changes_ms:
        if start_ms < at_ms < later_ms:
            later_ms = at_ms
    for arrival in range(stock_rows(book)[stock]["arrivals_from"], stock_rows(book)[stock]["arrivals_to"]):
        arrival_ms = arrival_rows(book)[arrival]["at_ms"]
        if start_ms < arrival_ms < later_ms:
            later_ms = arrival_ms
    return later_ms
