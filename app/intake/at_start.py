"""What is known of a plan's start while stock is read: when it is, and what every line has threaded then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from app.contracts.base import at_site
from app.contracts.plant import Plant, PresentState

Threaded = tuple[str, Decimal | None]
"""Code and width in mm of the stock on an unwind."""


@dataclass(frozen=True, slots=True)
class AtStart:
    """A plan's start on its plant.

    Parameters
    ----------
    begins
        With an offset; None where nobody knows.
    threaded
        By line; None where nothing is threaded.
    """

    plant: Plant
    begins: datetime | None
    threaded: Mapping[str, Threaded | None]

    def has_come(self, moment: datetime) -> bool:
        """Whether a moment, without an offset on the site's clock, is there when the plan begins."""
        return self.begins is not None and at_site(moment, self.plant.site.zone_info) <= self.begins

    def is_to_come(self, moment: datetime) -> bool:
        """Whether a moment comes after the plan's start."""
        return self.begins is not None and not self.has_come(moment)


@dataclass(frozen=True, slots=True)
class Beginning:
    """What people have said of a plan's start.

    Parameters
    ----------
    asked
        When the plan is to begin; None: as the plant file says, else now.
    now
        None where nobody knows.
    present
        How lines stand then, by line, in place of what the plant says of them.
    """

    asked: datetime | None = None
    now: datetime | None = None
    present: Mapping[str, PresentState] = field(default_factory=dict)

    def on(self, plant: Plant) -> AtStart:
        """The start of a plan on a plant."""
        site, now = plant.site, self.now
        begins = (self.asked or site.plan_from) if now is None else site.begins(self.asked, now)
        standing = ((line.id, self.present.get(line.id, line.present)) for line in plant.lines)
        return AtStart(
            plant=plant,
            begins=None if begins is None else at_site(begins, site.zone_info),
            threaded={
                line_id: None if present.substrate is None else (present.substrate, present.width_mm)
                for line_id, present in standing
            },
        )
