"""Whatever orders a day: the search, and beside it what it is measured against."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from solver.search.stop import Stop
from tests.bench.day_search import WEIGHTS, DayEffort, DayFound, compile_for, searched
from tests.bench.entry import OURS
from tests.bench.peers.day_model import DayModel
from tests.bench.peers.day_routes import DayRoutes
from tests.bench.peers.first_engine import engine
from tests.bench.peers.run_pairs import run_pairs
from tests.bench.shop_days import ShopDay

CONSTRUCTED = "construction"
FIRST_ENGINE, CP_SAT, ROUTING = "first engine", "CP-SAT, hinted", "routing library, one thread"


Answer = Callable[[], DayFound | None]
"""Searches, and gives what was found; None where no order was found in time."""


@dataclass(frozen=True)
class DaySolver:
    """Something that orders days.

    Parameters
    ----------
    prepared
        Does for a day what is not timed, such as building a model, and gives back what is timed.
    is_peer
        Whether it is run only where peers are asked for.
    """

    name: str
    prepared: Callable[[ShopDay, DayEffort], Answer]
    is_peer: bool = True


def _ours(day: ShopDay, effort: DayEffort) -> Answer:
    compile_for(day.problem)
    return partial(searched, day.problem, WEIGHTS, effort)


def _first_engine(day: ShopDay, effort: DayEffort) -> Answer:
    def answer() -> DayFound:
        stop = Stop(time_s=effort.seconds)
        order = engine.searched(day.problem, WEIGHTS, stop, effort.seed)
        return DayFound(order, work=stop.done)

    return answer


def _cp_sat(day: ShopDay, effort: DayEffort) -> Answer:
    pairs = run_pairs(day, WEIGHTS)
    model = DayModel(pairs)

    def answer() -> DayFound | None:
        solved = model.solve(effort.seconds, effort.threads, effort.seed)
        return None if solved is None else DayFound(pairs.order_of(solved.queues), proved=solved.proved)

    return answer


def _routing(day: ShopDay, effort: DayEffort) -> Answer:
    pairs = run_pairs(day, WEIGHTS)
    routes = DayRoutes(pairs)

    def answer() -> DayFound | None:
        queues = routes.solve(effort.seconds)
        return None if queues is None else DayFound(pairs.order_of(queues))

    return answer


def _constructed(day: ShopDay, effort: DayEffort) -> Answer:
    return lambda: DayFound(run_pairs(day, WEIGHTS).start)


SOLVERS = (
    DaySolver(OURS, _ours, is_peer=False),
    DaySolver(CONSTRUCTED, _constructed),
    DaySolver(FIRST_ENGINE, _first_engine),
    DaySolver(CP_SAT, _cp_sat),
    DaySolver(ROUTING, _routing),
)
