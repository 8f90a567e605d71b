"""What sequences of the same jobs trade against each other: metres, minutes, lateness.

One sequence dominates another where it is worse in none of the three and better in one. Beside that stand
differences that nobody would care about: below 1 % or below 5 m, 2 min, 1 €.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from solver.account import stopped_ms
from solver.sequence import Sequence as RunSequence

Figure = int | Fraction

UNNOTICED: tuple[Figure, Figure, Figure] = (5_000_000, 120_000, Fraction(1))
"""Differences below these are not worth a choice: µm, ms, €."""
UNNOTICED_SHARE = Fraction(1, 100)
"""Nor are differences below this share of the larger figure."""


@dataclass(frozen=True, slots=True, order=True)
class Objectives:
    """What a sequence is chosen by; less is better.

    Parameters
    ----------
    waste_um
        Wasted web but for the spoilage allowance.
    stopped_ms
        Set-up and stopped time: changeovers, roll ends, what closures and cleaning take, and waiting.
    late_eur
        What late jobs cost.
    """

    waste_um: int
    stopped_ms: int
    late_eur: Fraction

    @property
    def figures(self) -> tuple[Figure, Figure, Figure]:
        return self.waste_um, self.stopped_ms, self.late_eur


def objectives_of(sequence: RunSequence) -> Objectives:
    """Waste, set-up and stopped time, and late cost of a sequence."""
    return Objectives(
        waste_um=sum(
            (run.changeover.waste_um if run.changeover else 0)
            + run.roll_end_waste_um
            + run.interruption_waste_um
            for run in sequence.runs
        ),
        stopped_ms=sum(stopped_ms(line) + line.waiting_ms for line in sequence.lines),
        late_eur=sequence.cost.late_eur,
    )


def dominates(one: Objectives, other: Objectives) -> bool:
    """Whether one is worse in nothing and better in something, by however little."""
    return one != other and (
        one.waste_um <= other.waste_um
        and one.stopped_ms <= other.stopped_ms
        and one.late_eur <= other.late_eur
    )


def noticed(one: Objectives, other: Objectives) -> tuple[Figure, Figure, Figure]:
    """By how much one is above another in waste, stopped time and late cost; 0 where nobody would care."""
    waste, stopped, late = map(_noticed, one.figures, other.figures, UNNOTICED)
    return waste, stopped, late


def _noticed(one: Figure, other: Figure, floor: Figure) -> Figure:
    difference = one - other
    least: Fraction = max(Fraction(floor), UNNOTICED_SHARE * one, UNNOTICED_SHARE * other)
    return difference if abs(Fraction(difference)) >= least else 0


def clearly_beats(one: Objectives, other: Objectives) -> bool:
    """Whether one is noticeably better in something and noticeably worse in nothing."""
    differences = noticed(one, other)
    return any(differences) and all(Fraction(difference) <= 0 for difference in differences)


def are_alike(one: Objectives, other: Objectives) -> bool:
    """Whether nobody would care which of the two is taken."""
    return not any(noticed(one, other))


def spread(
    recommended: Objectives, others: Sequence[Objectives], most: int, beside: Iterable[Objectives] = ()
) -> list[int]:
    """Places of at most so many of the others that are worth a choice beside what is recommended.

    None of them is dominated by another of the others, by what is recommended or by what stands beside
    it; none is clearly beaten by one of them; no two are alike. The ends come first (least waste, least
    time, least lateness), the one farthest from those chosen before; then always the farthest, figures
    taken by their range.

    Parameters
    ----------
    others
        In the order of preference: of two that are alike or beat each other in a ring the first stays.
    beside
        What is shown in any case, beside what is recommended.
    """
    shown = [recommended, *beside]
    left = _worth_a_choice(shown, others)
    scales = _scales([recommended, *(others[place] for place in left)])
    ends = _ends(recommended, others, left)
    chosen: list[int] = []
    while left and len(chosen) < most:
        among = [place for place in left if place in ends] or left
        near = [recommended, *(others[place] for place in chosen)]
        farthest = max(among, key=lambda place: (_distance(others[place], near, scales), -place))
        chosen.append(farthest)
        left = [place for place in left if not are_alike(others[place], others[farthest])]
    return chosen


def _worth_a_choice(shown: Iterable[Objectives], others: Sequence[Objectives]) -> list[int]:
    """Places of those that no other makes pointless."""
    shown = list(shown)
    left = [
        place
        for place, one in enumerate(others)
        if not any(dominates(other, one) for other in (*shown, *others))
        and not any(are_alike(other, one) or clearly_beats(other, one) for other in shown)
    ]
    # From the least preferred on, and only against those still left: a ring keeps its first.
    for place in reversed(left.copy()):
        if any(clearly_beats(others[other], others[place]) for other in left if other != place):
            left.remove(place)
    return left


def _ends(recommended: Objectives, others: Sequence[Objectives], left: Iterable[int]) -> set[int]:
    """Of each figure the place of the least, where it is noticeably less than what is recommended."""
    ends: set[int] = set()
    for figure in range(len(UNNOTICED)):
        end = min(left, key=lambda place: (others[place].figures[figure], place), default=None)
        if end is not None and noticed(others[end], recommended)[figure] < 0:
            ends.add(end)
    return ends


def _scales(all_shown: Sequence[Objectives]) -> tuple[float, ...]:
    """The range of each figure; one that hardly differs counts by what would be noticed."""
    by_figure = zip(*(one.figures for one in all_shown), strict=True)
    return tuple(
        float(max(max(figures) - min(figures), floor))
        for figures, floor in zip(by_figure, UNNOTICED, strict=True)
    )


def _distance(one: Objectives, others: Iterable[Objectives], scales: Sequence[float]) -> float:
    """Square of the way to the nearest of the others."""
    return min(
        sum(
            (float(mine - theirs) / scale) ** 2
            for mine, theirs, scale in zip(one.figures, other.figures, scales, strict=True)
        )
        for other in others
    )
