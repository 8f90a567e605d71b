"""Orders of a plant on their walk: what the present one costs, a change tried on it, and whether it is taken.

A change is written into the trials of the lines it touches, which otherwise equal their orders. Every line
touched is first placed in time by itself, from its first changed position on, after the snapshot kept there.
Where lines share something that more than one of them asks for, a trial that is good enough by itself is then
placed in step with all other lines, which alone is true.
"""

from __future__ import annotations

import numpy as np

from solver.search.kernels.address_book import (
    AT_BEST,
    AT_CLOSURES,
    AT_COPY_TOOLS,
    AT_COUNTS,
    AT_FIRST_START,
    AT_KEPT,
    AT_KEPT_EUR,
    AT_KEPT_TRACE,
    AT_LATE_EUR,
    AT_LINE_EUR,
    AT_LINES,
    AT_MOMENT_ROWS,
    AT_ORDER,
    AT_ORIGIN,
    AT_PARTS,
    AT_PLACE,
    AT_PRESENT_PLACE,
    AT_RUNS,
    AT_STATE,
    AT_SUMS,
    AT_TRACE,
    AT_TRIAL,
    AT_TRIAL_EUR,
    AT_TRIAL_RUNS,
    AT_TRIAL_START,
    FIELDS,
    field_rows,
    floats,
    ints,
    ints_2,
    line_row,
    plan_rows,
    seat_rows,
    split_rows,
    step_rows,
    stock_rows,
)
from solver.search.kernels.closures import open_between
from solver.search.kernels.compiled import inlined, part
from solver.search.kernels.stretches import note_steps, pass_over
from solver.search.kernels.tables import (
    ABOVE,
    DONE,
    END,
    NEVER_MS,
    Flags,
    Ints,
)
from solver.search.kernels.timeline import clean_down_eur, place_runs

TOLERANCE = 1e-9
"""Relative: costs closer than this count as equal, so that rounding never makes an improvement."""
(
    FAULTS,
    BEST_FAULTS,
    LEFT_OUT,
    WORK,
    FRESH,
    MISJUDGED,
    PARTS,
    KEPT,  # whether the snapshots are of the order
    TOOLS_SHARED,  # whether lines of the order need the same tools
    MAY_SHARE,  # whether lines of the plant can ask for the same at all: `NEVER`, `SOMETIMES`, `ALWAYS`
    HAS_BEGUN,  # whether a run had started anywhere as the plan begins
    TRIED_FAULTS,
    TRIED_LEFT_OUT,
    TRIED_ALONE,  # whether the trial's lines were placed by themselves only
    JOBS,
    WHOLE_RUNS,  # runs of an order that splits no job
    MOMENTS,  # how many moments of the order are kept
    TRIED_FROM,  # how many of them the trial was placed after
    TRIED_MOMENTS,  # how many there are of the trial then
) = range(19)
NEVER, SOMETIMES, ALWAYS = 0, 1, 2
UNORDERED = 2
"""Of a fresh walk: the runs of its order are still to be dispatched."""
(
    EUR,
    BEST_EUR,
    HOPE,
    TRIED_EUR,
    FAULT_EUR,
    FIRST_EUR,  # what lines wait for the first start of all
    TRIED_FIRST_EUR,
) = range(7)
NO_LIMIT = np.inf
PLACES = 1 << 20
"""A position is told with its line as one number: line times this, and the position."""


@part
def book_of(plant: Ints, line: int) -> Ints:
    """The book of a line."""
    return ints(ints(plant, AT_LINES), line * FIELDS)


@part
def lines_of(plant: Ints) -> int:
    """How many lines there are."""
    return len(ints(plant, AT_RUNS))


@part
def note_part(plant: Ints, line: int, first: int, last: int) -> None:
    """Note that a change touches a line, whose trial goes on like its order from `last` on."""
    counts, parts = ints(plant, AT_COUNTS), ints_2(plant, AT_PARTS)
    at = counts[PARTS]
    parts[at, 0], parts[at, 1], parts[at, 2] = line, first, last
    counts[PARTS] += 1


