"""Drawings that stand by themselves: what the report shows, in one SVG each."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from markupsafe import Markup

from app.contracts.sequences import CostedPlan
from app.documents.sequence_drawings import cost_drawing, time_drawing, web_drawing
from app.drawings import time_chart, web_strip
from app.drawings.cost_bars import cost_bars
from app.drawings.stacked import EDGE_MM, GAP_MM, stacked
from app.drawings.svg import drawing, text
from tests.app.costed_plans import costed_order, eventful_order
from tests.app.test_drawings import SVG, line_of, titles

PLANS = (costed_order(), eventful_order())


def placed(whole: Markup) -> list[ElementTree.Element]:
    """Drawings inside one, in order."""
    return list(ElementTree.fromstring(whole).iter(f"{SVG}svg"))[1:]


def test_drawings_lie_below_each_other_without_touching() -> None:
    whole = stacked("Two & more", [drawing("one <", 100, 20, text(0, 5, "a > b")), drawing("two", 80, 7)])
    root = ElementTree.fromstring(whole)
    assert root.attrib["aria-label"] == "Two & more"
    assert root.attrib["viewBox"] == f"0 0 {100 + 2 * EDGE_MM:g} {20 + GAP_MM + 7 + 2 * EDGE_MM:g}"
    one, two = placed(whole)
    assert [each.attrib["aria-label"] for each in (one, two)] == ["one <", "two"]
    assert (float(one.attrib["y"]), float(two.attrib["y"])) == (EDGE_MM, EDGE_MM + 20 + GAP_MM)
    assert one.findtext(f"{SVG}text") == "a > b"


@pytest.mark.parametrize("plan", PLANS)
def test_nothing_of_the_reports_drawings_is_lost(plan: CostedPlan) -> None:
    line, pieces = line_of(plan)
    whole = (web_drawing(plan.sequence, line),)
    assert set(titles(web_strip.web_strip(line, pieces, "w"), "rect")) <= set(titles(whole, "rect"))
    whole = (time_drawing(plan.sequence, line),)
    assert set(titles(time_chart.time_chart(plan.sequence, "t"), "rect")) <= set(titles(whole, "rect"))
    assert time_drawing(plan.sequence).count("<title>") == whole[0].count("<title>")
    costs = [("this order", plan.sequence.cost)]
    assert set(titles((cost_bars(costs, "c"),), "rect")) <= set(titles((cost_drawing(plan),), "rect"))


@pytest.mark.parametrize("plan", PLANS)
def test_an_id_inside_stands_for_one_thing(plan: CostedPlan) -> None:
    line, _ = line_of(plan)
    for whole in (time_drawing(plan.sequence), web_drawing(plan.sequence, line), cost_drawing(plan)):
        ids = re.findall(r' id="([^"]+)"', whole)
        assert len(set(ids)) == len(ids)
        assert {found.strip("#()") for found in re.findall(r"url(\(#[^)]+\))", whole)} <= set(ids)


def test_a_line_on_which_nothing_runs_says_so() -> None:
    sequence = PLANS[0].sequence
    idle = sequence.lines[0].model_copy(update={"line": "P1", "runs": ()})
    for whole in (time_drawing(sequence, idle), web_drawing(sequence, idle)):
        assert "Nothing runs on line P1" in whole
        assert placed(whole) == []
