"""Which assumed values decide an order."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pydantic import ValidationError

from app.contracts.assumptions import Assumption, AssumptionReport, Swing
from app.contracts.plant import Plant
from app.contracts.sequences import CostedPlan
from app.services.assumption_groups import HIGHER, LOWER, Group, groups_of, plant_value, with_values
from app.translation.perturbing import Effort, Outcome, SameQueue
from app.translation.solving import Question

HANDFUL = 5
"""How many of the values that move most are to be ordered anew, not only costed anew."""
MOST_REORDERED = 2 * HANDFUL
"""How many are ordered anew at most until those are that still move most."""
COSTING_SHARE = 0.6
"""Share of the effort that costing anew may take."""
MOST_WORK = 4000
"""Most costed orders of one descent."""
NAMED = 3
"""How many values a sentence names."""


def deciding(
    question: Question,
    plan: CostedPlan,
    assumptions: Sequence[Assumption],
    seconds: float | None = None,
    *,
    work: int | None = None,
    seed: int = 0,
    cancelled: Callable[[], bool] = lambda: False,
) -> AssumptionReport:
    """How far each assumed number moves the result of a plan when it is taken lower and higher.

    First the plan's own order is costed anew with every one of them; then, for the handful that moves
    most, the order is improved anew on both sides. Values that stand for one thing move together.

    Parameters
    ----------
    plan
        The plan of the queue in question; its goal is theirs.
    seconds, work
        When it ends: after so many seconds, after so many costed orders, the first reached; at least
        one must be given. Under `work` alone the report is the same on every machine, but for its seconds.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves.
    ValueError
        Where neither seconds nor work is given.
    """
    effort = Effort(seconds, work, cancelled)
    plant, queue = question.plant, SameQueue(question, plan.sequence.goal)
    groups = groups_of(plant, assumptions)
    base = queue.planned(plan.sequence, effort)
    swings = _Trial(plant_value(plant), queue, effort, seed).swings(base, groups)
    return AssumptionReport(
        assumed=sum(len(group.places) for group in groups),
        tried=sum(swing.values for swing in swings),
        swings=tuple(sorted(swings, key=_most_first)),
        seconds=effort.seconds,
        work=effort.work,
    )


def deciding_sentence(report: AssumptionReport) -> str:
    """The report in words: how many assumed values decide an order, and the three that move it most."""
    if not report.assumed:
        return "No value is assumed."
    movers = [swing for swing in report.swings if swing.swing_eur or swing.swing_m]
    untried = report.assumed - report.tried
    not_tried = f" There was no time to try {untried} of them." if untried else ""
    if not movers:
        return f"Of {report.assumed} assumed values none moves this order.{_limits(report)}{not_tried}"
    named = movers[:NAMED]
    one = len(named) == 1
    how_many = f"{report.deciding} of {report.assumed} assumed values decide this order"
    which = "the one that moves it is" if one else f"the {_count(len(named))} that move it most are"
    return f"{how_many}; {which} {_listed(map(_moved_text, named))}.{_limits(report)}{not_tried}"


@dataclass(frozen=True, slots=True)
class _Tried:
    """A group taken lower and higher, with what the plan's order comes to there."""

    group: Group
    sides: tuple[tuple[Decimal, tuple[Decimal | int, ...], Plant, Outcome], ...]
    """Factor, values, plant and outcome of every side that exists."""


