"""Stock on hand and on its way, by the checker's reckoning alone."""

from __future__ import annotations

import pytest

from solver.sequence import Stock
from tests.checker.supply import suffices, supply_um
from tests.checker_tests.busy_day import M_UM, MIN_MS, PROBLEM

FILM = Stock("film", 250_000)


@pytest.mark.parametrize(("at_ms", "metres"), [(0, 900), (150 * MIN_MS - 1, 900), (150 * MIN_MS, 4900)])
def test_a_delivery_counts_from_when_it_arrives(at_ms: int, metres: int) -> None:
    assert supply_um(PROBLEM, FILM, at_ms) == metres * M_UM


def test_a_stock_whose_amount_is_not_followed_is_endless() -> None:
    assert supply_um(PROBLEM, Stock("film", 330_000)) is None
    assert suffices(PROBLEM, {}, {Stock("film", 330_000): 10**15}, 0)


@pytest.mark.parametrize(("need_m", "enough"), [(400, True), (401, False)])
def test_what_others_took_is_gone(need_m: int, enough: bool) -> None:
    assert suffices(PROBLEM, {FILM: 500 * M_UM}, {FILM: need_m * M_UM}, 0) is enough
