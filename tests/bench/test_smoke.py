"""Every benchmark runs through and says what it should, without any search worth the name."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import pytest

from app.contracts.sequences import Goal
from app.services import planning
from solver.account import account
from solver.baselines import as_entered
from solver.weights import Weights
from tests.bench import decode, line, start
from tests.bench.__main__ import BENCHES, main
from tests.bench.checked_sequences import WrongSequenceError, refuse_wrong
from tests.bench.day import DRAWN_DAYS, SAMPLE
from tests.bench.entry import OURS
from tests.bench.instances import Matrix
from tests.bench.start_probe import first_improvement
from tests.builders.days import one_line_day
from tests.published import br17

Rows = list[dict[str, Any]]

THREE_CITIES = ((9999, 1, 5), (5, 9999, 2), (3, 5, 9999))
BR17 = tuple(tuple(9999 if minutes is None else minutes for minutes in row) for row in br17.MATRIX)
BOOK_EXAMPLE = {
    "p": [13, 9, 13, 10],
    "d": [12, 37, 21, 22],
    "w": [2, 4, 2, 5],
    "init": [1, 1, 3, 4],
    "s": [[0, 4, 1, 3], [0, 0, 1, 0], [1, 2, 0, 3], [4, 3, 1, 0]],
    "opt": 98,
}
"""Pinedo's example of the dispatching rule with set-ups; see tests/published."""
SMALL = ("--seconds", "0.2", "--threads", "1")
LINE = ["line", "--only", "30 jobs, day 5", "--seeds", "2", *SMALL]


def _tsplib_text(name: str, rows: Matrix) -> str:
    head = f"NAME: {name}\nTYPE: ATSP\nDIMENSION: {len(rows)}\nEDGE_WEIGHT_TYPE: EXPLICIT\n"
    matrix = "\n".join(" ".join(map(str, row)) for row in rows)
    return f"{head}EDGE_WEIGHT_FORMAT: FULL_MATRIX\nEDGE_WEIGHT_SECTION\n{matrix}\nEOF\n"


def _rows(file: Path) -> Rows:
    found: Rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return found


def _ours(rows: Rows) -> Rows:
    return [row for row in rows if row["solver"] == OURS]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where this module's runs keep their rows."""
    return tmp_path_factory.mktemp("bench")


@pytest.fixture(scope="module")
def tours(folder: Path) -> Rows:
    """Rows of two published tours with two seeds."""
    cities = folder / "cities"
    cities.mkdir()
    for name, rows in (("three", THREE_CITIES), ("br17", BR17)):
        (cities / f"{name}.atsp").write_text(_tsplib_text(name, rows), encoding="ascii")
    main(["atsp", "--data", str(cities), "--seeds", "2", *SMALL, "--json", str(folder / "atsp.json")])
    return _rows(folder / "atsp.json")


@pytest.fixture(scope="module")
def late(folder: Path) -> Rows:
    """Rows of one small published instance with due times, ours and the peers'."""
    data = folder / "tardiness_data.json"
    data.write_text(json.dumps({"instances": {"1": BOOK_EXAMPLE}}), encoding="utf-8")
    asked = ("--data", str(data), "--seeds", "1", "--peers", *SMALL)
    main(["tardiness", *asked, "--json", str(folder / "tardiness.json")])
    return _rows(folder / "tardiness.json")


@pytest.fixture(scope="module")
def structured(folder: Path) -> Rows:
    """Rows of the smallest structured day, ours and the peers'."""
    asked = ("--only", "40/4/10/1", "--seeds", "1", "--peers", *SMALL)
    main(["structured", *asked, "--json", str(folder / "structured.json")])
    return _rows(folder / "structured.json")


@pytest.fixture(scope="module")
def tooling(folder: Path) -> Rows:
    """Rows of the smallest queue of tools with two seeds, and the peer's."""
    asked = ("--only", "any 10/10/4", "--seeds", "2", "--peers", *SMALL)
    main(["tooling", *asked, "--json", str(folder / "tooling.json")])
    return _rows(folder / "tooling.json")


@pytest.fixture(scope="module")
def queue(folder: Path) -> Rows:
    """Rows of the shortest queue of one line with two seeds."""
    main([*LINE, "--json", str(folder / "line.json")])
    return _rows(folder / "line.json")


@pytest.fixture(scope="module")
def days(folder: Path) -> Rows:
    """Rows of a run whose searches cost the two baselines and keep the better."""
    main(["day", "--work", "1", "--days", "1", "--json", str(folder / "day.json")])
    return _rows(folder / "day.json")


def test_every_tour_has_a_row_a_seed_that_is_not_below_its_optimum(tours: Rows) -> None:
    assert [(row["instance"], row["seed"]) for row in tours] == [
        *(("three", 0), ("three", 1)),
        *(("br17", 0), ("br17", 1)),
    ]
    assert all(row["optimum"] == 39 <= row["value"] for row in tours if row["instance"] == "br17")