@dataclass(frozen=True, slots=True)
class _Trial:
    """One plan's assumptions on trial."""

    value: dict[str, Any]
    queue: SameQueue
    effort: Effort
    seed: int

    def swings(self, base: Outcome, groups: Iterable[Group]) -> list[Swing]:
        """Swings of as many groups as the effort suffices for, in their order."""
        tried: list[_Tried] = []
        for group in groups:
            if self.effort.spent(COSTING_SHARE):
                break
            tried.append(self._costed(group, base))
        return self._with_orders(base, tried)

    def _costed(self, group: Group, base: Outcome) -> _Tried:
        sides = []
        for factor in (LOWER, HIGHER):
            moved = group.moved(factor)
            plant = None if moved is None else self._plant(group, moved)
            outcome = None if plant is None else self.queue.costed(plant, base.order, self.effort)
            if moved is not None and plant is not None and outcome is not None:
                sides.append((factor, moved, plant, outcome))
        return _Tried(group, tuple(sides))

    def _plant(self, group: Group, moved: tuple[Decimal | int, ...]) -> Plant | None:
        """The plant with other values; None where they contradict what a plant may be."""
        try:
            return Plant.model_validate(with_values(self.value, dict(zip(group.places, moved, strict=True))))
        except ValidationError:
            return None

    def _with_orders(self, plan: Outcome, tried: Sequence[_Tried]) -> list[Swing]:
        """Swings of all, those that move most with the best order of each side.

        The plan's own order goes through the same descent first, so that what a longer search would
        have found anyway is not taken for an effect of the value. Ordering anew mostly lessens a swing,
        so it goes on until the values that are named have all been ordered anew.
        """
        swings = [_swing(one, plan, [outcome for *_, outcome in one.sides]) for one in tried]
        ordered: set[int] = set()
        parts = 1 + 2 * MOST_REORDERED
        base: Outcome | None = None
        for _ in range(MOST_REORDERED):
            ranked = sorted(range(len(swings)), key=lambda idx: _most_first(swings[idx]))
            next_idx = next((idx for idx in ranked[:HANDFUL] if idx not in ordered), None)
            if next_idx is None or self.effort.spent(1):
                break
            if base is None:
                base = self._descended(self.queue.question.plant, plan, parts)
            swings[next_idx] = self._reordered(base, tried[next_idx], parts - 1)
            parts -= 2
            ordered.add(next_idx)
        return swings

    def _reordered(self, base: Outcome, tried: _Tried, parts: int) -> Swing:
        outcomes = [self._descended(other, base, parts) for _, _, other, _ in tried.sides]
        changes = any(
            self._is_traded(other, base, found)
            for (_, _, other, _), found in zip(tried.sides, outcomes, strict=True)
        )
        return _swing(tried, base, outcomes, changes)

    def _descended(self, plant: Plant, outcome: Outcome, parts: int) -> Outcome:
        stop = self.effort.part(parts, MOST_WORK)
        found = self.queue.reordered(plant, outcome.order, self.effort, stop, self.seed)
        if found is None:
            raise RuntimeError("a plant that was costed contradicts itself")
        return found

    def _is_traded(self, other: Plant, base: Outcome, found: Outcome) -> bool:
        """Whether the order found is better there and worse here: the value decides, not the search."""
        if found.order == base.order or found.left_out != base.left_out:
            return False
        kept = self.queue.costed(other, base.order, self.effort)
        here = self.queue.costed(self.queue.question.plant, found.order, self.effort)
        if kept is None or here is None:
            return False
        return found.weighed_eur < kept.weighed_eur and here.weighed_eur > base.weighed_eur


def _swing(tried: _Tried, base: Outcome, outcomes: Sequence[Outcome], order_changes: bool = False) -> Swing:
    like = [base, *(outcome for outcome in outcomes if outcome.left_out == base.left_out)]
    eur = [outcome.total_eur for outcome in like]
    waste_m = [outcome.waste_m for outcome in like]
    shown = {factor: tried.group.shown(factor, moved) for factor, moved, *_ in tried.sides}
    return Swing(
        assumption=tried.group.first,
        name=tried.group.name,
        values=len(tried.group.places),
        lower=shown.get(LOWER),
        higher=shown.get(HIGHER),
        swing_eur=max(eur) - min(eur),
        swing_m=max(waste_m) - min(waste_m),
        order_changes=order_changes,
        left_out=max((len(outcome.left_out - base.left_out) for outcome in outcomes), default=0),
    )


def _most_first(swing: Swing) -> tuple[Decimal, Decimal, int, str]:
    return (-swing.swing_eur, -swing.swing_m, -swing.left_out, swing.assumption.path)


def _moved_text(swing: Swing) -> str:
    """A value with what it moves: the rate of Plain (110 €/h; 55 € and 0 m between 77 and 143 €/h)."""
    sides = [side for side in (swing.lower, swing.higher) if side is not None]
    by_factor = bool(sides) and sides[0].startswith("×")
    unit = f" {swing.assumption.unit}" if swing.assumption.unit and not by_factor else ""
    value = "" if by_factor else f"{swing.assumption.value}{unit}; "
    where = f"between {sides[0]} and {sides[1]}" if len(sides) == 2 else f"at {sides[0]}" if sides else ""
    order = ", with another best order" if swing.order_changes else ""
    moves = f"{swing.swing_eur:,.0f} € and {swing.swing_m:,.0f} m"
    return f"the {swing.name} ({value}{moves} {where}{unit}{order})"


def _limits(report: AssumptionReport) -> str:
    """Values that decide what can run at all."""
    limits = [swing for swing in report.swings if swing.left_out]
    limits.sort(key=lambda swing: -swing.left_out)
    named = [
        f"the {swing.name} ({swing.left_out} job{'s' if swing.left_out > 1 else ''})"
        for swing in limits[:NAMED]
    ]
    return f" What can run depends on {_listed(named)}." if named else ""


def _jobs(count: int) -> str:
    return "1 job" if count == 1 else f"{count} jobs"


def _listed(texts: Iterable[str]) -> str:
    *before, last = texts
    return f"{', '.join(before)} and {last}" if before else last


def _count(count: int) -> str:
    return {2: "two", 3: "three"}.get(count, str(count))
