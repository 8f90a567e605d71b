"""Rolls: what they may be, and how much of them can be used."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.plant import Delivery, PresentState, StockedWidth, Substrate
from solver.problem import Problem
from solver.rolls import Flaw, FlawKind, Roll, RolledStock, StockRules, stock_of_rolls
from tests.builders.worked import worked_job, worked_line, worked_plant

M = 1_000_000
DEFECT, SPLICE = FlawKind.DEFECT, FlawKind.SPLICE
LINE = replace(worked_line("H"), id="H1", present=PresentState(substrate="paper", width_um=330_000))
PLANT = replace(worked_plant(worked_line("H")), lines=(LINE,))


def with_rolls(*rolls: Roll) -> Callable[[], object]:
    widths = (StockedWidth.by_roll(330_000, rolls, 0),)
    return lambda: replace(PLANT, substrates=(Substrate("paper", Fraction(0), widths),))


BAD: list[tuple[Callable[[], object], str]] = [
    (lambda: Flaw(DEFECT, -1, 5), "from_um must not be negative"),
    (lambda: Flaw(DEFECT, 5, 5), "must end after it begins"),
    (lambda: Flaw(SPLICE, 5, 6), "a splice has no length"),
    (lambda: Roll("r", 0), "length_um must be above 0"),
    (lambda: Roll("r", 9, arrives_ms=-1), "arrives_ms must not be negative"),
    (lambda: Roll("r", 9, on_unwind="H1", arrives_ms=1), "must be there already"),
    (lambda: Roll("r", 9, flaws=(Flaw(DEFECT, 5, 10),)), "lies beyond the end"),
    (lambda: Roll("r", 9, flaws=(Flaw(SPLICE, 9, 9),)), "between the roll's ends"),
    (lambda: Roll("r", 9, flaws=(Flaw(SPLICE, 0, 0),)), "between the roll's ends"),
    (lambda: Roll("r", 9, flaws=(Flaw(DEFECT, 5, 7), Flaw(DEFECT, 6, 8))), "behind the flaw before it"),
    (lambda: Roll("r", 9, flaws=(Flaw(DEFECT, 5, 7), Flaw(DEFECT, 1, 2))), "behind the flaw before it"),
    (lambda: Roll("r", 9, flaws=(Flaw(SPLICE, 5, 5), Flaw(SPLICE, 5, 5))), "behind the flaw before it"),
    (lambda: StockRules(core_tail_um=-1), "core_tail_um must not be negative"),
    (lambda: StockRules(open_eur=Fraction(-1)), "open_eur must not be negative"),
    (lambda: StockRules(stub_eur=Fraction(-1)), "stub_eur must not be negative"),
    (lambda: StockRules(most_trim_um=-1), "most_trim_um must not be negative"),
    (lambda: StockedWidth(5, rolls=(Roll("r", 9),)), "on_hand_um must be what they give of 9"),
    (lambda: StockedWidth(5, 10, rolls=(Roll("r", 9),)), "on_hand_um must be what they give of 9"),
    (lambda: StockedWidth(5, 9, (Delivery(1, 1),), (Roll("r", 9),)), "more than rolls to come"),
    (with_rolls(Roll("r", 9), Roll("r", 8)), "rolls holds 'r' twice"),
    (with_rolls(Roll("r", 9, on_unwind="H2")), "on the unwind of no line 'H2'"),
    (
        with_rolls(Roll("r", 9, on_unwind="H1"), Roll("q", 8, on_unwind="H1")),
        "rolls r and q are both on line H1",
    ),
    (
        lambda: replace(
            PLANT,
            lines=(replace(LINE, present=PresentState(substrate="film", width_um=330_000)),),
            substrates=(
                Substrate(
                    "paper", Fraction(0), (StockedWidth.by_roll(330_000, (Roll("r", 9, on_unwind="H1"),), 0),)
                ),
            ),
        ),
        "is on line H1, which has film, 330000 µm wide, threaded",
    ),
]


@pytest.mark.parametrize(("make", "complaint"), BAD)
def test_what_a_roll_cannot_be_is_refused(make: Callable[[], object], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        make()


def test_flaws_may_touch_and_a_defect_may_reach_the_end() -> None:
    flaws = (Flaw(DEFECT, 0, 2), Flaw(SPLICE, 2, 2), Flaw(DEFECT, 2, 4), Flaw(DEFECT, 6, 9))
    assert Roll("r", 9, flaws=flaws).usable_um(0) == 2


def test_a_roll_may_be_on_a_line_that_does_not_say_what_is_threaded() -> None:
    unsaid = replace(LINE, present=PresentState())
    rolls = (Roll("r", 9, on_unwind="H1"),)
    paper = Substrate("paper", Fraction(0), (StockedWidth.by_roll(330_000, rolls, 0),))
    assert replace(PLANT, lines=(unsaid,), substrates=(paper,)).substrates[0].widths[0].rolls == rolls


def test_defects_and_the_core_tail_cannot_be_used_and_what_is_both_counts_once() -> None:
    roll = Roll("r", 1000, flaws=(Flaw(DEFECT, 100, 115), Flaw(SPLICE, 500, 500), Flaw(DEFECT, 990, 1000)))
    assert roll.usable_um(0) == 975
    assert roll.usable_um(4) == 1000 - 4 - 15 - 6
    assert roll.usable_um(30) == 1000 - 30 - 15
    assert roll.usable_um(2000) == 0


def test_rolls_that_arrive_count_when_they_do_and_stale_ones_never() -> None:
    rolls = (
        Roll("there", 500),
        Roll("stale", 500, best_before_ms=0),
        Roll("good for an hour", 100, best_before_ms=3_600_000),
        Roll("van", 300, arrives_ms=900),
        Roll("the same van", 200, arrives_ms=900),
        Roll("earlier", 50, arrives_ms=100),
        Roll("stale on arrival", 400, arrives_ms=100, best_before_ms=90),
    )
    assert stock_of_rolls(rolls, 10) == RolledStock(490 + 90, ((100, 40), (900, 480)))
    assert StockedWidth.by_roll(5, rolls, 10).deliveries == (Delivery(100, 40), Delivery(900, 480))


def test_what_is_reserved_for_a_job_outside_the_queue_is_no_stock_for_it() -> None:
    rolls = (Roll("any", 500), Roll("ours", 40, reserved_for="a"), Roll("theirs", 7, reserved_for="z"))
    assert stock_of_rolls(rolls, 0).on_hand_um == 547
    assert stock_of_rolls(rolls, 0, {"a", "b"}).on_hand_um == 540
    assert stock_of_rolls(rolls, 0, ()).on_hand_um == 500


def test_a_problem_draws_on_what_rolls_give() -> None:
    rolls = (Roll("r", 700 * M), Roll("s", 300 * M, arrives_ms=5))
    old = PLANT.substrates[0]
    stocked = StockedWidth.by_roll(old.widths[0].width_um, rolls, 3 * M)
    unsaid = replace(LINE, present=PresentState())
    plant = replace(PLANT, lines=(unsaid,), substrates=(replace(old, widths=(stocked,)),))
    (followed,) = Problem(plant, (worked_job("a"),)).followed_stocks.values()
    assert (followed.on_hand_um, followed.deliveries) == (697 * M, (Delivery(5, 297 * M),))


@st.composite
def drawn_rolls(draw: st.DrawFn, name: str = "r") -> Roll:
    length_um = draw(st.integers(1, 60))
    edges = sorted(draw(st.lists(st.integers(0, length_um), max_size=6, unique=True)))
    defects = [
        Flaw(DEFECT, first, last)
        for first, last in zip(edges[::2], edges[1::2], strict=False)
        if draw(st.booleans())
    ]
    return Roll(
        name,
        length_um,
        best_before_ms=draw(st.none() | st.integers(-5, 20)),
        flaws=tuple(defects),
        arrives_ms=draw(st.sampled_from((0, 0, 3, 9))),
        reserved_for=draw(st.sampled_from((None, "a", "z"))),
    )


@given(drawn_rolls(), st.integers(0, 70))
def test_usable_metres_are_those_that_no_defect_and_no_core_tail_covers(roll: Roll, tail_um: int) -> None:
    usable = [
        at
        for at in range(roll.length_um)
        if at < roll.length_um - tail_um and not any(flaw.from_um <= at < flaw.to_um for flaw in roll.flaws)
    ]
    assert roll.usable_um(tail_um) == len(usable)


@given(st.lists(drawn_rolls(), max_size=5), st.integers(0, 9))
def test_a_stock_is_the_sum_of_its_rolls_one_by_one(drawn: list[Roll], tail_um: int) -> None:
    whole = stock_of_rolls(drawn, tail_um, {"a"})
    alone = [stock_of_rolls((roll,), tail_um, {"a"}) for roll in drawn]
    assert whole.on_hand_um == sum(one.on_hand_um for one in alone)
    assert sum(um for _, um in whole.arrivals) == sum(um for one in alone for _, um in one.arrivals)
    assert list(whole.arrivals) == sorted(set(whole.arrivals))
