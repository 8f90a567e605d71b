"""Lines placed in time in step, as they share dies, cylinders and stock, and runs wait for each other.

The same rules as `solver.schedule`: again and again the line whose next changeover can start earliest, ties
by line order. A start known so far only grows while other lines' runs are placed, so it is looked at again
only once it is the earliest.
"""

from __future__ import annotations

from solver.search.kernels.address_book import (
    AT_CLOSURES,
    AT_COPY_FREE,
    AT_COPY_PLACE,
    AT_COUNTS,
    AT_DRAWN,
    AT_EARLIEST,
    AT_ENDS,
    AT_FETCHED,
    AT_FOLLOWING,
    AT_LATER,
    AT_LEFT_OUT,
    AT_NOT_BEFORE,
    AT_PRESENT_ENDS,
    AT_PRESENT_FREE,
    AT_PRESENT_PLACE,
    AT_SHAPE_STOCKS,
    AT_STANDING,
    AT_START,
    AT_STATE,
    AT_SUMS,
    AT_TAKEN_FROM,
    AT_TRACE,
    AT_TRIAL,
    AT_TRIAL_EUR,
    AT_TRIAL_RUNS,
    AT_TRIAL_START,
    AT_UNBOUND,
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
from solver.search.kernels.compiled import part
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
    NEVER,
    NO_LIMIT,
    TRIED_EUR,
    book_of,
    clear,
    copy_row,
    first_eur,
    lines_of,
    splits_jobs,
)


@part
def place_in_step(plant: Ints, limit_eur: float, traces: bool) -> int:
    """Place the trial of all lines; what never can start is left out, and the rest placed again.

    Returns `DONE` with the cost in `TRIED_EUR`, `ABOVE`, or `FULL`. `left_out` flags what is left out. With a
    limit a trial that leaves something out comes back `DROPPED`.
    """
    left_out, unbound = flags(plant, AT_LEFT_OUT), flags(plant, AT_UNBOUND)
    clear(left_out)
    clear(unbound)
    careful = False
    while True:
        code = _place_all(plant, limit_eur, careful, traces)
        if code in (DROPPED, STUCK):
            if code == DROPPED and limit_eur < NO_LIMIT:
                return DROPPED
            # Whoever is found to be left out first decides what the others find: all lines are asked.
            careful = True
            continue
        return code


@part
def _place_all(plant: Ints, limit_eur: float, careful: bool, traces: bool) -> int:
    """Place all runs that are not left out. Before it comes back with `DROPPED` or `STUCK`, it marks what is
    to be left out, or what is to wait for no other.
    """
    runs, eur = ints(plant, AT_TRIAL_RUNS), floats(plant, AT_TRIAL_EUR)
    _begin(plant)
    if ints(plant, AT_COUNTS)[MAY_SHARE] == NEVER:
        return _place_each(plant, limit_eur)
    following, earliest = ints(plant, AT_FOLLOWING), ints(plant, AT_EARLIEST)
    not_before = ints(plant, AT_NOT_BEFORE)
    total_eur = 0.0
    for line in range(runs.shape[0]):
        total_eur += eur[line]
    while True:
        if careful:
            code = _look_ahead(plant)
            if code != DONE:
                return code
        line = _next_line(plant)
        if line < 0:
            break
        book, position = book_of(plant, line), following[line]
        start_ms = _start_ms(plant, book, line)
        if start_ms != earliest[line]:
            earliest[line] = start_ms
            continue
        fetched = _fetch(plant, book, start_ms, position)
        _tell_drawn(plant, book, position)
        before = ints(book, AT_STATE)[BEFORE]
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
        total_eur += line_eur - eur[line]
        eur[line] = line_eur
        _note_placed(plant, book, line, position, fetched, before)
        if total_eur > limit_eur:
            return ABOVE
    for line in range(runs.shape[0]):
        if following[line] < runs[line]:
            return _unbind(plant)
    return _sum_up(plant, limit_eur)


