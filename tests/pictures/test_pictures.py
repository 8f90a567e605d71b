"""The README's picture is what the program draws."""

from __future__ import annotations

from tests.pictures.web import PICTURE, ROOT, picture


def test_the_picture_is_current_and_in_the_readme() -> None:
    assert PICTURE.read_text(encoding="utf-8") == picture()
    assert str(PICTURE.relative_to(ROOT)) in (ROOT / "README.md").read_text(encoding="utf-8")
