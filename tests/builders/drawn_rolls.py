"""Rolls drawn for a queue that has been ordered: enough of every stock it takes, some of them awkward."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from fractions import Fraction

from solver.account import account
from solver.ledger import web_ledger
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.rolls import Flaw, FlawKind, Roll, StockRules
from solver.sequence import Order, Sequence, Stock
from solver.weights import Weights
from tests.builders.days import DayShape, drawn_day, drawn_order

M_UM = 1_000_000
DAY_MS = 86_400_000
RULES = StockRules(
    least_stub_um=60 * M_UM,
    core_tail_um=3 * M_UM,
    open_eur=Fraction(2),
    age_eur_per_day=Fraction(1, 20),
    stub_eur=Fraction(3),
)


def rolled_day(seed: int, lines: int) -> tuple[Problem, Order]:
    """Seven jobs with rolls for them, and an order that has them all."""
    problem = drawn_day(seed, DayShape(jobs=7, lines=lines, limited_stock=False))
    order = drawn_order(problem, seed)
    return with_drawn_rolls(problem, account(problem, order, Weights()), seed), order


def with_drawn_rolls(problem: Problem, sequence: Sequence, seed: int) -> Problem:
    """The problem with rolls of every stock that the sequence takes, half as much again as it needs."""
    rng = random.Random(seed)
    taken: Counter[Stock] = Counter()
    for pieces in web_ledger(problem, sequence):
        for piece in pieces:
            taken[piece.stock] += piece.length_um
    substrates = tuple(
        replace(
            substrate,
            widths=tuple(
                _rolled(rng, stocked, f"{substrate.code}-{stocked.width_um // 1000}", need_um)
                if (need_um := taken[Stock(substrate.code, stocked.width_um)])
                else stocked
                for stocked in substrate.widths
            ),
        )
        for substrate in problem.plant.substrates
    )
    return replace(problem, plant=replace(problem.plant, substrates=substrates, stock_rules=RULES))


def _rolled(rng: random.Random, stocked: StockedWidth, name: str, need_um: int) -> StockedWidth:
    rolls: list[Roll] = []
    given_um = 0
    while given_um < 3 * need_um // 2 + 400 * M_UM or len(rolls) < 3:
        rolls.append(drawn_roll(rng, f"{name}-{len(rolls) + 1}"))
        given_um += rolls[-1].usable_um(RULES.core_tail_um)
    return StockedWidth.by_roll(stocked.width_um, tuple(rolls), RULES.core_tail_um)


def drawn_roll(rng: random.Random, name: str) -> Roll:
    """A whole roll, a rest, or one with flaws."""
    length_um = rng.choice((2000, 1500, rng.randint(80, 900))) * M_UM
    flaws: list[Flaw] = []
    if rng.random() < 0.3:
        at_um = rng.randrange(10, length_um // M_UM - 20) * M_UM
        kind = rng.choice(tuple(FlawKind))
        flaws.append(Flaw(kind, at_um, at_um + (12 * M_UM if kind is FlawKind.DEFECT else 0)))
    received_ms = -rng.randint(1, 400) * DAY_MS
    return Roll(name, length_um, received_ms, location=rng.choice(("A1", "B2", "")), flaws=tuple(flaws))
