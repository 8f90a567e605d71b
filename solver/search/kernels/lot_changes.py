"""Changes of how jobs are split: a job cut in two lots, lots joined again, a job cut elsewhere."""

from __future__ import annotations

from solver.search.kernels.address_book import (
    AT_COUNTS,
    AT_KEPT,
    AT_ORDER,
    AT_PLACE,
    AT_RUNS,
    AT_SEATED,
    ints,
    ints_2,
    plan_rows,
    randomness_of,
    split_rows,
)
from solver.search.kernels.changes import as_late, insert, remove, reseat, seat_on
from solver.search.kernels.compiled import part
from solver.search.kernels.randomness import draw_below, draw_unit
from solver.search.kernels.tables import END, Ints
from solver.search.kernels.walk import KEPT, PARTS, PLACES, book_of, lines_of, note_part

RECUT = 0.3
"""Share of the changes of a split job that cut it elsewhere; the others make it whole."""
BEHIND, AS_LATE = 0.3, 0.7
"""Up to here, of 1, second lots come right behind the first, and up to here where it is as late."""


@part
def change_lots(plant: Ints) -> None:
    """Split a job that is whole, or join or cut anew one that is split."""
    random, splits, place = randomness_of(plant), split_rows(plant), ints(plant, AT_PLACE)
    split = splits[draw_below(random, splits.shape[0])]
    if place[split["first"]] < 0:
        return
    cut = 1 + draw_below(random, split["cuts"])
    if place[split["second"]] >= 0:
        if draw_unit(random) < RECUT:
            _recut(plant, split["first"], split["second"], cut)
        else:
            join_lots(plant, split["first"], split["second"])
        return
    line, position = place[split["first"]] // PLACES, place[split["first"]] % PLACES
    to_line, drawn = draw_below(random, lines_of(plant)), draw_unit(random)
    at = draw_below(random, ints(plant, AT_RUNS)[to_line] + 1)
    if drawn < BEHIND:
        to_line, at = line, position + 1
    elif drawn < AS_LATE and ints(plant, AT_COUNTS)[KEPT]:
        at = as_late(plant, to_line, ints_2(book_of(plant, line), AT_KEPT)[position, END])
    split_job(plant, split["first"], split["second"], cut, to_line, at)


@part
def split_job(plant: Ints, first: int, second: int, cut: int, to_line: int, at: int) -> None:
    """Cut a whole job in two, the second lot before a position of a line, if it can run there."""
    place = ints(plant, AT_PLACE)[first]
    line, position = place // PLACES, place % PLACES
    there = seat_on(plant, line, first, cut, position)
    seated = seat_on(plant, to_line, second, cut, at)
    if there < 0 or seated < 0:
        return
    ints(plant, AT_SEATED)[0] = seated
    insert(plant, to_line, at, 1)
    if line == to_line:
        # Its part reaches from the one to the other.
        moved = position + (at <= position)
        reseat(plant, line, moved, there)
        ints(plant, AT_COUNTS)[PARTS] = 0
        note_part(plant, line, min(at, moved), max(at, moved) + 1)
    else:
        reseat(plant, line, position, there)
        note_part(plant, line, position, position + 1)


@part
def join_lots(plant: Ints, first: int, second: int) -> None:
    """Make a split job whole where its first lot is."""
    place = ints(plant, AT_PLACE)
    line, position = place[first] // PLACES, place[first] % PLACES
    from_line, at = place[second] // PLACES, place[second] % PLACES
    whole = seat_on(plant, line, first, 0, position)
    if whole < 0:
        return
    remove(plant, from_line, at, at + 1)
    if line == from_line:
        moved = position - (at < position)
        reseat(plant, line, moved, whole)
        ints(plant, AT_COUNTS)[PARTS] = 0
        note_part(plant, line, min(at, moved), max(at, moved + 1))
    else:
        reseat(plant, line, position, whole)
        note_part(plant, line, position, position + 1)


@part
def _recut(plant: Ints, first: int, second: int, cut: int) -> None:
    """Cut a split job elsewhere; its lots stay where they are."""
    place = ints(plant, AT_PLACE)
    line, position = place[first] // PLACES, place[first] % PLACES
    other, at = place[second] // PLACES, place[second] % PLACES
    book = book_of(plant, line)
    if plan_rows(book)[ints(book, AT_ORDER)[position]]["cut"] == cut:
        return
    there, seated = seat_on(plant, line, first, cut, position), seat_on(plant, other, second, cut, at)
    if there < 0 or seated < 0:
        return
    reseat(plant, line, position, there)
    reseat(plant, other, at, seated)
    if line == other:
        note_part(plant, line, min(position, at), max(position, at) + 1)
    else:
        note_part(plant, line, position, position + 1)
        note_part(plant, other, at, at + 1)
