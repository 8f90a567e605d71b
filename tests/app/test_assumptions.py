"""Which assumed values decide an order: taken lower and higher, costed and ordered anew."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from functools import cache
from typing import Any

import pytest

from app.contracts.assumptions import Assumption, AssumptionReport, Origin, Swing
from app.contracts.jobs import Job, Layer, Version
from app.contracts.plant import Plant
from app.contracts.sequences import CostedPlan, Goal
from app.intake.findings import Findings
from app.intake.preset_plant import preset_plant
from app.services import planning
from app.services.assumption_groups import HIGHER, LOWER, groups_of, numbers_of, plant_value, with_values
from app.services.assumptions import deciding, deciding_sentence
from app.translation.perturbing import Effort, SameQueue
from app.translation.solving import Question

START = datetime.fromisoformat("2027-03-01T06:00:00+00:00")
WORK = 1500
_DIE = {"across": 3, "around": 3, "label_width_mm": 100, "gap_across_mm": 3, "repeat_mm": 300}
SHOP: dict[str, Any] = {
    "substrates": [
        {"code": code, "eur_per_m2": price, "print_settings": code, "widths": [{"width_mm": 330}]}
        for code, price in (("paper", 0.4), ("film", 0.6), ("gold foil paper", 1.2))
    ],
    "dies": [{"id": "D-1", **_DIE}, {"id": "D-2", **_DIE}],
    "consumables": [{"id": "gloss"}, {"id": "matt"}],
}
FOIL_PRICE = Assumption.at("substrates[2].eur_per_m2", Decimal("1.2"), "nobody knows it")
PAPER_PRICE = Assumption.at("substrates[0].eur_per_m2", Decimal("0.4"), "nobody knows it")

Shop = tuple[Plant, tuple[Assumption, ...]]


@cache
def shop(preset: str = "plain") -> Shop:
    """A preset with tools of our own, whose stock prices are assumed too."""
    findings = Findings()
    made = preset_plant(preset, SHOP, findings)
    assert made is not None, findings.faults
    return made[0], (*made[1], PAPER_PRICE, FOIL_PRICE)


def job(number: str, substrate: str, die: str, varnish: str = "gloss", quantity: int = 9_000) -> Job:
    return Job(
        job=number,
        substrate=substrate,
        die=die,
        finishes=((Layer(kind="varnish", consumable=varnish),),),
        versions=(Version(version="only", quantity=quantity),),
    )


QUEUE = (
    job("1", "paper", "D-1"),
    job("2", "film", "D-2"),
    job("3", "paper", "D-2", "matt"),
    job("4", "film", "D-1"),
    job("5", "paper", "D-1", "matt"),
)


def planned(plant: Plant, jobs: Sequence[Job] = QUEUE) -> CostedPlan:
    return planning.plan(Question(plant, jobs, START), Goal.BALANCED, work=400)


def report_on(
    made: Shop, jobs: Sequence[Job] = QUEUE, work: int = WORK, only: Sequence[Assumption] | None = None
) -> AssumptionReport:
    plant, assumptions = made
    tried = assumptions if only is None else only
    return deciding(Question(plant, jobs, START), planned(plant, jobs), tried, work=work)


@cache
def plain_report() -> AssumptionReport:
    return report_on(shop())


def swing_of(report: AssumptionReport, path: str) -> Swing:
    (swing,) = (swing for swing in report.swings if swing.assumption.path == path)
    return swing


def changed(plant: Plant, path: str, value: Decimal) -> Plant:
    place, _ = numbers_of(plant)[path]
    return Plant.model_validate(with_values(plant_value(plant), {place: value}))


def jobs_in_order(plan: CostedPlan) -> list[str]:
    return [run.job for line in plan.sequence.lines for run in line.runs]


def test_every_assumed_number_is_tried_and_the_most_money_comes_first() -> None:
    plant, assumptions = shop()
    numbers = numbers_of(plant)
    report = plain_report()
    assert report.assumed == sum(assumption.path in numbers for assumption in assumptions)
    assert report.tried == report.assumed
    money = [swing.swing_eur for swing in report.swings]
    assert money == sorted(money, reverse=True)
    assert money[0] > 0
    assert 0 < report.deciding < report.assumed


def test_the_swing_of_the_rate_is_the_lines_minutes_at_the_two_rates() -> None:
    """One job alone has one order: what the rate moves is the time of the line times the rate."""
    plant, _ = shop()
    alone = (job("1", "paper", "D-1"),)
    rate = Assumption.at("lines[0].eur_per_h", plant.lines[0].eur_per_h, "a guess")
    swing = swing_of(report_on(shop(), alone, only=[rate]), rate.path)
    cost = planned(plant, alone).sequence.cost
    timed_eur = cost.changeover_eur + cost.waiting_eur + cost.running_eur
    assert timed_eur > 0
    assert swing.swing_eur == pytest.approx(timed_eur * (HIGHER - LOWER), abs=Decimal("0.00001"))
    assert (swing.lower, swing.higher) == ("77", "143")
    assert swing.swing_m == 0
    assert not swing.order_changes


def test_metres_swing_where_metres_are_assumed() -> None:
    """One change of stock: a settle of 26 m taken 30 % lower and higher moves 15.6 m."""
    queue = (job("1", "paper", "D-1"), job("2", "film", "D-1"))
    plant, _ = shop()
    settle = Assumption.at("lines[0].settle_m", plant.lines[0].settle_m, "a guess")
    swing = swing_of(report_on(shop(), queue, only=[settle]), settle.path)
    assert swing.swing_m == Decimal("15.6")


@pytest.mark.parametrize("path", ["lines[0].clean_down_in_min", "core_wall_mm", FOIL_PRICE.path])
def test_a_value_that_cannot_matter_has_no_swing(path: str) -> None:
    """No job asks for low migration, no reel is too large, no job runs on the foil paper."""
    swing = swing_of(plain_report(), path)
    assert swing.lower is not None
    assert swing.higher is not None
    assert swing.swing_eur == swing.swing_m == 0
    assert not swing.moves


def test_the_price_of_a_foil_nobody_uses_is_not_among_the_three() -> None:
    report = plain_report()
    assert FOIL_PRICE.path not in [swing.assumption.path for swing in report.swings[:3]]
    assert "gold foil paper" not in deciding_sentence(report)
    assert swing_of(report, PAPER_PRICE.path).swing_eur > 0


def test_another_best_order_is_told_where_a_value_decides_it() -> None:
    """Four jobs of two stocks and two dies: whichever costs more to change is changed once.

    At 5 minutes a change of die costs nearly what a change of stock does; a third more or less decides.
    """
    plant, _ = shop()
    queue = tuple(job(f"{stock} {die}", stock, die) for stock in ("paper", "film") for die in ("D-1", "D-2"))
    minutes = "station_kinds.die-cut.aspects[1].minutes"
    near = Decimal(5)
    long, short = changed(plant, minutes, near * HIGHER), changed(plant, minutes, near * LOWER)
    by_die = [number.split()[1] for number in jobs_in_order(planned(long, queue))]
    by_stock = [number.split()[0] for number in jobs_in_order(planned(short, queue))]
    assert by_die in (["D-1", "D-1", "D-2", "D-2"], ["D-2", "D-2", "D-1", "D-1"])
    assert by_stock in (["paper", "paper", "film", "film"], ["film", "film", "paper", "paper"])

    assumed = Assumption.at(minutes, near, "a guess")
    even = changed(plant, minutes, near)
    swing = swing_of(report_on((even, (assumed,)), queue), minutes)
    assert swing.order_changes
    assert "with another best order" in deciding_sentence(report_on((even, (assumed,)), queue))


def test_ordering_anew_never_costs_more_than_keeping_the_order() -> None:
    plant, _ = shop("hybrid")
    queue = SameQueue(Question(plant, QUEUE, START), Goal.BALANCED)
    effort = Effort(None, 4000, lambda: False)
    base = queue.planned(planned(plant).sequence, effort)
    for eur_per_h in (105, 195):
        other = changed(plant, "lines[0].eur_per_h", Decimal(eur_per_h))
        kept = queue.costed(other, base.order, effort)
        anew = queue.reordered(other, base.order, effort, effort.part(2, 500), 0)
        assert kept is not None
        assert anew is not None
        assert anew.weighed_eur <= kept.weighed_eur


def test_a_limit_that_leaves_jobs_out_says_so_and_its_money_is_not_compared() -> None:
    report = plain_report()
    width = swing_of(report, "lines[0].web_width_mm")
    assert width.lower == "238"
    assert width.left_out == len(QUEUE)
    assert width.swing_eur == 0
    assert "What can run depends on the" in deciding_sentence(report)
    assert f"the web width of Plain ({len(QUEUE)} jobs)" in deciding_sentence(report)


def test_under_a_work_limit_the_report_is_the_same_each_time() -> None:
    first, second = (
        report_on(shop("hybrid"), work=900).model_copy(update={"seconds": 0.0}) for _ in range(2)
    )
    assert first == second


def test_a_short_effort_tries_fewer_and_says_so() -> None:
    report = report_on(shop(), work=10)
    assert report.tried < report.assumed
    assert f"There was no time to try {report.assumed - report.tried} of them." in deciding_sentence(report)


def test_it_stops_when_told_to() -> None:
    plant, assumptions = shop()
    plan = planned(plant)
    report = deciding(Question(plant, QUEUE, START), plan, assumptions, seconds=60, cancelled=lambda: True)
    assert (report.tried, report.swings) == (0, ())
    assert report.assumed > 0


def test_it_ends_in_time() -> None:
    plant, assumptions = shop("buffered-hybrid")
    report = deciding(Question(plant, QUEUE, START), planned(plant), assumptions, seconds=0.2)
    assert report.seconds < 2


def test_without_a_limit_it_refuses() -> None:
    plant, assumptions = shop()
    with pytest.raises(ValueError, match="without a limit"):
        deciding(Question(plant, QUEUE, START), planned(plant), assumptions)


@pytest.mark.parametrize("origin", [Origin.GIVEN, Origin.LEARNED])
def test_given_and_learned_values_are_not_tried(origin: Origin) -> None:
    _, assumptions = shop()
    known = [assumption.model_copy(update={"origin": origin}) for assumption in assumptions]
    report = report_on(shop(), only=known)
    assert (report.assumed, report.tried, report.swings) == (0, 0, ())
    assert deciding_sentence(report) == "No value is assumed."


def test_values_that_stand_for_one_thing_move_together() -> None:
    plant, assumptions = shop("buffered-hybrid")
    groups = {group.name: group for group in groups_of(plant, assumptions)}
    path = groups["web path of Buffered"]
    moved = path.moved(LOWER)
    assert moved is not None
    assert len(path.places) == len(plant.lines[0].stations) + len(("counter", "zone from", "zone to"))
    assert [value / old for value, old in zip(moved, path.values, strict=True) if old] == [
        LOWER for old in path.values if old
    ]
    channels = groups["speeds of the channels at inkjet"]
    assert len(channels.places) == 8
    assert len(groups["minutes at flexo"].places) == 4


def test_counts_move_by_one_and_stay_counts() -> None:
    plant, assumptions = shop()
    hands = next(group for group in groups_of(plant, assumptions) if group.first.path == "lines[0].hands")
    assert (hands.moved(LOWER), hands.moved(HIGHER)) == (None, (2,))


def test_nothing_is_taken_higher_than_its_field_can_hold() -> None:
    plant, _ = shop()
    dark = plant.model_copy(
        update={"consumables": (plant.consumables[0].model_copy(update={"darkness": Decimal("0.9")}),)}
    )
    (group,) = groups_of(dark, [Assumption.at("consumables[0].darkness", Decimal("0.9"), "by its name")])
    assert group.moved(HIGHER) == (1,)


def test_the_sentence_names_the_three_that_move_it_most_with_money_and_metres() -> None:
    sentence = deciding_sentence(plain_report())
    report = plain_report()
    assert sentence.startswith(f"{report.deciding} of {report.assumed} assumed values decide this order; ")
    assert "the three that move it most are" in sentence
    for swing in report.swings[:3]:
        assert swing.name in sentence
        assert f"{swing.swing_eur:,.0f} € and {swing.swing_m:,.0f} m" in sentence
    assert report.swings[3].name not in sentence
