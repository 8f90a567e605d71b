"""What a benchmark counts: orders are checked and costed anew, and a row is measured once."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from solver.search.matrix import MatrixResult
from tests.bench import entry
from tests.bench.dispatching import dispatched
from tests.bench.due_dates import drawn_instances
from tests.bench.instances import Instance, NotAnOrderError, Order, value_of
from tests.bench.press_days import DAYS, PressJob, press_day, setup_min
from tests.bench.results import results
from tests.bench.round_trips import order_of, round_trip, successors_of
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.tables import FigureTable
from tests.bench.trials import Effort, Solver, TooGoodError, Trial, run_trials
from tests.published import br17

TOUR = Instance(
    "br17", tuple(tuple(minutes or 0 for minutes in row) for row in br17.MATRIX), closed=True, optimum=39
)
PATH = Instance("br17 open", TOUR.setup)
LATE = Instance(
    "four jobs",
    setup=((0, 4, 1, 3), (0, 0, 1, 0), (1, 2, 0, 3), (4, 3, 1, 0)),
    initial=(1, 1, 3, 4),
    process=(13, 9, 13, 10),
    due=(12, 37, 21, 22),
    weight=(2, 4, 2, 5),
)
"""Pinedo's example of the dispatching rule with set-ups; see tests/published."""


def _from_one(*jobs: int) -> Order:
    return tuple(job - 1 for job in jobs)


BEST_TOUR = _from_one(1, 12, 17, 9, 8, 5, 4, 16, 15, 7, 6, 13, 11, 10, 2, 14, 3)
BEST_PATH = _from_one(5, 4, 16, 15, 7, 6, 17, 9, 8, 12, 1, 13, 11, 10, 2, 14, 3)


def _trial(order: Order | None, seconds: float = 1.0, seed: int = 0) -> Trial:
    return Trial(Solver("known order", lambda instance, effort: order), TOUR, Effort(seconds, seed, 1))


def _run(file: RowFile, *trials: Trial) -> list[JsonRow]:
    run_trials("tours", trials, file, lambda line: None)
    return file.rows


@pytest.mark.parametrize(
    ("instance", "order", "value"),
    [
        (TOUR, BEST_TOUR, 39),
        (PATH, BEST_PATH, 25),
        (LATE, _from_one(2, 4, 3, 1), 98),
        (LATE, _from_one(4, 2, 1, 3), 118),
    ],
)
def test_published_orders_cost_what_is_published(instance: Instance, order: Order, value: int) -> None:
    assert value_of(instance, order) == value


@pytest.mark.parametrize("order", [(0, 1, 2), (0, 1, 2, 2), (0, 1, 2, 4), (0, 1, 2, 3, 0)])
def test_an_order_without_every_job_once_is_refused(order: Order) -> None:
    with pytest.raises(NotAnOrderError, match="four jobs: not every job once"):
        value_of(LATE, order)


def test_a_row_has_the_value_that_the_order_costs() -> None:
    (row,) = _run(RowFile(None, ""), _trial(BEST_TOUR))
    assert (row["value"], row["optimum"]) == (39, 39)


def test_a_solver_that_hands_back_no_permutation_gets_no_row() -> None:
    file = RowFile(None, "")
    with pytest.raises(NotAnOrderError):
        _run(file, _trial(BEST_TOUR[1:]))
    assert file.rows == []


@pytest.mark.parametrize("instance", [replace(TOUR, optimum=40), replace(TOUR, optimum=None, bound=40)])
def test_an_order_below_what_is_proved_is_an_error(instance: Instance) -> None:
    with pytest.raises(TooGoodError, match="an order costs 39, though 40 is proved"):
        _run(RowFile(None, ""), replace(_trial(BEST_TOUR), instance=instance))


def test_a_solver_without_an_order_gets_a_row_without_a_value() -> None:
    (row,) = _run(RowFile(None, ""), _trial(None))
    assert row["value"] is None


def test_a_search_that_tells_a_wrong_value_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        entry, "order_matrix", lambda *asked: MatrixResult(BEST_TOUR, value=38, work=1, elapsed_s=0.0)
    )
    with pytest.raises(entry.WrongValueError, match="costs 39 is said to cost 38"):
        entry.searched(TOUR, seconds=0.1, seed=0, threads=1)


def test_a_row_in_the_file_is_not_measured_again(tmp_path: Path) -> None:
    def again(instance: Instance, effort: Effort) -> Order:
        pytest.fail("measured again")

    path = tmp_path / "rows.json"
    first = _run(RowFile(path, "the command"), _trial(BEST_TOUR), _trial(BEST_TOUR, seed=1))
    resumed = RowFile(path, "the command")
    assert resumed.rows == first
    _run(resumed, Trial(Solver("known order", again), TOUR, Effort(1.0, 1, 1)))
    assert resumed.rows == first