@part
def note_all(plant: Ints) -> None:
    """Note that every line is touched from its beginning on."""
    ints(plant, AT_COUNTS)[PARTS] = 0
    for line in range(lines_of(plant)):
        note_part(plant, line, 0, ints(plant, AT_TRIAL_RUNS)[line])


@inlined
def try_parts(plant: Ints, limit_eur: float) -> int:
    """Place the touched lines by themselves, passing over what stays as it is.

    Returns how that came out; the cost is in `TRIED_EUR`.
    """
    counts, sums, parts = ints(plant, AT_COUNTS), floats(plant, AT_SUMS), ints_2(plant, AT_PARTS)
    line_eur, trial_eur = floats(plant, AT_LINE_EUR), floats(plant, AT_TRIAL_EUR)
    copy_row(ints(plant, AT_TRIAL_START), ints(plant, AT_FIRST_START))
    waited_eur = total_eur = _waited_eur(plant)
    for line in range(lines_of(plant)):
        total_eur += line_eur[line]
    for at in range(counts[PARTS]):
        total_eur -= line_eur[parts[at, 0]]
    ahead_eur = 0.0
    for at in range(1, counts[PARTS]):
        ahead_eur += _expected_eur(plant, at)
    for at in range(counts[PARTS]):
        if at > 0:
            ahead_eur -= _expected_eur(plant, at)
        code = _try_line(plant, at, limit_eur - total_eur - ahead_eur)
        if code != DONE:
            return code
        total_eur += trial_eur[parts[at, 0]]
    total_eur += first_eur(plant) - waited_eur
    sums[TRIED_EUR] = total_eur
    return ABOVE if total_eur > limit_eur else DONE


@part
def alone_beyond_eur(plant: Ints) -> float:
    """By how much the order would cost more if its lines were placed by themselves: a tool that comes late
    may spare a longer wait later. A trial is let off as much before it is placed in step.
    """
    sums, line_eur = floats(plant, AT_SUMS), floats(plant, AT_LINE_EUR)
    alone_eur = sums[FIRST_EUR]
    for line in range(lines_of(plant)):
        alone_eur += line_eur[line]
    return float(max(0.0, alone_eur - sums[EUR]))


@part
def _waited_eur(plant: Ints) -> float:
    """What lines wait for the first start of all, as far as it is sure before the touched ones are placed: a
    line that begins with another run may begin sooner, or not at all.
    """
    parts = ints_2(plant, AT_PARTS)
    for at in range(ints(plant, AT_COUNTS)[PARTS]):
        if parts[at, 1] == 0:
            return 0.0
    return float(floats(plant, AT_SUMS)[FIRST_EUR])


@part
def _expected_eur(plant: Ints, at: int) -> float:
    """What a touched line that was not placed yet will come to at least, by a guess: what it has before and
    behind the change, but for `HOPE` and lateness.
    """
    part_row = ints_2(plant, AT_PARTS)[at]
    line, first, last = part_row[0], part_row[1], part_row[2]
    book = book_of(plant, line)
    kept_eur, runs = floats(book, AT_KEPT_EUR), ints(plant, AT_RUNS)[line]
    behind = min(runs, max(first, runs - (ints(plant, AT_TRIAL_RUNS)[line] - last)))
    spared_eur = kept_eur[behind] - kept_eur[first]
    late_eur = floats(book, AT_LATE_EUR)[behind]
    return float(floats(plant, AT_LINE_EUR)[line] - spared_eur - late_eur - floats(plant, AT_SUMS)[HOPE])


