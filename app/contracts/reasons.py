"""Why a sequence is as it is: what keeps runs where they stand, what makes jobs late, what orders differ by.

Money is rounded to 10⁻⁶. Where the goal weighs, "weighed" is what it makes of a cost; "controllable" is plain
money without running.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import Field

from app.contracts.base import Contract, Number
from app.contracts.sequences import Goal


class Awaited(StrEnum):
    """What a start waits for."""

    LINE = "line"
    READY = "ready"
    STOCK = "stock"
    TOOL = "tool"
    LOCK = "lock"
    OPENING = "opening"
    STARTED = "started"


class Hold(Contract):
    """Why a run does not start earlier where it stands."""

    awaited: Awaited = Field(
        description="line: a run before it; ready: artwork, plates, die; stock; tool: a die or cylinder in "
        "use; lock; opening: the line is closed; started: it had started before the plan."
    )
    until: datetime = Field(description="Until when.")
    job: str | None = Field(default=None, description="The job that has line or tool, or must end first.")
    tool: str | None = Field(default=None, description="The die or cylinder.")
    substrate: str | None = Field(default=None, description="The stock that is awaited.")
    width_mm: Number | None = Field(default=None, description="Its width.")
    lock: str | None = Field(default=None, description="The lock, in words.")


class Elsewhere(Contract):
    """A run at another place, the rest of the order as it is."""

    job: str = Field(description="The job that is moved.")
    line: str = Field(description="Where to.")
    number: int = Field(description="Its number on that line then, from 1.")
    behind: str | None = Field(description="The job before it there; none: it is the first.")
    ahead_of: str | None = Field(description="The job after it there; none: it is the last.")
    stations: tuple[str, ...] = Field(description="Stations of its layers in laying order, then its die's.")
    end: datetime | None = Field(description="When it ends there; none: it cannot run there.")
    extra_weighed_eur: Number = Field(
        description="What the order costs more then, weighed; below 0: it costs less."
    )
    extra_controllable_eur: Number = Field(description="The same in plain money, without running.")
    late: tuple[str, ...] = Field(description="Jobs that are late only then.")
    on_time: tuple[str, ...] = Field(description="Jobs that are late only now.")
    left_out: tuple[str, ...] = Field(description="Jobs that do not run then.")
    broken_locks: tuple[str, ...] = Field(description="Locks that only then are not kept.")
    mended_locks: tuple[str, ...] = Field(description="Locks that only now are not kept.")


class ChangeReason(Contract):
    """One aspect changed at a station before a run, and what would spare it."""

    station: str = Field(description="The station.")
    aspect: str = Field(description="What changes: plate, die, consumable …")
    before: str = Field(description="What comes out; empty: nothing was there.")
    after: str = Field(description="What goes in; empty: nothing.")
    minutes: Number = Field(description="How long it takes one person.")
    forced: bool = Field(description="Whether no other run of the queue before it would spare it.")
    spared_behind: tuple[str, ...] = Field(description="Jobs directly behind which it is not needed.")
    spared_first: bool = Field(description="Whether it is not needed where the run is first on its line.")


class MostSparing(Contract):
    """The job that would spare a run most, were it directly before it."""

    job: str = Field(description="The job.")
    minutes: Number = Field(description="One person's minutes that it would spare.")


class RunReasons(Contract):
    """Why a run stands where it does."""

    job: str = Field(description="Its number.")
    line: str = Field(description="Its line.")
    number: int = Field(description="Its number on the line, from 1.")
    hold: Hold = Field(description="What its start waits for.")
    places: int = Field(description="Other places for it that were costed.")
    cheapest: Elsewhere | None = Field(
        description="The cheapest of them; none: there is none that keeps locks and leaves nothing out."
    )
    earlier: Elsewhere | None = Field(description="The cheapest at which it ends earlier; none: no place.")
    forbidden: Elsewhere | None = Field(
        description="Where nothing allowed lets it end earlier: a place that would, but for locks or jobs."
    )
    hold_ahead: Hold | None = Field(
        description="Where no place at all does: what its start waits for ahead of the run before it."
    )
    changes: tuple[ChangeReason, ...] = Field(description="What its changeover changes.")
    setup_min: Number = Field(description="One person's minutes of these changes.")
    forced_min: Number = Field(description="Those of them that are forced.")
    most_sparing: MostSparing | None = Field(description="The job that would spare most of the others.")


class Alone(Contract):
    """A job by itself: first on the line where it then ends soonest."""

    line: str = Field(description="That line.")
    start: datetime = Field(description="When its changeover starts.")
    setup_min: Number = Field(description="Its changeover.")
    run_min: Number = Field(description="Its running, roll ends included.")
    end: datetime = Field(description="When it ends.")
    hold: Hold = Field(description="What its start waits for.")


class SpentBefore(Contract):
    """What a run takes of its line's time."""

    job: str = Field(description="Its number.")
    setup_min: Number = Field(description="Its changeover.")
    run_min: Number = Field(description="Its running with roll ends and closure stops.")


