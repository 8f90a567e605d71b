"""The report: everything of the plan, in a page that needs nothing else and that anybody can read."""

from __future__ import annotations

import json
import re
from itertools import pairwise
from pathlib import Path

import pytest

from app.contracts.sequences import CostedPlan, LeftOut
from app.documents.figures import tenths
from app.documents.report import CAUTIONS, report_html, write_report
from app.documents.report_waste import waste_table
from tests.app.costed_plans import costed_order, eventful_order
from tests.app.pages import Page

HOSTILE = "J<b>&\"'</table><script>alert(1)</script>"
TAGS = {
    *("html", "head", "meta", "title", "style", "body", "main", "section", "div", "p", "span", "br", "wbr"),
    *("h1", "h2", "h3", "ul", "li", "table", "caption", "thead", "tbody", "tr", "th", "td"),
    *("svg", "defs", "pattern", "rect", "path", "line", "text"),
}
EVENTFUL = eventful_order()
CALM = costed_order()
HTML = report_html(EVENTFUL, ("Rolls are 400 m long.", "Hands < 2 & none to spare."))
PAGE = Page(HTML)
CALM_PAGE = Page(report_html(CALM))


def rows(page: Page) -> list[str]:
    return page.texts("tr")


def test_title_site_start_and_goal_are_told_first() -> None:
    assert PAGE.texts("h1") == ["Sample site: plan from Mon 1 Mar 2027 08:00 +0100"]
    assert PAGE.texts("p")[0].startswith("Goal: least-waste. Times are on the site’s clock (Europe/Berlin).")
    assert PAGE.texts("title")[:1] == PAGE.texts("h1")


def test_the_cautions_are_on_the_page() -> None:
    items = PAGE.texts("li")
    assert set(CAUTIONS) <= set(items)
    said = " ".join(CAUTIONS)
    for danger in (
        "lock",
        "moving webs",
        "blades",
        "nips",
        "UV",
        "solvents",
        "manual",
        "site rules",
        "codes",
    ):
        assert danger in said


def test_totals_stand_beside_the_baselines_with_what_is_saved() -> None:
    first_cells = [row.split(" ")[:2] for row in rows(PAGE)]
    for words in (["this", "order"], ["as", "entered"], ["by", "due"]):
        assert first_cells.count(words) == 2, "totals and cost by cause"
    assert any(
        text.startswith("Controllable cost: ") and "than as entered" in text for text in PAGE.texts("p")
    )


def test_savings_are_told_both_ways() -> None:
    dear, cheap = EVENTFUL, CALM
    other = EVENTFUL.baselines[0].model_copy(update={"cost": cheap.sequence.cost, "name": "that one"})
    assert " more than that one" in report_html(dear.model_copy(update={"baselines": (other,)}))
    same = other.model_copy(update={"cost": dear.sequence.cost})
    assert "as much as that one" in report_html(dear.model_copy(update={"baselines": (same,)}))


def test_the_exchange_rate_is_told_line_by_line() -> None:
    assert "Line H1: one minute is worth 18.65 m of waste here." in CALM_PAGE.texts("p")


def test_each_changeover_is_told_with_its_stops_and_what_changes() -> None:
    told = rows(CALM_PAGE)
    assert "stop 3.1 die cylinder: M-96 → M-80die: D-101 → D-102 7.0 6.5" in told
    assert "While J-2101 runs, at stations it does not use: takes no time of the line" in told
    assert any(
        row.startswith("3 J-2104: 1 stop, web held; 11.6 min; splice 26.0 m behind the last sellable metre.")
        and row.endswith("Waste 33.5 m: 26.0 m outgoing stock left blank, 6.5 m set-up strip, 1.0 m splice.")
        for row in told
    )
    assert any(
        row.startswith("Stop 2.1 when the last sellable metre of J-2101 is 21.5 m past") for row in told
    )