@inlined
def _try_line(plant: Ints, at_part: int, limit_eur: float) -> int:
    """Place a touched line by itself."""
    part_row = ints_2(plant, AT_PARTS)[at_part]
    line, at, last = part_row[0], part_row[1], part_row[2]
    runs, trial_runs = ints(plant, AT_RUNS)[line], ints(plant, AT_TRIAL_RUNS)[line]
    book = book_of(plant, line)
    starts = ints(plant, AT_TRIAL_START)
    copy_row(ints(book, AT_STATE), ints_2(book, AT_KEPT)[at])
    eur = floats(book, AT_KEPT_EUR)[at]
    while at < trial_runs:
        at, stretch_eur = pass_over(book, at, runs, trial_runs)
        eur += stretch_eur
        if eur > limit_eur or (at >= last and _is_hopeless(plant, book, line, at, eur, limit_eur)):
            return ABOVE
        if at < trial_runs:
            code, behind, eur = place_runs(book, eur, at, at + 1, limit_eur, False, True, 0, -1)
            if code != DONE:
                return code
            if at == 0:
                starts[line] = ints_2(book, AT_TRACE)[0, 0]
            at = behind
    if trial_runs == 0:
        starts[line] = NEVER_MS
    eur += clean_down_eur(book)
    floats(plant, AT_TRIAL_EUR)[line] = eur
    return ABOVE if eur > limit_eur else DONE


@part
def _is_hopeless(plant: Ints, book: Ints, line: int, at: int, eur: float, limit_eur: float) -> bool:
    """Whether a trial that goes on like the order is not worth going on with.

    What is ahead may come out cheaper than in the order by lateness, where the trial is earlier, and by
    tooling that it kept; the latter is a guess (`HOPE`), no bound.
    """
    runs, trial_runs = ints(plant, AT_RUNS)[line], ints(plant, AT_TRIAL_RUNS)[line]
    kept_eur, position = floats(book, AT_KEPT_EUR), runs - (trial_runs - at)
    ahead_eur = kept_eur[runs] - kept_eur[position] - floats(plant, AT_SUMS)[HOPE]
    if ints(book, AT_STATE)[END] < ints_2(book, AT_KEPT)[position, END]:
        ahead_eur -= floats(book, AT_LATE_EUR)[position]
    return bool(eur + ahead_eur > limit_eur)


@part
def first_eur(plant: Ints) -> float:
    """What lines that begin later than the first of them wait for, by the trial's starts of all lines; noted
    in `TRIED_FIRST_EUR`.
    """
    counts, sums, starts = ints(plant, AT_COUNTS), floats(plant, AT_SUMS), ints(plant, AT_TRIAL_START)
    lines = lines_of(plant)
    first_ms, eur = 0, 0.0
    if not counts[HAS_BEGUN]:
        first_ms = NEVER_MS
        for line in range(lines):
            first_ms = min(first_ms, starts[line])
    for line in range(lines):
        book = book_of(plant, line)
        if first_ms < starts[line] < NEVER_MS and not line_row(book)[0]["has_begun"]:
            waiting_ms = open_between(ints_2(book, AT_CLOSURES), 0, first_ms, starts[line])
            eur += waiting_ms * line_row(book)[0]["stopped_ms_eur"]
    sums[TRIED_FIRST_EUR] = eur
    return eur


@part
def shares_something(plant: Ints) -> bool:
    """Whether lines of the trial ask for the same: a tool that more than one needs or has, more of a stock
    than there is at once, or a run that must wait for one of another line.

    Lots of a job are late together. Every touched line must have been placed.
    """
    counts = ints(plant, AT_COUNTS)
    if splits_jobs(plant):
        return True
    if counts[MAY_SHARE] != SOMETIMES:
        return bool(counts[MAY_SHARE] == ALWAYS)
    if counts[PARTS] > 1 or _reseats(plant):
        return bool(_tools_shared(plant) or _stock_short(plant))
    return bool(counts[TOOLS_SHARED] or _stock_short(plant))


@part
def _reseats(plant: Ints) -> bool:
    """Whether the trial has a run that the order has not so: at other stations it may need other tools."""
    parts = ints_2(plant, AT_PARTS)
    for at in range(ints(plant, AT_COUNTS)[PARTS]):
        origin = ints(book_of(plant, parts[at, 0]), AT_ORIGIN)
        for position in range(parts[at, 1], parts[at, 2]):
            if origin[position] < 0:
                return True
    return False


