"""Stock: what there is until when, and what the runs take."""

from __future__ import annotations

from collections.abc import Mapping

from solver.plant import StockedWidth
from solver.problem import Problem
from solver.sequence import Stock

Taken = Mapping[Stock, int]


def stocked(problem: Problem, stock: Stock) -> StockedWidth | None:
    """The store's entry for a stock; None where its amount is not followed."""
    for width in problem.substrates[stock.substrate].widths:
        if width.width_um == stock.width_um and width.on_hand_um is not None:
            return width
    return None


def supply_um(problem: Problem, stock: Stock, at_ms: int | None = None) -> int | None:
    """Stock and deliveries until an instant (all of them without one); None is endless."""
    width = stocked(problem, stock)
    if width is None or width.on_hand_um is None:
        return None
    arrived = (
        delivery.length_um for delivery in width.deliveries if at_ms is None or delivery.at_ms <= at_ms
    )
    return width.on_hand_um + sum(arrived)


def delivery_times(problem: Problem, stocks: set[Stock]) -> set[int]:
    """When something of these stocks arrives."""
    return {
        delivery.at_ms
        for stock in stocks
        if (width := stocked(problem, stock)) is not None
        for delivery in width.deliveries
    }


def suffices(problem: Problem, taken: Taken, needs: Taken, at_ms: int) -> bool:
    """Whether what was taken and what is needed stay within stock and deliveries so far."""
    for stock, need_um in needs.items():
        there_um = supply_um(problem, stock, at_ms)
        if there_um is not None and taken.get(stock, 0) + need_um > there_um:
            return False
    return True
