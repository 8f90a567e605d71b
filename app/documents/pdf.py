"""A page as a PDF.

The letters come with the program: on a machine without fonts the library would print nothing where
text should stand, and say nothing. The page must name the family `Report Sans` where it wants them.
Nothing else is fetched, whatever the page refers to.
"""

from __future__ import annotations

import io
from base64 import b64encode
from functools import cache
from importlib import resources

import plutoprint

FONT_FAMILY = "Report Sans"
_FONTS = {"normal": "LiberationSans-Regular.ttf", "bold": "LiberationSans-Bold.ttf"}


class _NothingFetched(plutoprint.ResourceFetcher):
    """Refuses whatever a page refers to outside itself."""

    def fetch_url(self, url: str) -> plutoprint.ResourceData:
        raise ValueError(f"{url}: a report refers to nothing outside itself")


@cache
def _font_style() -> str:
    """The two fonts as a style sheet that holds them.

    Given through a fetcher they crashed the process as it ended: the library keeps fonts until after
    Python is gone, and then asks Python to let go of them.
    """
    return "\n".join(
        f'@font-face {{ font-family: "{FONT_FAMILY}"; font-weight: {weight}; src: url("{_font_url(name)}") }}'
        for weight, name in _FONTS.items()
    )


def _font_url(name: str) -> str:
    font = (resources.files("app.documents") / "fonts" / name).read_bytes()
    return f"data:font/ttf;base64,{b64encode(font).decode('ascii')}"


def pdf_from_html(html: str) -> bytes:
    """The page on sheets of A4. What Unicode cannot write is replaced by `?`."""
    writable = html.replace("\0", "").encode("utf-8", "replace").decode("utf-8")
    book = plutoprint.Book(plutoprint.PAGE_SIZE_A4, plutoprint.PAGE_MARGINS_NONE, plutoprint.MEDIA_TYPE_PRINT)
    book.custom_resource_fetcher = _NothingFetched()
    book.load_html(writable, user_style=_font_style())
    stream = io.BytesIO()
    book.write_to_pdf_stream(stream)
    return stream.getvalue()
