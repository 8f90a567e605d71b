"""Long queues are measured in processes of their own, and drawn."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from tests.bench import growth
from tests.bench.__main__ import main
from tests.bench.day_search import DayEffort
from tests.bench.entry import OURS
from tests.bench.growth_plot import Series, growth_plot, tick_step
from tests.bench.growth_probe import DISPATCHED, grown, long_day, peak_mb

SVG = "{http://www.w3.org/2000/svg}"


def _measured_here(name: str, solver: str, seed: int, asked: argparse.Namespace) -> dict[str, Any]:
    return asdict(grown(name, solver, DayEffort(asked.seconds, seed, asked.threads)))


def test_queues_stand_beside_dispatching_and_are_drawn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(growth, "probe", _measured_here)
    rows, plot = tmp_path / "growth.json", tmp_path / "growth.svg"
    size = ("--jobs", "4", "6", "--lines", "2")
    asked = ["growth", *size, "--seconds", "0.3", "--threads", "1", "--json", str(rows), "--plot", str(plot)]
    main(asked)
    kept = json.loads(rows.read_text(encoding="utf-8"))
    assert kept["commands"][0].endswith(f"--threads 1 --plot {plot.name}")
    found = kept["rows"]
    assert [(row["jobs"], row["solver"]) for row in found] == [
        *((4, OURS), (4, DISPATCHED)),
        *((6, OURS), (6, DISPATCHED)),
    ]
    for row in found:
        assert 0 < row["before_mb"] <= row["peak_mb"]
        assert row["left_out"] == 0
    drawn = ET.fromstring(plot.read_text(encoding="utf-8"))
    assert len(drawn.findall(f"{SVG}polyline")) == 2
    capsys.readouterr()
    main(["report", str(rows)])
    assert (
        f"| 4/2 tight | 4 | {found[0]['value']:,.0f} | {found[1]['value']:,.0f} |" in capsys.readouterr().out
    )


def test_a_process_prints_what_it_measured() -> None:
    asked = argparse.Namespace(seconds=0.1, threads=1)
    row = growth.probe("4/1 tight", DISPATCHED, 0, asked)
    assert row["jobs"] == 4
    assert row["value"] == grown("4/1 tight", DISPATCHED, DayEffort(0.1, 0, 1)).value


def test_memory_that_was_taken_counts_though_it_was_given_back() -> None:
    before_mb = peak_mb()
    # More than the process had in all: it cannot come out of what it has freed.
    taken = bytearray(round((before_mb + 50) * 1_000_000))
    taken[::4096] = b"x" * len(taken[::4096])
    del taken
    assert peak_mb() >= before_mb + 50


def test_a_line_is_saved_on_only_where_faults_are_the_same() -> None:
    ours = _row(OURS, 80.0)
    assert _saving(ours, _row(DISPATCHED, 100.0)) == "20.00 %"
    assert _saving(ours, _row(DISPATCHED, 70.0, broken_locks=1)) == "fewer faults"


def _row(solver: str, eur: float, broken_locks: int = 0) -> dict[str, Any]:
    key = {
        "bench": "growth",
        "instance": "4/2 tight",
        "solver": solver,
        "seed": 0,
        "seconds": 1.0,
        "threads": 1,
    }
    costs = {"value": eur, "weighed_eur": eur, "left_out": 0, "broken_locks": broken_locks}
    return key | costs | {"jobs": 4, "work": 1, "wall_s": 1.0, "cpu_s": 1.0, "before_mb": 1.0, "peak_mb": 2.0}


def _saving(*rows: dict[str, Any]) -> str:
    (table,) = growth.tables(rows)
    return dict(zip(table.headings, table.lines[0], strict=True))["saving"]


def test_a_plot_has_a_named_line_a_solver_and_marks_that_say_their_value() -> None:
    series = [Series("one <way>", ((100, 50.0), (200, 100.0))), Series("another", ((100, 75.0), (200, 25.0)))]
    drawn = ET.fromstring(growth_plot(series))
    first, second = (line.attrib["points"].split() for line in drawn.findall(f"{SVG}polyline"))
    heights = [float(place.split(",")[1]) for place in (*first, *second)]
    # Downwards: the dearer, the smaller.
    assert heights[1] < heights[2] < heights[0] < heights[3]
    told = [title.text for title in drawn.iter(f"{SVG}title")]
    assert told[0] == "one <way>: 100 jobs, 50 €"
    assert {"one <way>", "another"} <= {text.text for text in drawn.iter(f"{SVG}text")}


@pytest.mark.parametrize(
    ("most", "step"), [(40_458.0, 10_000), (7.9, 1), (8.0, 2), (20_000.0, 5_000), (0.5, 0.1)]
)
def test_an_axis_is_marked_at_round_values(most: float, step: float) -> None:
    assert tick_step(most) == pytest.approx(step)


def test_dispatching_is_compared_on_days_without_locks_that_it_does_not_know() -> None:
    day = long_day("10/2 tight")
    assert [type(lock).__name__ for lock in day.problem.locks] == ["Started"]
    row = grown("10/2 tight", DISPATCHED, DayEffort(0.1, 0, 1))
    assert row.left_out == row.broken_locks == 0


def test_nothing_is_not_plotted() -> None:
    with pytest.raises(ValueError, match="nothing to plot"):
        growth_plot([])
