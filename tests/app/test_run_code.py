"""The code of a run: the modules of the standard's code, with the white it needs around."""

from __future__ import annotations

import re

import pytest
import segno

from app.drawings.run_code import MODULE_MM, QUIET_MODULES, run_code_drawing
from tests.app.pages import Page


def dark_modules(drawing: str) -> set[tuple[int, int]]:
    """Where the drawing is dark, by column and row."""
    (path,) = Page(drawing).all("path")
    bars = re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", path["d"])
    assert "".join(f"M{x} {y}h{there}v1h-{back}z" for x, y, there, back in bars) == path["d"]
    assert all(there == back for _, _, there, back in bars)
    return {(int(x) + step, int(y)) for x, y, length, _ in bars for step in range(int(length))}


@pytest.mark.parametrize("text", ["Site/B1/20270302T0600/1/J-3107", "S" * 80 + "/" + "J" * 80])
def test_it_is_dark_where_the_code_is(text: str) -> None:
    matrix = segno.make_qr(text, error="m").matrix
    expected = {
        (x + QUIET_MODULES, y + QUIET_MODULES)
        for y, row in enumerate(matrix)
        for x, dark in enumerate(row)
        if dark
    }
    assert dark_modules(run_code_drawing(text)) == expected


def test_it_is_printed_large_enough_with_white_around() -> None:
    drawing = run_code_drawing("Site/B1/20270302T0600/1/J-3107")
    (svg,) = Page(drawing).all("svg")
    side = int(svg["viewbox"].split()[-1])
    assert svg["width"] == svg["height"] == f"{side * MODULE_MM}mm"
    dark = dark_modules(drawing)
    assert min(min(place) for place in dark) == QUIET_MODULES
    assert max(max(place) for place in dark) == side - QUIET_MODULES - 1
    assert MODULE_MM >= 0.4


def test_it_says_its_text_to_those_who_do_not_see_it_and_escapes_it() -> None:
    page = Page(run_code_drawing("a<b>&c"))
    assert page.texts("title") == ["Code for a scanner: a<b>&c"]
    assert page.all("svg")[0]["role"] == "img"
    assert page.all("b") == []
