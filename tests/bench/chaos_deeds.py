"""What is done to workers and their children, and how much of it is left to do."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

LEAST_SHARE = 0.35
"""Of the claims something is done to at least, as long as anything is left to do."""


class Deed(StrEnum):
    """A way to do harm."""

    CHILD = "child"
    EARLY = "early"
    WRITING = "writing"
    WORKER = "worker"
    PAUSE = "pause"


MEANT: Mapping[Deed, str] = {
    Deed.CHILD: "a child that searches is killed",
    Deed.EARLY: "a worker is killed between its claim and its first heartbeat",
    Deed.WRITING: "a worker is killed while it writes a result",
    Deed.WORKER: "a worker is killed while its child searches",
    Deed.PAUSE: "a worker is stopped for longer than its lease, and goes on",
}
KILLS = (Deed.CHILD, Deed.EARLY, Deed.WRITING, Deed.WORKER)
SHARES: Mapping[Deed, float] = {Deed.CHILD: 0.56, Deed.EARLY: 0.12, Deed.WRITING: 0.12, Deed.WORKER: 0.20}


@dataclass
class Deeds:
    """Draws what is done to a claim, until enough is done of everything.

    A deed is left, drawn, then either done or missed; one that was missed is left again.

    Parameters
    ----------
    requests
        How many are asked for: as many claims there are at least.
    done
        What was proved to have hit.
    misses
        What came too late, or was not proved.
    """

    left: Counter[Deed]
    requests: int
    rng: random.Random
    done: Counter[Deed] = field(default_factory=Counter)
    misses: Counter[Deed] = field(default_factory=Counter)
    _drawn: Counter[Deed] = field(default_factory=Counter)

    @classmethod
    def of(cls, kills: int, pauses: int, requests: int, rng: random.Random) -> Deeds:
        """So many kills, of every kind its share and one at least, and so many pauses."""
        left = Counter({deed: max(1, round(share * kills)) for deed, share in SHARES.items()})
        left[Deed.PAUSE] = pauses
        return cls(left, requests, rng)

    def drawn(self, over: int) -> Deed | None:
        """What is done to a new claim while so many requests are over; None: nothing."""
        open_deeds = self.left.total()
        if not open_deeds:
            return None
        share = open_deeds / max(1, self.requests - over)
        if self.rng.random() > max(LEAST_SHARE, share):
            return None
        kinds = [deed for deed in Deed if self.left[deed] > 0]
        (deed,) = self.rng.choices(kinds, [self.left[kind] for kind in kinds])
        self.left[deed] -= 1
        self._drawn[deed] += 1
        return deed

    def missed(self, deed: Deed) -> None:
        """It came to nothing: another claim is found for it."""
        self._settle(deed)
        self.left[deed] += 1
        self.misses[deed] += 1

    def hit(self, deed: Deed) -> None:
        """It was done, and is proved."""
        self._settle(deed)
        self.done[deed] += 1

    @property
    def is_enough(self) -> bool:
        """Whether all that was to be done is done."""
        return not self.left.total() and not self._drawn.total()

    def _settle(self, deed: Deed) -> None:
        if not self._drawn[deed]:
            raise ValueError(f"{deed} was not drawn")
        self._drawn[deed] -= 1
