"""Rolls for a stretch: the rules worked by hand, the choice against every way there is, every metre told."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.oldest_first import oldest_first
from solver.reels import SpliceRule
from solver.roll_candidates import Candidate, Part, usable_rolls
from solver.roll_choice import (
    CostKind,
    CutOut,
    Place,
    Rest,
    RestKind,
    RollChoice,
    Shortage,
    Use,
    chosen,
    crowded,
)
from solver.rolls import StockRules
from solver.stock import choose_rolls
from solver.stretches import Segment, SegmentKind, Stretch
from solver.stub_cost import StubCost
from tests.builders.every_laying import EveryLaying, drawn_choice
from tests.examples import first

M = 1_000_000
WEB_EUR = Fraction(1, 5 * M)
"""0.20 € a metre."""
WITHOUT = StockRules()


def strip(length_m: int, run: int = 0, needed_ms: int = 0) -> Segment:
    """Set-up web, in which a roll end wastes 1 m and costs 2 €."""
    return Segment(SegmentKind.STRIP, length_m * M, run, f"job {run}", needed_ms, M, Fraction(2))


def version(
    length_m: int,
    run: int = 0,
    name: str = "red",
    rule: SpliceRule = SpliceRule.ANYWHERE,
    reel_m: int | None = None,
    most: int | None = None,
    needed_ms: int = 0,
) -> Segment:
    """A version's web, in which a roll end wastes 6 m and costs 9 €."""
    return Segment(
        SegmentKind.PRINT,
        length_m * M,
        run,
        f"job {run}",
        needed_ms,
        6 * M,
        Fraction(9),
        name,
        None if reel_m is None else reel_m * M,
        rule,
        most,
    )


def roll(name: str, length_m: int) -> Candidate:
    return Candidate.whole(name, length_m * M, WEB_EUR)


def choice(segments: list[Segment], candidates: list[Candidate], prices: StockRules = WITHOUT) -> RollChoice:
    answer = choose_rolls(Stretch(tuple(segments)), candidates, prices)
    assert isinstance(answer, RollChoice)
    assert answer.proven
    return answer


def shortage(segments: list[Segment], candidates: list[Candidate]) -> Shortage:
    answer = choose_rolls(Stretch(tuple(segments)), candidates)
    assert isinstance(answer, Shortage)
    assert answer.proven
    return answer


def order(found: RollChoice) -> list[str]:
    return [use.roll for use in found.uses]


def splices(found: RollChoice) -> list[Place]:
    return [use.begins for use in found.uses[1:]]


def paid(found: RollChoice, kind: CostKind) -> Fraction:
    return sum((cost.eur for cost in found.costs if cost.kind is kind), Fraction(0))


def test_one_roll_that_is_long_enough_is_not_spliced() -> None:
    found = choice([strip(10), version(400)], [roll("short", 300), roll("long", 500)])
    assert (order(found), found.roll_ends) == (["long"], 0)
    assert found.rests == (Rest("long", RestKind.STUB, 410 * M, 500 * M),)
    assert found.total_eur == 410 * M * WEB_EUR


def test_a_roll_is_left_on_the_strip_where_a_splice_costs_least() -> None:
    found = choice([strip(10), version(300), strip(10, 1), version(300, 1)], [roll("a", 500), roll("b", 500)])
    place = splices(found)[0]
    assert (place.segment, found.uses[1].wasted_um) == (2, M)
    assert paid(found, CostKind.ROLL_END) == 2


def test_the_web_a_roll_end_wastes_comes_from_the_incoming_roll() -> None:
    """500 m of 1,000 m lie in one roll: the next gives 6 m of waste and 500 m, with 505 m it would not do."""
    found = choice([version(1_000)], [roll("a", 500), roll("b", 506)])
    assert sorted((use.wasted_um, use.to_um - use.from_um) for use in found.uses)[1][0] == 6 * M
    assert shortage([version(1_000)], [roll("a", 500), roll("b", 505)]).missing_um > 0


def test_a_splice_at_the_end_of_a_version_keeps_out_of_its_reels() -> None:
    rule = SpliceRule.BETWEEN_VERSIONS
    segments = [version(300, name="red", rule=rule), version(300, name="blue", rule=rule)]
    found = choice(segments, [roll("a", 450), roll("b", 450)])
    assert splices(found) == [Place(0, 300 * M)]


