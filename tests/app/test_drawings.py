"""Drawings: to scale, every mark with its title, nothing lost at the end of a row."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts.sequences import Closure, CostedPlan, LineRuns, Piece
from app.drawings import cost_bars, fills, line_time, svg, time_chart, web_strip
from solver.sequence import PieceKind
from tests.app.costed_plans import costed_order, eventful_order

EVENTFUL = eventful_order()
CALM = costed_order()
SVG = "{http://www.w3.org/2000/svg}"
HATCHED = re.compile(r"url\(#(.+)\)")


def line_of(plan: CostedPlan) -> tuple[LineRuns, list[Piece]]:
    line = plan.sequence.lines[0]
    return line, [piece for piece in plan.sequence.ledger if piece.line == line.line]


def rects(drawings: tuple[str, ...]) -> list[ElementTree.Element]:
    """Rectangles that are marks, in order; hatches and words' grounds have no title."""
    found = [ElementTree.fromstring(drawing).iter(f"{SVG}rect") for drawing in drawings]
    return [rect for of_drawing in found for rect in of_drawing if rect.find(f"{SVG}title") is not None]


def titles(drawings: tuple[str, ...], tag: str) -> list[str]:
    found = [ElementTree.fromstring(drawing).iter(f"{SVG}{tag}") for drawing in drawings]
    marks = (mark for of_drawing in found for mark in of_drawing)
    return [title.text or "" for mark in marks if (title := mark.find(f"{SVG}title")) is not None]


@pytest.mark.parametrize("plan", [CALM, EVENTFUL])
def test_every_metre_of_the_web_is_drawn_at_one_scale(plan: CostedPlan) -> None:
    line, pieces = line_of(plan)
    total_m = pieces[-1].to_m
    mm_a_metre = web_strip.BAR_MM / float(web_strip.row_length_m(total_m))
    drawn: dict[str, float] = {}
    for rect in rects(web_strip.web_strip(line, pieces, "w")):
        kind = (rect.findtext(f"{SVG}title") or "").partition(",")[0]
        drawn[kind] = drawn.get(kind, 0.0) + float(rect.attrib["width"]) / mm_a_metre
    for kind in {piece.kind for piece in pieces}:
        length_m = float(sum(piece.length_m for piece in pieces if piece.kind == kind))
        assert drawn[kind] == pytest.approx(length_m, abs=0.05)


def test_the_last_row_is_drawn_even_where_it_is_short() -> None:
    """3,130.8 m in rows of 500 m: the seventh row, of 130.8 m, was once left out."""
    line, pieces = line_of(CALM)
    drawings = web_strip.web_strip(line, pieces, "w")
    names = [ElementTree.fromstring(drawing).attrib["aria-label"] for drawing in drawings]
    assert names == [
        "Web of line H1 from 0.0 m to 1,500.0 m, to scale",
        "Web of line H1 from 1,500.0 m to 3,000.0 m, to scale",
        "Web of line H1 from 3,000.0 m to 3,130.8 m, to scale",
    ]


@pytest.mark.parametrize("plan", [CALM, EVENTFUL])
def test_a_changeover_begins_where_the_ledger_has_it(plan: CostedPlan) -> None:
    line, pieces = line_of(plan)
    starts_m = web_strip.run_starts_m(line.runs)
    assert starts_m[0] == 0
    assert starts_m[-1] == pieces[-1].to_m
    ends_of_runs = {piece.to_m for piece in pieces if piece.cause == "run"}
    assert set(starts_m[1:]) <= ends_of_runs


def test_print_that_stops_spoil_before_a_changeover_is_in_the_reckoning() -> None:
    line, _ = line_of(EVENTFUL)
    spoiled = [run.changeover.spoil_outgoing_m for run in line.runs if run.changeover]
    assert max(spoiled) > 0


def test_every_stop_is_drawn_once_with_its_stations() -> None:
    line, pieces = line_of(EVENTFUL)
    stops = web_strip.stop_marks(line, pieces)
    of_changeovers = sum(len(run.changeover.stops) for run in line.runs if run.changeover)
    assert len(stops) == of_changeovers + sum(run.roll_ends for run in line.runs)
    assert titles(web_strip.web_strip(line, pieces, "w"), "path") == [stop.title for stop in stops]


def test_a_stop_lies_its_distance_behind_the_last_sellable_metre_and_behind_the_splice() -> None:
    line, pieces = line_of(EVENTFUL)
    start_m = web_strip.run_starts_m(line.runs)[1]
    changeover = line.runs[1].changeover
    assert changeover is not None
    assert changeover.splice_at_m == 0
    marks = {stop.name: stop for stop in web_strip.stop_marks(line, pieces)}
    assert marks["2.1"].at_m == start_m
    assert marks["2.2"].at_m == start_m + changeover.stops[1].at_m + changeover.splice_m
    assert "flexo-1" in marks["2.2"].stations


