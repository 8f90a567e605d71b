"""Bounds are held against what is known without the search."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from solver.account import account
from tests.bench.__main__ import main
from tests.bench.day_search import DayFound
from tests.bench.gap import WrongBoundError, refuse_wrong_bound
from tests.bench.gap_cases import BALANCED, Known, cases, least_of_every_order, setups_alone
from tests.builders.days import one_line_day
from tests.builders.every_order import every_order

ALONE, SHOP, TRIED = "set-ups alone, 8/2/3/1", "shop, 4/2 tight", "every order of 3 jobs, one line"


def _rows(file: Path, seconds: str, *names: str) -> list[dict[str, Any]]:
    effort = ("--seconds", seconds, "--seeds", "1", "--threads", "1")
    main(["gap", "--only", *names, *effort, "--json", str(file)])
    found: list[dict[str, Any]] = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return found


def test_set_ups_alone_are_proved_and_so_says_another_solver(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A search that has proved its order ends: the limit is for machines that are busy."""
    (row,) = _rows(tmp_path / "gap.json", "20", ALONE)
    assert row["value"] == row["known_eur"]
    assert row["known_by"] == "proved by CP-SAT"
    assert row["gap"] == pytest.approx(0, abs=1e-6)
    capsys.readouterr()
    main(["report", str(tmp_path / "gap.json")])
    page = capsys.readouterr().out
    assert f"| {ALONE} | 8 | {row['value']:,.2f} |" in page
    assert "(proved by CP-SAT)" in page


def test_where_nothing_is_proved_the_row_says_so_or_has_a_gap(
    tmp_path: Path,
) -> None:
    shop, tried = _rows(tmp_path / "gap.json", "0.3", SHOP, TRIED)
    assert shop["known_eur"] is None
    assert tried["known_by"] == "every order tried"
    assert tried["known_eur"] <= tried["value"] * (1 + 1e-9)
    for row in (shop, tried):
        assert (row["bound_eur"] is None) == (row["gap"] is None)
        assert row["gap"] is None or row["gap"] >= 0


def test_every_kind_of_problem_is_among_the_cases() -> None:
    names = [case.name for case in cases()]
    for start in ("set-ups alone, 40", "set-ups alone, 200", "kept tooling", "shop, 40/3", "every order"):
        assert any(name.startswith(start) for name in names), start
    assert len(set(names)) == len(names)


def test_a_name_that_no_problem_has_is_refused() -> None:
    with pytest.raises(ValueError, match="no such problem: set-ups together"):
        main(["gap", "--only", "set-ups together"])


FOUND = DayFound(order=(), eur=100.0, bound_eur=99.0)


def test_a_bound_above_a_known_cost_is_refused() -> None:
    refuse_wrong_bound("a day", FOUND, 100.0, Known(99.0, True, "proved"))
    with pytest.raises(WrongBoundError, match=r"no order is said to undercut 99.0, but one costs 98.0"):
        refuse_wrong_bound("a day", FOUND, 100.0, Known(98.0, False, "best known"))


def test_a_bound_above_the_order_itself_is_refused() -> None:
    with pytest.raises(WrongBoundError, match=r"but one costs 98.5"):
        refuse_wrong_bound("a day", FOUND, 98.5, None)


def test_an_order_below_what_is_proved_is_refused() -> None:
    refuse_wrong_bound("a day", FOUND, 100.0, Known(101.0, False, "best known"))
    with pytest.raises(WrongBoundError, match=r"an order costs 100.0, but 101.0 is the least \(proved\)"):
        refuse_wrong_bound("a day", FOUND, 100.0, Known(101.0, True, "proved"))


def test_a_structured_day_costs_the_same_as_a_queue_of_a_line() -> None:
    case = setups_alone("4/2/2/0")
    known = case.known(5.0, 1)
    assert known is not None
    assert known.least
    assert least_of_every_order(case.problem(), case.weights) == pytest.approx(known.eur)


def test_the_least_of_every_order_is_that_of_the_cheapest_account() -> None:
    problem = one_line_day(5, 2)
    accounts = [account(problem, order, BALANCED) for order in every_order(problem)]
    assert len({sequence.weighed_eur for sequence in accounts}) > 1
    least_eur = min(float(sequence.weighed_eur) for sequence in accounts)
    assert least_of_every_order(problem, BALANCED) == pytest.approx(least_eur)