def test_a_job_that_takes_no_splice_takes_none_between_its_versions() -> None:
    never = SpliceRule.NEVER
    segments = [version(300, name="red", rule=never), version(300, name="blue", rule=never)]
    lacking = shortage(segments, [roll("a", 450), roll("b", 450)])
    assert (lacking.run, lacking.segment) == (0, 1)


def test_a_job_that_takes_no_splice_begins_on_a_roll_that_lasts() -> None:
    segments = [
        strip(10),
        version(200),
        strip(10, 1),
        version(400, 1, rule=SpliceRule.NEVER),
    ]
    found = choice(segments, [roll("a", 500), roll("b", 500)])
    assert splices(found)[0].segment == 2


def test_a_reel_has_no_more_splices_than_it_may() -> None:
    """Rolls of 40 m and 46 m end in one reel of 100 m where nothing forbids it; with one splice a reel the
    long one comes between. Four short ones in one long reel are three splices, which is too many for one.
    """
    rolls = [roll("a", 40), roll("b", 46), roll("c", 130)]
    assert choice([version(200, reel_m=100)], rolls).roll_ends == 2
    ruled = choice([version(200, reel_m=100, most=1)], rolls)
    reels = [place.offset_um // (100 * M) for place in splices(ruled)]
    assert sorted(reels) == [0, 1]
    short = [roll("a", 40), roll("b", 46), roll("c", 56), roll("d", 56)]
    assert isinstance(choose_rolls(Stretch((version(160, reel_m=160, most=1),)), short), Shortage)
    assert choice([version(160, reel_m=160, most=3)], short).roll_ends == 3


def test_where_no_reel_may_have_a_splice_rolls_end_between_reels() -> None:
    found = choice([version(350, reel_m=100, most=0)], [roll("a", 280), roll("b", 280)])
    assert splices(found) == [Place(0, 200 * M)] or splices(found) == [Place(0, 100 * M)]


def test_a_stub_too_short_for_the_store_is_scrap() -> None:
    found = choice([version(460)], [roll("a", 500)], StockRules(least_stub_um=50 * M))
    assert found.rests == (Rest("a", RestKind.SCRAP, 460 * M, 500 * M),)
    assert paid(found, CostKind.SCRAP) == 40 * M * WEB_EUR


def test_a_stub_just_long_enough_goes_back() -> None:
    found = choice([version(450)], [roll("a", 500)], StockRules(least_stub_um=50 * M))
    assert found.rests == (Rest("a", RestKind.STUB, 450 * M, 500 * M),)
    assert paid(found, CostKind.SCRAP) == 0


def test_a_roll_that_runs_to_its_end_loses_its_core_tail() -> None:
    found = choice([version(495)], [roll("a", 500)], StockRules(core_tail_um=5 * M))
    assert found.rests == (Rest("a", RestKind.RUN_OUT, 495 * M, 500 * M),)
    assert paid(found, CostKind.CORE) == 5 * M * WEB_EUR
    assert isinstance(
        choose_rolls(Stretch((version(496),)), [roll("a", 500)], StockRules(core_tail_um=5 * M)), Shortage
    )


def test_a_roll_is_left_early_so_that_the_next_one_ends_well() -> None:
    """Both ends lie in one version. Rolls of 500 m and 300 m give 700 m and 6 m of waste: 94 m are left, in
    one roll a stub for the store, with the other run out; split, both would be scrap.
    """
    found = choice([version(700)], [roll("a", 500), roll("b", 300)], StockRules(least_stub_um=90 * M))
    assert sorted(rest.to_um - rest.from_um for rest in found.rests) == [94 * M]
    assert paid(found, CostKind.SCRAP) == 0


def test_older_rolls_are_taken_first_where_age_has_a_price() -> None:
    rolls = [
        replace(roll("young", 500), age_days=Fraction(3)),
        replace(roll("old", 500), age_days=Fraction(30)),
    ]
    found = choice([version(400)], rolls, StockRules(age_eur_per_day=Fraction(1, 10)))
    assert order(found) == ["old"]
    assert paid(found, CostKind.AGE) == 0


def test_a_younger_roll_pays_for_every_day_and_is_taken_where_it_saves_more() -> None:
    rolls = [
        replace(roll("young", 500), age_days=Fraction(3)),
        replace(roll("old", 300), age_days=Fraction(30)),
    ]
    found = choice([version(400)], rolls, StockRules(age_eur_per_day=Fraction(1, 10)))
    assert order(found) == ["young"]
    assert paid(found, CostKind.AGE) == Fraction(27, 10)


def test_the_mounted_roll_goes_first_and_is_not_opened() -> None:
    rolls = [roll("a", 500), replace(roll("on", 300), mounted=True)]
    found = choice([strip(10), version(700)], rolls, StockRules(open_eur=Fraction(3)))
    assert order(found) == ["on", "a"]
    assert paid(found, CostKind.OPENING) == 3


def test_taking_another_roll_before_the_mounted_one_is_a_roll_end() -> None:
    """20 m on the unwind: going on with them costs a splice in the version, so they come off on the strip."""
    rolls = [roll("a", 500), replace(roll("on", 20), mounted=True)]
    found = choice([strip(5), version(400)], rolls, StockRules(least_stub_um=20 * M))
    assert (order(found), found.uses[0].wasted_um) == (["a"], M)
    assert found.total_eur == 405 * M * WEB_EUR + 2


def test_a_roll_reserved_for_a_job_serves_no_other() -> None:
    rolls = [replace(roll("kept", 1_000), reserved_for="job 1"), roll("free", 320)]
    found = choice([strip(10), version(300), strip(10, 1), version(300, 1)], rolls)
    assert order(found) == ["free", "kept"]
    assert splices(found)[0].segment == 2


def test_a_roll_that_comes_later_is_not_used_before_it_is_there() -> None:
    rolls = [replace(roll("late", 1_000), available_ms=50), roll("here", 330)]
    segments = [strip(10), version(300), strip(10, 1, 60), version(300, 1, needed_ms=60)]
    assert order(choice(segments, rolls)) == ["here", "late"]
    lacking = shortage(segments[:2], [rolls[0]])
    assert (lacking.missing_um, lacking.run, lacking.needed_ms) == (310 * M, 0, 0)


def test_a_defect_is_cut_out_where_a_splice_costs_least() -> None:
    """It is 10 m long, 300 m into the roll; the strip is 290 m into the web: 10 m more go with it."""
    defective = Candidate("a", 900 * M, (Part(0, 300 * M), Part(310 * M, 900 * M)), WEB_EUR)
    found = choice([version(290), strip(0, 1), version(400, 1)], [defective])
    assert found.cut_outs == (CutOut("a", 290 * M, 310 * M),)
    assert paid(found, CostKind.ROLL_END) + paid(found, CostKind.CUT_OUT) == 2 + 20 * M * WEB_EUR
    assert [(use.from_um, use.to_um, use.wasted_um) for use in found.uses] == [
        (0, 290 * M, 0),
        (310 * M, 711 * M, M),
    ]


def test_a_flagged_splice_runs_through_where_the_customer_takes_it() -> None:
    flagged = Candidate("a", 900 * M, (Part(0, 900 * M, (300 * M,)),), WEB_EUR)
    found = choice([version(600)], [flagged])
    assert [(use.to_um, use.run_through_um) for use in found.uses] == [(600 * M, (300 * M,))]
    assert found.roll_ends == 0


def test_a_flagged_splice_is_cut_out_of_a_job_that_takes_none() -> None:
    flagged = Candidate("a", 900 * M, (Part(0, 900 * M, (300 * M,)),), WEB_EUR)
    never = SpliceRule.NEVER
    found = choice([version(250, rule=never), strip(10, 1), version(350, 1, rule=never)], [flagged])
    assert found.cut_outs == () or found.cut_outs[0].to_um == 300 * M
    assert splices(found) == [] or splices(found)[0].segment == 1


def test_a_flagged_splice_counts_in_its_reel() -> None:
    flagged = Candidate("a", 900 * M, (Part(0, 900 * M, (250 * M,)),), WEB_EUR)
    found = choice([version(600, reel_m=100, most=0)], [flagged])
    assert splices(found) == [Place(0, 200 * M)]


def test_what_is_missing_is_told_for_the_first_run_that_lacks_it() -> None:
    segments = [strip(10), version(300), strip(10, 1), version(300, 1, needed_ms=70)]
    lacking = shortage(segments, [roll("a", 500)])
    assert (lacking.run, lacking.segment, lacking.needed_ms) == (1, 3, 70)
    assert 120 * M <= lacking.missing_um <= 130 * M


def test_a_roll_named_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="roll holds 'a' twice"):
        choose_rolls(Stretch((version(10),)), [roll("a", 20), roll("a", 30)])


