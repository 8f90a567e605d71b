"""The search with rolls: an order by usual rolls, the rolls that it really takes, and one more search.

While it searches, a run is taken to be made of usual rolls: so many roll ends inside it as they give. Rolls
are chosen for the order that comes out. Their ends cost metres and minutes elsewhere than was thought; where
that makes something late, or the whole dearer than the search thought, it goes on once from that order, with
the ends chosen for it known. Rolls are chosen anew for what it finds, and the cheapest of all is kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

from solver.cheapest_rolls import RolledSequence, cheapest_rolls
from solver.problem import Problem
from solver.roll_plan import RollPlan
from solver.search.compile import CompiledPlant
from solver.search.plant_search import search_plant
from solver.search.solve import Progress, SearchResult, Status, Telling, solve
from solver.search.stop import Stop
from solver.sequence import Order, Sequence
from solver.stub_cost import StubCost
from solver.trade_offs import dominates, objectives_of
from solver.weights import Weights

REPAIR_SHARE = 0.15
"""Share of the limits that is kept for the second search."""


@dataclass(frozen=True, slots=True)
class Repair:
    """A second search: what it began from, and the cheapest that it found."""

    before: RolledSequence
    after: RolledSequence

    @property
    def is_better(self) -> bool:
        return self.after.plan.rank < self.before.plan.rank


@dataclass(frozen=True, slots=True)
class RolledResult:
    """What a search with rolls found.

    Parameters
    ----------
    result
        The search by usual rolls, and what it proved of them; its `work` counts both searches.
    sequences
        Best first, then its alternatives, the cheapest first; each with its rolls.
    asked
        The order for which the rolls of the best were chosen: the best's own, and what was left out of it.
    repair
        None where there was no second search.
    """

    result: SearchResult
    sequences: tuple[RolledSequence, ...]
    asked: Order
    repair: Repair | None = None


def solve_with_rolls(
    problem: Problem,
    weights: Weights,
    stop: Stop,
    seed: int = 0,
    on_progress: Callable[[Progress], None] | None = None,
    threads: int | None = None,
    alternatives: int = 0,
) -> RolledResult:
    """Order a queue so that it costs least with the rolls that there are; `solve` where there are none.

    The result depends on problem, weights, seed and work limit alone; with a time limit also on the machine,
    and choosing rolls comes on top: some seconds where there are many. It is never dearer than without the
    second search, which is made where limits are left.

    Raises
    ------
    ContradictoryLocksError
        Where the locks cannot all be kept.
    ValueError
        Where so many alternatives are not looked for.
    """
    has_rolls = problem.plant.has_rolls
    telling = Telling(on_progress, stop)
    with stop.reserve(REPAIR_SHARE if has_rolls else 0.0):
        result = solve(problem, weights, stop, seed, telling.tell, threads, alternatives)
    begun_s = stop.elapsed_s
    orders = [sequence.order for sequence in result.sequences]
    rolled = [RolledSequence(*cheapest_rolls(problem, order, weights)) for order in orders]
    if not has_rolls or result.status is Status.NOTHING_RUNS:
        return RolledResult(result, tuple(rolled), orders[0])
    choosing_s = (stop.elapsed_s - begun_s) / len(rolled)
    asked, best = min(zip(orders, rolled, strict=True), key=_rank)
    telling.go_on_from(best.sequence.order)
    repair: Repair | None = None
    with stop.reserve_time(choosing_s):
        if _disappoints(result.sequences[0], best.plan) and not stop.reached:
            found = _searched_again(best, weights, stop, seed, telling, threads)
            others = (order for order in found if order != best.sequence.order)
            again = ((order, RolledSequence(*cheapest_rolls(problem, order, weights))) for order in others)
            asked_again, after = min(again, key=_rank, default=(asked, best))
            repair = Repair(best, after)
            if repair.is_better:
                asked, best = asked_again, after
    return RolledResult(replace(result, work=stop.done), (best, *_beside(best, rolled)), asked, repair)


def _rank(chosen: tuple[Order, RolledSequence]) -> tuple[int, bool, int, Fraction]:
    _, rolled = chosen
    return rolled.plan.rank


def _disappoints(searched: Sequence, plan: RollPlan) -> bool:
    """Whether rolls are missing, or their ends make an order later or dearer than the search thought it was.
    What else rolls cost it cannot know.
    """
    rolled = plan.sequence
    stubs = rolled.cost.stubs or StubCost()
    return (
        bool(plan.shortages)
        or rolled.cost.late_eur > searched.cost.late_eur
        or rolled.weighed_eur - stubs.weighed_eur > searched.weighed_eur
    )


def _searched_again(
    rolled: RolledSequence,
    weights: Weights,
    stop: Stop,
    seed: int,
    telling: Telling,
    threads: int | None,
) -> tuple[Order, ...]:
    """The best orders of all islands, from this one, the very best first. Its runs keep their roll ends as
    long as they stay on their line and at their stations; elsewhere they are made of usual rolls.
    """
    compiled = CompiledPlant(rolled.problem, weights)
    start = compiled.numbers(rolled.sequence.order)
    found = search_plant(compiled, [start], stop, seed, threads, telling.again, bounded=False)
    return tuple(dict.fromkeys((found.order, *found.others)))


def _beside(best: RolledSequence, rolled: list[RolledSequence]) -> list[RolledSequence]:
    """Alternatives that the best does not dominate, the cheapest first."""
    objectives = objectives_of(best.sequence)
    others = [each for each in rolled if each.sequence.order != best.sequence.order]
    kept = (each for each in others if not dominates(objectives, objectives_of(each.sequence)))
    return sorted(kept, key=lambda each: each.plan.rank)
