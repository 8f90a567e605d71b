"""Choosing the rolls of a stretch once: the same answer, and a new one where something has changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from solver.roll_candidates import Candidate
from solver.roll_choice import RollChoice, Shortage
from solver.roll_chooser import Remembering
from solver.rolls import StockRules
from solver.stock import choose_rolls
from solver.stretches import Segment, SegmentKind, Stretch

M_UM = 1_000_000
RULES = StockRules()
MOST = 1_000


class Counting:
    """Chooses rolls, and counts how often it is asked."""

    def __init__(self) -> None:
        self.asked = 0

    def __call__(
        self, stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules, most_grown: int, /
    ) -> RollChoice | Shortage:
        self.asked += 1
        return choose_rolls(stretch, candidates, prices, most_grown)


def stretch_needed_at(needed_ms: int, length_m: int = 100) -> Stretch:
    strip = Segment(SegmentKind.STRIP, 10 * M_UM, 1, "J", needed_ms, 0, Fraction(1))
    web = replace(strip, kind=SegmentKind.PRINT, length_um=length_m * M_UM, version="A")
    return Stretch((strip, web))


def roll(name: str, available_ms: int = 0) -> Candidate:
    return replace(Candidate.whole(name, 500 * M_UM, Fraction(1, M_UM)), available_ms=available_ms)


def test_a_stretch_that_only_moves_in_time_has_the_same_rolls_without_being_asked_again() -> None:
    counting = Counting()
    remembering = Remembering(counting)
    first = remembering(stretch_needed_at(0), [roll("R")], RULES, MOST)
    assert remembering(stretch_needed_at(60_000), [roll("R")], RULES, MOST) == first
    assert counting.asked == 1


def test_a_roll_that_is_there_by_then_is_looked_at() -> None:
    counting = Counting()
    remembering = Remembering(counting)
    rolls = [roll("late", available_ms=30_000)]
    assert isinstance(remembering(stretch_needed_at(0), rolls, RULES, MOST), Shortage)
    later = remembering(stretch_needed_at(60_000), rolls, RULES, MOST)
    assert isinstance(later, RollChoice)
    assert [use.roll for use in later.uses] == ["late"]


def test_other_webs_rolls_and_prices_are_asked_for_anew() -> None:
    counting = Counting()
    remembering = Remembering(counting)
    remembering(stretch_needed_at(0), [roll("R")], RULES, MOST)
    remembering(stretch_needed_at(0, length_m=200), [roll("R")], RULES, MOST)
    remembering(stretch_needed_at(0), [roll("Q")], RULES, MOST)
    remembering(stretch_needed_at(0), [roll("R")], StockRules(open_eur=Fraction(1)), MOST)
    assert counting.asked == 4


def test_a_shortage_tells_from_when_on_web_is_missing_every_time() -> None:
    remembering = Remembering(choose_rolls)
    for needed_ms in (0, 60_000):
        short = remembering(stretch_needed_at(needed_ms, length_m=900), [roll("R")], RULES, MOST)
        assert isinstance(short, Shortage)
        assert short.needed_ms == needed_ms
