"""Run sheets on paper and on a screen: everything of the contract, in a page that needs nothing else."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from pypdf import PdfReader

from app.contracts.crew_calls import CallKind
from app.contracts.run_sheets import LineRunSheets, RunSheet
from app.documents.figures import tenths
from app.documents.page import style_of
from app.documents.pdf import pdf_from_html
from app.documents.run_sheet import file_stems, run_sheets_html, write_run_sheets
from solver.baselines import as_entered
from tests.app.pages import Page
from tests.app.sheets import sample_sheets, sheets_of
from tests.builders.called import counting_line
from tests.builders.worked import worked_job, worked_problem

HOSTILE = "J<b>&\"'</table><script>alert(1)</script>"
TAGS = {
    *("html", "head", "meta", "title", "style", "body", "main", "section", "article", "header", "div", "p"),
    *("span", "strong", "br", "wbr", "h1", "h2", "h3", "h4", "ul", "li"),
    *("table", "thead", "tbody", "tr", "th", "td"),
    *("svg", "rect", "path"),
}


def p1_sheets() -> Sequence[RunSheet]:
    """The sample day's sheets of a line, one a shift."""
    return sample_sheets().of_line("P1")


@cache
def p1_html() -> str:
    return run_sheets_html(p1_sheets())


@cache
def p1_page() -> Page:
    return Page(p1_html())


@cache
def pdf_pages(html: str) -> list[str]:
    """The words of every sheet of paper, with single blanks."""
    sheets = PdfReader(io.BytesIO(pdf_from_html(html))).pages
    return [" ".join(sheet.extract_text().split()) for sheet in sheets]


def text_of(page: Page) -> str:
    (main,) = page.all("main")
    return " ".join(main.text.split())


def hostile_sheets() -> list[RunSheet]:
    """Two jobs with names that mean something in HTML, one of 80 letters without a blank."""
    jobs = [worked_job(HOSTILE), worked_job("W" * 80, "substrate")]
    problem = worked_problem(counting_line("H"), *jobs)
    return list(sheets_of(problem, as_entered(problem), site=HOSTILE).sheets)


def test_there_is_no_script_and_nothing_from_outside() -> None:
    assert {element.tag for element in p1_page().elements} <= TAGS
    for element in p1_page().elements:
        assert not {name for name in element.attributes if name.startswith("on") or name in ("href", "src")}
    assert "url(" not in p1_html()
    assert "@import" not in p1_html()
    assert set(re.findall(r"https?://[^\"]+", p1_html())) == {"http://www.w3.org/2000/svg"}


def test_every_call_is_on_the_page_once_with_its_reading() -> None:
    text = text_of(p1_page())
    numbers = [int(each.text) for each in p1_page().all("span") if each.attributes.get("class") == "number"]
    told = [call for call in sample_sheets().calls("P1") if call.kind is not CallKind.DOFF or call.stands]
    assert numbers == [call.number for call in told]
    for call in sample_sheets().calls("P1"):
        assert f"{tenths(call.reading_m)} m" in text
    for call in told:
        assert call.sentence in text


def test_the_figures_of_a_call_stand_large_beside_where_to_begin() -> None:
    boxes = [each for each in p1_page().all("div") if each.attributes.get("class") == "figures"]
    figures = [" ".join(each.text.split()) for each in boxes]
    call = next(
        call for call in sample_sheets().calls("P1") if call.kind is CallKind.STOP and call.number > 1
    )
    told = f"{tenths(call.reading_m)} m begin to stop at {tenths(call.begin_m)} m"
    assert any(words.startswith(f"{call.number} Stop") and told in words for words in figures)


def test_rolls_are_told_with_their_places_on_the_list_and_at_their_call() -> None:
    text = text_of(p1_page())
    for sheet in p1_sheets():
        for roll in sheet.rolls:
            assert roll.roll in p1_page().texts("strong")
    calls = [call for call in sample_sheets().calls("P1") if call.next_roll and call.next_roll.location]
    assert len(calls) > 10
    for call in calls:
        assert call.next_roll is not None
        assert f"Roll on: {call.next_roll.roll}, {call.next_roll.location}" in text


def test_every_version_has_its_labels_and_a_box_for_what_was_made() -> None:
    rows = p1_page().texts("tr")
    for sheet in p1_sheets():
        for run in sheet.runs:
            for version in run.versions:
                start = f"{version.version} {version.target:,} {version.quantity:,} {version.reels}"
                assert any(row.startswith(start) for row in rows)
    boxes = [each for each in p1_page().all("td") if each.attributes.get("class") == "write"]
    assert len(boxes) == sum(len(run.versions) for sheet in p1_sheets() for run in sheet.runs)


def test_keep_wash_and_change_are_told_station_by_station() -> None:
    words = set(p1_page().texts("strong"))
    actions = {
        setting.action.value
        for sheet in p1_sheets()
        for run in sheet.runs
        for station in run.stations
        for setting in station.settings
    }
    assert {"keep", "wash up", "change", "load"} <= actions <= words


def test_there_are_boxes_for_what_happened_and_who_signs() -> None:
    labels = [each.text for each in p1_page().all("span") if each.attributes.get("class") == "label"]
    runs = sum(len(sheet.runs) for sheet in p1_sheets())
    for label in ("set-up began", "waste m", "operator signs", "first label checked by"):
        assert labels.count(label) == runs
    assert labels.count("handed over by") == len(p1_sheets())


