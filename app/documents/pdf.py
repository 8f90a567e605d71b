"""A page as a PDF.

The letters come with the program: on a machine without fonts the library would print nothing where
text should stand, and say nothing. The page must name the family `Report Sans` where it wants them.
Nothing else is fetched, whatever the page refers to.
"""

from __future__ import annotations

import io
from importlib import resources

import plutoprint

FONT_FAMILY = "Report Sans"
_FONTS = {"font:regular": "LiberationSans-Regular.ttf", "font:bold": "LiberationSans-Bold.ttf"}
_FONT_STYLE = f"""
@font-face {{ font-family: "{FONT_FAMILY}"; font-weight: normal; src: url("font:regular") }}
@font-face {{ font-family: "{FONT_FAMILY}"; font-weight: bold; src: url("font:bold") }}
"""


class _FontsAlone(plutoprint.ResourceFetcher):
    """Gives the two fonts and refuses the rest."""

    def fetch_url(self, url: str) -> plutoprint.ResourceData:
        if url not in _FONTS:
            raise ValueError(f"{url}: a report refers to nothing outside itself")
        font = resources.files("app.documents") / "fonts" / _FONTS[url]
        return plutoprint.ResourceData(font.read_bytes(), "font/ttf")


def pdf_from_html(html: str) -> bytes:
    """The page on sheets of A4. What Unicode cannot write is replaced by `?`."""
    writable = html.replace("\0", "").encode("utf-8", "replace").decode("utf-8")
    book = plutoprint.Book(plutoprint.PAGE_SIZE_A4, plutoprint.PAGE_MARGINS_NONE, plutoprint.MEDIA_TYPE_PRINT)
    book.custom_resource_fetcher = _FontsAlone()
    book.load_html(writable, user_style=_FONT_STYLE)
    stream = io.BytesIO()
    book.write_to_pdf_stream(stream)
    return stream.getvalue()
