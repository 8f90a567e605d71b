"""Lines placed in time in step, as they share dies, cylinders and stock, and runs wait for each other.

The same rules as `solver.schedule`: again and again the line whose next changeover can start earliest, ties
by line order. A start known so far only grows while other lines' runs are placed, so it is looked at again
only once it is the earliest.
"""

from __future__ import annotations

from solver.search.kernels.address_book import (
    AT_BEGINS,
    AT_CLOSURES,
    AT_COPY_FREE,
    AT_COPY_PLACE,
    AT_COUNTS,
    AT_DRAWN,
    AT_EARLIEST,
    AT_ENDS,
    AT_FETCHED,
    AT_FOLLOWING,
    AT_HELD_UP,
    AT_LATER,
    AT_LEFT_OUT,
    AT_MOMENT,
    AT_MOMENT_ROWS,
    AT_MOMENTS,
    AT_NOT_BEFORE,
    AT_PARTS,
    AT_PLACES,
    AT_PRESENT_ENDS,
    AT_PRESENT_FREE,
    AT_PRESENT_PLACE,
    AT_SHAPE_STOCKS,
    AT_STANDING,
    AT_START,
    AT_STATE,
    AT_SUMS,
    AT_TAKEN_FROM,
    AT_THREADED,
    AT_TRACE,
    AT_TRIAL,
    AT_TRIAL_EUR,
    AT_TRIAL_RUNS,
    AT_TRIAL_START,
    AT_UNBOUND,
    AT_WAITS,
    field_rows,
    flags,
    floats,
    ints,
    ints_2,
    line_row,
    lock_rows,
    plan_rows,
    seat_rows,
    split_rows,
)
from solver.search.kernels.closures import first_ending_after
from solver.search.kernels.compiled import inlined, part
from solver.search.kernels.lock_faults import BEFORE_ANOTHER
from solver.search.kernels.tables import (
    ABOVE,
    BEFORE,
    CLOSURE,
    DONE,
    DROPPED,
    END,
    FULL,
    HEAD,
    LATER,
    NEVER_MS,
    STUCK,
    Ints,
)
from solver.search.kernels.timeline import clean_down_eur, place_runs
from solver.search.kernels.walk import (
    MAY_SHARE,
    MOMENTS,
    NEVER,
    NO_LIMIT,
    PARTS,
    TRIED_EUR,
    TRIED_FROM,
    TRIED_MOMENTS,
    book_of,
    clear,
    copy_row,
    first_eur,
    lines_of,
    splits_jobs,
)


@inlined
def place_in_step(plant: Ints, limit_eur: float, traces: bool, goes_on: bool) -> int:
    """Place the trial of all lines; what never can start is left out, and the rest placed again.

    A trial may go on from where it is still placed as its order, of which nothing is left out. Returns
    `DONE` with the cost in `TRIED_EUR`, `ABOVE`, or `FULL`. `left_out` flags what is left out. With a
    limit a trial that leaves something out comes back `DROPPED`.
    """
    left_out, unbound = flags(plant, AT_LEFT_OUT), flags(plant, AT_UNBOUND)
    clear(left_out)
    clear(unbound)
    careful = False
    counts = ints(plant, AT_COUNTS)
    counts[TRIED_FROM] = counts[TRIED_MOMENTS] = _alike_until(plant) if goes_on else 0
    while True:
        code = _place_all(plant, limit_eur, careful, traces)
        if code in (DROPPED, STUCK):
            if code == DROPPED and limit_eur < NO_LIMIT:
                return DROPPED
            if not careful:
                # Whoever is found to be left out first decides what the others find: all lines are asked,
                # from the beginning.
                clear(left_out)
                clear(unbound)
                counts[TRIED_FROM] = counts[TRIED_MOMENTS] = 0
            careful = True
            continue
        return code