@part
def note_whole_runs(plant: Ints) -> None:
    """Note how many runs the trial would have if it split no job: it need not hold all jobs."""
    whole = firsts = seconds = 0
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        trial, plans = ints(book, AT_TRIAL), plan_rows(book)
        for position in range(ints(plant, AT_TRIAL_RUNS)[line]):
            plan = plans[trial[position]]
            if plan["cut"] == 0:
                whole += 1
            elif plan["item"] < ints(plant, AT_COUNTS)[JOBS]:
                firsts += 1
            else:
                seconds += 1
    ints(plant, AT_COUNTS)[WHOLE_RUNS] = whole + min(firsts, seconds)


@part
def splits_jobs(plant: Ints) -> bool:
    """Whether the trial has a job in lots."""
    trial_runs, count = ints(plant, AT_TRIAL_RUNS), 0
    for line in range(trial_runs.shape[0]):
        count += trial_runs[line]
    return bool(count > ints(plant, AT_COUNTS)[WHOLE_RUNS])


@part
def _tools_shared(plant: Ints) -> bool:
    """Whether two lines have a shared tool at first, or need it."""
    places, tools = ints(plant, AT_PRESENT_PLACE), ints(plant, AT_COPY_TOOLS)
    owner = np.full(tools.shape[0], -1)
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        first, slots = line_row(book)[0]["places_from"], field_rows(book).shape[0]
        for copy in range(places.shape[0]):
            if first <= places[copy] < first + slots:
                if owner[tools[copy]] >= 0 and owner[tools[copy]] != line:
                    return True
                owner[tools[copy]] = line
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        trial, plans, seats = ints(book, AT_TRIAL), plan_rows(book), seat_rows(book)
        for position in range(ints(plant, AT_TRIAL_RUNS)[line]):
            plan = plans[trial[position]]
            for seat in range(plan["seats_from"], plan["seats_to"]):
                tool = seats[seat]["tool"]
                if tool >= 0:
                    if owner[tool] >= 0 and owner[tool] != line:
                        return True
                    owner[tool] = line
    return False


@part
def _stock_short(plant: Ints) -> bool:
    """Whether lines together draw more of a stock than there is at once."""
    touched, parts = 0, ints_2(plant, AT_PARTS)
    for at in range(ints(plant, AT_COUNTS)[PARTS]):
        touched |= 1 << parts[at, 0]
    stocks = stock_rows(book_of(plant, 0))
    for stock in range(stocks.shape[0] - 1):
        drawn_um, drawing = 0, 0
        for line in range(lines_of(plant)):
            book = book_of(plant, line)
            at = line_row(book)[0]["drawn_at"] + stock
            if touched >> line & 1:
                own_um = ints(book, AT_STATE)[at]
            else:
                own_um = ints_2(book, AT_KEPT)[ints(plant, AT_RUNS)[line], at]
            drawn_um += own_um
            drawing += own_um > 0
        if drawing > 1 and drawn_um > stocks[stock]["on_hand_um"]:
            return True
    return False


@inlined
def keep_parts(plant: Ints) -> int:
    """Place the touched lines by themselves again, now with snapshots."""
    parts, line_eur, trial_eur = (
        ints_2(plant, AT_PARTS),
        floats(plant, AT_LINE_EUR),
        floats(plant, AT_TRIAL_EUR),
    )
    copy_row(ints(plant, AT_TRIAL_START), ints(plant, AT_FIRST_START))
    total_eur = 0.0
    for line in range(lines_of(plant)):
        total_eur += line_eur[line]
    for at in range(ints(plant, AT_COUNTS)[PARTS]):
        line, first = parts[at, 0], parts[at, 1]
        book, trial_runs = book_of(plant, line), ints(plant, AT_TRIAL_RUNS)[line]
        kept, kept_eur = ints_2(book, AT_KEPT), floats(book, AT_KEPT_EUR)
        copy_row(ints(book, AT_STATE), kept[first])
        code, _, eur = place_runs(book, kept_eur[first], first, trial_runs, NO_LIMIT, True, True, 0, -1)
        if code != DONE:
            return code
        kept_eur[trial_runs] = eur
        eur += clean_down_eur(book)
        total_eur += eur - line_eur[line]
        trial_eur[line] = eur
        for item in range(kept.shape[1]):
            kept[trial_runs, item] = ints(book, AT_STATE)[item]
        if first == 0:
            ints(plant, AT_TRIAL_START)[line] = ints_2(book, AT_TRACE)[0, 0] if trial_runs > 0 else NEVER_MS
    total_eur += first_eur(plant)
    is_other = abs(total_eur - floats(plant, AT_SUMS)[TRIED_EUR]) > tolerance_eur(plant)
    if is_other and ints(plant, AT_COUNTS)[TRIED_ALONE]:
        ints(plant, AT_COUNTS)[MISJUDGED] += 1
    return DONE