def test_two_rolls_on_one_unwind_are_refused() -> None:
    rolls = [replace(roll(name, 20), mounted=True) for name in "ab"]
    with pytest.raises(ValueError, match="a and b are"):
        choose_rolls(Stretch((version(10),)), rolls)


def test_parts_beyond_the_end_of_a_roll_are_refused() -> None:
    with pytest.raises(ValueError, match="in order and inside the roll"):
        Candidate("a", 100, (Part(0, 120),), WEB_EUR)


def test_a_rest_that_goes_back_to_the_store_is_paid_for_once() -> None:
    found = choice([version(400)], [roll("a", 500)], StockRules(stub_eur=Fraction(3)))
    assert paid(found, CostKind.TAKING_BACK) == 3
    assert found.stub_cost == StubCost(taking_back_eur=Fraction(3))
    assert found.total_eur == 400 * M * WEB_EUR + 3


def test_what_runs_out_is_scrapped_or_never_opened_is_not_taken_back() -> None:
    prices = StockRules(least_stub_um=100 * M, core_tail_um=3 * M, stub_eur=Fraction(3))
    for length_m, kind in ((403, RestKind.RUN_OUT), (410, RestKind.SCRAP)):
        found = choice([version(400)], [roll("a", length_m), roll("b", 900)], prices)
        assert [rest.kind for rest in found.rests] == [kind]
        assert paid(found, CostKind.TAKING_BACK) == 0


