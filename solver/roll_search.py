"""Rolls laid on a stretch for the least money, by growing beginnings.

A beginning is the web from the first metre to a roll end somewhere in a spot (`roll_ends`). Where to the µm
a roll is left cannot be settled when it is laid: early may be best so that the next one ends well, or so
that the stub is just long enough. So a beginning stands for all ends from one place to another, between
which its cost is linear. One more piece laid on it gives a few more such beginnings for each spot in reach:
ends with a stub, and ends with a loss; each from the earliest or the latest end of the one before, or from
all of them moved along.

Every piece laid is one more layer. A beginning is given up where another with the same rolls taken reaches
as far for no more money, and what is laid behind the one can be laid behind the other. A later end has one
thing against it: the next roll gives less, so more is left of it. What was scrap, or run out, may become
more scrap, by the web by which the end is later, or a stub, which is paid for but is lost no more; what was
a stub stays one, at the same price. Rolls that end before the later end are left out: the next one behind
them gives less then, by the web between. That may be lost even where the ends are so far apart that it
would be a stub, less what the roll that is left out had cost. A piece of a roll that goes on, or is flawed,
is not left out but cut out. What cannot end below the best so far goes too, by a bound on the way on: the
rolls not yet taken, as if they could be taken in parts, and the roll ends, as if every roll were the longest
(for any number of rolls that may do; a grid of places holds the roll ends). Every roll taken also costs a
stub or its core, whichever costs less.

Of each layer so many are kept; passes keep more and more, and once nothing had to be dropped the best is
proved. Money is counted in whole parts of a euro without rounding: Python's integers have no end.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate

from solver.roll_candidates import Usable
from solver.roll_choice import Taken
from solver.roll_ends import roll_end_spots, start_spot
from solver.rolls import StockRules
from solver.stretches import Stretch

GRID = 512
"""Places for which the way on is bounded."""
IMPOSSIBLE = 1 << 200
WIDTHS = (5, 20, 80, 320, 1_280, 10_000, 100_000)
"""Beginnings kept of a layer, pass by pass."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Pieces in web order, if any were found; `proven` that none cost less, or that there are none."""

    taken: tuple[Taken, ...] | None
    proven: bool


@dataclass(slots=True)
class _Roll:
    """A usable roll, its pieces as (from, length, flagged, begins free) and money in whole parts: what a µm
    of web costs beyond the cheapest roll's (`dearer`) and what it costs when lost (`price`). `leaving` is the
    least that its rest costs, wherever it is left.
    """

    idx: int
    bit: int
    pieces: tuple[tuple[int, int, bool, bool], ...]
    length_um: int
    windows: tuple[tuple[int, int], ...]
    dearer: int
    price: int
    taking: int
    leaving: int
    mounted: bool
    alike_before: int


@dataclass(slots=True)
class _Left:
    """Rolls not yet taken, each without what a roll end wastes: the longest, and what roll ends on the way on
    cost if all were as long (`_ends_on`); sums of the longest, of the cheapest to take and leave, and of both
    where those that take least a metre come first.
    """

    longest: int
    ends: list[list[int]]
    lengths: list[int]
    takings: list[int]
    worth_lengths: list[int]
    worth_takings: list[int]


@dataclass(slots=True)
class _Beginning:
    """Rolls laid up to an end anywhere in [first, last].

    Parameters
    ----------
    cost
        Of the end at `first`, with its roll end, without web at the cheapest roll's price; `slope` a µm on.
    spot
        Where the end lies; -1 before anything is laid.
    splices
        In the spot, where they are counted.
    open_roll, open_piece
        A roll to be gone on with, at this piece; -1 where the next roll may be any.
    runs_through
        The end is no roll end but a flagged splice of the roll.
    before, moved, at
        How it came about: from an end `moved` µm earlier, or (None) from the one at `at`.
    """

    rolls: int
    open_roll: int
    open_piece: int
    runs_through: bool
    spot: int
    splices: int
    first: int
    last: int
    cost: int
    slope: int
    before: _Beginning | None
    moved: int | None
    at: int
    roll: int
    piece: int
    least_total: int = 0


