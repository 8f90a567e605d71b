"""The report as a PDF: every job is there to read, on a machine without fonts too."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from importlib import resources
from pathlib import Path

import pytest
from pypdf import PdfReader

from app.documents.pdf import FONT_FAMILY, pdf_from_html
from app.documents.report import report_html
from tests.app.costed_plans import IN_ORDER, costed_order, eventful_order

FONTLESS = '<?xml version="1.0"?><fontconfig><dir>{folder}/none</dir></fontconfig>'
ON_A_FONTLESS_MACHINE = """
import sys
from importlib import resources
import plutoprint
from app.documents.pdf import pdf_from_html
page, with_fonts, without = sys.argv[1:]
book = plutoprint.Book()
book.load_html("<p>no letters here</p>")
book.write_to_pdf(without)
with open(page, encoding="utf-8") as stream:
    pdf = pdf_from_html(stream.read())
with open(with_fonts, "wb") as stream:
    stream.write(pdf)
"""


def text_of(pdf: bytes) -> str:
    """The words of all sheets, with single blanks."""
    return " ".join(" ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(pdf)).pages).split())


def page_saying(words: str, style: str = "") -> str:
    family = f'font-family: "{FONT_FAMILY}"'
    return f"<!DOCTYPE html><style>body {{ {family} }} {style}</style><body>{words}</body>"


def test_every_job_can_be_read_on_a_machine_without_fonts(tmp_path: Path) -> None:
    config = tmp_path / "fonts.conf"
    config.write_text(FONTLESS.format(folder=tmp_path), encoding="utf-8")
    page, with_fonts, without = (tmp_path / name for name in ("page.html", "with.pdf", "without.pdf"))
    page.write_text(report_html(costed_order()), encoding="utf-8")
    subprocess.run(
        [sys.executable, "-c", ON_A_FONTLESS_MACHINE, str(page), str(with_fonts), str(without)],
        check=True,
        timeout=60,
        env=os.environ | {"FONTCONFIG_FILE": str(config), "FONTCONFIG_PATH": str(tmp_path)},
    )
    assert text_of(without.read_bytes()) == "", "the machine was to have no fonts"
    text = text_of(with_fonts.read_bytes())
    for job in IN_ORDER:
        assert text.count(job) >= 5
    assert "Stop and lock out before you reach in." in text, "at the foot of each sheet"


def test_jobs_left_out_stops_and_drawings_can_be_read() -> None:
    text = text_of(pdf_from_html(report_html(eventful_order({"J-2102": 'out <&">'}), ("Assumed so.",))))
    for words in ('out <&">', "the order does not place it", "stop 2.2", "Assumed so.", "2 J-2104", "08:00"):
        assert words in text


def test_sheets_are_a4_and_numbered() -> None:
    reader = PdfReader(io.BytesIO(pdf_from_html(report_html(costed_order()))))
    assert {
        (round(float(sheet.mediabox.width)), round(float(sheet.mediabox.height))) for sheet in reader.pages
    } == {(595, 842)}
    for number, sheet in enumerate(reader.pages, start=1):
        assert f"{number} / {len(reader.pages)}" in sheet.extract_text()


def test_nothing_is_drawn_outside_the_sheet() -> None:
    reader = PdfReader(io.BytesIO(pdf_from_html(report_html(eventful_order()))))
    places: list[float] = []
    for sheet in reader.pages:
        sheet.extract_text(
            visitor_text=lambda text, cm, tm, font, size: (
                places.append(tm[4] * cm[0] + cm[4]) if text.strip() else None
            )
        )
    assert len(places) > 100
    assert min(places) >= 0
    assert max(places) < 595


@pytest.mark.parametrize("outside", ["https://example.com/x.png", "file:///etc/hostname"])
def test_nothing_is_fetched(outside: str) -> None:
    pdf = pdf_from_html(page_saying(f'before<img src="{outside}">after'))
    assert "before" in text_of(pdf)
    assert b"/Image" not in pdf


@pytest.mark.parametrize("words", ["nul\0nul", "lone \ud800 half", "Żółć", "日本 and text"])
def test_letters_no_font_has_do_not_stop_it(words: str) -> None:
    assert "rest" in text_of(pdf_from_html(page_saying(f"{words} rest")))


def largest_letters(pdf: bytes) -> float:
    """Height of the largest text of all sheets, in points."""
    heights: list[float] = []
    for sheet in PdfReader(io.BytesIO(pdf)).pages:
        sheet.extract_text(
            visitor_text=lambda text, cm, tm, font, size: heights.append(abs(size * tm[3] * cm[3]))
        )
    return max(heights)


def test_the_longest_names_are_broken_and_do_not_shrink_the_sheet() -> None:
    """A name of 80 letters W once made every sheet half as large."""
    usual = pdf_from_html(report_html(eventful_order()))
    long_names = pdf_from_html(report_html(eventful_order({"J-2103": "W" * 80, "J-2102": "X" * 80})))
    assert largest_letters(long_names) == pytest.approx(largest_letters(usual))


def test_the_fonts_come_with_their_licence() -> None:
    folder = resources.files("app.documents") / "fonts"
    assert "SIL OPEN FONT LICENSE Version 1.1" in (folder / "LICENSE.txt").read_text(encoding="utf-8")


def test_a_process_that_printed_many_reports_ends_well() -> None:
    """Fonts handed over by a fetcher crashed the process as it ended, after some dozen reports (exit 139)."""
    program = (
        "from app.documents.pdf import pdf_from_html\n"
        "from app.documents.report import report_html\n"
        "from tests.app.costed_plans import eventful_order\n"
        "page = report_html(eventful_order())\n"
        "for _ in range(30):\n"
        "    pdf_from_html(page)\n"
    )
    root = Path(__file__).parents[2]
    ended = subprocess.run([sys.executable, "-c", program], cwd=root, check=False, capture_output=True)
    assert (ended.returncode, ended.stderr) == (0, b"")
