"""What figures are held against: published files, a proven bound, the best orders known."""

from __future__ import annotations

import json
import zipfile
from itertools import permutations
from pathlib import Path

import pytest

from tests.bench import best_known, tool_queues, tooling
from tests.bench.atsp import OPTIMA, published
from tests.bench.best_known import keep_if_better
from tests.bench.drawn_tours import drawn
from tests.bench.due_dates import NotInstancesError, published_instances
from tests.bench.instances import Instance, value_of
from tests.bench.kept_orders import Best, StaleReferenceError
from tests.bench.press_days import DAYS, press_day
from tests.bench.round_trips import least_round_trip
from tests.bench.tsplib import NotTsplibError, instance_of, tour_instances
from tests.published import br17

TEXT = """NAME:  small
TYPE: ATSP
COMMENT: rows wrapped where it suits
DIMENSION:  3
EDGE_WEIGHT_TYPE: EXPLICIT
EDGE_WEIGHT_FORMAT: FULL_MATRIX 
EDGE_WEIGHT_SECTION
 9999 1
 5 5 9999 2
 3 4 9999
EOF
"""
TOUR = tuple(tuple(minutes or 0 for minutes in row) for row in br17.MATRIX)


def test_a_text_is_read_wherever_its_rows_are_wrapped() -> None:
    instance = instance_of(TEXT)
    assert (instance.name, instance.closed) == ("small", True)
    assert instance.setup == ((9999, 1, 5), (5, 9999, 2), (3, 4, 9999))
    assert value_of(instance, (0, 1, 2)) == 6


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ("TYPE: ATSP", "TYPE: TSP", "small: TYPE must be ATSP, is TSP"),
        ("FULL_MATRIX ", "UPPER_ROW", "EDGE_WEIGHT_FORMAT must be FULL_MATRIX, is UPPER_ROW"),
        ("EDGE_WEIGHT_TYPE: EXPLICIT\n", "", "EDGE_WEIGHT_TYPE must be EXPLICIT, is missing"),
        (" 3 4 9999\n", "", "a matrix of 3 rows is 9 numbers, not 6"),
        ("DIMENSION:  3", "DIMENSION: 0", "a matrix of 0 rows"),
    ],
)
def test_a_text_of_another_kind_is_refused(before: str, after: str, told: str) -> None:
    assert before in TEXT
    with pytest.raises(NotTsplibError, match=told):
        instance_of(TEXT.replace(before, after))


def test_instances_come_from_a_file_a_folder_or_an_archive(tmp_path: Path) -> None:
    file, archive = tmp_path / "small.atsp", tmp_path / "library.whl"
    file.write_text(TEXT, encoding="ascii")
    with zipfile.ZipFile(archive, "w") as wheel:
        wheel.writestr("deep/inside/small.atsp", TEXT)
        wheel.writestr("deep/inside/other.tsp", "not read")
    assert tour_instances(file) == tour_instances(archive) == tour_instances(tmp_path) == [instance_of(TEXT)]


@pytest.mark.parametrize("name", ["crane 30", "wind 30"])
def test_a_drawn_tour_is_the_same_again_and_its_reverse_is_another_length(name: str) -> None:
    instance = drawn(name)
    order = tuple(range(instance.jobs))
    assert instance == drawn(name)
    assert abs(value_of(instance, order) - value_of(instance, order[::-1])) > 0.01 * value_of(instance, order)


def test_a_place_without_instances_is_refused(tmp_path: Path) -> None:
    with pytest.raises(NotTsplibError, match=r"holds no file that ends in \.atsp"):
        tour_instances(tmp_path)


def test_a_published_instance_has_its_optimum_and_a_strange_one_has_none(tmp_path: Path) -> None:
    for name in ("ftv33", "small"):
        (tmp_path / f"{name}.atsp").write_text(TEXT.replace("small", name), encoding="ascii")
    assert {instance.name: instance.optimum for instance in published(tmp_path)} == {
        "ftv33": OPTIMA["ftv33"],
        "small": None,
    }