@part
def take_parts(plant: Ints, kept: bool) -> None:
    """Make the trial the order, and note it if it is the best; `kept` tells whether there are snapshots."""
    counts, sums, parts = ints(plant, AT_COUNTS), floats(plant, AT_SUMS), ints_2(plant, AT_PARTS)
    faults, left_out, eur = counts[TRIED_FAULTS], counts[TRIED_LEFT_OUT], sums[TRIED_EUR]
    tools_change = counts[PARTS] > 1 or counts[FRESH] or _reseats(plant)
    if split_rows(plant).shape[0] > 0:
        for at in range(counts[PARTS]):
            _forget_places(plant, parts[at, 0], parts[at, 1])
    for at in range(counts[PARTS]):
        _take_line(plant, parts[at, 0], parts[at, 1], kept)
    if kept:
        sums[FIRST_EUR] = sums[TRIED_FIRST_EUR]
    counts[KEPT] = kept
    if counts[MAY_SHARE] == SOMETIMES and tools_change:
        counts[TOOLS_SHARED] = _tools_shared(plant)
    counts[FRESH], counts[LEFT_OUT], counts[FAULTS] = 0, left_out, faults
    _take_moments(plant)
    sums[EUR] = eur
    if is_better(faults, eur, counts[BEST_FAULTS], sums[BEST_EUR]):
        counts[BEST_FAULTS] = faults
        sums[BEST_EUR] = eur
        _note_best(plant)


@part
def _take_moments(plant: Ints) -> None:
    """The moments of the trial are the order's now; there are none of lines placed by themselves."""
    counts, rows = ints(plant, AT_COUNTS), ints_2(plant, AT_MOMENT_ROWS)
    counts[MOMENTS] = 0 if counts[TRIED_ALONE] else counts[TRIED_MOMENTS]
    for at in range(counts[TRIED_FROM], counts[MOMENTS]):
        rows[0, at], rows[1, at] = rows[1, at], rows[0, at]


@part
def _forget_places(plant: Ints, line: int, first: int) -> None:
    """Forget where the runs of a line are from a position on: a lot may be gone."""
    book, place = book_of(plant, line), ints(plant, AT_PLACE)
    order, plans = ints(book, AT_ORDER), plan_rows(book)
    for position in range(first, ints(plant, AT_RUNS)[line]):
        place[plans[order[position]]["item"]] = -1


@part
def _take_line(plant: Ints, line: int, first: int, kept: bool) -> None:
    book, runs, trial_runs = book_of(plant, line), ints(plant, AT_RUNS), ints(plant, AT_TRIAL_RUNS)
    trial, order, origin = ints(book, AT_TRIAL), ints(book, AT_ORDER), ints(book, AT_ORIGIN)
    place, plans = ints(plant, AT_PLACE), plan_rows(book)
    count = trial_runs[line]
    if kept:
        note_steps(book, first, count)
        late_eur, steps = floats(book, AT_LATE_EUR), step_rows(book)
        late_eur[count] = 0.0
        for at in range(count - 1, -1, -1):
            step = steps[at]
            late_eur[at] = late_eur[at + 1]
            if step["late_ms"] > 0:
                late_eur[at] += step["late_once_eur"] + step["late_ms_eur"] * step["late_ms"]
        copy_starts(ints_2(book, AT_KEPT_TRACE), ints_2(book, AT_TRACE), first, count)
        floats(plant, AT_LINE_EUR)[line] = floats(plant, AT_TRIAL_EUR)[line]
        ints(plant, AT_FIRST_START)[line] = ints(plant, AT_TRIAL_START)[line]
    for position in range(first, max(runs[line], count)):
        order[position] = trial[position]
        origin[position] = position
    for position in range(first, count):
        place[plans[trial[position]]["item"]] = line * PLACES + position
    runs[line] = count


