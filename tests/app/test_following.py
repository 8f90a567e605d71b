"""Requests that are followed: one thread reads for all, and only what may have changed."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

import pytest

from app.contracts.planning_requests import EventKind
from app.errors import Unavailable
from app.services.following import Followed, Following
from app.services.request_stories import Place, Story
from tests.app.request_tales import event, progress

BEGUN = Story((event(1, EventKind.QUEUED),))
PLANT, LONG_S = "Harbour Labels", 30.0


@dataclass
class Shelf:
    """Requests in memory, and bells that are rung by hand."""

    stories: dict[tuple[str, str], Story] = field(default_factory=dict)
    asked: list[dict[str, Place]] = field(default_factory=list)
    fails: list[Exception] = field(default_factory=list)
    callbacks: list[Callable[[str | None], None]] = field(default_factory=list)

    def subscribe(self, callback: Callable[[str | None], None]) -> Callable[[], None]:
        self.callbacks.append(callback)
        return lambda: self.callbacks.remove(callback)

    def __call__(self, plant: str, known: Mapping[str, Place]) -> Mapping[str, Story | None]:
        self.asked.append(dict(known))
        if self.fails:
            raise self.fails.pop(0)
        return {request: self.stories.get((plant, request)) for request in known}

    def ring(self, topic: str | None) -> None:
        for callback in list(self.callbacks):
            callback(topic)


class Waiting:
    """Somebody who waits for a ring."""

    def __init__(self) -> None:
        self.rung = threading.Event()

    def ring(self) -> None:
        self.rung.set()

    def wait(self) -> None:
        assert self.rung.wait(LONG_S), "nobody rang"
        self.rung.clear()


@pytest.fixture
def shelf() -> Shelf:
    return Shelf({(PLANT, "A"): BEGUN, (PLANT, "B"): BEGUN, ("Elsewhere", "C"): BEGUN})


@pytest.fixture
def following(shelf: Shelf) -> Iterator[Following]:
    running = Following(shelf, shelf, look_s=LONG_S)
    running.start()
    yield running
    running.close()


@contextmanager
def followed(following: Following, request: str, plant: str = PLANT) -> Iterator[tuple[Followed, Waiting]]:
    """A request that is followed from its first event on, by somebody who has heard the first ring."""
    waiting = Waiting()
    with following.follow(plant, request, BEGUN, waiting.ring) as one:
        waiting.wait()
        yield one, waiting


def test_what_happens_to_a_request_is_read_when_the_store_says_so(shelf: Shelf, following: Following) -> None:
    with followed(following, "A") as (one, waiting):
        assert [known.number for known in one.story.events] == [1]
        shelf.stories[PLANT, "A"] = Story((event(2, EventKind.STARTED),), progress(1))
        shelf.ring("request:A")
        waiting.wait()
        assert [known.number for known in one.story.events] == [1, 2]
        assert shelf.asked[-1] == {"A": Place(1, 0)}


def test_only_what_may_have_changed_is_read(shelf: Shelf, following: Following) -> None:
    with followed(following, "A"), followed(following, "B") as (_, waiting):
        for topic in ("request:nobody's", "queued", "request:A", "request:B"):
            shelf.ring(topic)
        waiting.wait()
        assert set().union(*shelf.asked[2:]) == {"A", "B"}


def test_where_anything_may_have_changed_all_is_read_at_once(shelf: Shelf, following: Following) -> None:
    with (
        followed(following, "A") as (_, one),
        followed(following, "B") as (_, two),
        followed(following, "C", "Elsewhere") as (_, third),
    ):
        before = len(shelf.asked)
        shelf.ring(None)
        for waiting in (one, two, third):
            waiting.wait()
        assert [set(known) for known in shelf.asked[before:]] in ([{"A", "B"}, {"C"}], [{"C"}, {"A", "B"}])


def test_many_who_follow_one_request_are_served_by_one_look(shelf: Shelf, following: Following) -> None:
    with ExitStack() as stack:
        waiting = [stack.enter_context(followed(following, "A"))[1] for _ in range(20)]
        for one in waiting:
            one.rung.clear()
        before = len(shelf.asked)
        shelf.ring("request:A")
        for one in waiting:
            one.wait()
        assert len(shelf.asked) == before + 1


def test_what_came_between_the_first_reading_and_the_following_is_not_missed(
    shelf: Shelf, following: Following
) -> None:
    waiting = Waiting()
    shelf.stories[PLANT, "A"] = Story((event(2, EventKind.STARTED),))
    shelf.ring("request:A")  # nobody follows it yet
    with following.follow(PLANT, "A", BEGUN, waiting.ring) as one:
        waiting.wait()
        assert [known.number for known in one.story.events] == [1, 2]


def test_a_request_that_is_removed_is_gone(shelf: Shelf, following: Following) -> None:
    with followed(following, "A") as (one, waiting):
        del shelf.stories[PLANT, "A"]
        shelf.ring("request:A")
        waiting.wait()
        assert one.is_gone


@pytest.mark.parametrize("error", [Unavailable("it sleeps"), RuntimeError("nobody foresaw it")])
def test_a_database_that_does_not_answer_is_asked_again(
    shelf: Shelf, following: Following, error: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.services.following.AGAIN_S", 0.01)
    with followed(following, "A") as (one, waiting):
        shelf.stories[PLANT, "A"] = Story((event(2, EventKind.STARTED),))
        shelf.fails.append(error)
        shelf.ring("request:A")
        waiting.wait()
        assert [known.number for known in one.story.events] == [1, 2]


def test_nothing_is_kept_of_a_request_that_nobody_follows_any_more(
    shelf: Shelf, following: Following
) -> None:
    with followed(following, "A"):
        pass
    before = len(shelf.asked)
    shelf.ring("request:A")
    shelf.ring(None)
    with followed(following, "B"):
        assert all("A" not in known for known in shelf.asked[before:])


def test_all_is_looked_at_now_and_then_without_a_bell(shelf: Shelf) -> None:
    following = Following(shelf, shelf, look_s=0.01)
    following.start()
    with followed(following, "A") as (one, waiting):
        shelf.stories[PLANT, "A"] = Story((event(2, EventKind.STARTED),))
        while len(one.story.events) < 2:
            waiting.wait()
    following.close()
    assert shelf.callbacks == []