@inlined
def _place_all(plant: Ints, limit_eur: float, careful: bool, traces: bool) -> int:
    """Place all runs that are not left out. Before it comes back with `DROPPED` or `STUCK`, it marks what is
    to be left out, or what is to wait for no other.
    """
    counts = ints(plant, AT_COUNTS)
    if counts[MAY_SHARE] == NEVER:
        _begin(plant)
        return _place_each(plant, limit_eur)
    goes_on = counts[TRIED_FROM] > 0
    if goes_on:
        copy_row(ints(plant, AT_MOMENT), _moment_row(plant, 0, counts[TRIED_FROM] - 1))
    else:
        _begin(plant)
    # All that the loop reads of the plant is opened here: opened by functions of its own it takes half as
    # long again.
    runs, eur = ints(plant, AT_TRIAL_RUNS), floats(plant, AT_TRIAL_EUR)
    following, earliest = ints(plant, AT_FOLLOWING), ints(plant, AT_EARLIEST)
    not_before, starts = ints(plant, AT_NOT_BEFORE), ints(plant, AT_TRIAL_START)
    standing, copy_place = ints(plant, AT_STANDING), ints(plant, AT_COPY_PLACE)
    copy_free, taken_from = ints(plant, AT_COPY_FREE), ints_2(plant, AT_TAKEN_FROM)
    drawn, threaded = ints(plant, AT_DRAWN), ints(plant, AT_THREADED)
    begins, ends = ints(plant, AT_BEGINS), ints(plant, AT_ENDS)
    waits, held_up = flags(plant, AT_WAITS), ints(plant, AT_HELD_UP)
    counts_stock, leaves_out = drawn.shape[0] > 0, careful
    total_eur, placed, apart = 0.0, 0, _moments_apart(plant, careful)
    for line in range(runs.shape[0]):
        total_eur += eur[line]
        placed += following[line]
        if waits.shape[0] > 0 and not goes_on:
            # To be looked at closely, whatever the first run is.
            held_up[line] = 1
    while True:
        if careful:
            code = _look_ahead(plant)
            if code != DONE:
                return code
        line, least_ms = -1, NEVER_MS
        for each in range(runs.shape[0]):
            if earliest[each] < least_ms and following[each] < runs[each]:
                if held_up[each] and _waits_for_another(plant, each):
                    continue
                line, least_ms = each, earliest[each]
        if line < 0:
            break
        book, position = book_of(plant, line), following[line]
        state, row, seats = ints(book, AT_STATE), line_row(book)[0], seat_rows(book)
        plan_idx = ints(book, AT_TRIAL)[position]
        plan, first = plan_rows(book)[plan_idx], row["places_from"]
        start_ms = max(state[END], plan["ready_ms"], not_before[line])
        missing, crowded = 0, False
        for at in range(plan["seats_from"], plan["seats_to"]):
            seat = seats[at]
            if seat["tool"] >= 0 and not _has(standing[first + seat["slot"]], seat):
                missing += 1
                crowded |= not seat["alone"]
                free_ms = copy_free[seat["copies_from"]]
                for copy in range(seat["copies_from"] + 1, seat["copies_to"]):
                    free_ms = min(free_ms, copy_free[copy])
                start_ms = max(start_ms, free_ms)
        if crowded:
            start_ms = max(start_ms, _tools_free_ms(plant, book, plan_idx))
        if waits.shape[0] > 0 and waits[plan["item"]]:
            start_ms = max(start_ms, _others_end_ms(plant, plan["item"]))
        start_ms = _next_open(book, state, start_ms)
        if start_ms != least_ms:
            earliest[line] = start_ms
            continue
        fetched = 0
        if crowded:
            fetched = _fetch(plant, book, start_ms, plan_idx)
        elif missing > 0:
            # The same as there, where every tool has one seat.
            taken, behind = ints_2(book, AT_FETCHED), first + field_rows(book).shape[0]
            for at in range(plan["seats_from"], plan["seats_to"]):
                seat = seats[at]
                if seat["tool"] >= 0 and not _has(standing[first + seat["slot"]], seat):
                    chosen, chosen_far = -1, 0
                    for copy in range(seat["copies_from"], seat["copies_to"]):
                        if copy_free[copy] <= start_ms:
                            place = copy_place[copy]
                            far = 0 if place < 0 else 1 if first <= place < behind else 2
                            if chosen < 0 or (far, copy_free[copy], place) < (
                                chosen_far,
                                copy_free[chosen],
                                copy_place[chosen],
                            ):
                                chosen, chosen_far = copy, far
                    taken[fetched, 0], taken[fetched, 1] = chosen, seat["slot"]
                    taken[fetched, 2], taken[fetched, 3] = seat["station"], copy_free[chosen]
                    taken_from[fetched, 0] = copy_place[chosen]
                    if chosen_far > 0:
                        taken_from[fetched, 1] = _empty(plant, copy_place[chosen])
                    fetched += 1
        if counts_stock:
            # What all lines have drawn of the stocks that the run takes.
            state[row["drawn_at"] + plan["stock"]] = drawn[plan["stock"]]
            state[row["drawn_at"] + threaded[line]] = drawn[threaded[line]]
        code, _, line_eur = place_runs(
            book, eur[line], position, position + 1, NO_LIMIT, False, traces, start_ms, fetched
        )
        if code != DONE:
            _put_back(plant, fetched)
            if code == LATER:
                not_before[line] = earliest[line] = ints(book, AT_LATER)[0]
                continue
            if code == DROPPED:
                _leave_out(plant, line, position)
            return code
        end_ms = state[END]
        for at in range(fetched):
            if taken_from[at, 0] >= 0:
                standing[taken_from[at, 0]] = -1
        for at in range(plan["seats_from"], plan["seats_to"]):
            seat = seats[at]
            copy = standing[first + seat["slot"]]
            if seat["tool"] >= 0 and _has(copy, seat):
                copy_free[copy] = end_ms
            elif copy >= 0:
                # What it replaced is in the store.
                copy_place[copy] = standing[first + seat["slot"]] = -1
        for at in range(fetched):
            copy, place = ints_2(book, AT_FETCHED)[at, 0], first + ints_2(book, AT_FETCHED)[at, 1]
            copy_place[copy], standing[place], copy_free[copy] = place, copy, end_ms
        if counts_stock:
            drawn[threaded[line]] = state[row["drawn_at"] + threaded[line]]
            drawn[plan["stock"]] = state[row["drawn_at"] + plan["stock"]]
            threaded[line] = plan["stock"]
        begins[plan["item"]], ends[plan["item"]] = start_ms, end_ms
        starts[line] = min(starts[line], start_ms)
        not_before[line] = 0
        position += 1
        if leaves_out:
            position = _next_position(plant, line, position)
        following[line], earliest[line] = position, end_ms
        if waits.shape[0] > 0 and position < runs[line]:
            held_up[line] = waits[plan_rows(book)[ints(book, AT_TRIAL)[position]]["item"]]
        total_eur += line_eur - eur[line]
        eur[line] = line_eur
        if total_eur > limit_eur:
            return ABOVE
        placed += 1
        if apart > 0 and placed % apart == 0:
            _note_moment(plant)
    for line in range(runs.shape[0]):
        if following[line] < runs[line]:
            return _unbind(plant)
    return _sum_up(plant, limit_eur)