@pytest.mark.parametrize(("stub_eur", "kind"), [(0, RestKind.STUB), (3, RestKind.RUN_OUT)])
def test_a_roll_runs_out_where_its_core_costs_less_than_taking_its_rest_back(
    stub_eur: int, kind: RestKind
) -> None:
    """Left at the strip after 400 m it is a stub of 103 m; run out on the next strip, it loses its core."""
    prices = StockRules(least_stub_um=100 * M, core_tail_um=3 * M, stub_eur=Fraction(stub_eur))
    segments = [
        *(strip(10), version(390, rule=SpliceRule.NEVER)),
        *(strip(10, 1), version(90, 1, rule=SpliceRule.NEVER)),
        *(strip(10, 2), version(600, 2, rule=SpliceRule.NEVER)),
    ]
    late = replace(roll("long", 900), available_ms=10)
    segments = [replace(segment, needed_ms=10 * (segment.run > 0)) for segment in segments]
    found = choice(segments, [roll("a", 503), late], prices)
    assert order(found) == ["a", "long"]
    assert found.rests[0].kind is kind


def test_a_short_roll_between_two_that_run_out_is_not_passed_over() -> None:
    """R runs out at a strip that costs nothing, but B would leave scrap then: A comes between them."""
    free = replace(strip(1), roll_end_um=0, roll_end_eur=Fraction(0))
    never = replace(version(1), splice_rule=SpliceRule.NEVER, roll_end_um=0, roll_end_eur=Fraction(0))
    lengths = ((free, 5, 0), (never, 3, 1), (free, 0, 2), (never, 4, 2), (free, 0, 3), (never, 10, 3))
    segments = [
        replace(segment, length_um=length_m * M, run=run, job=f"job {run}", needed_ms=10 * (run > 0))
        for segment, length_m, run in lengths
    ]
    rolls = [roll("R", 12), *(replace(roll(*each), available_ms=5) for each in (("A", 8), ("B", 14)))]
    found = choice(segments, rolls, StockRules(least_stub_um=5 * M))
    assert order(found) == ["R", "A", "B"]
    assert found.total_eur == 22 * M * WEB_EUR


@pytest.mark.parametrize("first_seed", first([50, 150, 200, 0, 100, 250]))
def test_nothing_costs_less_than_the_choice_of_all_there_is(first_seed: int) -> None:
    for seed in range(first_seed, first_seed + 50):
        stretch, candidates, prices = drawn_choice(seed)
        answer = choose_rolls(stretch, candidates, prices)
        least = EveryLaying(stretch, candidates, prices).cheapest()
        assert (answer.total_eur if isinstance(answer, RollChoice) else None) == least, seed
        assert answer.proven


def test_a_wider_roll_costs_the_strip_that_is_cut_off_it() -> None:
    """Of all of it, however much is used; what is used costs no more than web of the width."""
    wider = replace(roll("wider", 500), slit_from_um=350_000, trim_eur=Fraction(3))
    found = choice([version(400)], [wider])
    assert paid(found, CostKind.TRIM) == 3
    assert found.total_eur == 400 * M * WEB_EUR + 3
    assert [use.slit_from_um for use in found.uses] == [350_000]
    assert order(choice([version(400)], [wider, roll("own", 500)])) == ["own"]


