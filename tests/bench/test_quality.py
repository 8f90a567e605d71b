"""When a search is near its end is read off what it tells on the way."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from solver.search.solve import Progress
from tests.bench.__main__ import main
from tests.bench.quality import first_within

DAY = "5/2 tight"


def _told(*best: tuple[int, float]) -> list[Progress]:
    return [Progress(eur, faults, 10 * at, float(at)) for at, (faults, eur) in enumerate(best)]


def test_the_first_progress_within_a_hundredth_counts() -> None:
    told = _told((0, 120.0), (0, 101.5), (0, 100.9), (0, 100.1), (0, 100.0))
    near = first_within(told, told[-1], 1.0)
    assert (near.elapsed_s, near.work) == (2.0, 20)


def test_a_cheaper_order_with_a_fault_is_not_near() -> None:
    told = _told((1, 90.0), (0, 150.0), (0, 100.0))
    assert first_within(told, told[-1], 1.0).elapsed_s == 2.0


def test_a_search_that_told_nothing_is_near_at_its_end() -> None:
    final = Progress(100.0, 0, 7, 3.0)
    assert first_within([], final, 1.0) is final


def test_a_row_says_when_and_after_how_much_work(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = tmp_path / "quality.json"
    asked = ["quality", "--only", DAY, "--seconds", "0.3", "--seeds", "1", "--threads", "1"]
    main([*asked, "--json", str(rows)])
    (row,) = json.loads(rows.read_text(encoding="utf-8"))["rows"]
    assert 0 <= row["value"] <= row["nearer_s"]
    assert 0 <= row["near_work"] <= row["nearer_work"] <= row["work"]
    assert 0 < row["controllable_eur"] < row["weighed_eur"]
    capsys.readouterr()
    main(["report", str(rows)])
    assert f"| {DAY} | {row['weighed_eur']:,.0f} |" in capsys.readouterr().out
