"""`python -m tests.pictures` draws the README's picture anew."""

from __future__ import annotations

from tests.pictures.web import PICTURE, picture

PICTURE.write_text(picture(), encoding="utf-8")