def test_without_a_published_optimum_a_tour_stands_beside_the_best_seen(tours: Rows) -> None:
    assert [(row["value"], row["best_known"]) for row in tours if row["instance"] == "three"] == [(6, 6)] * 2


def test_rows_say_what_they_took_and_what_measured_them(tours: Rows, structured: Rows) -> None:
    for row in (*tours, *structured):
        assert row["wall_s"] >= 0
        assert row["cpu_s"] >= 0
        assert row["cores"] >= 1
        assert {"python", "numba", "ortools"} <= set(row["versions"])


def test_drawn_tours_need_no_file(folder: Path) -> None:
    main(["atsp", "--only", "crane 30", "--seeds", "1", *SMALL, "--json", str(folder / "drawn.json")])
    (row,) = _rows(folder / "drawn.json")
    assert (row["instance"], row["jobs"]) == ("crane 30", 30)
    assert "optimum" not in row


def test_peers_stand_beside_ours_where_lateness_counts(late: Rows) -> None:
    assert [row["solver"] for row in late] == [OURS, "CP-SAT, hinted", "routing library, one thread"]
    assert all(row["optimum"] == 98 <= row["value"] for row in late)


def test_peers_stand_beside_ours_on_structured_days(structured: Rows) -> None:
    assert [row["solver"] for row in structured] == [
        *(OURS, "CP-SAT", "CP-SAT, hinted"),
        "routing library, one thread",
    ]


def test_no_order_of_a_structured_day_is_below_its_bound(structured: Rows) -> None:
    for row in structured:
        assert row["bound"] <= row["best_known"]
        assert row["value"] is None or row["best_known"] <= row["value"]
    assert _ours(structured)[0]["value"] is not None


def test_tool_switches_stand_beside_the_best_known_and_a_bound(tooling: Rows) -> None:
    assert [(row["solver"], row["seed"]) for row in tooling] == [(OURS, 0), (OURS, 1), ("CP-SAT", 0)]
    for row in _ours(tooling):
        assert row["bound"] <= row["best_known"] <= row["value"]


def test_published_tools_stand_beside_their_optimum(folder: Path) -> None:
    entry = {
        "id": "three inks",
        "inputs": {"tools": [[1], [2, 3], [1, 2]], "capacity": 2},
        "expected": {"min_switches_first_load_free": 1},
    }
    data = folder / "tools.json"
    data.write_text(json.dumps({"checks": [entry, {"id": "another"}]}), encoding="utf-8")
    main(["tooling", "--data", str(data), "--seeds", "1", *SMALL, "--json", str(folder / "published.json")])
    (row,) = _rows(folder / "published.json")
    assert (row["instance"], row["optimum"], row["value"], row["bound"]) == ("three inks", 1, 1, 1)


def test_a_name_that_no_instance_has_is_refused() -> None:
    with pytest.raises(ValueError, match="no such instance: 41/4/10/1"):
        main(["structured", "--only", "41/4/10/1", *SMALL])
    with pytest.raises(ValueError, match="no such queue: any 11/10/4"):
        main(["tooling", "--only", "any 11/10/4", *SMALL])


