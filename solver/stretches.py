"""A stretch: runs that follow each other on one line on one substrate and width, as one web."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from itertools import accumulate, pairwise

from solver.checks import Checks
from solver.reels import SpliceRule


class SegmentKind(StrEnum):
    STRIP = "strip"
    PRINT = "print"


@dataclass(frozen=True, slots=True)
class Segment:
    """Web of one kind: a run's set-up strip, or a version in a run with its spoilage.

    Parameters
    ----------
    length_um
        Good web, without what roll ends waste. A strip may be 0: the place between two runs.
    run, job
        The run it belongs to, a strip to the incoming one, and that run's job.
    needed_ms
        When the web must be there: a roll that comes later is not used in it.
    roll_end_um, roll_end_eur
        Web that a roll end here wastes, taken from the incoming roll, and what it costs, that web included.
        In a strip, its ends included; inside a version's web or at its end, where another version follows.
    version
        None in a strip.
    reel_um
        Web of a customer's reel, counted from the version's first metre; None where all of it is one reel.
    spoiled
        Parts of a version's web of which nothing is sold, (from, to) µm in it, in order: no reel holds them.
    most_splices_a_reel
        None where any number will do. A splice just between two reels is in neither.
    """

    kind: SegmentKind
    length_um: int
    run: int
    job: str
    needed_ms: int
    roll_end_um: int
    roll_end_eur: Fraction
    version: str | None = None
    reel_um: int | None = None
    splice_rule: SpliceRule = SpliceRule.ANYWHERE
    most_splices_a_reel: int | None = None
    spoiled: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        checks = Checks(f"segment of run {self.run}")
        is_print = self.kind is SegmentKind.PRINT
        checks.that(
            self.length_um >= is_print,
            f"length_um must be {'above 0' if is_print else 'at least 0'}, is {self.length_um}",
        )
        checks.that((self.version is not None) == is_print, "a version's web has a version, a strip has none")
        checks.not_negative("roll_end_um", self.roll_end_um)
        checks.not_negative("roll_end_eur", self.roll_end_eur)
        checks.positive_or_none("reel_um", self.reel_um)
        if self.most_splices_a_reel is not None:
            checks.not_negative("most_splices_a_reel", self.most_splices_a_reel)
        marks = [0, *(mark for part in self.spoiled for mark in part), self.length_um]
        checks.that(marks == sorted(marks), f"spoiled parts must be in order and inside, are {self.spoiled}")
        checks.done()

    @property
    def reel_ends_um(self) -> tuple[int, ...]:
        """Where in a version's web one reel is full and the next begins."""
        if self.reel_um is None:
            return ()
        ends_um: list[int] = []
        spoiled = list(self.spoiled)
        end_um = self.reel_um
        while True:
            while spoiled and spoiled[0][0] < end_um:
                start_um, stop_um = spoiled.pop(0)
                end_um += stop_um - start_um
            if end_um >= self.length_um:
                return tuple(ends_um)
            ends_um.append(end_um)
            end_um += self.reel_um


@dataclass(frozen=True, slots=True)
class Stretch:
    """Segments in web order; the first unwinds first."""

    segments: tuple[Segment, ...]

    def __post_init__(self) -> None:
        checks = Checks("stretch")
        checks.that(self.length_um > 0, "must have web, has none")
        for idx, (before, behind) in enumerate(pairwise(self.segments)):
            checks.that(
                before.version is None or (before.run, before.version) != (behind.run, behind.version),
                f"segments {idx} and {idx + 1} are of one run and version: they must be one",
            )
        checks.done()

    @property
    def length_um(self) -> int:
        return sum(segment.length_um for segment in self.segments)

    @property
    def bounds_um(self) -> tuple[int, ...]:
        """Where each segment begins, and where the last one ends."""
        return (0, *accumulate(segment.length_um for segment in self.segments))