def test_instances_with_due_times_are_read_with_or_without_an_optimum(tmp_path: Path) -> None:
    file = tmp_path / "late.json"
    fields = {"p": [3, 4], "w": [1, 2], "d": [0, 5], "init": [1, 1], "s": [[0, 2], [6, 0]]}
    file.write_text(json.dumps({"instances": {"a": fields | {"opt": 9}, "b": fields}}), encoding="utf-8")
    first, second = published_instances(file)
    assert (first.name, first.optimum, second.optimum) == ("a", 9, None)
    assert value_of(first, (0, 1)) == 4 + 2 * 5
    assert value_of(first, (1, 0)) == 14


def test_a_file_without_instances_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "empty.json"
    file.write_text("{}", encoding="utf-8")
    with pytest.raises(NotInstancesError, match="nothing under `instances`"):
        published_instances(file)


def test_lateness_is_not_bounded_by_set_ups() -> None:
    late = Instance("late", ((0, 1), (1, 0)), process=(1, 1), due=(1, 1), weight=(1, 1))
    with pytest.raises(ValueError, match="this bounds set-ups, not lateness"):
        least_round_trip(late)


def test_the_best_known_orders_of_all_structured_days_cost_what_is_kept() -> None:
    """Reading costs every order again and refuses a value that is not its own."""
    assert sorted(best_known.read()) == sorted(DAYS)


def test_only_a_better_order_replaces_the_best_known(tmp_path: Path) -> None:
    file = tmp_path / "best.json"
    day = press_day("5/2/3/1")
    by_value = sorted(permutations(range(5)), key=lambda order: value_of(day, order))
    worst, middle, best = by_value[-1], by_value[60], by_value[0]
    assert value_of(day, worst) > value_of(day, middle) > value_of(day, best)
    for order, kept in ((middle, True), (worst, False), (middle, False), (best, True)):
        assert keep_if_better(day, Best(value_of(day, order), "a test", order), file) is kept
    assert best_known.read(file) == {"5/2/3/1": Best(value_of(day, best), "a test", best)}


def test_a_kept_order_that_no_longer_costs_its_value_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "best.json"
    file.write_text(
        json.dumps({"3/1/1/0": {"value": 1, "found_by": "a test", "order": "0 1 2"}}), encoding="utf-8"
    )
    with pytest.raises(StaleReferenceError, match="3/1/1/0 costs"):
        best_known.read(file)


def test_the_best_known_orders_of_all_queues_of_tools_take_what_is_kept() -> None:
    """Reading counts the switches of every order again and refuses a number that is not its own."""
    assert sorted(tooling.read_best_known()) == sorted(tool_queues.QUEUES)


def test_only_an_order_of_fewer_switches_replaces_the_best_known(tmp_path: Path) -> None:
    file = tmp_path / "best.json"
    queue = tool_queues.drawn("any 6/9/5")
    by_value = sorted(permutations(range(6)), key=lambda order: tool_queues.switches_of(queue, order))
    worst, best = by_value[-1], by_value[0]
    assert tool_queues.switches_of(queue, worst) > tool_queues.switches_of(queue, best)
    for order, kept in ((worst, True), (best, True), (best, False), (worst, False)):
        entry = Best(tool_queues.switches_of(queue, order), "a test", order)
        assert tooling.keep_if_better(queue, entry, file) is kept
    assert tooling.read_best_known(file)[queue.name].order == best
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace('"value": ', '"value": 1'), encoding="utf-8")
    with pytest.raises(StaleReferenceError, match="any 6/9/5 takes"):
        tooling.read_best_known(file)


def test_queues_of_tools_are_drawn_as_their_name_says() -> None:
    queue = tool_queues.drawn("any 12/20/6")
    assert queue == tool_queues.drawn("any 12/20/6")
    assert len(queue.needs) == 12
    assert all(1 <= len(needs) <= 6 and max(needs) < 20 for needs in queue.needs)
    inks = tool_queues.drawn("inks 50/20/4")
    assert {len(needs) for needs in inks.needs} == {1, 2, 3}
    with pytest.raises(ValueError, match="a recipe is `any` or `inks`, not `some`"):
        tool_queues.drawn("some 12/20/6")


def test_a_file_without_tools_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "checks.json"
    file.write_text('{"checks": [{"inputs": {"tools": 3}}]}', encoding="utf-8")
    with pytest.raises(tool_queues.NotToolQueuesError, match="no entry of `checks` has tools"):
        tool_queues.published(file)
