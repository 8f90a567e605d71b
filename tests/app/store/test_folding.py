"""Beginnings of texts are ranges."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from app.store.folding import LONGEST_FOLDED, behind, fold

WORDS = st.text(st.characters(codec="utf-8"), max_size=5)


@given(prefix=WORDS, text=WORDS)
def test_a_text_begins_so_where_it_lies_in_the_range(prefix: str, text: str) -> None:
    end = behind(prefix)
    in_range = text >= prefix and (end is None or text < end)
    assert in_range == text.startswith(prefix)


@given(prefix=WORDS, text=WORDS)
def test_what_is_behind_a_beginning_can_be_written_in_utf8(prefix: str, text: str) -> None:
    end = behind(prefix)
    if end is not None:
        assert end.encode() > (prefix + text).encode()


@given(text=WORDS)
def test_folding_twice_is_folding_once(text: str) -> None:
    assert fold(fold(text)) == fold(text)


def test_a_folded_text_is_never_too_long_for_an_index() -> None:
    assert len(fold("ﷺ" * 500)) == LONGEST_FOLDED
