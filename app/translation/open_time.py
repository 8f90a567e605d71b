"""When work ends that goes on while a line is open."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from app.contracts.plant import Plant
from app.translation.times import PlanClock, calendar_closures
from app.translation.units import ms_from_min


def end_of_work(plant: Plant, line: str, begins: datetime, minutes: Decimal) -> datetime:
    """When so many minutes of work that begin at a moment are done on a line, its closures passed over; what
    going on behind a closure takes is not counted.

    Raises
    ------
    KeyError
        Where the plant has no such line.
    """
    calendars = {each.id: plant.calendar if each.calendar is None else each.calendar for each in plant.lines}
    clock = PlanClock.at(begins, plant.site.zone_info)
    calendar = calendar_closures(calendars[line], clock)
    at_ms, left_ms = calendar.next_open(0), ms_from_min(minutes)
    while (closure := calendar.closure_from(at_ms)) is not None and at_ms + left_ms > closure[0]:
        left_ms -= closure[0] - at_ms
        at_ms = closure[1]
    return clock.moment(at_ms + left_ms)
