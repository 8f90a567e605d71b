"""Which of a changeover's tasks share a stop: the split that costs least, in integers.

The same rules as `solver.splits` and `solver.changeover`, which a test compares with these; every split is
tried, since a changeover has few tasks. Times are counted in parts of a ms in which all of them are whole,
money in parts of a euro.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from solver.search.kernels.address_book import (
    AT_PRICE_STOCKS,
    AT_PRICES,
    AT_SUBSTRATES,
    AT_USED,
    flags_2,
    ints,
    path_row,
    station_rows,
)
from solver.search.kernels.compiled import part
from solver.search.kernels.tables import Flags, Ints

NOT_STOPPED = -1
NO_SPLICE = -1


class Handover(NamedTuple):
    """One changeover to be costed: shapes, whether it is a run out, and the tasks to be stopped for.

    `tasks` are stations in web order, `durations` their times, `task_count` of them; `registers`
    (stations,) of all tasks, hidden ones included, and of stations that come back.
    """

    shape_before: int
    shape: int
    run_out: bool
    task_count: int
    tasks: Ints
    durations: Ints
    registers: Ints


@part
def cheapest_split(book: Ints, handover: Handover) -> tuple[int, int, int]:
    """Time in ms, outgoing and incoming waste in µm of the cheapest split of a handover's tasks.

    Less money is better, then fewer stops, less waste, and the split whose first differing stop lies
    further upstream.
    """
    path = path_row(book)[0]
    count = handover.task_count
    follow = following_registers(book, handover)
    stop_x = np.zeros(count + 1, np.int64)
    ends = np.zeros(count + 1, np.int64)
    best_ends = np.zeros(count + 1, np.int64)
    best_rank = np.zeros(3, np.int64)
    best = np.zeros(3, np.int64)
    if handover.run_out:
        stop_x[0] = path["last_x_um"]
        ends[0] = count
        _, ms, outgoing_um, incoming_um, _ = _split(book, handover, follow, ends, stop_x, 1)
        return ms, outgoing_um, incoming_um
    splits = 1 << max(0, count - 1)
    for cuts in range(splits):
        stops = 0
        for task in range(count):
            if task == count - 1 or cuts >> task & 1:
                ends[stops] = task + 1
                stop_x[stops] = station_rows(book)[handover.tasks[task]]["x_um"]
                stops += 1
        money, ms, outgoing_um, incoming_um, waste_um = _split(book, handover, follow, ends, stop_x, stops)
        if cuts == 0 or _better(money, stops, waste_um, best_rank, ends, best_ends):
            best_rank[0], best_rank[1], best_rank[2] = money, stops, waste_um
            best[0], best[1], best[2] = ms, outgoing_um, incoming_um
            for stop in range(stops):
                best_ends[stop] = ends[stop]
    return best[0], best[1], best[2]


@part
def _better(money: int, stops: int, waste_um: int, rank: Ints, ends: Ints, best_ends: Ints) -> bool:
    if money != rank[0]:
        return bool(money < rank[0])
    if stops != rank[1]:
        return bool(stops < rank[1])
    if waste_um != rank[2]:
        return bool(waste_um < rank[2])
    for stop in range(stops):
        if ends[stop] != best_ends[stop]:
            return bool(ends[stop] < best_ends[stop])
    return False


@part
def _split(
    book: Ints, handover: Handover, follow: Ints, ends: Ints, stop_x: Ints, stops: int
) -> tuple[int, int, int, int, int]:
    """Money, ms, outgoing and incoming waste, and strip with spoil of one split.

    The tasks of stop i are those up to `ends[i]`; it is made when the web's coordinate 0 is at `stop_x[i]`.
    """
    path = path_row(book)[0]
    before, shape = handover.shape_before, handover.shape
    spliced = (
        ints(book, AT_PRICE_STOCKS)[before] >= 0
        and ints(book, AT_PRICE_STOCKS)[before] != ints(book, AT_PRICE_STOCKS)[shape]
    )
    stopped_at = np.empty(station_rows(book).shape[0], np.int64)
    for station in range(station_rows(book).shape[0]):
        stopped_at[station] = path["last_x_um"] if handover.run_out else NOT_STOPPED
    units = 0
    start = 0
    for stop in range(stops):
        for task in range(start, ends[stop]):
            stopped_at[handover.tasks[task]] = stop_x[stop]
        units += path["stop_units"] + make_ready(handover.durations, start, ends[stop], path["hands"])
        start = ends[stop]
    splice_um = max(0, stopped_at[0]) if spliced else NO_SPLICE
    strip_um = max(0, splice_um)
    if spliced and ints(book, AT_SUBSTRATES)[before] != ints(book, AT_SUBSTRATES)[shape]:
        strip_um += path["settle_um"]
    strip_um = max(strip_um, path["job_change_um"])
    for station in range(1, station_rows(book).shape[0]):
        if flags_2(book, AT_USED)[shape, station]:
            first_um = _first_um(path, station_rows(book)[station], stopped_at[station], splice_um)
            strip_um = max(strip_um, first_um + follow[station])
    before_um = after_um = 0
    if not handover.run_out and path["restart_um"] > 0:
        before_um = _spoiled_um(book, flags_2(book, AT_USED)[before], stop_x, stops, False, 0)
        after_um = _spoiled_um(book, flags_2(book, AT_USED)[shape], stop_x, stops, True, strip_um)
    waste_um = strip_um + before_um + after_um
    units += path["job_change_units"] + waste_um * path["passing_units"]
    ms = (2 * units + path["unit"]) // (2 * path["unit"])
    blank_um = max(0, splice_um)
    incoming_um = strip_um - blank_um + after_um
    price = ints(book, AT_PRICES)[ints(book, AT_PRICE_STOCKS)[shape]]
    outgoing_price = (
        ints(book, AT_PRICES)[ints(book, AT_PRICE_STOCKS)[before]]
        if ints(book, AT_PRICE_STOCKS)[before] >= 0
        else price
    )
    money = outgoing_price * (blank_um + before_um) + price * incoming_um + path["ms_price"] * ms
    if spliced:
        incoming_um += path["splice_um"]
    return money, ms, blank_um + before_um, incoming_um, waste_um


@part
def _first_um(path: Any, station: Any, stop_x_um: int, splice_um: int) -> int:
    """First coordinate on which a station can do its new work; see `solver.changeover.first_um`."""
    x_um = station["x_um"]
    least_um = max(0, splice_um)
    lift_um = station["lift_um"] if splice_um != NO_SPLICE else 0
    past_um = reclaimed_um = 0
    if stop_x_um != NOT_STOPPED:
        past_um = stop_x_um - x_um
        if path["zone_from_um"] <= x_um <= path["zone_to_um"] and least_um <= past_um:
            reach_um = max(0, min(stop_x_um, path["zone_to_um"]) - x_um) + lift_um
            reclaimed_um = min(path["pull_back_um"], reach_um)
    return max(least_um, max(past_um, least_um + lift_um) - reclaimed_um)


@part
def following_registers(book: Ints, handover: Handover) -> Ints:
    """By station: the register metres that its first coordinate is followed by.

    Together: the largest at its position or downstream; in turn: the sum from its position on.
    """
    stations = station_rows(book).shape[0]
    follow = np.zeros(stations, np.int64)
    in_turn = path_row(book)[0]["registers_in_turn"]
    behind_um = 0
    last = stations
    while last > 1:
        first = last - 1
        while first > 1 and station_rows(book)[first - 1]["x_um"] == station_rows(book)[last - 1]["x_um"]:
            first -= 1
        for station in range(first, last):
            if flags_2(book, AT_USED)[handover.shape, station]:
                register_um = handover.registers[station]
                behind_um = behind_um + register_um if in_turn else max(behind_um, register_um)
        for station in range(first, last):
            follow[station] = behind_um
        last = first
    return follow


@part
def _spoiled_um(book: Ints, used: Flags, stop_x: Ints, stops: int, incoming: bool, strip_um: int) -> int:
    """Printed web that stops spoil at inkjets: of the outgoing run what lies below 0, of the incoming
    what lies above the strip.
    """
    restart_um = path_row(book)[0]["restart_um"]
    count = 0
    starts = np.zeros(stops * station_rows(book).shape[0], np.int64)
    for station in range(station_rows(book).shape[0]):
        if station_rows(book)[station]["jets"] and used[station]:
            for stop in range(stops):
                start_um = stop_x[stop] - station_rows(book)[station]["x_um"]
                if (incoming and start_um + restart_um > strip_um) or (not incoming and start_um < 0):
                    starts[count] = start_um
                    count += 1
    total_um = 0
    reached_um = strip_um if incoming else -(1 << 60)
    sort(starts, count)
    for idx in range(count):
        start_um = starts[idx]
        end_um = start_um + restart_um if incoming else min(start_um + restart_um, 0)
        from_um = max(start_um, reached_um)
        if end_um > from_um:
            total_um += end_um - from_um
            reached_um = end_um
    return total_um


@part
def make_ready(durations: Ints, start: int, end: int, hands: int) -> int:
    """Least time in which so many hands finish the tasks from `start` to before `end`, each task done by
    one of them (P||Cmax).

    Exact: tasks, longest first, go one by one to every hand with another load.
    """
    count = end - start
    total = longest = 0
    for task in range(start, end):
        total += durations[task]
        longest = max(longest, durations[task])
    if hands == 1 or count <= 1:
        return total
    if hands >= count:
        return longest
    tasks = np.zeros(count, np.int64)
    for task in range(count):
        tasks[task] = -durations[start + task]
    sort(tasks, count)
    bound = max(longest, -(-total // hands))
    best = total
    loads = np.zeros(hands, np.int64)
    chosen = np.zeros(count, np.int64)
    chosen[0] = -1
    task = 0
    while task >= 0:
        hand = chosen[task]
        if hand >= 0:
            loads[hand] += tasks[task]
        hand = _next_hand(loads, hand, -tasks[task], best)
        chosen[task] = hand
        if hand < 0:
            task -= 1
            continue
        loads[hand] -= tasks[task]
        if task + 1 < count:
            task += 1
            chosen[task] = -1
            continue
        best = 0
        for each in range(hands):
            best = max(best, int(loads[each]))
        if best == bound:
            break
    return best


@part
def sort(values: Ints, count: int) -> None:
    """Sort the first so many values, of which there are few, the least first."""
    for idx in range(1, count):
        value = values[idx]
        spot = idx
        while spot > 0 and values[spot - 1] > value:
            values[spot] = values[spot - 1]
            spot -= 1
        values[spot] = value


@part
def _next_hand(loads: Ints, hand: int, duration: int, best: int) -> int:
    """The next hand whose load differs from all before it and that stays below the best; -1: none."""
    for other in range(hand + 1, loads.shape[0]):
        if loads[other] + duration < best:
            seen = False
            for earlier in range(other):
                seen = seen or loads[earlier] == loads[other]
            if not seen:
                return other
    return -1