def test_a_wider_roll_that_is_older_makes_no_roll_of_the_width_younger() -> None:
    rolls = [
        replace(roll("own", 500), age_days=Fraction(5)),
        replace(roll("wider", 500), age_days=Fraction(90), slit_from_um=350_000, trim_eur=Fraction(1)),
        replace(roll("new", 500), age_days=Fraction(2)),
    ]
    by_age = StockRules(age_eur_per_day=Fraction(1, 10))
    found = choice([version(400)], rolls, by_age)
    assert order(found) == ["own"]
    assert paid(found, CostKind.AGE) == 0
    found = choice([version(400)], rolls[1:], by_age)
    assert order(found) == ["new"]
    assert paid(found, CostKind.AGE) == 0


def test_the_oldest_first_slits_no_roll_while_another_lasts() -> None:
    old = replace(roll("old", 500), age_days=Fraction(90), slit_from_um=350_000, trim_eur=Fraction(1))
    stretch = Stretch((version(700),))
    rolls = usable_rolls(stretch, [old, roll("own", 500)], WITHOUT)
    thumb = oldest_first(stretch, rolls)
    assert thumb is not None
    assert [rolls[taken.usable].roll.roll for taken in thumb] == ["own", "old"]


def test_what_is_mounted_or_not_slit_has_no_strip() -> None:
    with pytest.raises(ValueError, match="nothing is cut off"):
        replace(roll("a", 500), trim_eur=Fraction(1))
    with pytest.raises(ValueError, match="cannot be slit any more"):
        replace(roll("a", 500), slit_from_um=350_000, mounted=True)


@given(st.integers(1_000, 100_000))
def test_a_choice_costs_its_web_its_roll_ends_and_its_stubs(seed: int) -> None:
    found = choose_rolls(*drawn_choice(seed))
    if isinstance(found, RollChoice):
        web_and_ends = paid(found, CostKind.WEB) + paid(found, CostKind.ROLL_END)
        assert found.total_eur == web_and_ends + found.stub_cost.weighed_eur


@given(st.integers(1_000, 100_000))
def test_every_metre_of_every_roll_taken_is_told(seed: int) -> None:
    stretch, candidates, prices = drawn_choice(seed)
    found = choose_rolls(stretch, candidates, prices)
    if isinstance(found, Shortage):
        return
    spans: dict[str, list[tuple[int, int]]] = {}
    pieces: list[Use | CutOut | Rest] = [*found.uses, *found.cut_outs, *found.rests]
    for piece in pieces:
        spans.setdefault(piece.roll, []).append((piece.from_um, piece.to_um))
    lengths = {candidate.roll: candidate.length_um for candidate in candidates}
    for name, told in spans.items():
        told.sort()
        assert (told[0][0], told[-1][1]) == (0, lengths[name])
        assert all(before[1] == behind[0] for before, behind in pairwise(told))
    good_um = sum(use.to_um - use.from_um - use.wasted_um for use in found.uses)
    assert good_um == stretch.length_um


@given(st.integers(1_000, 100_000))
def test_the_choice_never_costs_more_than_the_oldest_first(seed: int) -> None:
    stretch, candidates, prices = drawn_choice(seed)
    rolls = usable_rolls(stretch, candidates, prices)
    thumb = oldest_first(stretch, rolls)
    if thumb is None:
        return
    assert not crowded(stretch, thumb)
    found = choose_rolls(stretch, candidates, prices, most_grown=0)
    assert isinstance(found, RollChoice)
    assert found.total_eur <= chosen(stretch, rolls, prices, thumb, False).total_eur


@given(st.integers(1_000, 100_000))
def test_what_is_missing_names_a_segment_and_no_more_than_all_of_it(seed: int) -> None:
    stretch, candidates, prices = drawn_choice(seed)
    found = choose_rolls(stretch, candidates, prices)
    if isinstance(found, RollChoice):
        return
    assert 0 < found.missing_um <= stretch.length_um + sum(s.roll_end_um for s in stretch.segments)
    assert stretch.segments[found.segment].run == found.run
    endless = Candidate.whole("endless", 1_000, Fraction(1))
    assert isinstance(choose_rolls(stretch, [endless], prices), RollChoice)
