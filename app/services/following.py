"""Planning requests that somebody follows: one thread reads for all, whenever the store says that something
may have changed, and rings for those who wait.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Protocol

from app.errors import Unavailable
from app.services.request_stories import Place, Story
from app.store.wakeup import request_topic
from app.telemetry import log

LOOK_S = 5.0
"""All that is followed is looked at this often, should a wake-up have been lost."""

AGAIN_S = 1.0
"""When to look again where that went wrong."""

JOINED_WITHIN_S = 5.0
"""How long the end waits for a look that is under way."""

TOPIC = request_topic("")
"""How the topic of a request begins; its id follows."""

Ring = Callable[[], None]
"""Tells who waits, from any thread."""


class Bells(Protocol):
    """What tells when something has changed in the store."""

    def subscribe(self, callback: Callable[[str | None], None]) -> Callable[[], None]:
        """Have something called, by any thread, with the topic of a change, or with None where anything may
        have changed; what comes back ends that.
        """


class StoryBook(Protocol):
    """Where requests are read."""

    def __call__(self, plant: str, known: Mapping[str, Place]) -> Mapping[str, Story | None]:
        """Of requests by id, each with what is known of it: what came behind that, and None where there is
        no such request. One of which there is nothing new may be missing.
        """


@dataclass(slots=True)
class Followed:
    """A request that somebody follows: what is known of it, and whether it has been removed."""

    plant: str
    story: Story
    is_gone: bool = False
    rings: set[Ring] = field(default_factory=set)

    def ring(self) -> None:
        """Tell all who wait."""
        for ring in self.rings:
            ring()


class Following:
    """All requests that are followed in a process.

    Parameters
    ----------
    book
        Where they are read, by this one thread.
    bells
        What tells when to look.
    look_s
        How often is looked without a bell.
    """

    def __init__(self, book: StoryBook, bells: Bells, look_s: float = LOOK_S) -> None:
        self._book = book
        self._bells = bells
        self._look_s = look_s
        self._followed: dict[str, Followed] = {}
        self._due: set[str] = set()
        self._is_over = False
        self._changed = threading.Condition()
        self._silence: Callable[[], None] = lambda: None
        self._reader = threading.Thread(target=self._read_on, name="followed requests", daemon=True)

    @property
    def requests(self) -> frozenset[str]:
        """Ids of those that are followed."""
        return frozenset(self._followed)

    def start(self) -> None:
        """Begin to read."""
        self._reader.start()
        self._silence = self._bells.subscribe(self._woken)

    def close(self) -> None:
        """Read no more."""
        self._silence()
        with self._changed:
            self._is_over = True
            self._changed.notify_all()
        self._reader.join(JOINED_WITHIN_S)

    @contextmanager
    def follow(self, plant: str, request: str, story: Story, ring: Ring) -> Iterator[Followed]:
        """Follow a request behind a story of it; `ring` is called when there is more."""
        with self._changed:
            followed = self._followed.setdefault(request, Followed(plant, story))
            followed.story = followed.story.with_news(story)
            followed.rings.add(ring)
            self._due.add(request)  # something may have come since it was read
            self._changed.notify_all()
        try:
            yield followed
        finally:
            with self._changed:
                followed.rings.discard(ring)
                if not followed.rings:
                    self._followed.pop(request, None)

    def ring_all(self) -> None:
        """Tell everybody who waits to look up."""
        with self._changed:
            for followed in self._followed.values():
                followed.ring()

    def _woken(self, topic: str | None) -> None:
        with self._changed:
            if topic is None:
                self._due.update(self._followed)
            elif (request := topic.removeprefix(TOPIC)) in self._followed:
                self._due.add(request)
            if self._due:
                self._changed.notify_all()

    def _read_on(self) -> None:
        while (due := self._next_due()) is not None:
            try:
                self._read(due)
            except Unavailable as error:
                log().warning("followed requests are not read", reason=str(error))
                self._read_later(due)
            except Exception:
                log().error("followed requests are not read", exc_info=True)
                self._read_later(due)

    def _next_due(self) -> dict[str, tuple[str, Place]] | None:
        """Plant of the requests to be looked at, and what is known of each, once there are any; None at the
        end.
        """
        with self._changed:
            if not self._due and not self._is_over:
                self._changed.wait(self._look_s)
            if self._is_over:
                return None
            due = self._due or set(self._followed)
            self._due = set()
            followed = ((request, self._followed.get(request)) for request in due)
            return {request: (one.plant, one.story.place) for request, one in followed if one is not None}

    def _read(self, due: Mapping[str, tuple[str, Place]]) -> None:
        for plant in dict.fromkeys(plant for plant, _ in due.values()):
            known = {request: place for request, (of_plant, place) in due.items() if of_plant == plant}
            found = self._book(plant, known)
            with self._changed:
                for request, news in found.items():
                    if (followed := self._followed.get(request)) is not None:
                        _take(followed, news)

    def _read_later(self, due: Mapping[str, tuple[str, Place]]) -> None:
        with self._changed:
            self._due.update(due)
            self._changed.wait_for(lambda: self._is_over, AGAIN_S)


def _take(followed: Followed, news: Story | None) -> None:
    if news is None:
        followed.is_gone = True
    else:
        followed.story = followed.story.with_news(news)
    followed.ring()