@part
def _alike_until(plant: Ints) -> int:
    """Until which of the order's moments, by number, the trial is placed as the order: a line that a change
    touches still goes on with a run before the first that is changed.

    A job in lots or not has other runs that others wait for: such a trial begins anew.
    """
    if split_rows(plant).shape[0] > 0:
        return 0
    parts = ints_2(plant, AT_PARTS)
    moment = ints(plant, AT_COUNTS)[MOMENTS]
    for at in range(ints(plant, AT_COUNTS)[PARTS]):
        line, first = parts[at, 0], parts[at, 1]
        # `following` is what a moment begins with.
        while moment > 0 and _moment_row(plant, 0, moment - 1)[line] >= first:
            moment -= 1
    return int(moment)


@part
def _moment_row(plant: Ints, whose: int, number: int) -> Ints:
    """A moment of the order (0) or the trial (1)."""
    return ints_2(plant, AT_MOMENTS)[ints_2(plant, AT_MOMENT_ROWS)[whose, number]]  # type: ignore[no-any-return]


@part
def _moments_apart(plant: Ints, careful: bool) -> int:
    """How many runs are placed between moments; 0 where none are noted: nothing must be left out."""
    kept, runs = ints_2(plant, AT_MOMENT_ROWS).shape[1], 0
    if kept == 0 or careful:
        return 0
    for line in range(lines_of(plant)):
        runs += ints(plant, AT_TRIAL_RUNS)[line]
    return int(runs // (kept + 1))


@part
def _note_moment(plant: Ints) -> None:
    """Note the next moment of the trial, if there is room for it."""
    counts = ints(plant, AT_COUNTS)
    if counts[TRIED_MOMENTS] < ints_2(plant, AT_MOMENT_ROWS).shape[1]:
        copy_row(_moment_row(plant, 1, counts[TRIED_MOMENTS]), ints(plant, AT_MOMENT))
        counts[TRIED_MOMENTS] += 1


@inlined
def _place_each(plant: Ints, limit_eur: float) -> int:
    """Place lines that share nothing, one after the other."""
    runs, eur = ints(plant, AT_TRIAL_RUNS), floats(plant, AT_TRIAL_EUR)
    for line in range(runs.shape[0]):
        book = book_of(plant, line)
        code, position, line_eur = place_runs(book, eur[line], 0, runs[line], limit_eur, False, True, 0, -1)
        if code == DROPPED:
            _leave_out(plant, line, position)
        if code != DONE:
            return code
        eur[line] = line_eur
        if split_rows(plant).shape[0] > 0 or lock_rows(plant).shape[0] > 0:
            trace = ints_2(book, AT_TRACE)
            for position in range(runs[line]):
                item = plan_rows(book)[ints(book, AT_TRIAL)[position]]["item"]
                ints(plant, AT_BEGINS)[item] = trace[position, 0]
                ints(plant, AT_ENDS)[item] = trace[position, 2]
        first = _next_position(plant, line, 0)
        if first < runs[line]:
            ints(plant, AT_TRIAL_START)[line] = ints_2(book, AT_TRACE)[first, 0]
    return _sum_up(plant, limit_eur)


@part
def _begin(plant: Ints) -> None:
    """All lines and tools as the plan begins."""
    earliest, following = ints(plant, AT_EARLIEST), ints(plant, AT_FOLLOWING)
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        copy_row(ints(book, AT_STATE), ints(book, AT_START))
        floats(plant, AT_TRIAL_EUR)[line] = line_row(book)[0]["start_eur"]
        following[line] = _next_position(plant, line, 0)
        earliest[line] = ints(plant, AT_NOT_BEFORE)[line] = 0
        ints(plant, AT_THREADED)[line] = _threaded_stock(book)
        ints(plant, AT_TRIAL_START)[line] = NEVER_MS
    copy_row(ints(plant, AT_COPY_PLACE), ints(plant, AT_PRESENT_PLACE))
    copy_row(ints(plant, AT_COPY_FREE), ints(plant, AT_PRESENT_FREE))
    standing, drawn, ends = ints(plant, AT_STANDING), ints(plant, AT_DRAWN), ints(plant, AT_ENDS)
    for place in range(standing.shape[0]):
        standing[place] = -1
    for copy in range(ints(plant, AT_PRESENT_PLACE).shape[0]):
        if ints(plant, AT_PRESENT_PLACE)[copy] >= 0:
            standing[ints(plant, AT_PRESENT_PLACE)[copy]] = copy
    for stock in range(drawn.shape[0]):
        drawn[stock] = 0
    copy_row(ends, ints(plant, AT_PRESENT_ENDS))
    if lock_rows(plant).shape[0] > 0:
        for line in range(lines_of(plant)):
            book = book_of(plant, line)
            for position in range(ints(plant, AT_TRIAL_RUNS)[line]):
                ends[plan_rows(book)[ints(book, AT_TRIAL)[position]]["item"]] = -1


@part
def _sum_up(plant: Ints, limit_eur: float) -> int:
    eur, total_eur = floats(plant, AT_TRIAL_EUR), 0.0
    for line in range(lines_of(plant)):
        eur[line] += clean_down_eur(book_of(plant, line))
        total_eur += eur[line]
    total_eur += first_eur(plant)
    if splits_jobs(plant):
        total_eur += _split_late_eur(plant)
    floats(plant, AT_SUMS)[TRIED_EUR] = total_eur
    return ABOVE if total_eur > limit_eur else DONE


@part
def _threaded_stock(book: Ints) -> int:
    """The followed stock that is threaded as the plan begins."""
    before = ints(book, AT_STATE)[BEFORE]
    shape = line_row(book)[0]["present_shape"] if before < 0 else plan_rows(book)[before]["shape"]
    return int(ints(book, AT_SHAPE_STOCKS)[shape])


@part
def _split_late_eur(plant: Ints) -> float:
    """What late jobs in lots cost beyond their lots' shares: a job is late when its last lot is."""
    beyond_eur = 0.0
    splits, ends, left_out = split_rows(plant), ints(plant, AT_ENDS), flags(plant, AT_LEFT_OUT)
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        for position in range(ints(plant, AT_TRIAL_RUNS)[line]):
            plan = plan_rows(book)[ints(book, AT_TRIAL)[position]]
            late_ms = ends[plan["item"]] - plan["due_ms"]
            if plan["cut"] > 0 and late_ms > 0 and not left_out[plan["item"]]:
                beyond_eur -= plan["late_once_eur"] + plan["late_ms_eur"] * late_ms
                beyond_eur += _lone_late_eur(plant, plan["item"], late_ms)
    for idx in range(splits.shape[0]):
        split = splits[idx]
        if _is_there(plant, split["second"]):
            end_ms = -NEVER_MS
            if not left_out[split["second"]]:
                end_ms = ends[split["second"]]
            if not left_out[split["first"]]:
                end_ms = max(end_ms, ends[split["first"]])
            if end_ms > split["due_ms"]:
                beyond_eur += split["late_once_eur"] + split["late_ms_eur"] * (end_ms - split["due_ms"])
    return beyond_eur


@part
def _is_there(plant: Ints, item: int) -> bool:
    """Whether the trial has an item, placed or left out."""
    return bool(ints(plant, AT_ENDS)[item] > 0 or flags(plant, AT_LEFT_OUT)[item])


@part
def _lone_late_eur(plant: Ints, item: int, late_ms: int) -> float:
    """What a late job costs of which only the first lot is there; 0 for any other item."""
    splits = split_rows(plant)
    for idx in range(splits.shape[0]):
        split = splits[idx]
        if split["first"] == item and not _is_there(plant, split["second"]):
            return float(split["late_once_eur"] + split["late_ms_eur"] * late_ms)
    return 0.0


@part
def _next_position(plant: Ints, line: int, position: int) -> int:
    """The first position from one on of a run that is not left out."""
    book = book_of(plant, line)
    trial, plans, left_out = ints(book, AT_TRIAL), plan_rows(book), flags(plant, AT_LEFT_OUT)
    while position < ints(plant, AT_TRIAL_RUNS)[line] and left_out[plans[trial[position]]["item"]]:
        position += 1
    return position


@part
def _leave_out(plant: Ints, line: int, position: int) -> None:
    book = book_of(plant, line)
    flags(plant, AT_LEFT_OUT)[plan_rows(book)[ints(book, AT_TRIAL)[position]]["item"]] = 1


@part
def _waits_for_another(plant: Ints, line: int) -> bool:
    """Whether a line's next run waits for one that has yet to be placed."""
    locks, ends, left_out = lock_rows(plant), ints(plant, AT_ENDS), flags(plant, AT_LEFT_OUT)
    book = book_of(plant, line)
    item = plan_rows(book)[ints(book, AT_TRIAL)[ints(plant, AT_FOLLOWING)[line]]]["item"]
    if not flags(plant, AT_WAITS)[item] or flags(plant, AT_UNBOUND)[item]:
        return False
    for idx in range(locks.shape[0]):
        lock = locks[idx]
        waits = lock["kind"] == BEFORE_ANOTHER and lock["at"] == item
        if waits and not left_out[lock["job"]] and ends[lock["job"]] < 0:
            return True
    return False


@part
def _unbind(plant: Ints) -> int:
    """Let the first run that waits for another wait no longer; all lines wait for each other."""
    following, runs = ints(plant, AT_FOLLOWING), ints(plant, AT_TRIAL_RUNS)
    for line in range(runs.shape[0]):
        if following[line] < runs[line]:
            book = book_of(plant, line)
            item = plan_rows(book)[ints(book, AT_TRIAL)[following[line]]]["item"]
            flags(plant, AT_UNBOUND)[item] = 1
            break
    return STUCK


@part
def _next_open(book: Ints, state: Ints, at_ms: int) -> int:
    """The first open instant of a line from one on, behind its last run."""
    closures = ints_2(book, AT_CLOSURES)
    closure = first_ending_after(closures, state[CLOSURE], at_ms)
    if closure < closures.shape[0] and closures[closure, 0] <= at_ms:
        return int(closures[closure, 1])
    return at_ms


@part
def _start_ms(plant: Ints, book: Ints, line: int) -> int:
    """When a line's next run can start, as far as stock allows it."""
    state, plan_idx = ints(book, AT_STATE), ints(book, AT_TRIAL)[ints(plant, AT_FOLLOWING)[line]]
    plan = plan_rows(book)[plan_idx]
    start_ms = max(state[END], plan["ready_ms"], ints(plant, AT_NOT_BEFORE)[line])
    start_ms = max(start_ms, _tools_free_ms(plant, book, plan_idx))
    if flags(plant, AT_WAITS).shape[0] > 0:
        start_ms = max(start_ms, _others_end_ms(plant, plan["item"]))
    return _next_open(book, state, start_ms)


@part
def _others_end_ms(plant: Ints, item: int) -> int:
    """When all have ended that a run must wait for."""
    locks, ends, until_ms = lock_rows(plant), ints(plant, AT_ENDS), 0
    if flags(plant, AT_UNBOUND)[item]:
        return 0
    for idx in range(locks.shape[0]):
        if locks[idx]["kind"] == BEFORE_ANOTHER and locks[idx]["at"] == item:
            until_ms = max(until_ms, ends[locks[idx]["job"]])
    return int(until_ms)


@part
def _tools_free_ms(plant: Ints, book: Ints, plan_idx: int) -> int:
    """When enough copies of all shared tools that a plan needs are free."""
    plan, seats, standing = plan_rows(book)[plan_idx], seat_rows(book), ints(plant, AT_STANDING)
    first, free_ms = line_row(book)[0]["places_from"], 0
    for at in range(plan["seats_from"], plan["seats_to"]):
        seat = seats[at]
        if seat["tool"] < 0 or _has(standing[first + seat["slot"]], seat):
            continue
        # As many others of the tool are missing before this seat: the next free copy is for this one.
        missing = 0
        for other in range(plan["seats_from"], at):
            if seats[other]["tool"] == seat["tool"]:
                missing += not _has(standing[first + seats[other]["slot"]], seats[other])
        free_ms = max(free_ms, _free_ms(plant, book, plan_idx, at, missing))
    return int(free_ms)


@part
def _has(copy: int, seat: object) -> bool:
    """Whether a copy is one of the tool that a seat asks for."""
    return bool(seat["copies_from"] <= copy < seat["copies_to"])  # type: ignore[index]


@part
def _free_ms(plant: Ints, book: Ints, plan_idx: int, at: int, earlier: int) -> int:
    """When a copy for a seat is free, if so many that are free earlier are taken by other seats."""
    seat, free_ms = seat_rows(book)[at], ints(plant, AT_COPY_FREE)
    if seat["copies_to"] - seat["copies_from"] == 1:
        return int(free_ms[seat["copies_from"]])
    # The next larger one, again and again: there are few copies of a tool.
    after_ms, after_copy = -NEVER_MS, -1
    for _ in range(earlier + 1):
        best_ms, best_copy = NEVER_MS, -1
        for copy in range(seat["copies_from"], seat["copies_to"]):
            comes_after = (free_ms[copy], copy) > (after_ms, after_copy)
            comes_first = best_copy < 0 or free_ms[copy] < best_ms
            if comes_after and comes_first and not _stands_at_own(plant, book, plan_idx, copy):
                best_ms, best_copy = free_ms[copy], copy
        after_ms, after_copy = best_ms, best_copy
    return int(after_ms)


@part
def _stands_at_own(plant: Ints, book: Ints, plan_idx: int, copy: int) -> bool:
    """Whether a copy stands at one of the plan's own seats for its tool."""
    plan, seats = plan_rows(book)[plan_idx], seat_rows(book)
    place = ints(plant, AT_COPY_PLACE)[copy] - line_row(book)[0]["places_from"]
    for at in range(plan["seats_from"], plan["seats_to"]):
        if seats[at]["slot"] == place and _has(copy, seats[at]):
            return True
    return False


@part
def _fetch(plant: Ints, book: Ints, start_ms: int, plan_idx: int) -> int:
    """Take the shared tools that a run needs from elsewhere, emptying the places they stood at.

    Returns how many; `fetched` gets (copy, slot, station, until when it is in use) of each, `taken_from`
    (place, what the column held) of the places emptied, the place -1 for the store.
    """
    plan, seats = plan_rows(book)[plan_idx], seat_rows(book)
    standing, place_of = ints(plant, AT_STANDING), ints(plant, AT_COPY_PLACE)
    fetched, taken_from = ints_2(book, AT_FETCHED), ints_2(plant, AT_TAKEN_FROM)
    first, count = line_row(book)[0]["places_from"], 0
    for at in range(plan["seats_from"], plan["seats_to"]):
        seat = seats[at]
        if seat["tool"] < 0 or _has(standing[first + seat["slot"]], seat):
            continue
        chosen = seat["copies_from"]
        if seat["copies_to"] - chosen > 1:
            chosen = _nearest_copy(plant, book, plan_idx, at, start_ms, count)
        fetched[count, 0] = chosen
        fetched[count, 1] = seat["slot"]
        fetched[count, 2] = seat["station"]
        fetched[count, 3] = ints(plant, AT_COPY_FREE)[chosen]
        taken_from[count, 0] = place_of[chosen]
        if place_of[chosen] >= 0:
            taken_from[count, 1] = _empty(plant, place_of[chosen])
        count += 1
    return count


@part
def _nearest_copy(plant: Ints, book: Ints, plan_idx: int, at: int, start_ms: int, count: int) -> int:
    """The copy that is fetched for a seat: from the store, from another place of the line, from another line;
    then the longest free, then in the order of places.
    """
    seat, row = seat_rows(book)[at], line_row(book)[0]
    free_ms, place_of = ints(plant, AT_COPY_FREE), ints(plant, AT_COPY_PLACE)
    first, slots = row["places_from"], field_rows(book).shape[0]
    chosen, chosen_far = -1, 0
    for copy in range(seat["copies_from"], seat["copies_to"]):
        taken = free_ms[copy] > start_ms or _stands_at_own(plant, book, plan_idx, copy)
        for other in range(count):
            taken |= ints_2(book, AT_FETCHED)[other, 0] == copy
        if taken:
            continue
        place = place_of[copy]
        far = 0 if place < 0 else 1 if first <= place < first + slots else 2
        if chosen < 0 or (far, free_ms[copy], place) < (chosen_far, free_ms[chosen], place_of[chosen]):
            chosen, chosen_far = copy, far
    return chosen


@part
def _empty(plant: Ints, place: int) -> int:
    """Empty a place; returns what its column held."""
    places = ints_2(plant, AT_PLACES)
    state = ints(book_of(plant, places[place, 0]), AT_STATE)
    held = state[HEAD + places[place, 1]]
    state[HEAD + places[place, 1]] &= ~places[place, 2]
    return int(held)


@part
def _put_back(plant: Ints, fetched: int) -> None:
    """Undo a fetch, last things first."""
    taken_from = ints_2(plant, AT_TAKEN_FROM)
    for at in range(fetched - 1, -1, -1):
        place = taken_from[at, 0]
        if place >= 0:
            places = ints_2(plant, AT_PLACES)
            ints(book_of(plant, places[place, 0]), AT_STATE)[HEAD + places[place, 1]] = taken_from[at, 1]


@inlined
def _look_ahead(plant: Ints) -> int:
    """Leave out the first line's next run that never can start, though others would come before it: `DROPPED`
    then, else `DONE`.
    """
    following, runs = ints(plant, AT_FOLLOWING), ints(plant, AT_TRIAL_RUNS)
    for line in range(runs.shape[0]):
        if following[line] == runs[line]:
            continue
        if flags(plant, AT_WAITS).shape[0] > 0 and _waits_for_another(plant, line):
            continue
        code = _probe(plant, line)
        if code == DROPPED:
            _leave_out(plant, line, following[line])
        if code in (DROPPED, FULL):
            return code
    return DONE


@inlined
def _probe(plant: Ints, line: int) -> int:
    """How placing a line's next run would come out; everything stays as it is."""
    book, position = book_of(plant, line), ints(plant, AT_FOLLOWING)[line]
    state, not_before = ints(book, AT_STATE), ints(plant, AT_NOT_BEFORE)
    held = state.copy()
    before_ms = not_before[line]
    plan_idx = ints(book, AT_TRIAL)[position]
    drawn, threaded = ints(plant, AT_DRAWN), ints(plant, AT_THREADED)[line]
    at, stock = line_row(book)[0]["drawn_at"], plan_rows(book)[plan_idx]["stock"]
    while True:
        start_ms = _start_ms(plant, book, line)
        fetched = _fetch(plant, book, start_ms, plan_idx)
        if drawn.shape[0] > 0:
            state[at + stock], state[at + threaded] = drawn[stock], drawn[threaded]
        eur = floats(plant, AT_TRIAL_EUR)[line]
        code, _, _ = place_runs(book, eur, position, position + 1, NO_LIMIT, False, False, start_ms, fetched)
        _put_back(plant, fetched)
        copy_row(state, held)
        if code != LATER:
            not_before[line] = before_ms
            return code
        not_before[line] = ints(book, AT_LATER)[0]
