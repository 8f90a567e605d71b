"""Days whose stock lies in rolls, and the bench of what choosing them is worth."""

from __future__ import annotations

import json
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest

from solver.reels import SpliceRule
from solver.roll_choice import CostKind, Place, RollChoice, RollCost, Use
from solver.rolls import FlawKind
from solver.stretches import Segment, SegmentKind, Stretch
from tests.bench.__main__ import main
from tests.bench.rolled_days import MORE, rolled_day
from tests.bench.rolls import DAYS, splices_in_reels
from tests.bench.shop_days import shop_day

DAY = "10/2 tight"


def test_the_same_name_gives_the_same_rolls() -> None:
    one, other = rolled_day(DAY).problem, rolled_day(DAY).problem
    assert list(one.plant.rolls) == list(other.plant.rolls)
    assert one.jobs == other.jobs
    assert list(one.plant.rolls) != list(rolled_day(f"{DAY} 2").problem.plant.rolls)


@pytest.mark.parametrize("name", DAYS)
def test_a_day_has_more_of_every_stock_than_as_metres(name: str) -> None:
    before, after = shop_day(name).problem, rolled_day(name).problem
    for stock, stocked in before.followed_stocks.items():
        there_um = after.followed_stocks[stock].on_hand_um or 0
        to_come_um = sum(delivery.length_um for delivery in after.followed_stocks[stock].deliveries)
        metres_um = (stocked.on_hand_um or 0) + sum(each.length_um for each in stocked.deliveries)
        assert there_um + to_come_um >= MORE * metres_um


@pytest.mark.parametrize("name", DAYS)
def test_rolls_and_rules_are_awkward(name: str) -> None:
    problem = rolled_day(name).problem
    rolls = [roll for _, _, roll in problem.plant.rolls]
    whole_um = {substrate.usual_roll_um for substrate in problem.plant.substrates}
    kinds = Counter(flaw.kind for roll in rolls for flaw in roll.flaws)
    assert sum(roll.length_um not in whole_um for roll in rolls) >= 20
    assert min(kinds[kind] for kind in FlawKind) >= 5
    assert any(roll.on_unwind for roll in rolls)
    assert any(roll.arrives_ms for roll in rolls)
    assert any(roll.best_before_ms is not None for roll in rolls)
    assert any(roll.reserved_for for roll in rolls)
    assert any(roll.received_ms is None and roll.arrives_ms == 0 for roll in rolls)
    assert {job.splice_rule for job in problem.jobs} >= {SpliceRule.ANYWHERE}
    assert any(job.splice_rule is not SpliceRule.ANYWHERE for job in problem.jobs)
    assert any(job.most_splices_a_reel for job in problem.jobs)


def _stretch() -> Stretch:
    """A strip of 10, and two versions of 100 and 60 whose reels take 40."""
    strip = Segment(SegmentKind.STRIP, 10, 1, "job", 0, 2, Fraction(1))
    first, second = (
        Segment(SegmentKind.PRINT, length, 1, "job", 0, 5, Fraction(3), version, reel_um=40)
        for version, length in (("a", 100), ("b", 60))
    )
    return Stretch((strip, first, second))


def _choice(*uses: Use) -> RollChoice:
    ends = tuple(RollCost(CostKind.ROLL_END, use.roll, Fraction(1)) for use in uses if use.wasted_um)
    return RollChoice(uses, (), (), ends, proven=False)


@pytest.mark.parametrize(
    ("segment", "offset_um", "in_reel"),
    [(0, 5, 0), (1, 30, 1), (1, 40, 0), (1, 41, 1), (1, 100, 0), (2, 59, 1)],
    ids=["strip", "reel", "between reels", "next reel", "between versions", "second version"],
)
def test_a_splice_is_in_a_reel_where_it_lies_inside_one(segment: int, offset_um: int, in_reel: int) -> None:
    begins = Place(0, 0)
    splice = Place(segment, offset_um)
    choice = _choice(Use("one", 0, 50, 0, begins, splice), Use("two", 0, 125, 5, splice, Place(2, 60)))
    assert splices_in_reels(_stretch(), choice) == in_reel


def test_a_flagged_splice_that_is_left_in_a_reel_counts() -> None:
    """The roll begins with the strip of 10: its metre 35 is 25 into the first reel, 50 just behind it."""
    use = Use("one", 0, 170, 0, Place(0, 0), Place(2, 60), run_through_um=(5, 35, 50))
    assert splices_in_reels(_stretch(), _choice(use)) == 1


def test_web_that_a_roll_end_wasted_is_before_the_flagged_splice() -> None:
    """The roll's first 5 are wasted, so its metre 45 is 40 behind where it begins: between two reels."""
    begins = Place(1, 0)
    use = Use("one", 0, 165, 5, begins, Place(2, 60), run_through_um=(45, 46))
    assert splices_in_reels(_stretch(), _choice(use)) == 1


def test_a_row_has_both_ways_to_choose_rolls(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = tmp_path / "rolls.json"
    main(["rolls", "--only", DAY, "--work", "0", "--json", str(rows)])
    (row,) = json.loads(rows.read_text(encoding="utf-8"))["rows"]
    assert row["ours"]["eur"] <= row["oldest"]["eur"]
    assert row["ours"]["in_runs"] <= row["ours"]["splices"]
    assert row["value"] == row["ours"]["eur"]
    assert row["loop"] is None
    capsys.readouterr()
    main(["report", str(rows)])
    page = capsys.readouterr().out
    assert "### rolls" in page
    assert f"| {DAY} | {row['rolls']} | {row['ours']['eur']:,.2f} | {row['oldest']['eur']:,.2f} |" in page
    assert "Cheaper on 1 of 1, dearer on 0." in page


def test_a_row_of_a_search_says_what_the_second_one_was_worth(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = tmp_path / "rolls.json"
    main(["rolls", "--only", DAY, "--work", "2000", "--threads", "1", "--json", str(rows)])
    (row,) = json.loads(rows.read_text(encoding="utf-8"))["rows"]
    before, after = row["loop"]["before"]["eur"], row["loop"]["after"]["eur"]
    assert row["loop"]["again"]
    assert row["loop"]["kept"] == (after != before)
    capsys.readouterr()
    main(["report", str(rows)])
    page = capsys.readouterr().out
    assert "what the loop is worth, 2,000 changes" in page
    assert f"| {after:,.2f} |" in page
