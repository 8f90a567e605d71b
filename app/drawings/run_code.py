"""A text as a square code that a scanner reads."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

import segno
from markupsafe import Markup

from app.drawings.svg import element, titled

MODULE_MM = 0.5
"""Side of the smallest square: hand scanners and telephones read half of it."""

QUIET_MODULES = 4
"""White around the code, by ISO/IEC 18004."""

ERROR_LEVEL = "m"
"""A code of which 15 % cannot be read still says its text: sheets on a press get dirty."""


def run_code_drawing(text: str) -> Markup:
    """A QR code to print as it is; of the small kind no more than the other is used, which not all read."""
    modules = [list(row) for row in segno.make_qr(text, error=ERROR_LEVEL).matrix]
    side = len(modules) + 2 * QUIET_MODULES
    return element(
        "svg",
        titled(f"Code for a scanner: {text}"),
        element("rect", width=side, height=side, fill="#ffffff"),
        element("path", d="".join(_bars(modules)), fill="#000000"),
        xmlns="http://www.w3.org/2000/svg",
        class_="code",
        viewBox=f"0 0 {side} {side}",
        width=f"{side * MODULE_MM}mm",
        height=f"{side * MODULE_MM}mm",
        role="img",
        shape_rendering="crispEdges",
    )


def _bars(modules: Sequence[Sequence[int]]) -> Iterator[str]:
    """Dark modules that touch in a row, as one bar each."""
    for y, row in enumerate(modules, start=QUIET_MODULES):
        x = QUIET_MODULES
        for dark, same in groupby(row):
            length = len(list(same))
            if dark:
                yield f"M{x} {y}h{length}v1h-{length}z"
            x += length
