"""Prices of stock and time, plain and weighed by a goal."""

from __future__ import annotations

from fractions import Fraction

from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Stock
from solver.weights import Weights
from tests.checker.geometry import Prices

UM_PER_M = 1_000_000


def stock_eur_per_um(problem: Problem, stock: Stock | None) -> Fraction:
    """Price of a µm of web: width × €/m²; nothing threaded costs nothing."""
    if stock is None:
        return Fraction(0)
    return problem.substrates[stock.substrate].eur_per_m2 * stock.width_um / UM_PER_M**2


def weighed_stock_eur_per_um(problem: Problem, weights: Weights, stock: Stock | None) -> Fraction:
    """What the goal makes of it: a fixed price a metre, or a factor on the price."""
    if stock is None:
        return Fraction(0)
    if weights.waste_eur_per_m is not None:
        return weights.waste_eur_per_m / UM_PER_M
    return weights.waste * stock_eur_per_um(problem, stock)


def split_prices(
    problem: Problem, weights: Weights, line: Line, outgoing: Stock | None, incoming: Stock
) -> Prices:
    """What the splits of one changeover are compared at."""
    return Prices(
        outgoing_eur_per_um=weighed_stock_eur_per_um(problem, weights, outgoing),
        incoming_eur_per_um=weighed_stock_eur_per_um(problem, weights, incoming),
        changeover_eur_per_ms=weights.changeover * line.eur_per_ms,
    )
