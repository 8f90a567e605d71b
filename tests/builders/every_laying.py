"""Every way to lay rolls on a short stretch, costed by itself: for stretches of a few µm."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from solver.reels import SpliceRule
from solver.roll_candidates import Candidate, Part
from solver.rolls import StockRules
from solver.stretches import Segment, SegmentKind, Stretch

Counts = dict[tuple[int, int], int]


@dataclass(frozen=True)
class Mark:
    """A flawless piece of a roll."""

    from_um: int
    to_um: int
    flagged: bool


class EveryLaying:
    """Tries all orders of rolls and all ends."""

    def __init__(self, stretch: Stretch, candidates: tuple[Candidate, ...], prices: StockRules) -> None:
        self.segments = stretch.segments
        self.candidates = candidates
        self.prices = prices
        self.length = sum(segment.length_um for segment in stretch.segments)
        self.any_mounted = any(candidate.mounted for candidate in candidates)
        self.marks = [list(self._marks(candidate)) for candidate in candidates]
        could = [
            candidate
            for candidate, marks in zip(candidates, self.marks, strict=True)
            if marks and self._could(candidate)
        ]
        own = [candidate for candidate in could if candidate.slit_from_um is None]
        self.oldest = max((candidate.age_days for candidate in own or could), default=Fraction(0))
        self.best: Fraction | None = None

    def cheapest(self) -> Fraction | None:
        """The least cost; None where the rolls do not suffice."""
        self._lay(0, frozenset(), {}, Fraction(0))
        return self.best

    def _marks(self, candidate: Candidate) -> Iterator[Mark]:
        end = candidate.length_um - self.prices.core_tail_um
        for part in candidate.parts:
            start = part.from_um
            for stop in (*part.splices_um, part.to_um):
                if start < min(stop, end):
                    yield Mark(start, min(stop, end), start != part.from_um)
                start = stop

    def _spans(self) -> Iterator[tuple[Segment, int, int]]:
        at = 0
        for segment in self.segments:
            yield segment, at, at + segment.length_um
            at += segment.length_um

    def _fits(self, candidate: Candidate, start: int, stop: int) -> bool:
        return all(
            candidate.reserved_for in (None, segment.job) and candidate.available_ms <= segment.needed_ms
            for segment, first, last in self._spans()
            if max(start, first) < min(stop, last)
        )

    def _could(self, candidate: Candidate) -> bool:
        places = [0] if candidate.mounted else range(self.length)
        return any(self._fits(candidate, place, place + 1) for place in places)

    def _end(self, at: int) -> tuple[int, Fraction, tuple[int, int] | None] | None:
        """Waste, money and reel of a roll end; None where none may be."""
        touching = [(idx, *span) for idx, span in enumerate(self._spans()) if span[1] <= at <= span[2]]
        for _, segment, _, _ in touching:
            if segment.kind is SegmentKind.STRIP:
                return segment.roll_end_um, segment.roll_end_eur, None
        idx, segment, first, _ = touching[0]
        price = segment.roll_end_um, segment.roll_end_eur
        if len(touching) > 1:
            behind = touching[1][1]
            never = SpliceRule.NEVER in (segment.splice_rule, behind.splice_rule)
            return None if never and segment.job == behind.job else (*price, None)
        if segment.splice_rule is not SpliceRule.ANYWHERE:
            return None
        if segment.most_splices_a_reel is None:
            return *price, None
        reel_um = segment.reel_um or segment.length_um
        if (at - first) % reel_um == 0:
            return *price, None
        return (*price, (idx, (at - first) // reel_um)) if segment.most_splices_a_reel else None

    def _counted(self, at: int, counts: Counts) -> Counts | None:
        """The splices with one more here; None where that is not allowed."""
        end = self._end(at)
        if end is None:
            return None
        reel = end[2]
        if reel is None:
            return counts
        most = self.segments[reel[0]].most_splices_a_reel or 0
        more = {**counts, reel: counts.get(reel, 0) + 1}
        return more if more[reel] <= most else None

    def _lay(self, at: int, taken: frozenset[int], counts: Counts, cost: Fraction) -> None:
        if self.best is not None and cost >= self.best:
            return
        if at == self.length:
            self.best = cost
            return
        for idx, candidate in enumerate(self.candidates):
            if idx in taken or (candidate.mounted and at > 0):
                continue
            younger_days = max(Fraction(0), self.oldest - candidate.age_days)
            taking = younger_days * self.prices.age_eur_per_day + candidate.trim_eur
            taking += 0 if candidate.mounted or candidate.opened else self.prices.open_eur
            for first, mark in enumerate(self.marks[idx]):
                waste, eur = 0, Fraction(0)
                if at > 0:
                    end = self._end(at)
                    if end is None:
                        raise ValueError("an end where none may be")
                    waste, eur = end[0], end[1]
                elif self.any_mounted and not (candidate.mounted and mark.from_um == 0):
                    waste, eur = self.segments[0].roll_end_um, self.segments[0].roll_end_eur
                paid = cost + taking + eur + mark.from_um * candidate.eur_per_um
                self._use(at, idx, first, waste, taken | {idx}, counts, paid)

    def _use(
        self, at: int, idx: int, piece: int, waste: int, taken: frozenset[int], counts: Counts, cost: Fraction
    ) -> None:
        candidate, marks = self.candidates[idx], self.marks[idx]
        mark = marks[piece]
        most = mark.to_um - mark.from_um - waste
        for good in range(1, min(most, self.length - at) + 1):
            there = at + good
            if not self._fits(candidate, at, there):
                return
            paid = cost + good * candidate.eur_per_um
            left_at = mark.from_um + waste + good
            rest = candidate.length_um - left_at
            is_out = left_at >= marks[-1].to_um
            is_lost = is_out or rest < self.prices.least_stub_um
            left_eur = rest * candidate.eur_per_um if is_lost else self.prices.stub_eur
            if there == self.length:
                self._lay(there, taken, counts, paid + left_eur)
                continue
            more = self._counted(there, counts)
            if more is None:
                continue
            self._lay(there, taken, more, paid + left_eur)
            end = self._end(there)
            if end is None:
                raise ValueError("an end where none may be")
            for later in range(piece + 1, len(marks)):
                cut = (marks[later].from_um - left_at) * candidate.eur_per_um
                self._use(there, idx, later, end[0], taken, more, paid + cut + end[1])
                if good == most and later == piece + 1 and marks[later].flagged:
                    self._use(there, idx, later, 0, taken, more, paid)


def drawn_choice(seed: int) -> tuple[Stretch, tuple[Candidate, ...], StockRules]:
    """A stretch of up to some 15 µm and up to 5 rolls, with everything that a rule may hang on."""
    rng = random.Random(seed)
    segments: list[Segment] = []
    for run in range(rng.randint(1, 3)):
        rule = rng.choice(list(SpliceRule)[: rng.randint(1, 3)])
        most = rng.choice([None, None, 0, 1, 2])
        reel_um = rng.choice([None, 2, 3])
        end = rng.randint(0, 2), Fraction(rng.randint(0, 12), 2)
        needed_ms = run * 10
        if rng.random() < 0.8:
            strip_end = min(end[0], rng.randint(0, 1)), Fraction(rng.randint(0, 4), 3)
            segments.append(
                Segment(SegmentKind.STRIP, rng.randint(0, 2), run, f"job {run}", needed_ms, *strip_end)
            )
        segments += [
            Segment(
                SegmentKind.PRINT,
                rng.randint(1, 5),
                run,
                f"job {run}",
                needed_ms,
                *end,
                f"version {version}",
                reel_um,
                rule,
                most,
            )
            for version in range(rng.randint(1, 2))
        ]
    stretch = Stretch(tuple(segments))
    mounted = rng.choice([None, 0, 1])
    candidates = tuple(
        _drawn_roll(rng, number, number == mounted) for number in range(rng.choice([2, 3, 4, 4, 5]))
    )
    prices = StockRules(
        rng.randint(0, 4), rng.randint(0, 1), Fraction(rng.randint(0, 4)), Fraction(rng.randint(0, 2), 7)
    )
    prices = replace(prices, stub_eur=Fraction(rng.choice((0, 0, 1, 2, 5, 12)), 2))
    return stretch, candidates, prices


def _drawn_roll(rng: random.Random, number: int, mounted: bool) -> Candidate:
    length = rng.randint(2, 12)
    parts: tuple[Part, ...] = (Part(0, length),)
    flaw = rng.random()
    if flaw < 0.2 and length > 3:
        start = rng.randint(0, length - 2)
        stop = rng.randint(start + 1, length - 1)
        parts = (Part(0, start), Part(stop, length)) if start else (Part(stop, length),)
    elif flaw < 0.4:
        parts = (Part(0, length, (rng.randint(1, length - 1),)),)
    roll = Candidate(
        f"roll {number}",
        length,
        parts,
        rng.choice([Fraction(1), Fraction(1), Fraction(3, 2), Fraction(1, 3)]),
        Fraction(rng.randint(0, 10)),
        rng.choice([0, 0, 0, 5, 15]),
        rng.choice([None, None, None, None, "job 0", "job 1"]),
        mounted,
    )
    if mounted or rng.random() > 0.2:
        return roll
    return replace(roll, slit_from_um=rng.randint(2, 9), trim_eur=length * Fraction(rng.randint(0, 3), 4))