@part
def _note_best(plant: Ints) -> None:
    best, runs = ints(plant, AT_BEST), ints(plant, AT_RUNS)
    lines = runs.shape[0]
    room = best.shape[0] // lines - 1
    for line in range(lines):
        best[line] = runs[line]
        order = ints(book_of(plant, line), AT_ORDER)
        for at in range(runs[line]):
            best[lines + line * room + at] = order[at]


@part
def begin_from(plant: Ints, orders: Ints) -> None:
    """Let the trial be an order as `best` has it, all of it to be placed afresh."""
    runs = ints(plant, AT_TRIAL_RUNS)
    lines = runs.shape[0]
    room = orders.shape[0] // lines - 1
    for line in range(lines):
        trial = ints(book_of(plant, line), AT_TRIAL)
        runs[line] = orders[line]
        for at in range(orders[line]):
            trial[at] = orders[lines + line * room + at]
    ints(plant, AT_COUNTS)[FRESH] = 1


@part
def undo(plant: Ints) -> None:
    """Make the trial equal to the order again."""
    counts, parts = ints(plant, AT_COUNTS), ints_2(plant, AT_PARTS)
    runs, trial_runs = ints(plant, AT_RUNS), ints(plant, AT_TRIAL_RUNS)
    for at in range(counts[PARTS]):
        line, first, last = parts[at, 0], parts[at, 1], parts[at, 2]
        if runs[line] != trial_runs[line]:
            last = max(runs[line], trial_runs[line])
            trial_runs[line] = runs[line]
        book = book_of(plant, line)
        trial, order, origin = ints(book, AT_TRIAL), ints(book, AT_ORDER), ints(book, AT_ORIGIN)
        for position in range(first, last):
            trial[position] = order[position]
            origin[position] = position
    counts[PARTS] = 0


@part
def is_taken(plant: Ints, faults: int, eur: float, limit_eur: float) -> bool:
    """Whether a trial is good enough: faults before money, or at the price of a fault while there is one."""
    counts, sums = ints(plant, AT_COUNTS), floats(plant, AT_SUMS)
    more = faults - counts[FAULTS]
    if sums[FAULT_EUR] == NO_LIMIT and more != 0:
        return bool(more < 0)
    return bool(eur + (sums[FAULT_EUR] * more if more != 0 else 0.0) <= limit_eur)


@part
def most_eur(plant: Ints, limit_eur: float) -> float:
    """What a trial may cost at most to be good enough if it has no fault."""
    faults = ints(plant, AT_COUNTS)[FAULTS]
    return limit_eur if faults == 0 else float(limit_eur + floats(plant, AT_SUMS)[FAULT_EUR] * faults)


@part
def copy_row(to: Ints, row: Ints) -> None:
    """Slices are not assigned: that might need an array of its own."""
    for at in range(to.shape[0]):
        to[at] = row[at]


@part
def copy_starts(to: Ints, trace: Ints, first: int, end: int) -> None:
    """Copy what a trace says of the positions from `first` to before `end`, if it says anything."""
    for at in range(first, min(end, trace.shape[0], to.shape[0])):
        for column in range(trace.shape[1]):
            to[at, column] = trace[at, column]


@part
def clear(flags: Flags) -> None:
    """Put all flags down."""
    for at in range(flags.shape[0]):
        flags[at] = 0


@part
def is_better(faults: int, eur: float, other_faults: int, other_eur: float) -> bool:
    """Whether one score is better than another, beyond rounding."""
    if faults != other_faults:
        return faults < other_faults
    return eur < other_eur - TOLERANCE * max(1.0, abs(other_eur))


@part
def tolerance_eur(plant: Ints) -> float:
    """By how much less an order must cost than this one to be better."""
    return float(TOLERANCE * max(1.0, abs(floats(plant, AT_SUMS)[EUR])))