def test_a_stop_beyond_the_last_metre_is_drawn_at_it() -> None:
    line, pieces = line_of(CALM)
    short = [piece for piece in pieces if piece.to_m <= 25]
    assert titles(web_strip.web_strip(line, short, "w"), "path")[0].startswith("Stop 1.1")


@pytest.mark.parametrize(("total_m", "row_m"), [("600", "50"), ("600.001", "100"), ("30590", "2000")])
def test_rows_are_as_short_as_a_readable_number_of_them_allows(total_m: str, row_m: str) -> None:
    assert web_strip.row_length_m(Decimal(total_m)) == Decimal(row_m)


@given(st.decimals(min_value=1, max_value=10**6, places=3))
def test_rows_are_few_and_of_round_lengths(total_m: Decimal) -> None:
    row_m = web_strip.row_length_m(total_m)
    assert total_m <= row_m * web_strip.MOST_ROWS
    assert f"{row_m:f}".rstrip("0") in {"5", "1", "2"}


def test_blocks_of_a_line_follow_each_other_without_gap_or_overlap() -> None:
    line, _ = line_of(EVENTFUL)
    blocks = line_time.line_blocks(line, EVENTFUL.sequence.start)
    assert blocks[0].begins == EVENTFUL.sequence.start
    assert all(before.ends == after.begins for before, after in pairwise(blocks))
    assert blocks[-1].ends == line.runs[-1].end
    assert {block.kind for block in blocks} >= {"changeover", "run", "late run", "closure"}


def test_a_closure_inside_a_run_parts_it() -> None:
    line, _ = line_of(EVENTFUL)
    closure = next(
        block for block in line_time.line_blocks(line, EVENTFUL.sequence.start) if block.kind == "closure"
    )
    assert closure.ends - closure.begins == timedelta(minutes=20)


def test_cleaning_behind_the_last_run_is_a_block() -> None:
    line, _ = line_of(CALM)
    cleaned = line.model_copy(update={"clean_down_min": Decimal(12)})
    last = line_time.line_blocks(cleaned, CALM.sequence.start)[-1]
    assert last.kind == "cleaning"
    assert last.ends == line.runs[-1].end + timedelta(minutes=12)


def test_time_is_drawn_to_scale() -> None:
    line, _ = line_of(EVENTFUL)
    blocks = line_time.line_blocks(line, EVENTFUL.sequence.start)
    drawn = rects(time_chart.time_chart(EVENTFUL.sequence, "t"))
    shares = [float(rect.attrib["width"]) for rect in drawn]
    lengths = [(block.ends - block.begins) / timedelta(minutes=1) for block in blocks]
    assert len(shares) == len(lengths)
    mm_a_minute = sum(shares) / sum(lengths)
    assert shares == pytest.approx([length * mm_a_minute for length in lengths], abs=0.01)


def test_late_runs_and_missed_due_times_look_different() -> None:
    drawings = time_chart.time_chart(EVENTFUL.sequence, "t")
    looks = {
        (rect.findtext(f"{SVG}title") or "").split(" ")[0]: rect.attrib["fill"] for rect in rects(drawings)
    }
    assert looks["late"] != looks["run"]
    kept = titles(time_chart.time_chart(CALM.sequence, "t"), "path")
    assert "press due Mon 1 Mar 07:30: 2 J-2103 kept" in kept


def test_runs_due_at_the_same_time_share_a_flag() -> None:
    line = CALM.sequence.lines[0]
    due = line.runs[1].press_due
    late = {"press_due": due, "late_min": Decimal(5)}
    runs = (
        line.runs[0].model_copy(update={"press_due": due}),
        line.runs[1],
        line.runs[2].model_copy(update=late),
    )
    sequence = CALM.sequence.model_copy(update={"lines": (line.model_copy(update={"runs": runs}),)})
    drawing = time_chart.time_chart(sequence, "t")[0]
    assert titles((drawing,), "path") == [
        "press due Mon 1 Mar 07:30: 1 J-2101 kept; 2 J-2103 kept; 3 J-2104 missed"
    ]
    assert ">1 2, 3 late</text>" in drawing


def test_a_long_plan_is_drawn_in_panels_without_those_in_which_lines_only_wait() -> None:
    line = CALM.sequence.lines[0]
    later = timedelta(days=3)
    last = line.runs[-1]
    moved = last.model_copy(
        update={
            "changeover_start": last.changeover_start + later,
            "print_start": last.print_start + later,
            "end": last.end + later,
        }
    )
    stretched = line.model_copy(update={"runs": (*line.runs[:-1], moved)})
    sequence = CALM.sequence.model_copy(update={"lines": (stretched,)})
    names = [
        ElementTree.fromstring(panel).attrib["aria-label"] for panel in time_chart.time_chart(sequence, "t")
    ]
    assert names == [
        "Time chart from Mon 1 Mar 06:00 to Mon 1 Mar 18:00, to scale",
        "Time chart from Thu 4 Mar 06:00 to Thu 4 Mar 18:00, to scale",
    ]


