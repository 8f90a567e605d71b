"""A plant as the kernels read it: how orders become numbers and back, what is split, which tools count."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.feasibility import station_choices
from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together
from solver.lots import cuts, total_labels
from solver.plant import LoadedStation, PresentState
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search import compile as compiling
from solver.search.compile import CompiledPlant, compiled_line, spread
from solver.search.slots import scarce_tools
from solver.search.walk_room import lock_tables
from solver.sequence import Lot, Order, Placement
from solver.weights import Weights
from tests.builders.days import MIN_MS, DayShape, drawn_day, drawn_lots
from tests.builders.drawn_locks import under_drawn_locks
from tests.builders.plant_orders import drawn_plant_numbers
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
SHAPE = DayShape(jobs=10, lines=2, closures=False, limited_stock=False, splits=True)
STARTED_TIMES_MS = (-20 * MIN_MS, -5 * MIN_MS, 30 * MIN_MS)


def split_day(*locks: Lock) -> Problem:
    """Ten jobs on two lines, all of which may run on both and be split, at one or two station choices."""
    free = drawn_day(12, SHAPE)
    wide = tuple(
        replace(line, web_width_um=330_000, print_width_um=330_000, max_reel_diameter_um=None)
        for line in free.plant.lines
    )
    dies = tuple(replace(die, max_liner_um=None) for die in free.plant.dies)
    jobs = tuple(replace(job, least_lot=1) for job in free.jobs)
    return Problem(replace(free.plant, lines=wide, dies=dies), jobs, locks)


def with_choices(problem: Problem) -> int:
    """A job with a choice of stations on the first line."""
    return next(job for job in range(len(problem.jobs)) if len(station_choices(problem, 0, job)) > 1)


def placed(
    problem: Problem, line_idx: int, job_idx: int, choice: int = 0, lot: Lot | None = None
) -> Placement:
    return Placement(job_idx, station_choices(problem, line_idx, job_idx)[choice], lot)


def halves(problem: Problem, job_idx: int) -> tuple[Lot, Lot]:
    cut = cuts(problem, job_idx)[0]
    return Lot(0, cut), Lot(cut, total_labels(problem, job_idx))


def taken(compiled: CompiledPlant, order: Order) -> Order:
    """What becomes of an order that goes to the kernels and back."""
    return compiled.order(compiled.numbers(order))


@examples(25)
@given(SEEDS, st.integers(1, 3))
def test_an_order_that_is_looked_at_comes_back_from_its_numbers(seed: int, lines: int) -> None:
    day = under_drawn_locks(drawn_day(seed, DayShape(jobs=9, lines=lines, splits=True)), seed)
    compiled = CompiledPlant(day, Weights())
    numbers = drawn_plant_numbers(compiled, random.Random(seed))
    order = compiled.order(numbers)
    assert compiled.numbers(order).tolist() == numbers.tolist()
    assert compiled.order(compiled.numbers(order)) == order


@examples(25)
@given(SEEDS)
def test_whatever_an_order_splits_every_job_it_places_is_placed_once(seed: int) -> None:
    day = drawn_day(seed, SHAPE)
    compiled = CompiledPlant(day, Weights())
    order = drawn_lots(day, seed)
    sequence = account(day, taken(compiled, order), Weights())
    assert {run.job_idx for run in sequence.runs} == {each.job_idx for line in order for each in line}
    assert sequence.left_out == account(day, order, Weights()).left_out


def test_a_started_run_stands_before_every_order_and_has_no_number_in_it() -> None:
    day = split_day(Started("j3", "line-2", *STARTED_TIMES_MS))
    compiled = CompiledPlant(day, Weights())
    begun = placed(day, 1, 3)
    order = ((placed(day, 0, 1),), (begun, placed(day, 1, 0)))
    assert compiled.line_numbers(compiled.numbers(order))[1].tolist() == [compiled.lines[1].job_plans[0, 0]]
    assert taken(compiled, order) == order
    assert taken(compiled, (order[0], order[1][1:])) == order


def test_a_started_run_is_not_placed_again_at_other_stations() -> None:
    day = split_day()
    job_idx = with_choices(day)
    started = Started(day.jobs[job_idx].id, "line-1", *STARTED_TIMES_MS)
    compiled = CompiledPlant(Problem(day.plant, day.jobs, (started,)), Weights())
    other = placed(day, 0, job_idx, choice=1)
    assert taken(compiled, ((other,), ())) == ((placed(day, 0, job_idx),), ())


def test_for_stations_not_looked_at_others_of_the_line_stand(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiling, "MOST_CHOICES", 1)
    day = split_day()
    job_idx = with_choices(day)
    order = ((placed(day, 0, job_idx, choice=1),), ())
    assert taken(CompiledPlant(day, Weights()), order) == ((placed(day, 0, job_idx),), ())


def test_lots_at_stations_not_looked_at_stay_lots(monkeypatch: pytest.MonkeyPatch) -> None:
    """They once became the whole job, twice."""
    monkeypatch.setattr(compiling, "MOST_CHOICES_OF_LOTS", 1)
    day = split_day()
    job_idx = with_choices(day)
    first, second = halves(day, job_idx)
    order = ((placed(day, 0, job_idx, 1, second), placed(day, 0, job_idx, 1, first)), ())
    looked_at = ((placed(day, 0, job_idx, 0, second), placed(day, 0, job_idx, 0, first)), ())
    assert taken(CompiledPlant(day, Weights()), order) == looked_at


def test_what_a_lock_keeps_on_another_line_goes_there_in_its_lots() -> None:
    day = split_day(OnLine("j2", "line-2"))
    first, second = halves(day, 2)
    order = ((placed(day, 0, 2, lot=first),), (placed(day, 1, 1), placed(day, 1, 2, lot=second)))
    back = taken(CompiledPlant(day, Weights()), order)
    assert back[0] == ()
    assert sorted(each.lot for each in back[1] if each.lot is not None) == [first, second]


def test_a_job_cut_as_the_search_does_not_is_whole_where_its_first_lot_stood() -> None:
    day = split_day()
    total = total_labels(day, 2)
    assert 7 not in cuts(day, 2)
    for bounds in ((7,), (total // 2, total - 3)):
        lots = [Lot(*pair) for pair in zip((0, *bounds), (*bounds, total), strict=True)]
        order = (
            (placed(day, 0, 1), placed(day, 0, 2, lot=lots[-1]), placed(day, 0, 0)),
            tuple(placed(day, 1, 2, lot=lot) for lot in lots[:-1]),
        )
        whole = ((placed(day, 0, 1), placed(day, 0, 2), placed(day, 0, 0)), ())
        assert taken(CompiledPlant(day, Weights()), order) == whole


def test_second_lots_are_items_behind_the_jobs() -> None:
    day = split_day(Before("j4", "j5"))
    compiled = CompiledPlant(day, Weights())
    seconds = [compiled.second_lot(job_idx) for job_idx in compiled.splittable]
    assert seconds == list(range(len(day.jobs), compiled.items))
    first, second = halves(day, 2)
    items = [compiled.item(placed(day, 0, 2, lot=lot)) for lot in (None, first, second)]
    assert items == [2, 2, compiled.second_lot(2)]
    assert [compiled.cut(placed(day, 0, 2, lot=lot)) for lot in (None, first, second)] == [0, 1, 1]


def test_the_plans_of_an_item_are_its_own() -> None:
    compiled = CompiledPlant(split_day(), Weights())
    for line in compiled.lines:
        for item, by_cut in enumerate(line.item_plans.tolist()):
            for cut, (first, last) in enumerate(by_cut):
                placements = [line.plans[number].placement for number in range(first, last)]
                assert {(compiled.item(each), compiled.cut(each)) for each in placements} <= {(item, cut)}
        assert line.tables.plans["item"].tolist() == [compiled.item(plan.placement) for plan in line.plans]


@pytest.mark.parametrize(
    "lock",
    [
        Before("j2", "j5"),
        Before("j5", "j2"),
        FixedStart("j2", 60 * MIN_MS),
        AtPosition("j2", 1),
        Together(("j1", "j2")),
        Started("j2", "line-1", *STARTED_TIMES_MS),
    ],
    ids=str,
)
def test_a_job_under_a_lock_on_its_place_or_time_is_not_split(lock: Lock) -> None:
    assert 2 in CompiledPlant(split_day(), Weights()).splittable
    assert 2 not in CompiledPlant(split_day(lock), Weights()).splittable


def test_a_job_that_is_kept_on_a_line_may_be_split_there() -> None:
    compiled = CompiledPlant(split_day(OnLine("j2", "line-2")), Weights())
    assert compiled.splittable[2] == cuts(compiled.problem, 2)
    for item in (2, compiled.second_lot(2)):
        first, second = (line.item_plans[item, 1:] for line in compiled.lines)
        assert (first[:, 0] == first[:, 1]).all()
        assert (second[:, 0] < second[:, 1])[: len(compiled.splittable[2])].all()


def test_a_job_without_a_least_lot_or_too_small_for_two_is_not_split() -> None:
    day = split_day()
    total = total_labels(day, 2)
    for least_lot, splits in ((None, False), (total, False), (total // 2 + 1, False), (total // 3, True)):
        jobs = tuple(replace(job, least_lot=least_lot) if job.id == "j2" else job for job in day.jobs)
        assert (2 in CompiledPlant(Problem(day.plant, jobs), Weights()).splittable) == splits


def test_locks_have_room_for_lots() -> None:
    """Second lots under locks were once written behind the table."""
    compiled = CompiledPlant(split_day(AtPosition("j1", 1)), Weights())
    assert len(lock_tables(compiled).lock_places) == compiled.items > len(compiled.problem.jobs)


def test_choices_are_spread_over_all_of_them_with_the_first() -> None:
    every = [(number,) for number in range(10)]
    assert spread(every, 4) == [(0,), (3,), (6,), (9,)]
    assert spread(every, 10) == spread(every, 99) == every
    assert spread([], 4) == []


def test_only_a_plant_of_one_line_is_a_line() -> None:
    with pytest.raises(ValueError, match="one line is wanted, the plant has 2"):
        compiled_line(split_day(), Weights())


class TestScarceTools:
    """Which dies and cylinders ever have to be taken from where they stand."""

    DIE = "die d0"

    def day(self, copies: int, present: PresentState | None = None) -> Problem:
        """Two lines with one die station each; j0 and j1 are cut by one die, of which there are so many."""
        day = split_day()
        lines = tuple(
            replace(line, present=present if present and not line_idx else PresentState())
            for line_idx, line in enumerate(day.plant.lines)
        )
        plant = replace(
            day.plant,
            lines=lines,
            dies=tuple(replace(die, copies=copies) for die in day.plant.dies),
            cylinders=tuple(replace(cylinder, copies=None) for cylinder in day.plant.cylinders),
        )
        return Problem(plant, tuple(replace(job, die="d0") for job in day.jobs[:2]))

    def scarce(self, day: Problem, *placements: Placement) -> list[str]:
        scheduler = Scheduler(day, Weights())
        plans = [scheduler.plan(line_idx, each) for line_idx in range(2) for each in placements]
        return list(scarce_tools(day, range(2), plans))

    def test_a_tool_that_two_jobs_need_on_two_lines_is_scarce(self) -> None:
        day = self.day(1)
        [key] = self.scarce(day, placed(day, 0, 0), placed(day, 0, 1))
        assert "d0" in key

    def test_one_with_a_copy_for_every_place_is_not(self) -> None:
        day = self.day(2)
        assert self.scarce(day, placed(day, 0, 0), placed(day, 0, 1)) == []

    def test_nor_is_one_that_a_single_job_needs(self) -> None:
        day = self.day(1)
        assert self.scarce(day, placed(day, 0, 0)) == []

    def test_but_it_is_where_that_job_may_be_split(self) -> None:
        day = self.day(1)
        lots = [placed(day, 0, 0, lot=lot) for lot in halves(day, 0)]
        assert len(self.scarce(day, placed(day, 0, 0), *lots)) == 1

    def test_and_where_it_stands_somewhere(self) -> None:
        day = self.day(1, PresentState(loaded=(LoadedStation("die", {"die": "d0"}),)))
        assert len(self.scarce(day, placed(day, 0, 0))) == 1

    def test_a_plant_shares_what_is_scarce_on_its_lines(self) -> None:
        day = self.day(1)
        [key] = CompiledPlant(day, Weights()).shared
        assert "d0" in key
        whole = tuple(replace(job, least_lot=None) for job in day.jobs)
        assert CompiledPlant(Problem(day.plant, whole[:1]), Weights()).shared == {}
        assert len(CompiledPlant(Problem(day.plant, whole), Weights()).shared) == 1