def test_every_run_has_a_code() -> None:
    codes = [text.removeprefix("Code for a scanner: ") for text in p1_page().texts("title")[1:]]
    assert codes == [run.code for sheet in p1_sheets() for run in sheet.runs]


def test_the_cautions_come_before_the_order() -> None:
    headings = p1_page().texts("h3")
    assert headings.index("Before you reach in") < headings.index("Order")
    assert set(p1_sheets()[0].cautions) <= set(p1_page().texts("li"))


def test_headings_go_down_one_step_at_a_time() -> None:
    levels = [int(each.tag[1]) for each in p1_page().all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_what_scrolls_can_be_reached_by_keyboard_and_has_a_name_of_its_own() -> None:
    for sheet in p1_sheets():
        names = [
            each["aria-label"] for each in p1_page().all("div") if each.attributes.get("role") == "region"
        ]
        assert f"Run {sheet.runs[0].number}, {sheet.runs[0].job}" in names
    assert all(
        each["tabindex"] == "0" for each in p1_page().all("div") if each.attributes.get("role") == "region"
    )


def test_letters_are_black_on_white_or_white_on_black() -> None:
    colours = set(re.findall(r"(?<![-\w])(?:color|background): *([^;} ]+)", style_of("run_sheet.css")))
    assert colours == {"#000000", "#ffffff"}


def test_names_are_escaped_wherever_they_stand() -> None:
    html = run_sheets_html(hostile_sheets())
    page = Page(html)
    assert {element.tag for element in page.elements} <= TAGS
    assert HOSTILE in text_of(page)


def test_the_pdf_is_the_same_page() -> None:
    text = " ".join(pdf_pages(p1_html()))
    for sheet in p1_sheets():
        for run in sheet.runs:
            assert run.job in text
        for caution in sheet.cautions:
            assert caution in text
    for call in sample_sheets().calls("P1"):
        assert tenths(call.reading_m) in text
        if call.kind is CallKind.STOP:
            assert call.sentence in text


def test_every_shift_begins_on_a_sheet_of_its_own_and_sheets_are_numbered() -> None:
    pages = pdf_pages(p1_html())
    begins = [number for number, text in enumerate(pages) if "How to read a call" in text]
    assert len(begins) == len(p1_sheets())
    for number, text in enumerate(pages, start=1):
        assert f"{number} / {len(pages)}" in text
        assert "Stop and lock out before you reach in." in text


def test_a_job_that_fits_on_a_sheet_is_not_torn() -> None:
    jobs = [worked_job(f"job {number}", *(["die"] * (number % 2))) for number in range(6)]
    problem = worked_problem(counting_line("H"), *jobs)
    pages = pdf_pages(run_sheets_html(sheets_of(problem, as_entered(problem)).sheets))
    heads = [page for page, text in enumerate(pages) for _ in re.findall(r"\d job \d Set-up", text)]
    ends = [page for page, text in enumerate(pages) for _ in re.findall(r"As it was: run \d", text)]
    assert heads == ends
    assert len(heads) == len(jobs)
    assert len(set(heads)) > 1


def test_nothing_is_drawn_outside_the_sheet() -> None:
    reader = PdfReader(io.BytesIO(pdf_from_html(run_sheets_html([*hostile_sheets()]))))
    places: list[float] = []
    for sheet in reader.pages:
        sheet.extract_text(
            visitor_text=lambda text, cm, tm, font, size: (
                places.append(tm[4] * cm[0] + cm[4]) if text.strip() else None
            )
        )
    assert len(places) > 100
    assert 0 <= min(places) <= max(places) < 595


def test_a_line_gets_a_page_a_pdf_and_a_json_file(tmp_path: Path) -> None:
    written = write_run_sheets(p1_sheets(), tmp_path / "out")
    assert [path.name for path in written] == ["run-sheet-P1.html", "run-sheet-P1.pdf", "run-sheet-P1.json"]
    html, pdf, json = written
    assert html.read_text(encoding="utf-8") == p1_html()
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert LineRunSheets.model_validate_json(json.read_text(encoding="utf-8")).sheets == tuple(p1_sheets())


def test_a_line_with_strokes_in_its_name_stays_in_the_folder(tmp_path: Path) -> None:
    sheet = p1_sheets()[-1].model_copy(update={"line": "../../etc/P 1"})
    written = write_run_sheets([sheet], tmp_path)
    assert {path.parent for path in written} == {tmp_path}
    assert written[0].name == "run-sheet-------etc-P-1.html"


def test_lines_whose_names_would_be_alike_get_numbers() -> None:
    assert file_stems(["A/1", "a-1", "A 1", "B"]) == [
        "run-sheet-A-1",
        "run-sheet-a-1-2",
        "run-sheet-A-1-3",
        "run-sheet-B",
    ]


@pytest.mark.parametrize("lines", [(), ("B1", "P1")])
def test_a_page_holds_one_line(lines: tuple[str, ...]) -> None:
    sheets = [sheet for line in lines for sheet in sample_sheets().of_line(line)]
    with pytest.raises(ValueError, match="the run sheets of one line"):
        run_sheets_html(sheets)