def test_the_night_in_which_the_clock_is_set_forward_keeps_its_length() -> None:
    """On 28 March 2027 Berlin's clock goes from 02:00 to 03:00."""
    plan = costed_order(
        ("J-2101", "J-2103"), start=datetime(2027, 3, 28, 1, 30), calendar__shifts=[], calendar__closures=[]
    )
    drawing = time_chart.time_chart(plan.sequence, "t")[0]
    hours = re.findall(r">(\d\d:\d\d)</text>", drawing)
    assert hours == ["01:00", "01:15", "01:30", "01:45", "03:00", "03:15", "03:30", "03:45", "04:00"]


def test_bars_of_cost_are_to_the_same_scale_and_sum_to_what_is_written() -> None:
    costs = [("this", EVENTFUL.sequence.cost), ("other", CALM.sequence.cost)]
    drawn = rects((cost_bars.cost_bars(costs, "c"),))
    largest_eur = max(cost.controllable_eur for _, cost in costs)
    for name, cost in costs:
        widths = [
            float(rect.attrib["width"])
            for rect in drawn
            if (rect.findtext(f"{SVG}title") or "").startswith(f"{name}:")
        ]
        expected_mm = float(cost.controllable_eur / largest_eur) * cost_bars.BAR_MM
        assert sum(widths) == pytest.approx(expected_mm, abs=0.01)


def test_orders_that_cost_nothing_have_bars_of_no_length() -> None:
    nothing = CALM.sequence.cost.model_copy(
        update=dict.fromkeys(type(CALM.sequence.cost).model_fields, Decimal(0))
    )
    assert rects((cost_bars.cost_bars([("free", nothing)], "c"),)) == []


def test_every_kind_of_web_has_its_own_colour_and_hatch() -> None:
    assert set(fills.WEB_FILLS) == {kind.value for kind in PieceKind}
    for palette in (fills.WEB_FILLS, fills.TIME_FILLS, fills.COST_FILLS):
        assert len({(fill.colour, fill.hatch) for fill in palette.values()}) == len(palette)
        plain = [fill.colour for fill in palette.values() if not fill.hatch]
        assert len(plain) <= 2, "colour alone may not tell kinds apart"


def luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.2."""
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("kind", ["run", "wait", "closure", "changeover"])
def test_ink_on_fills_has_the_contrast_of_wcag_aa(kind: str) -> None:
    ground, ink = luminance(fills.TIME_FILLS[kind].colour), luminance(svg.INK)
    assert (ground + 0.05) / (ink + 0.05) >= 4.5


def test_a_kind_nobody_knows_is_drawn_all_the_same() -> None:
    palette = fills.Palette("p", fills.WEB_FILLS)
    assert HATCHED.fullmatch(palette.fill("something new"))


@given(st.text(alphabet=st.characters(exclude_categories=("Cs", "Cc")), max_size=20))
def test_any_text_is_escaped(words: str) -> None:
    drawing = svg.drawing(words, 10, 10, svg.text(0, 0, words), svg.titled(words))
    root = ElementTree.fromstring(drawing)
    assert root.findtext(f"{SVG}text") == words
    assert root.findtext(f"{SVG}title") == words


@pytest.mark.parametrize(
    ("width_mm", "words"), [(100.0, "3 J-2101"), (10.0, "J-2101"), (3.0, "3"), (0.5, "")]
)
def test_the_first_wording_that_fits_is_taken(width_mm: float, words: str) -> None:
    assert svg.first_that_fits(("3 J-2101", "J-2101", "3"), width_mm) == words


def test_a_closure_inside_a_wait_is_drawn_as_closed_not_as_waiting() -> None:
    """A night between two shifts was once drawn as hours of waiting."""
    line, _ = line_of(CALM)
    first = line.runs[0].changeover_start
    opens = first - timedelta(minutes=20)
    shut = line.model_copy(
        update={"closures": (Closure(closed_from=first - timedelta(hours=9), closed_to=opens),)}
    )
    blocks = line_time.line_blocks(shut, first - timedelta(hours=10))
    assert [(block.kind, block.ends - block.begins) for block in blocks[:3]] == [
        ("wait", timedelta(hours=1)),
        ("closure", timedelta(hours=8, minutes=40)),
        ("wait", timedelta(minutes=20)),
    ]


@pytest.mark.parametrize("plan", [CALM, EVENTFUL])
def test_a_line_tells_every_closure_until_its_last_run_has_ended(plan: CostedPlan) -> None:
    for line in plan.sequence.lines:
        told = {(closure.closed_from, closure.closed_to) for closure in line.closures}
        gone_through = {
            (interruption.closed_from, interruption.closed_to)
            for run in line.runs
            for interruption in run.interruptions
        }
        assert gone_through <= told
        assert all(closure.closed_from < line.runs[-1].end for closure in line.closures)