Linear = tuple[int, int, int, int, int | None, int]
"""Ends [first, last], cost at the first, slope, and whence: moved by so much, or from a fixed end."""


class RollSearch:
    """One stretch and the rolls for it; `cheapest` is the answer."""

    def __init__(
        self, stretch: Stretch, rolls: Sequence[Usable], prices: StockRules, counted: frozenset[int]
    ) -> None:
        """`counted`: numbers of the segments in which splices are counted reel by reel."""
        self._length = stretch.length_um
        self._spots = roll_end_spots(stretch, counted)
        self._start = start_spot(stretch)
        self._least_stub = prices.least_stub_um
        self._cheapest_web = min((usable.roll.eur_per_um for usable in rolls), default=Fraction(0))
        self._parts = math.lcm(
            prices.stub_eur.denominator,
            self._start.eur.denominator,
            *(spot.eur.denominator for spot in self._spots),
            *(
                eur.denominator
                for usable in rolls
                for eur in (usable.roll.eur_per_um, self._cheapest_web, usable.taking_eur)
            ),
        )
        self._first = [spot.first_um for spot in self._spots]
        self._last = [spot.last_um for spot in self._spots]
        self._waste = [spot.waste_um for spot in self._spots]
        self._eur = [self._counted(spot.eur) for spot in self._spots]
        self._most = [spot.most for spot in self._spots]
        self._back_to = self._spots_wasting_no_less()
        self._stub = self._counted(prices.stub_eur)
        self._rolls = self._compiled(rolls)
        self._dearest = max((roll.price for roll in self._rolls), default=0)
        self._least_price = min((roll.price for roll in self._rolls), default=0)
        self._most_pieces = max((len(roll.pieces) for roll in self._rolls), default=1)
        self._flawed = sum(roll.bit for roll in self._rolls if len(roll.pieces) > 1)
        self._flagged = sum(roll.bit for roll in self._rolls if any(piece[2] for piece in roll.pieces))
        self._known_ends: dict[int, list[list[int]]] = {}
        self._known_left: dict[int, _Left] = {}
        self._least_waste = min(self._waste, default=0)
        self._least_end = min(self._eur, default=0)
        self._by_worth = self._sorted_by_worth()
        self._best: _Beginning | None = None
        self._best_cost = IMPOSSIBLE
        self.grown = 0

    def cheapest(self, upper_eur: Fraction | None, most_grown: int) -> Answer:
        """The cheapest laying below so many €, growing so many beginnings at most: some 150,000 a second."""
        if upper_eur is not None:
            self._best_cost = math.ceil((upper_eur - self._cheapest_web * self._length) * self._parts)
        for width in WIDTHS:
            dropped = self._pass(width, most_grown)
            if not dropped:
                return Answer(self._read(), True)
            if self.grown >= most_grown:
                break
        return Answer(self._read(), False)

    # Preparation

    def _counted(self, eur: Fraction) -> int:
        return int(eur * self._parts)

    def _spots_wasting_no_less(self) -> list[int]:
        """For every spot the first of those up to it in all of which a roll end wastes as much or more."""
        back_to: list[int] = []
        for spot, waste in enumerate(self._waste):
            first = spot
            while first > 0 and self._waste[first - 1] >= waste:
                first -= 1
            back_to.append(first)
        return back_to

    def _compiled(self, rolls: Sequence[Usable]) -> list[_Roll]:
        compiled: list[_Roll] = []
        last: dict[object, int] = {}
        for idx, usable in enumerate(rolls):
            roll = _Roll(
                idx,
                1 << idx,
                tuple((p.from_um, p.length_um, p.flagged, p.begins_free) for p in usable.pieces),
                usable.roll.length_um,
                usable.windows,
                self._counted(usable.roll.eur_per_um - self._cheapest_web),
                self._counted(usable.roll.eur_per_um),
                self._counted(usable.taking_eur),
                min(self._stub, self._counted(usable.tail_um * usable.roll.eur_per_um)),
                usable.roll.mounted,
                0,
            )
            alike = (roll.pieces, roll.length_um, roll.windows, roll.price, roll.taking)
            roll.alike_before = last.get(alike, 0)
            last[alike] = roll.bit
            compiled.append(roll)
        return compiled

    def _ends_on(self, left: _Left, rolls: int) -> list[int]:
        """For every place of the grid what the roll ends on the way on cost at least, if it takes so many
        rolls, each as long as the longest.
        """
        known = left.ends
        while len(known) < rolls:
            known.append(self._ends_with_one_more(left.longest, known[-1] if known else None))
        return known[rolls - 1]

    def _ends_with_one_more(self, longest: int, fewer: list[int] | None) -> list[int]:
        bounds = [IMPOSSIBLE] * GRID
        for cell in range(GRID):
            low, high = cell * self._length // GRID, (cell + 1) * self._length // GRID
            reach = high + longest
            if fewer is None:
                bounds[cell] = 0 if reach >= self._length else IMPOSSIBLE
                continue
            spot = bisect_left(self._last, low)
            while spot < len(self._spots) and self._first[spot] <= reach:
                onward = fewer[min(reach, self._last[spot]) * GRID // self._length]
                bounds[cell] = min(bounds[cell], self._eur[spot] + onward)
                spot += 1
        return bounds

    def _left(self, rolls: int) -> _Left:
        known = self._known_left.get(rolls)
        if known is None:
            worth = [(length, taking) for bit, length, taking in self._by_worth if not bit & rolls]
            longest = max((length for length, _ in worth), default=0)
            known = self._known_left[rolls] = _Left(
                longest,
                self._known_ends.setdefault(longest, []),
                [*accumulate(sorted((length for length, _ in worth), reverse=True), initial=0)],
                [*accumulate(sorted(taking for _, taking in worth), initial=0)],
                [*accumulate((length for length, _ in worth), initial=0)],
                [*accumulate((taking for _, taking in worth), initial=0)],
            )
        return known

    def _sorted_by_worth(self) -> list[tuple[int, int, int]]:
        """(bit, length less what a roll end wastes, price of taking and leaving) of the rolls, the least
        price a µm first.
        """
        worth = [
            (roll.bit, length, roll.taking + roll.leaving)
            for roll in self._rolls
            if (length := sum(piece[1] for piece in roll.pieces) - self._least_waste) > 0
        ]
        return sorted(worth, key=lambda item: (Fraction(item[2], item[1]), item[0]))

    # Growing

    def _pass(self, width: int, most_grown: int) -> bool:
        """Grow layer by layer; whether beginnings were dropped that might have led to something better."""
        layer = [_Beginning(0, -1, 0, False, -1, 0, 0, 0, 0, 0, None, None, 0, -1, -1)]
        dropped = False
        while layer:
            kept: dict[tuple[int, int, int, bool, int], list[_Beginning]] = {}
            for beginning in layer:
                if beginning.least_total >= self._best_cost:
                    continue
                for grown in self._grown(beginning):
                    self._keep(kept, grown)
                if self.grown >= most_grown:
                    return True
            layer = [
                beginning
                for alike in kept.values()
                for beginning in alike
                if beginning.least_total < self._best_cost
            ]
            layer.sort(key=lambda beginning: (beginning.least_total, -beginning.last))
            if len(layer) > width:
                del layer[width:]
                dropped = True
        return dropped

    def _keep(self, kept: dict[tuple[int, int, int, bool, int], list[_Beginning]], new: _Beginning) -> None:
        # Between spots little is given up while a flaw is to come: not worth the comparisons.
        alone = new.open_roll >= 0 or self._most[new.spot] is not None
        apart = new.spot if alone or self._flawed & ~new.rolls else -1
        key = (new.rolls, new.open_roll, new.open_piece, new.runs_through, apart)
        alike = kept.setdefault(key, [])
        if any(self._dominates(old, new) for old in alike):
            return
        alike[:] = [old for old in alike if not self._dominates(new, old)]
        alike.append(new)

    def _dominates(self, one: _Beginning, other: _Beginning) -> bool:
        """Whether every end of the other costs at least what an end of the one does that is as late or later,
        with what may be lost by that.
        """
        if one.last < other.last or one.splices > other.splices:
            return False
        if one.spot != other.spot and other.spot < self._back_to[one.spot]:
            return False
        more = self._waste[other.spot] - self._waste[one.spot]
        places = [other.first, other.last]
        if other.first < one.first:
            if one.runs_through or self._flagged & ~one.rolls or self._goes_on(one):
                return False
            whole = one.first + more - self._least_stub
            places += [
                place
                for place in (one.first, one.first - 1, whole + 1, whole)
                if other.first < place < other.last
            ]
        cuts_out = one.open_roll >= 0 or bool(self._flawed & ~one.rolls)
        for place in places:
            at = max(place, one.first)
            later = at - place + more
            lost = self._lost_in_piece(one.spot, later) if cuts_out else self._lost(later)
            if one.cost + one.slope * (at - one.first) + lost > other.cost + other.slope * (
                place - other.first
            ):
                return False
        return cuts_out or other.first >= one.first - 1 or self._leaves_out(one, other)

    def _lost(self, later: int) -> int:
        """The most that is lost of a roll, or paid for its stub, by its giving so much less."""
        if later >= self._least_stub:
            return self._stub if later else 0
        as_stub = self._stub - self._least_price * (self._least_stub - later)
        return max(self._dearest * later, as_stub) if later else 0

    def _lost_in_piece(self, spot: int, later: int) -> int:
        """The same where pieces may be cut out: with all that they give, and what their roll ends waste. The
        open roll may be left, and another lose.
        """
        if not later:
            return 0
        cut_out = max(0, self._dearest * self._waste[spot] - self._eur[spot]) * self._most_pieces
        as_stub = max(0, self._stub - self._least_price * self._least_stub)
        return self._dearest * later + cut_out + 2 * as_stub

    def _leaves_out(self, one: _Beginning, other: _Beginning) -> bool:
        """Whether the one costs no more even where rolls that end before it are left out."""
        left = self._left(one.rolls).takings
        if len(left) == 1:
            return True
        last = min(other.last, one.first - 1)
        gained = min(other.cost, other.cost + other.slope * (last - other.first)) - one.cost + left[1]
        if self._stub - self._least_end > gained:
            return False
        for spot in range(one.spot, other.spot - 1, -1):
            away = one.first - min(self._last[spot], one.first - 1)
            if away >= self._least_stub:
                return True
            more = self._waste[spot] - self._waste[one.spot]
            later = one.first - max(self._first[spot], other.first + 1) + more
            later = min(later, self._least_stub - 1)
            if later >= away + more and self._lost(later) - self._eur[spot] > gained:
                return False
        return True

    def _goes_on(self, beginning: _Beginning) -> bool:
        """Whether a roll is open with more than one piece left."""
        return beginning.open_roll >= 0 and beginning.open_piece + 1 < len(
            self._rolls[beginning.open_roll].pieces
        )

    def _grown(self, beginning: _Beginning) -> Iterator[_Beginning]:
        """All that one more piece makes of a beginning; what reaches the stretch's end is kept if best."""
        if beginning.open_roll >= 0:
            yield from self._with_piece(beginning, self._rolls[beginning.open_roll], beginning.open_piece)
            return
        for roll in self._rolls:
            if beginning.rolls & roll.bit or (roll.alike_before and not beginning.rolls & roll.alike_before):
                continue
            if roll.mounted and beginning.spot >= 0:
                continue
            for piece in range(len(roll.pieces)):
                yield from self._with_piece(beginning, roll, piece)

    def _with_piece(self, beginning: _Beginning, roll: _Roll, piece: int) -> Iterator[_Beginning]:
        from_um, length, _, begins_free = roll.pieces[piece]
        cost, waste = beginning.cost, 0
        is_new = beginning.open_roll < 0
        if is_new:
            cost += roll.taking + roll.price * from_um
        if beginning.spot < 0:
            if not begins_free:
                waste = self._start.waste_um
                cost += self._counted(self._start.eur)
        elif not beginning.runs_through:
            waste = self._waste[beginning.spot]
        most = length - waste
        if most < 1:
            return
        for open_um, until_um in roll.windows:
            first, last = max(beginning.first, open_um), min(beginning.last, until_um - 1)
            if first > last:
                continue
            ends = (first, last, cost + beginning.slope * (first - beginning.first), beginning.slope)
            rest = roll.length_um - from_um - waste
            is_final = piece == len(roll.pieces) - 1
            stub = rest - self._least_stub
            stub = min(stub, most - 1 if is_final else most)
            lines = _ends_with_stub(ends, stub, roll.dearer, self._stub)
            least = max(1, min(stub + 1, most))
            if stub < most:
                lines += _ends_with_loss(ends, least, most, rest, roll.dearer, roll.price)
            yield from self._placed(beginning, roll, piece, lines, until_um, -1, False)
            for following in range(piece + 1, len(roll.pieces)):
                gap = roll.pieces[following][0] - from_um - waste
                lines = _ends_with_loss(ends, 1, most, gap, roll.dearer, roll.price)
                yield from self._placed(beginning, roll, piece, lines, until_um, following, False)
                if following == piece + 1 and roll.pieces[following][2]:
                    lines = _ends_with_loss(ends, most, most, gap, roll.dearer, roll.price)
                    yield from self._placed(beginning, roll, piece, lines, until_um, following, True)

    def _placed(
        self,
        beginning: _Beginning,
        roll: _Roll,
        piece: int,
        lines: Sequence[Linear],
        until_um: int,
        following: int,
        runs_through: bool,
    ) -> Iterator[_Beginning]:
        """Ends in the spots where they may lie."""
        rolls = beginning.rolls | roll.bit
        open_roll, open_piece = (-1, 0) if following < 0 else (roll.idx, following)
        left: _Left | None = None
        inside = sum(length for _, length, _, _ in roll.pieces[open_piece:]) if open_roll >= 0 else None
        spots_first, spots_last = self._first, self._last
        for first, last, cost, slope, moved, at in lines:
            if last >= self._length and following < 0 and first <= self._length <= until_um:
                self._end(beginning, roll, piece, cost + slope * (self._length - first), moved, at)
            last = min(last, until_um)
            for spot in range(bisect_left(spots_last, first), bisect_right(spots_first, last)):
                low = first if first > spots_first[spot] else spots_first[spot]
                high = last if last < spots_last[spot] else spots_last[spot]
                splices = self._splices(beginning, spot)
                if splices is None:
                    continue
                self.grown += 1
                eur = cost + slope * (low - first) + (0 if runs_through else self._eur[spot])
                least_total = eur if slope >= 0 else eur + slope * (high - low)
                if least_total < self._best_cost:
                    # Most are given up here: they are looked at before they are made.
                    left = left or self._left(rolls)
                    least_total += self._least_behind(left, inside, high)
                if least_total < self._best_cost:
                    yield _Beginning(
                        rolls,
                        open_roll,
                        open_piece,
                        runs_through,
                        spot,
                        splices,
                        low,
                        high,
                        eur,
                        slope,
                        beginning,
                        moved,
                        at,
                        roll.idx,
                        piece,
                        least_total,
                    )

    def _splices(self, beginning: _Beginning, spot: int) -> int | None:
        """Splices in the spot with one more; None where that is one too many."""
        most = self._most[spot]
        if most is None:
            return 0
        splices = beginning.splices + 1 if beginning.spot == spot else 1
        return splices if splices <= most else None

    def _least_behind(self, left: _Left, inside: int | None, last: int) -> int:
        """The least for the way on behind an end: with the rolls that are left, or (`inside`) behind so much
        of an open roll, all of which is used.
        """
        rest = self._length - last - (inside or 0)
        if inside is not None and rest <= 0:
            return 0
        fewest = bisect_left(left.lengths, rest)
        if fewest == len(left.lengths):
            return IMPOSSIBLE
        filled = self._filled(left, rest)
        if inside is not None:
            return max(left.takings[fewest], filled) + fewest * self._least_end
        place = last * GRID // self._length
        least = IMPOSSIBLE
        for rolls in range(fewest, len(left.lengths)):
            taking = max(filled, left.takings[rolls])
            if taking + (rolls - 1) * self._least_end >= least:
                break
            least = min(least, taking + self._ends_on(left, rolls)[place])
        return least

    def _filled(self, left: _Left, rest: int) -> int:
        """What rolls left cost to take at least, if they could be taken in parts."""
        full = bisect_left(left.worth_lengths, rest) - 1
        length = left.worth_lengths[full + 1] - left.worth_lengths[full]
        taking = left.worth_takings[full + 1] - left.worth_takings[full]
        return left.worth_takings[full] + taking * (rest - left.worth_lengths[full]) // length

    def _end(
        self, beginning: _Beginning, roll: _Roll, piece: int, cost: int, moved: int | None, at: int
    ) -> None:
        if cost < self._best_cost:
            self._best_cost = cost
            end = self._length
            self._best = _Beginning(
                0, -1, 0, False, -1, 0, end, end, cost, 0, beginning, moved, at, roll.idx, piece
            )

    def _read(self) -> tuple[Taken, ...] | None:
        """The pieces of the best, from its end back to the first metre."""
        if self._best is None:
            return None
        taken = []
        step, end = self._best, self._length
        while step.before is not None:
            start = step.at if step.moved is None else end - step.moved
            taken.append(Taken(step.roll, step.piece, start, end, step.before.runs_through))
            step, end = step.before, start
        return tuple(reversed(taken))


Ends = tuple[int, int, int, int]
"""Ends [first, last] of a beginning, cost at the first, and slope."""


def _ends_with_stub(ends: Ends, most: int, dearer: int, stub: int) -> list[Linear]:
    """Ends after 1 to `most` µm more at `dearer` a µm, nothing being lost, `stub` being paid.

    Where an end of the beginning that is later by 1 µm costs no more than 1 µm of the piece, only its last
    end is gone on from: all ends up to there it has itself.
    """
    first, last, cost, slope = ends
    if most < 1:
        return []
    cost += stub
    if slope <= dearer:
        return [(last + 1, last + most, cost + slope * (last - first) + dearer, dearer, None, last)]
    lines: list[Linear] = [(first + 1, first + most, cost + dearer, dearer, None, first)]
    if last > first:
        lines.append((first + most + 1, last + most, cost + slope + dearer * most, slope, most, 0))
    return lines


def _ends_with_loss(ends: Ends, least: int, most: int, rest: int, dearer: int, price: int) -> list[Linear]:
    """Ends after `least` to `most` µm more at `dearer` a µm, what is left of `rest` being lost at `price`."""
    first, last, cost, slope = ends
    gained = dearer - price
    shortest = dearer * least + price * (rest - least)
    longest = dearer * most + price * (rest - most)
    lines: list[Linear] = []
    if slope >= gained:
        lines.append((first + least, first + most, cost + shortest, gained, None, first))
        if last > first:
            lines.append((first + most + 1, last + most, cost + slope + longest, slope, most, 0))
        return lines
    if last > first:
        lines.append((first + least, last + least - 1, cost + shortest, slope, least, 0))
    lines.append((last + least, last + most, cost + slope * (last - first) + shortest, gained, None, last))
    return lines