@pytest.mark.parametrize(
    "trial",
    [
        _trial(BEST_TOUR, seconds=2.0),
        _trial(BEST_TOUR, seed=1),
        Trial(Solver("known order", lambda instance, effort: BEST_TOUR), TOUR, Effort(1.0, 0, 2)),
        Trial(Solver("another", lambda instance, effort: BEST_TOUR), TOUR, Effort(1.0, 0, 1)),
        Trial(Solver("known order", lambda instance, effort: BEST_PATH), PATH, Effort(1.0, 0, 1)),
    ],
)
def test_another_effort_seed_solver_or_instance_is_measured(tmp_path: Path, trial: Trial) -> None:
    path = tmp_path / "rows.json"
    _run(RowFile(path, ""), _trial(BEST_TOUR))
    assert len(_run(RowFile(path, ""), trial)) == 2


def test_the_file_is_complete_after_every_row(tmp_path: Path) -> None:
    path = tmp_path / "rows.json"

    def looks_first(instance: Instance, effort: Effort) -> Order:
        kept = json.loads(path.read_text(encoding="utf-8"))
        assert (len(kept["rows"]), kept["commands"]) == (1, ["the command"])
        return BEST_TOUR

    file = RowFile(path, "the command")
    _run(file, _trial(BEST_TOUR), Trial(Solver("another", looks_first), TOUR, Effort(1.0, 0, 1)))
    assert len(file.rows) == 2


def test_the_goal_without_an_optimum_is_the_least_value_of_all_rows() -> None:
    def row(solver: str, seed: int, value: int | None) -> JsonRow:
        times = {"wall_s": 1.0, "cpu_s": 1.0}
        return {"instance": "i", "solver": solver, "seed": seed, "value": value, "jobs": 3, **times}

    first, second, third = results(
        [row("a", 0, 12), row("a", 1, 14), row("a", 2, 13), row("b", 0, 10), row("c", 0, None)]
    )
    assert (first.goal, first.median, first.worst, first.reached) == (10, 13, 14, 0)
    assert first.median_gap == pytest.approx(0.3)
    assert (second.median_gap, second.reached) == (0, 1)
    assert third.median == float("inf")


@pytest.mark.parametrize("instance", [TOUR, PATH, LATE])
def test_an_order_survives_the_way_there_and_back_as_a_round_trip(instance: Instance) -> None:
    order = (0, *reversed(range(1, instance.jobs)))
    assert order_of(instance, successors_of(instance, order)) == order


def test_a_round_trip_is_as_long_as_its_order() -> None:
    for instance, order in ((TOUR, BEST_TOUR), (PATH, BEST_PATH)):
        lengths = round_trip(instance)
        assert sum(lengths[tail][head] for tail, head in successors_of(instance, order).items()) == value_of(
            instance, order
        )


def test_dispatching_takes_the_nearest_job_where_set_ups_alone_count() -> None:
    instance = Instance("i", ((0, 9, 2), (1, 0, 5), (3, 4, 0)), initial=(7, 8, 6))
    assert dispatched(instance) == (2, 0, 1)


def test_dispatching_by_due_times_takes_what_is_urgent_and_dear_first() -> None:
    setup = ((0, 1, 1), (1, 0, 1), (1, 1, 0))
    alike = Instance("i", setup, (1, 1, 1), process=(10, 10, 10), due=(0, 0, 0), weight=(1, 3, 2))
    assert dispatched(alike) == (1, 2, 0)
    assert dispatched(replace(alike, due=(90, 10, 50), weight=(1, 1, 1))) == (1, 2, 0)


@pytest.mark.parametrize("name", DAYS)
def test_a_structured_day_has_the_jobs_of_its_name_and_is_the_same_again(name: str) -> None:
    assert press_day(name).jobs == int(name.split("/")[0])
    assert press_day(name) == press_day(name)


def test_the_lighter_ink_after_the_darker_costs_more_than_the_reverse() -> None:
    light, dark = (PressJob(substrate=0, die=0, drier=0, inks=(ink,), own_min=4) for ink in (0, 3))
    assert setup_min(dark, light) == 4 + 16
    assert setup_min(light, dark) == 4 + 2


def test_every_part_of_a_structured_set_up_counts() -> None:
    job = PressJob(substrate=0, die=0, drier=0, inks=(1, None), own_min=5)
    other = PressJob(substrate=1, die=4, drier=3, inks=(None, 2), own_min=2)
    assert setup_min(job, job) == 5
    assert setup_min(job, other) == 2 + (18 + 8) + 7 + 2 + (3 + 7)
    assert setup_min(other, job) == 5 + (18 + 8) + 7 + 3 + (7 + 3)


def test_drawn_due_times_cover_every_shape_and_are_the_same_again() -> None:
    instances = drawn_instances(jobs=8)
    assert len({instance.name for instance in instances}) == 12
    assert instances == drawn_instances(jobs=8)
    tight = [sum(instance.due) for instance in instances if "τ 0.9" in instance.name]
    loose = [sum(instance.due) for instance in instances if "τ 0.3" in instance.name]
    assert max(tight) < min(loose)


def test_a_table_is_markdown_with_its_notes() -> None:
    table = FigureTable("A title", ("name", "value"), (("a|b", "1"),), ("A note.",))
    assert table.markdown() == "**A title**\n\n| name | value |\n| --- | ---: |\n| a\\|b | 1 |\n\nA note."