def test_the_search_of_a_line_stands_beside_orders_nobody_searched_for(
    queue: Rows, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert [(row["solver"], row["seed"]) for row in queue] == [
        *((OURS, 0), (OURS, 1)),
        *((line.DISPATCHED, 0), (line.BY_DUE_TIME, 0), (line.AS_ENTERED, 0)),
    ]
    ours, _, dispatched, *baselines = (row["value"] for row in queue)
    assert ours <= dispatched <= min(baselines)
    assert {row["jobs"] for row in queue} == {30}
    capsys.readouterr()
    main(["report", str(folder / "line.json")])
    page = capsys.readouterr().out
    assert "### line" in page
    assert f"| {baselines[-1]:,.0f} | " in page


def test_a_queue_that_was_measured_is_not_searched_again(queue: Rows, folder: Path) -> None:
    main([*LINE, "--json", str(folder / "line.json")])
    assert _rows(folder / "line.json") == queue


def test_an_order_that_costs_something_else_than_was_said_ends_the_benchmark(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def bragging(asked: line.Asked) -> line.Found:
        found = line.searched(asked)
        return replace(found, eur=(found.eur or 0.0) - 1)

    monkeypatch.setitem(line.SOLVERS, OURS, bragging)
    with pytest.raises(WrongSequenceError, match=f"30 jobs, day 5, {OURS}: it costs .* as was said"):
        main(LINE)


def test_a_sequence_that_breaks_a_rule_is_refused() -> None:
    problem = one_line_day(5, 6)
    sequence = account(problem, as_entered(problem), Weights())
    refuse_wrong("six jobs", problem, sequence, Weights())
    wrong = replace(sequence, lines=(replace(sequence.lines[0], runs=sequence.lines[0].runs[1:]),))
    with pytest.raises(WrongSequenceError, match="six jobs: "):
        refuse_wrong("six jobs", problem, wrong, Weights())


@pytest.mark.usefixtures("tours", "late", "structured", "tooling", "days")
def test_the_report_has_every_command_and_its_tables(
    folder: Path, late: Rows, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    names = ("atsp", "tardiness", "structured", "tooling", "day")
    main(["report", *(str(folder / f"{name}.json") for name in names)])
    page = capsys.readouterr().out
    for name in names:
        assert f"### {name}" in page
    assert "`python -m tests.bench atsp --data cities --seeds 2 --seconds 0.2 --threads 1`" in page
    assert "| three | 3 | (best seen) 6 | 6 | 0.00 % | 0.00 % | 2 of 2 |" in page
    assert f"| 1 | 98 | {late[0]['value']} |" in page
    assert "beside general libraries" in page
    assert str(folder) not in page


def test_processes_are_measured_in_pairs_the_first_of_which_has_nothing_compiled(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    empty: list[bool] = []

    def measured_here(kernels: Path, seed: int, jobs: int, limit_s: float) -> dict[str, Any]:
        empty.append(not list(kernels.iterdir()))
        (kernels / "a kernel").touch()
        return asdict(first_improvement(jobs, seed, limit_s))

    monkeypatch.setattr(start, "probe", measured_here)
    asked = ["start", "--jobs", "6", "--seconds", "0.5", "--seeds", "2", "--json", str(folder / "start.json")]
    main(asked)
    rows = _rows(folder / "start.json")
    assert empty == [True, False] * 2
    assert [row["instance"] for row in rows] == [f"6 jobs, {kind}" for kind in (start.COLD, start.CACHED)] * 2
    for row in rows:
        assert 0 <= row["import_s"] <= row["first_s"]
        assert row["improved_s"] is None or row["first_s"] <= row["improved_s"]
        assert row["value"] == row["improved_s"]
    main(asked)
    assert len(empty) == 4


def test_decodes_are_counted_and_a_queue_that_was_measured_is_not_measured_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ["decode", "--runs", "8", "12", "--seconds", "0.001", "--seeds", "2"]
    asked += ["--json", str(folder / "decode.json")]
    main(asked)
    rows = _rows(folder / "decode.json")
    assert [(row["runs"], row["seed"]) for row in rows] == [(8, 0), (8, 1), (12, 0), (12, 1)]
    assert all(row["value"] > 0 for row in rows)
    monkeypatch.setattr(decode, "one_line_day", lambda *asked: pytest.fail("measured again"))
    main(asked)


def test_a_day_that_was_measured_is_not_planned_again(
    days: Rows, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning, "plan", lambda *asked, **limits: pytest.fail("planned again"))
    main(["day", "--work", "1", "--days", "1", "--json", str(folder / "day.json")])
    assert _rows(folder / "day.json") == days


def test_every_day_has_a_row_with_its_saving_on_the_better_baseline(days: Rows) -> None:
    of_days = [row for row in days if "day" in row]
    assert [row["day"] for row in of_days] == [SAMPLE, f"drawn {DRAWN_DAYS[0][0]}"]
    for row in of_days:
        better_eur = min(row["as_entered_eur"], row["by_due_time_eur"])
        assert row["saving"] == pytest.approx(1 - row["balanced_eur"] / better_eur)


def test_a_days_saving_is_told_without_late_costs_too(days: Rows) -> None:
    for row in (row for row in days if "day" in row):
        entered_eur = row["as_entered_eur"] - row["as_entered_late_eur"]
        by_due_eur = row["by_due_time_eur"] - row["by_due_time_late_eur"]
        own_eur = row["balanced_eur"] - row["late_eur"]
        assert row["saving_without_late"] == pytest.approx(1 - own_eur / min(entered_eur, by_due_eur))


def test_no_order_is_above_a_baseline(days: Rows) -> None:
    assert all(row["saving"] >= 0 for row in days if "day" in row)


def test_every_goal_is_tried_on_the_sample_day(days: Rows) -> None:
    assert sorted(row["goal"] for row in days if "goal" in row) == sorted(Goal)


def test_the_balanced_goal_has_the_sample_days_own_figures(days: Rows) -> None:
    day = next(row for row in days if row.get("day") == SAMPLE)
    goal = next(row for row in days if row.get("goal") == Goal.BALANCED)
    assert goal["controllable_eur"] == day["balanced_eur"]
    assert goal["waste_m"] == day["waste_m"]


OFTEN = {"hosts": "--rounds", "capacity": "--requests"}
"""What says how often something is measured, where it is not `--seeds`."""


def _options(bench: str) -> Iterator[str]:
    yield from ("--seconds", OFTEN.get(bench, "--seeds"), "--json")
    if bench in ("atsp", "tardiness", "structured", "tooling"):
        yield from ("--threads", "--peers", "--only")
    if bench == "line":
        yield from ("--threads", "--only")


@pytest.mark.parametrize("bench", sorted(BENCHES))
def test_every_benchmark_says_what_it_can_be_asked_for(
    bench: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main([bench, "--help"])
    told = capsys.readouterr().out
    assert all(option in told for option in _options(bench))