@part
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
        if split_rows(plant).shape[0] > 0:
            for position in range(runs[line]):
                item = plan_rows(book)[ints(book, AT_TRIAL)[position]]["item"]
                ints(plant, AT_ENDS)[item] = ints_2(book, AT_TRACE)[position, 2]
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
    for idx in range(splits.shape[0]):
        split = splits[idx]
        if ends[split["second"]] > 0 or left_out[split["second"]]:
            end_ms = -NEVER_MS
            if not left_out[split["second"]]:
                end_ms = ends[split["second"]]
            if not left_out[split["first"]]:
                end_ms = max(end_ms, ends[split["first"]])
            if end_ms > split["due_ms"]:
                beyond_eur += split["late_once_eur"] + split["late_ms_eur"] * (end_ms - split["due_ms"])
    return beyond_eur


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
def _next_line(plant: Ints) -> int:
    """The line whose next run may start earliest, by what is known; -1 where none can go on."""
    following, earliest = ints(plant, AT_FOLLOWING), ints(plant, AT_EARLIEST)
    runs = ints(plant, AT_TRIAL_RUNS)
    best, best_ms = -1, NEVER_MS
    waits = lock_rows(plant).shape[0] > 0
    for line in range(runs.shape[0]):
        if following[line] < runs[line] and earliest[line] < best_ms:
            if waits and _waits_for_another(plant, line):
                continue
            best, best_ms = line, earliest[line]
    return best


@part
def _waits_for_another(plant: Ints, line: int) -> bool:
    """Whether a line's next run waits for one that has yet to be placed."""
    locks, ends, left_out = lock_rows(plant), ints(plant, AT_ENDS), flags(plant, AT_LEFT_OUT)
    book = book_of(plant, line)
    item = plan_rows(book)[ints(book, AT_TRIAL)[ints(plant, AT_FOLLOWING)[line]]]["item"]
    if flags(plant, AT_UNBOUND)[item]:
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
def _start_ms(plant: Ints, book: Ints, line: int) -> int:
    """When a line's next run can start, as far as stock allows it."""
    state, closures = ints(book, AT_STATE), ints_2(book, AT_CLOSURES)
    plan_idx = ints(book, AT_TRIAL)[ints(plant, AT_FOLLOWING)[line]]
    plan = plan_rows(book)[plan_idx]
    start_ms = max(state[END], plan["ready_ms"], ints(plant, AT_NOT_BEFORE)[line])
    if plan["seats_to"] > plan["seats_from"]:
        start_ms = max(start_ms, _tools_free_ms(plant, book, plan_idx))
    if lock_rows(plant).shape[0] > 0:
        start_ms = max(start_ms, _others_end_ms(plant, plan["item"]))
    closure = first_ending_after(closures, state[CLOSURE], start_ms)
    if closure < closures.shape[0] and closures[closure, 0] <= start_ms:
        start_ms = closures[closure, 1]
    return int(start_ms)


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
def _fetch(plant: Ints, book: Ints, start_ms: int, position: int) -> int:
    """Take the shared tools that a run needs from elsewhere, emptying the places they stood at.

    Returns how many; `fetched` gets (copy, slot, station, until when it is in use) of each, `taken_from`
    (place, what the column held) of the places emptied, the place -1 for the store.
    """
    plan_idx = ints(book, AT_TRIAL)[position]
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
def _line_at(plant: Ints, place: int) -> int:
    """The line that has a place."""
    line = lines_of(plant) - 1
    while line_row(book_of(plant, line))[0]["places_from"] > place:
        line -= 1
    return line


@part
def _empty(plant: Ints, place: int) -> int:
    """Empty a place; returns what its column held."""
    book = book_of(plant, _line_at(plant, place))
    field = field_rows(book)[place - line_row(book)[0]["places_from"]]
    state = ints(book, AT_STATE)
    held = state[HEAD + field["column"]]
    state[HEAD + field["column"]] &= ~field["mask"]
    return int(held)


@part
def _put_back(plant: Ints, fetched: int) -> None:
    """Undo a fetch, last things first."""
    taken_from = ints_2(plant, AT_TAKEN_FROM)
    for at in range(fetched - 1, -1, -1):
        place = taken_from[at, 0]
        if place >= 0:
            book = book_of(plant, _line_at(plant, place))
            field = field_rows(book)[place - line_row(book)[0]["places_from"]]
            ints(book, AT_STATE)[HEAD + field["column"]] = taken_from[at, 1]


@part
def _tell_drawn(plant: Ints, book: Ints, position: int) -> None:
    """Tell a line what all lines have drawn of the stocks that its next run takes."""
    drawn, state = ints(plant, AT_DRAWN), ints(book, AT_STATE)
    if drawn.shape[0] > 0:
        row, at = line_row(book)[0], line_row(book)[0]["drawn_at"]
        stock = plan_rows(book)[ints(book, AT_TRIAL)[position]]["stock"]
        other = _threaded_stock(book, state[BEFORE], row["present_shape"])
        state[at + stock], state[at + other] = drawn[stock], drawn[other]


