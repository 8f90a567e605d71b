"""What has happened to planning requests, and what of it somebody has not been told yet."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from app.contracts.planning_requests import RequestEvent, RequestProgress

PLACE_PATTERN = "^[0-9]{1,9}[.][0-9]{1,9}$"
_PLACE = re.compile(PLACE_PATTERN)


@dataclass(frozen=True, slots=True)
class Place:
    """How much of a request somebody knows: the number of the last event, and of the last progress."""

    event: int = 0
    progress: int = 0

    @classmethod
    def read(cls, text: str) -> Place:
        """A place as it was told: 3.17.

        Raises
        ------
        ValueError
            If it is none.
        """
        if not _PLACE.fullmatch(text):
            raise ValueError("should be two numbers with a point between, such as 3.17")
        event, progress = text.split(".")
        return cls(int(event), int(progress))

    def __str__(self) -> str:
        return f"{self.event}.{self.progress}"


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that is told: an event or a progress, and the place behind it."""

    what: RequestEvent | RequestProgress
    place: Place


@dataclass(frozen=True, slots=True)
class Story:
    """All that is known of a request so far.

    Parameters
    ----------
    events
        All of them, in order.
    progress
        The newest.
    is_over
        Whether the last event is the last for good.
    """

    events: tuple[RequestEvent, ...] = ()
    progress: RequestProgress | None = None
    is_over: bool = False

    @property
    def place(self) -> Place:
        """Behind all of it."""
        return Place(
            self.events[-1].number if self.events else 0,
            self.progress.number if self.progress is not None else 0,
        )

    def is_told(self, place: Place) -> bool:
        """Whether who is there will never be told anything again."""
        return self.is_over and place.event >= self.place.event

    def with_news(self, news: Story) -> Story:
        """The story with what came behind it; the same where that is known already."""
        known = self.place.event
        events = tuple(event for event in news.events if event.number > known)
        older = self.progress
        progress = news.progress
        if older is not None and (progress is None or progress.number < older.number):
            progress = older
        return replace(news, events=(*self.events, *events), progress=progress)

    def behind(self, place: Place) -> Iterator[Told]:
        """What somebody has not been told yet: every event once and in order, and the newest progress before
        the event with which all is over, if that has come.
        """
        if self.is_told(place):
            return
        events = [event for event in self.events if event.number > place.event]
        last = [events.pop()] if self.is_over and events else []
        for event in events:
            place = replace(place, event=event.number)
            yield Told(event, place)
        if self.progress is not None and self.progress.number > place.progress:
            place = replace(place, progress=self.progress.number)
            yield Told(self.progress, place)
        for event in last:
            yield Told(event, replace(place, event=event.number))