def test_every_change_of_every_task_is_on_the_page() -> None:
    cells = " | ".join(PAGE.texts("td"))
    changeovers = [run.changeover for run in EVENTFUL.sequence.lines[0].runs if run.changeover]
    tasks = [task for changeover in changeovers for stop in changeover.stops for task in stop.tasks]
    changes = [change for task in tasks for change in task.changes]
    assert len(changes) > 10
    for change in changes:
        name = change.aspect.replace("_", " ")
        assert f"{name}: {change.before or 'none'} → {change.after or 'none'}" in cells


def test_a_station_that_comes_back_with_its_tooling_is_told() -> None:
    thrown_off = costed_order(lines__0__present__thrown_off=["flexo-2", "flexo-3"])
    assert any("flexo-3 engaged again, tooling kept" in row for row in rows(Page(report_html(thrown_off))))
    assert not any("tooling kept" in row for row in rows(CALM_PAGE))


def test_roll_ends_closures_and_late_jobs_are_told() -> None:
    told = rows(PAGE)
    assert any("roll ends inside the run: " in row for row in told)
    assert any(row.startswith("Closure in the run from Mon 1 Mar 08:40 to Mon 1 Mar 09:00") for row in told)
    assert any(row.startswith("closed from Mon 1 Mar 08:40 to Mon 1 Mar 09:00") for row in told)
    late = [run.job for run in EVENTFUL.sequence.lines[0].runs if run.late_min]
    assert [element.text for element in PAGE.all("span") if element.attributes.get("class") == "late"]
    assert late


def test_jobs_left_out_and_assumptions_are_told() -> None:
    assert "J-2102 the order does not place it" in rows(PAGE)
    assert "Hands < 2 & none to spare." in PAGE.texts("li")
    assert "What was assumed" not in CALM_PAGE.texts("h2")
    assert "None." in CALM_PAGE.texts("p")


def test_each_drawing_is_followed_by_a_table_of_the_same_values() -> None:
    kinds = ["svg" if element.tag == "svg" else "table" for element in PAGE.all("svg", "table")]
    assert kinds[-1] == "table"
    line = EVENTFUL.sequence.lines[0]
    waste = [piece for piece in EVENTFUL.sequence.ledger if piece.cause != "run" and piece.line == line.line]
    told = rows(PAGE)
    for piece in waste:
        start = f"{piece.kind} {piece.job} {piece.substrate} {piece.width_mm:f} mm {piece.cause} "
        assert any(row.startswith(start) for row in told), start


def test_waste_is_told_by_stock_and_kind_and_adds_up_to_the_total() -> None:
    table = waste_table(EVENTFUL.sequence.totals.waste)
    assert sum(stock.waste_m for stock in table.stocks) == EVENTFUL.sequence.totals.waste_m
    assert all(sum(stock.by_kind_m) == stock.waste_m for stock in table.stocks)
    assert "spoilage allowance" not in table.kinds
    told = rows(PAGE)
    for stock in table.stocks:
        figures = " ".join(tenths(length_m) for length_m in (*stock.by_kind_m, stock.waste_m))
        assert any(row.startswith(f"{stock.stock} {figures} ") for row in told)


def test_lines_without_runs_are_named() -> None:
    assert "Line P1" in PAGE.texts("h2")
    assert "No runs." in PAGE.texts("p")


def test_hostile_names_are_text_everywhere() -> None:
    page = Page(report_html(eventful_order({"J-2103": HOSTILE, "J-2102": "<i>out"}), ("<script>x</script>",)))
    assert not page.all("script", "b", "i")
    assert sum(HOSTILE in row for row in rows(page)) >= 4
    assert any(HOSTILE in title for title in page.texts("title"))
    assert any(row.startswith("<i>out") for row in rows(page))


@pytest.mark.parametrize(
    "name",
    ["Sample site", "H1", "PAPER-80", "D-101", "inkjet", "flexo-3", "Example Tea", "Green tea", "J-2101"],
)
def test_whatever_carries_the_hostile_name_it_stays_text(name: str) -> None:
    hostile = json.dumps(HOSTILE)
    plan = CostedPlan.model_validate_json(CALM.model_dump_json().replace(f'"{name}"', hostile))
    page = Page(report_html(plan, (HOSTILE,)))
    assert sorted({element.tag for element in page.elements}) == sorted(TAGS)
    assert sum(HOSTILE in element.text for element in page.elements) >= 3