@part
def _threaded_stock(book: Ints, before: int, present_shape: int) -> int:
    """The followed stock that is threaded behind a run, or as the plan begins."""
    shape = present_shape if before < 0 else plan_rows(book)[before]["shape"]
    return int(ints(book, AT_SHAPE_STOCKS)[shape])


@part
def _note_placed(plant: Ints, book: Ints, line: int, position: int, fetched: int, before: int) -> None:
    """What all lines see of a run that was placed: tools where they are now, stock drawn, and its end."""
    state, row = ints(book, AT_STATE), line_row(book)[0]
    plan = plan_rows(book)[ints(book, AT_TRIAL)[position]]
    standing, place_of = ints(plant, AT_STANDING), ints(plant, AT_COPY_PLACE)
    seats, free_ms, first = seat_rows(book), ints(plant, AT_COPY_FREE), row["places_from"]
    for at in range(fetched):
        if ints_2(plant, AT_TAKEN_FROM)[at, 0] >= 0:
            standing[ints_2(plant, AT_TAKEN_FROM)[at, 0]] = -1
    for at in range(plan["seats_from"], plan["seats_to"]):
        seat = seats[at]
        copy = standing[first + seat["slot"]]
        if copy >= 0 and not (seat["tool"] >= 0 and _has(copy, seat)):
            place_of[copy] = standing[first + seat["slot"]] = -1
    for at in range(fetched):
        copy, slot = ints_2(book, AT_FETCHED)[at, 0], ints_2(book, AT_FETCHED)[at, 1]
        place_of[copy], standing[first + slot] = first + slot, copy
    for at in range(plan["seats_from"], plan["seats_to"]):
        if seats[at]["tool"] >= 0:
            free_ms[standing[first + seats[at]["slot"]]] = state[END]
    drawn = ints(plant, AT_DRAWN)
    if drawn.shape[0] > 0:
        other = _threaded_stock(book, before, row["present_shape"])
        drawn[other] = state[row["drawn_at"] + other]
        drawn[plan["stock"]] = state[row["drawn_at"] + plan["stock"]]
    ints(plant, AT_ENDS)[plan["item"]] = state[END]
    starts = ints(plant, AT_TRIAL_START)
    starts[line] = min(starts[line], ints(plant, AT_EARLIEST)[line])
    following = ints(plant, AT_FOLLOWING)
    following[line] = _next_position(plant, line, position + 1)
    ints(plant, AT_NOT_BEFORE)[line] = 0
    if following[line] < ints(plant, AT_TRIAL_RUNS)[line]:
        plan_after = plan_rows(book)[ints(book, AT_TRIAL)[following[line]]]
        ints(plant, AT_EARLIEST)[line] = max(state[END], plan_after["ready_ms"])


@part
def _look_ahead(plant: Ints) -> int:
    """Leave out the first line's next run that never can start, though others would come before it: `DROPPED`
    then, else `DONE`.
    """
    following, runs = ints(plant, AT_FOLLOWING), ints(plant, AT_TRIAL_RUNS)
    for line in range(runs.shape[0]):
        if following[line] == runs[line]:
            continue
        if lock_rows(plant).shape[0] > 0 and _waits_for_another(plant, line):
            continue
        code = _probe(plant, line)
        if code == DROPPED:
            _leave_out(plant, line, following[line])
        if code in (DROPPED, FULL):
            return code
    return DONE


@part
def _probe(plant: Ints, line: int) -> int:
    """How placing a line's next run would come out; everything stays as it is."""
    book, position = book_of(plant, line), ints(plant, AT_FOLLOWING)[line]
    state, not_before = ints(book, AT_STATE), ints(plant, AT_NOT_BEFORE)
    held = state.copy()
    before_ms = not_before[line]
    while True:
        start_ms = _start_ms(plant, book, line)
        fetched = _fetch(plant, book, start_ms, position)
        _tell_drawn(plant, book, position)
        eur = floats(plant, AT_TRIAL_EUR)[line]
        code, _, _ = place_runs(book, eur, position, position + 1, NO_LIMIT, False, False, start_ms, fetched)
        _put_back(plant, fetched)
        copy_row(state, held)
        if code != LATER:
            not_before[line] = before_ms
            return code
        not_before[line] = ints(book, AT_LATER)[0]
