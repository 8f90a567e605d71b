"""What has happened to a planning request, told to somebody who knows a part of it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts.planning_requests import EventKind, RequestEvent
from app.services.request_stories import Place, Story
from tests.app.request_tales import event, progress

RUNNING = Story((event(1, EventKind.QUEUED), event(2, EventKind.STARTED)), progress(7))
OVER = Story((*RUNNING.events, event(3, EventKind.FINISHED)), progress(9), is_over=True)


def told(story: Story, place: Place) -> list[str]:
    """Places that are told, in order."""
    return [str(one.place) for one in story.behind(place)]


def test_who_knows_nothing_is_told_every_event_and_the_newest_progress() -> None:
    assert told(RUNNING, Place()) == ["1.0", "2.0", "2.7"]


def test_who_knows_a_part_is_told_the_rest() -> None:
    assert told(RUNNING, Place(1, 3)) == ["2.3", "2.7"]
    assert told(RUNNING, Place(2, 7)) == []


def test_the_event_with_which_all_is_over_comes_last() -> None:
    assert told(OVER, Place(2, 7)) == ["2.9", "3.9"]
    assert [one.what for one in OVER.behind(Place(2, 7))] == [OVER.progress, OVER.events[-1]]


def test_who_was_told_the_end_is_told_nothing_more() -> None:
    assert OVER.is_told(Place(3, 8))
    assert told(OVER, Place(3, 8)) == []
    assert not OVER.is_told(Place(2, 9))
    assert not RUNNING.is_told(Place(2, 7))


def test_a_request_that_is_sent_again_goes_on_being_told() -> None:
    again = OVER.with_news(Story((event(4, EventKind.QUEUED),), progress(9)))
    assert told(again, Place(3, 9)) == ["4.9"]
    assert not again.is_told(Place(3, 9))


def test_news_that_are_known_already_change_nothing() -> None:
    assert OVER.with_news(OVER) == OVER
    assert RUNNING.with_news(Story((), progress(5))) == RUNNING
    assert RUNNING.with_news(Story()).progress == RUNNING.progress


def test_a_place_is_read_as_it_was_told() -> None:
    assert Place.read("3.17") == Place(3, 17)
    assert str(Place(3, 17)) == "3.17"
    for wrong in ("", "3", "3.", "-1.2", "3.17 ", "1.2.3", "٣.1", "1" * 20 + ".1"):
        with pytest.raises(ValueError, match="two numbers"):
            Place.read(wrong)


@given(st.lists(st.integers(0, 3), max_size=12), st.integers(0, 12))
def test_however_often_a_reader_comes_back_it_is_told_every_event_once_and_in_order(
    breaks: list[int], ends_after: int
) -> None:
    """A story grows event by event and progress by progress; its reader takes so many things before its
    connection breaks each time, and goes on behind what it was told.
    """
    heard: list[int] = []
    shown: list[int] = []
    place, story = Place(), Story()
    for number, taken in enumerate([*breaks, 100], start=1):
        is_over = number > ends_after
        if not story.is_over:
            story = story.with_news(Story((event(number, EventKind.STARTED),), progress(2 * number), is_over))
        for one in list(story.behind(place))[:taken]:
            place = one.place
            (heard if isinstance(one.what, RequestEvent) else shown).append(one.what.number)
    assert heard == [event.number for event in story.events]
    assert shown == sorted(set(shown))
    assert story.progress is not None
    assert shown[-1] == story.progress.number
