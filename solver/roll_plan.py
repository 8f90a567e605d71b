"""Rolls for a whole sequence: chosen stretch by stretch, in the order in which stretches begin.

What is left of a roll can be taken again by a later stretch, on any line, once the stretch that used it has
ended. Roll ends cost minutes and metres, which shift what comes behind; so the sequence is costed again with
them, and rolls are chosen again for that, until both agree.

Rolls are chosen without slitting any first. Those that nobody then takes may be slit down for a narrower
width: the jobs of their own width do without them, whatever pieces the others come in. What comes out with
them is kept only if it is better: no stretch lacks more web for it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from solver.account import account
from solver.problem import Problem
from solver.roll_choice import RollChoice, Shortage
from solver.roll_chooser import Chooser, Remembering
from solver.roll_store import RollStore
from solver.rolls import Roll
from solver.sequence import ChosenRolls, Order, RollEnds, Sequence, Stock
from solver.stock import MOST_GROWN, choose_rolls
from solver.stub_cost import StubCost
from solver.web_stretches import LineStretch, RunKey, stretches_of
from solver.weights import Weights

MOST_ROUNDS = 6
"""Costings until roll ends and the hours they fall in agree."""


@dataclass(frozen=True, slots=True)
class RolledStretch:
    """A stretch and its rolls; `choice` is None where its stock is not followed by roll, and for web threaded
    before the plan where no roll is known to be on the unwind.

    The rolls' metres are counted from their first metre, whatever was used of them before.
    """

    stretch: LineStretch
    choice: RollChoice | Shortage | None


@dataclass(frozen=True, slots=True)
class RollPlan:
    """The rolls of a sequence.

    Parameters
    ----------
    sequence
        Costed with the roll ends of these rolls.
    settled
        Whether roll ends lie where the costed sequence has them: they do not where hours and places never
        agree, closures being in the way.
    """

    sequence: Sequence
    stretches: tuple[RolledStretch, ...]
    settled: bool

    def on_line(self, line_idx: int) -> tuple[tuple[int, RolledStretch], ...]:
        """A line's stretches as its web has them, with their numbers in the plan: some begin at the same
        instant.
        """
        own = ((idx, each) for idx, each in enumerate(self.stretches) if each.stretch.line_idx == line_idx)
        return tuple(sorted(own, key=lambda there: there[1].stretch.pieces[0][0].from_um))

    @property
    def opened(self) -> frozenset[str]:
        """Ids of the rolls that something is taken of."""
        choices = (each.choice for each in self.stretches)
        return frozenset(
            use.roll for choice in choices if isinstance(choice, RollChoice) for use in choice.uses
        )

    @property
    def shortages(self) -> tuple[tuple[LineStretch, Shortage], ...]:
        return tuple(
            (each.stretch, each.choice) for each in self.stretches if isinstance(each.choice, Shortage)
        )

    @property
    def rank(self) -> tuple[int, bool, int, Fraction]:
        """Least is best: jobs left out and locks broken, whether it settles, missing web, weighed cost."""
        faults = len(self.sequence.left_out) + len(self.sequence.broken_locks)
        missing_um = sum(shortage.missing_um for _, shortage in self.shortages)
        return faults, not self.settled, missing_um, self.sequence.weighed_eur


Stretches = Callable[[Problem, Sequence, Weights], Iterable[LineStretch]]
"""The stretches of a sequence, in the order in which rolls are chosen for them."""


def with_rolls(
    problem: Problem,
    order: Order,
    weights: Weights,
    choose: Chooser = choose_rolls,
    stretches: Stretches = stretches_of,
) -> tuple[Problem, RollPlan]:
    """Choose the rolls of an order; the problem comes back with them."""
    way = _Way(order, weights, Remembering(choose), stretches)
    plain = way.settled(problem, ())
    spare = _spare(*plain)
    if not spare:
        return plain
    slit = way.settled(plain[0], spare)
    return min(plain, slit, key=lambda found: found[1].rank)


def _spare(problem: Problem, plan: RollPlan) -> frozenset[str]:
    """Rolls that may be slit, if any stretch could use them: none takes them at their own width, which lacks
    nothing, and no line has them on its unwind.
    """
    most_trim_um = problem.plant.stock_rules.most_trim_um
    if not most_trim_um:
        return frozenset()
    short = {stretch.stock for stretch, _ in plan.shortages}
    narrower = {each.stretch.stock for each in plan.stretches if each.choice is not None}
    return frozenset(
        roll.id
        for stock, roll in _unopened(problem, plan)
        if roll.on_unwind is None
        and stock not in short
        and any(
            stock.substrate == narrow.substrate and 0 < stock.width_um - narrow.width_um <= most_trim_um
            for narrow in narrower
        )
    )


def _unopened(problem: Problem, plan: RollPlan) -> Iterator[tuple[Stock, Roll]]:
    for substrate, stocked, roll in problem.plant.rolls:
        if roll.id not in plan.opened:
            yield Stock(substrate.code, stocked.width_um), roll


@dataclass(frozen=True, slots=True)
class _Way:
    """How the rolls of an order are chosen."""

    order: Order
    weights: Weights
    choose: Chooser
    stretches: Stretches

    def settled(self, problem: Problem, spare: Collection[str]) -> tuple[Problem, RollPlan]:
        """Choose rolls and cost the order with them until both agree; those that are spare may be slit."""
        for _ in range(MOST_ROUNDS):
            sequence = account(problem, self.order, self.weights)
            rolled = tuple(self._chosen(problem, sequence, spare))
            before, chosen = problem.chosen_rolls, _chosen_rolls(sequence, rolled)
            if chosen == before:
                return problem, RollPlan(sequence, rolled, settled=True)
            problem = replace(problem, chosen_rolls=chosen)
            if before is not None and chosen is not None and chosen.ends == before.ends:
                sequence = account(problem, self.order, self.weights)
                return problem, RollPlan(sequence, rolled, settled=True)
        return problem, RollPlan(account(problem, self.order, self.weights), rolled, settled=False)

    def _chosen(
        self, problem: Problem, sequence: Sequence, spare: Collection[str]
    ) -> Iterator[RolledStretch]:
        """Rolls for every stretch, each from what the earlier ones leave."""
        store, rules = RollStore(problem, spare), problem.plant.stock_rules
        begun: set[int] = set()
        for stretch in self.stretches(problem, sequence, self.weights):
            is_first = stretch.line_idx not in begun
            begun.add(stretch.line_idx)
            if not store.follows(stretch.stock) or (
                stretch.is_threaded_before and not store.is_mounted(stretch.stock, stretch.line_idx)
            ):
                yield RolledStretch(stretch, None)
                continue
            end_ms = _end_ms(sequence, stretch)
            candidates = store.candidates(stretch, is_first, end_ms)
            choice = self.choose(stretch.stretch, candidates, rules, MOST_GROWN)
            if isinstance(choice, RollChoice):
                choice = store.take(choice, stretch.stock, end_ms)
            yield RolledStretch(stretch, choice)


def _end_ms(sequence: Sequence, stretch: LineStretch) -> int:
    """When the last run of a stretch ends; of web threaded before the plan, when the first run prints."""
    runs = sequence.lines[stretch.line_idx].runs
    if stretch.is_threaded_before:
        return runs[0].print_start_ms
    placements = {key[1] for key in stretch.runs if key is not None}
    return max(run.end_ms for run in runs if run.placement in placements)


def _chosen_rolls(sequence: Sequence, rolled: tuple[RolledStretch, ...]) -> ChosenRolls | None:
    """Where the rolls of all stretches end, and what they cost besides; None where no stock is followed by
    roll.
    """
    choices = [each.choice for each in rolled]
    if all(choice is None for choice in choices):
        return None
    cost = sum((choice.stub_cost for choice in choices if isinstance(choice, RollChoice)), StubCost())
    return ChosenRolls(_roll_ends(sequence, rolled), cost)


def _roll_ends(sequence: Sequence, rolled: tuple[RolledStretch, ...]) -> RollEnds:
    """Where the rolls of all stretches end, by run; a run of a followed stock is there even without one.

    What has started has none: its times are given.
    """
    ends: dict[RunKey, list[int]] = {}
    started = {
        (line_idx, run.placement)
        for line_idx, line in enumerate(sequence.lines)
        for run in line.runs
        if run.changeover is None
    }
    for each in rolled:
        if not isinstance(each.choice, RollChoice):
            continue
        for key in each.stretch.runs:
            if key is not None and key not in started:
                ends.setdefault(key, [])
        without_end = len(each.choice.uses) - each.choice.roll_ends
        for use in each.choice.uses[without_end:]:
            key = each.stretch.runs[use.begins.segment]
            if key is not None and key in ends:
                ends[key].append(each.stretch.run_um(use.begins.segment, use.begins.offset_um))
    return {key: tuple(sorted(ends_um)) for key, ends_um in ends.items()}