class LateReasons(Contract):
    """What makes a job late, and what would help."""

    job: str = Field(description="Its number.")
    line: str = Field(description="Its line.")
    number: int = Field(description="Its number on the line, from 1.")
    press_due: datetime = Field(description="When it must end.")
    end: datetime = Field(description="When it ends.")
    late_min: Number = Field(description="How much later that is.")
    late_even_alone: bool = Field(description="Whether it would be late even first and alone.")
    alone: Alone | None = Field(description="How it would run by itself; none: not at all.")
    before: tuple[SpentBefore, ...] = Field(description="All runs before it on its line, in order.")
    setup_min: Number = Field(description="Its own changeover.")
    run_min: Number = Field(description="Its own running with roll ends and closure stops.")
    waiting_min: Number = Field(description="Open time without work on its line up to its end.")
    closed_min: Number = Field(description="Time in which its line is closed up to its end.")
    chain: tuple[str, ...] = Field(
        description="The last runs up to it that follow each other without waiting, it included."
    )
    chain_hold: Hold = Field(description="What the first of those waits for.")
    remedy: Elsewhere | None = Field(
        description="The cheapest single move after which it is on time; none: no single move that was "
        "costed keeps locks and makes it on time."
    )
    harmless: Elsewhere | None = Field(
        description="The cheapest after which it is on time and no job is late that is on time now."
    )
    soonest: Elsewhere | None = Field(
        description="Without a remedy: the single move after which it ends soonest, if one helps."
    )
    soonest_end: datetime = Field(description="When it ends then, or now if none helps.")
    moves: int = Field(description="Single moves that were costed.")


class CostPart(Contract):
    """What one order has more of than another, of one thing that costs."""

    cause: str = Field(description="wasted web, stops, make-ready, waiting, running, lateness …")
    line: str | None = Field(default=None, description="Its line; none for wasted web, lateness and stubs.")
    station: str | None = Field(default=None, description="Of make-ready.")
    kind: str | None = Field(default=None, description="Of wasted web: set-up strip, splice …")
    substrate: str | None = Field(default=None, description="Of wasted web.")
    width_mm: Number | None = Field(default=None, description="Of wasted web.")
    job: str | None = Field(default=None, description="Of lateness.")
    more_m: Number | None = Field(default=None, description="Metres more, of wasted web.")
    more_min: Number | None = Field(default=None, description="Minutes more, of all else but stubs.")
    more_runs: int | None = Field(default=None, description="Runs more, of moved runs.")
    more_eur: Number = Field(description="Money more; below 0: less.")
    more_weighed_eur: Number = Field(description="The same as the goal weighs it.")


class Difference(Contract):
    """What an order costs more than another, by cause; the parts add up to the totals."""

    order: str = Field(description="The order.")
    other: str = Field(description="The one it is compared with.")
    parts: tuple[CostPart, ...] = Field(description="Most money first; what does not differ is not there.")
    total_eur: Number = Field(description="What it costs more in all; below 0: less.")
    controllable_eur: Number = Field(description="The same without running.")
    weighed_eur: Number = Field(description="The same as the goal weighs it.")
    only_here: tuple[str, ...] = Field(description="Jobs that only the order runs.")
    only_there: tuple[str, ...] = Field(description="Jobs that only the other runs.")


class Reasons(Contract):
    """Why a sequence is as it is."""

    goal: Goal = Field(description="The goal under which places are compared.")
    runs: tuple[RunReasons, ...] = Field(description="Every run, line by line in order.")
    late: tuple[LateReasons, ...] = Field(description="Every late job, by its last run.")
    extent: str = Field(description="Which other places of each run were costed.")
    is_complete: bool = Field(description="Whether those were all there are.")
    most_places: int = Field(description="How many of a run at most.")
    differences: tuple[Difference, ...] = Field(description="What it costs more than each baseline.")