def test_the_page_asks_for_nothing_and_runs_nothing() -> None:
    assert not PAGE.all("script", "link", "img", "iframe", "object", "base", "form", "use")
    outside = {"src", "href", "action", "srcset", "xlink:href", "data"}
    for element in PAGE.elements:
        assert not outside & element.attributes.keys()
        assert not [name for name in element.attributes if name.startswith("on")]
    assert "@import" not in HTML
    assert set(re.findall(r"url\((.)", HTML)) <= {"#"}


def test_headings_are_in_order_and_the_language_is_named() -> None:
    assert PAGE.all("html")[0]["lang"] == "en"
    levels = [int(element.tag[1]) for element in PAGE.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_every_table_has_a_caption_and_scoped_headings() -> None:
    assert len(PAGE.all("table")) == len(PAGE.all("caption"))
    assert {element["scope"] for element in PAGE.all("th")} == {"col", "row", "rowgroup"}


def test_what_scrolls_can_be_reached_with_the_keyboard_and_has_a_name() -> None:
    scrolling = [element for element in PAGE.all("div") if element.attributes.get("class") == "wide"]
    assert len(scrolling) >= len(PAGE.all("table"))
    assert all(element["tabindex"] == "0" and element["aria-label"] for element in scrolling)
    names = [element["aria-label"] for element in scrolling]
    assert len(set(names)) == len(names)


def test_ids_are_unique_and_every_pattern_is_there() -> None:
    ids = [element["id"] for element in PAGE.elements if "id" in element.attributes]
    assert len(ids) == len(set(ids))
    assert set(re.findall(r"url\(#([^)]+)\)", HTML)) == set(ids)


def test_every_drawn_mark_has_a_title() -> None:
    marks = [
        element
        for element in PAGE.all("rect", "path")
        if "pattern" not in element.parents and element.attributes["fill"] != "#ffffff"
    ]
    titled = [element for element in PAGE.all("title") if "svg" in element.parents]
    assert len(marks) > 30
    assert len(titled) >= len(marks)


def test_both_files_are_written_and_replace_older_ones(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "folder"
    folder.mkdir(parents=True)
    (folder / "report.html").write_text("old", encoding="utf-8")
    written = write_report(CALM, folder)
    assert written == (folder / "report.html", folder / "report.pdf")
    assert Page(written[0].read_text(encoding="utf-8")).texts("h1") == CALM_PAGE.texts("h1")
    assert written[1].read_bytes().startswith(b"%PDF")


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("", encoding="utf-8")
    with pytest.raises(OSError, match="taken"):
        write_report(CALM, tmp_path / "taken")


def test_the_same_plan_gives_the_same_page() -> None:
    assert report_html(CALM) == report_html(CALM)


def with_left_out(plan: CostedPlan, *left_out: LeftOut) -> CostedPlan:
    return plan.model_copy(update={"sequence": plan.sequence.model_copy(update={"left_out": left_out})})


def test_each_line_has_its_reason() -> None:
    plan = with_left_out(CALM, LeftOut(job="X-1", reasons=("H1: too wide", "P1: no inkjet")))
    reasons = [element for element in Page(report_html(plan)).all("td") if "H1: too wide" in element.text]
    assert [element.text for element in reasons] == ["H1: too wideP1: no inkjet"]


def test_a_name_too_long_for_a_cell_may_be_broken_and_stays_what_it_is() -> None:
    name = "an order of many letters " + "X" * 50
    html = report_html(eventful_order({"J-2103": name}))
    assert f"{'X' * 20}<wbr>{'X' * 20}<wbr>{'X' * 10}" in html
    assert any(name in text for text in Page(html).texts("th"))
