"""Split jobs, worked by hand: what a lot makes, how a job may be split, when it is late, what locks say.

On line H a label takes 1/24 m and the web runs at 50 m/min: 4,800 labels are 200 m and 4 minutes. The
first run of the plan is run out, 2.05 minutes and 11 m; another die takes 4.825 minutes and 6.5 m.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from solver.account import account
from solver.jobs import Job, Version
from solver.lock_conflicts import conflicting_locks
from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Together
from solver.lots import cuts, fitted, gaps, lot_faults, lot_parts, lot_step, total_labels
from solver.measures import measure
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import LeftOut, Lot, Placement, Sequence
from solver.weights import Weights
from tests.builders.worked import M_UM, MIN_MS, WEB_UM, worked_job, worked_line, worked_plant
from tests.checker import check_sequence

STATIONS = (2, 4)
SPLIT = replace(worked_job("split"), least_lot=1_000)
FIRST, REST = Lot(0, 4_800), Lot(4_800, 12_000)
OTHER = worked_job("other", "die")


def problem_of(*jobs: Job, locks: tuple[Lock, ...] = (), fits: tuple[str, ...] = ("H",)) -> Problem:
    plant = replace(worked_plant(worked_line("H")), lines=tuple(worked_line(fit) for fit in fits))
    return Problem(plant, jobs, locks)


def costed(problem: Problem, *lines: tuple[Placement, ...], weights: Weights | None = None) -> Sequence:
    """The account, which the independent checker must find right."""
    sequence = account(problem, lines, weights or Weights())
    assert check_sequence(problem, sequence, weights or Weights()) == []
    return sequence


def apart(problem: Problem) -> Sequence:
    """One lot, the other job, the other lot."""
    return costed(
        problem, (Placement(0, STATIONS, FIRST), Placement(1, STATIONS), Placement(0, STATIONS, REST))
    )


def test_every_lot_has_its_own_set_up_web_and_time() -> None:
    runs = apart(problem_of(SPLIT, OTHER)).runs
    assert [run.web_um for run in runs] == [200 * M_UM, 500 * M_UM, 300 * M_UM]
    assert [run.changeover.duration_ms if run.changeover else 0 for run in runs] == [
        123_000,
        289_500,
        289_500,
    ]
    assert [run.run_ms for run in runs] == [4 * MIN_MS, 10 * MIN_MS, 6 * MIN_MS]
    assert runs[-1].end_ms == round(31.7 * MIN_MS)


def test_a_lot_makes_only_the_versions_it_holds_labels_of() -> None:
    versions = (Version("red", 5_000), Version("green", 3_000), Version("blue", 4_000))
    problem = problem_of(replace(SPLIT, versions=versions), OTHER)
    made = [
        [(version.version, version.target) for version in run.versions]
        for run in apart(problem).runs
        if run.lot is not None
    ]
    assert made == [[("red", 4_800)], [("red", 200), ("green", 3_000), ("blue", 4_000)]]


def test_lots_together_want_no_more_than_a_versions_maximum() -> None:
    held = Version("held", 10_000, Fraction(1, 10), max_quantity=10_501)
    problem = problem_of(replace(SPLIT, versions=(held,)))
    lots = (Lot(0, 5_000), Lot(5_000, 10_501))
    runs = costed(problem, tuple(Placement(0, STATIONS, lot) for lot in lots)).runs
    assert [run.versions[0].target for run in runs] == [5_000, 5_501]
    assert all(run.versions[0].held_to_maximum for run in runs)


def late_job(due_min: Fraction) -> Job:
    return replace(SPLIT, due_ms=round(due_min * MIN_MS), late_eur=Fraction(80), late_eur_per_h=Fraction(30))


def test_a_split_job_is_late_once_when_its_last_lot_ends() -> None:
    problem = problem_of(late_job(Fraction(505, 100)), OTHER)
    sequence = apart(problem)
    first, _, rest = sequence.runs
    assert (first.lateness_ms, rest.lateness_ms) == (MIN_MS, 1_599_000)
    assert first.late_eur == 0
    assert rest.late_eur == 80 + 30 * Fraction(1_599_000, 3_600_000)
    assert sequence.cost.late_eur == rest.late_eur
    measures = measure(problem, sequence, Weights())
    assert (measures.late_jobs, measures.lateness_ms) == (1, 1_599_000)
    assert measures.tightest == (("split", -1_599_000),)


def test_the_schedulers_shares_of_late_prices_come_to_the_jobs_own_in_the_end() -> None:
    problem = problem_of(late_job(Fraction(257, 10)), OTHER)
    scheduler = Scheduler(problem, Weights())
    placements = (Placement(0, STATIONS, FIRST), Placement(1, STATIONS), Placement(0, STATIONS, REST))
    plans = [[scheduler.plan(0, placement) for placement in placements]]
    assert [plan.late_share for plan in plans[0]] == [Fraction(2, 5), 1, Fraction(3, 5)]
    state = scheduler.run(plans)
    assert state is not None
    late_eur = 80 + 30 * 6 / 60
    assert sum(scheduler.weighing.late_eur(e.plan, e.end_ms) for e in state.events) == pytest.approx(
        late_eur * 0.6
    )
    assert state.eur == pytest.approx(float(apart(problem).weighed_eur))


def test_of_lots_that_end_together_the_first_line_bears_the_late_cost() -> None:
    problem = problem_of(late_job(Fraction(0)), fits=("H", "H2"))
    halves = (Lot(0, 6_000), Lot(6_000, 12_000))
    sequence = costed(problem, *((Placement(0, STATIONS, lot),) for lot in halves))
    one, two = sequence.runs
    assert one.end_ms == two.end_ms
    assert one.late_eur > two.late_eur == 0


def test_a_lot_that_never_can_start_is_left_out_by_name_and_the_rest_runs() -> None:
    problem = problem_of(SPLIT)
    short = replace(problem.plant.substrates[0], widths=(StockedWidth(WEB_UM, 400 * M_UM),))
    plant = replace(problem.plant, substrates=(short, *problem.plant.substrates[1:]))
    order = (Placement(0, STATIONS, FIRST), Placement(0, STATIONS, REST))
    sequence = costed(Problem(plant, problem.jobs), order)
    assert [run.lot for run in sequence.runs] == [FIRST]
    assert sequence.left_out == (
        LeftOut(
            "split", ("paper in 330 mm never suffices for the run of its labels 4801 to 12000 on H",), REST
        ),
    )


def test_labels_that_no_lot_of_an_order_holds_are_left_out() -> None:
    sequence = account(problem_of(SPLIT), ((Placement(0, STATIONS, REST),),), Weights())
    assert sequence.left_out == (LeftOut("split", ("the order does not place its labels 1 to 4800",), FIRST),)


def test_a_split_job_keeps_a_before_lock_only_when_all_its_lots_have_ended() -> None:
    problem = problem_of(SPLIT, OTHER, locks=(Before("split", "other"),))
    assert apart(problem).broken_locks == ("split ends before other starts",)
    ordered = (Placement(0, STATIONS, FIRST), Placement(0, STATIONS, REST), Placement(1, STATIONS))
    assert costed(problem, ordered).broken_locks == ()


def test_a_job_waits_on_another_line_for_every_lot_it_must_follow() -> None:
    problem = problem_of(SPLIT, OTHER, locks=(Before("split", "other"),), fits=("H", "H2"))
    lots = tuple(Placement(0, STATIONS, lot) for lot in (FIRST, REST))
    sequence = costed(problem, lots, (Placement(1, STATIONS),))
    (other,) = sequence.lines[1].runs
    assert other.changeover_start_ms == max(run.end_ms for run in sequence.lines[0].runs)


def test_a_lock_on_a_line_binds_every_lot() -> None:
    problem = problem_of(SPLIT, locks=(OnLine("split", "H"),), fits=("H", "H2"))
    sequence = costed(problem, (Placement(0, STATIONS, FIRST),), (Placement(0, STATIONS, REST),))
    assert sequence.broken_locks == ("split runs on H",)


@pytest.mark.parametrize(
    "lock",
    [Together(("split", "other")), AtPosition("split", 1), FixedStart("split", 0)],
    ids=["together", "position", "start"],
)
def test_a_job_that_a_lock_ties_to_start_place_or_neighbours_is_never_split(lock: Lock) -> None:
    problem = problem_of(SPLIT, OTHER, locks=(lock,))
    assert cuts(problem, 0) == ()
    with pytest.raises(ValueError, match=f"job split cannot be split under the lock “{lock}”"):
        apart(problem)


def test_a_job_that_may_be_split_contradicts_no_lock_by_its_whole_length() -> None:
    """Half of it on either line ends by then; the whole job would take ten minutes at least."""
    locks = (Before("split", "other"), FixedStart("other", 9 * MIN_MS))
    assert conflicting_locks(problem_of(SPLIT, OTHER, locks=locks, fits=("H", "H2"))) == ()
    whole = replace(SPLIT, least_lot=None)
    assert conflicting_locks(problem_of(whole, OTHER, locks=locks, fits=("H", "H2"))) == locks


@pytest.mark.parametrize(
    ("lots", "fault"),
    [
        ([Lot(0, 12_000)], "has one lot, which should be at least two, or the whole job without a lot"),
        ([Lot(0, 6_000), Lot(6_001, 12_000)], "has no lot with labels 6001 to 6001"),
        ([Lot(0, 6_000), Lot(5_000, 12_000)], "has labels 5001 to 6000 in two lots"),
        ([Lot(0, 6_000), Lot(6_000, 11_000)], "has no lot with labels 11001 to 12000"),
        ([Lot(0, 6_000), Lot(6_000, 13_000)], "has a lot up to label 13000, but 12000 labels to make"),
        (
            [Lot(0, 999), Lot(999, 12_000)],
            "has a lot of labels 1 to 999, 999 of them, less than its least lot of 1000",
        ),
        ([Lot(3_000 * n, 3_000 * (n + 1)) for n in range(4)], "has 4 lots, more than 3"),
    ],
)
def test_lots_that_do_not_part_a_job_are_faults(lots: list[Lot], fault: str) -> None:
    assert lot_faults(problem_of(SPLIT), 0, lots) == (fault,)


def test_a_job_without_a_least_lot_is_never_split() -> None:
    with pytest.raises(ValueError, match="job split is never split: it has no least lot"):
        apart(problem_of(replace(SPLIT, least_lot=None), OTHER))


def test_an_order_that_places_a_job_whole_and_a_lot_of_it_is_refused() -> None:
    order = ((Placement(0, STATIONS), Placement(0, STATIONS, FIRST)),)
    with pytest.raises(ValueError, match="the order places job split twice"):
        account(problem_of(SPLIT), order, Weights())


def test_labels_missing_from_the_lots_must_be_a_lot_themselves() -> None:
    order = ((Placement(0, STATIONS, Lot(0, 6_000)), Placement(0, STATIONS, Lot(6_500, 12_000))),)
    with pytest.raises(ValueError, match="labels 6001 to 6500, 500 of them, less than its least lot of 1000"):
        account(problem_of(SPLIT), order, Weights())


class TestCuts:
    """Where a job is worth being cut in two."""

    def test_halves_and_thirds_stand_on_whole_repeats(self) -> None:
        assert lot_step(SPLIT, problem_of(SPLIT).plant.dies[0]) == 6
        odd = replace(SPLIT, versions=(Version("v", 10_000),))
        assert cuts(problem_of(odd), 0) == (4_998, 3_336, 6_666)

    def test_full_reels_are_cut_between_reels_in_every_lane(self) -> None:
        reels = replace(SPLIT, full_reels=True, labels_per_reel=500)
        problem = problem_of(reels)
        assert lot_step(reels, problem.plant.dies[0]) == 1_500
        assert cuts(problem, 0) == (6_000, 4_500, 7_500)

    def test_cuts_between_versions_come_too_and_the_nearest_to_the_middle_first(self) -> None:
        versions = (Version("a", 5_001), Version("b", 6_999))
        assert cuts(problem_of(replace(SPLIT, versions=versions)), 0) == (6_003, 5_001, 4_002, 8_001)

    def test_no_more_are_given_than_asked_for_and_none_nearer_to_an_end_than_the_least_lot(self) -> None:
        assert len(cuts(problem_of(SPLIT), 0, most=2)) == 2
        assert cuts(problem_of(replace(SPLIT, least_lot=5_000)), 0) == (6_000,)
        assert cuts(problem_of(replace(SPLIT, least_lot=6_001)), 0) == ()

    def test_every_cut_parts_the_job_without_a_fault(self) -> None:
        problem = problem_of(SPLIT)
        total = total_labels(problem, 0)
        found = cuts(problem, 0)
        assert found
        assert all(lot_faults(problem, 0, (Lot(0, cut), Lot(cut, total))) == () for cut in found)


def test_the_parts_of_a_job_are_its_versions_laid_end_to_end() -> None:
    versions = (Version("a", 100, Fraction(1, 10)), Version("b", 50))
    problem = problem_of(replace(SPLIT, versions=versions))
    assert total_labels(problem, 0) == 160
    assert lot_parts(problem, 0, Lot(105, 120)) == (5, 10)
    assert gaps(160, (Lot(40, 60), Lot(0, 20))) == (Lot(20, 40), Lot(60, 160))


class TestFitted:
    """An order made for other numbers of labels."""

    ORDER = ((Placement(0, STATIONS, FIRST), Placement(1, STATIONS), Placement(0, STATIONS, REST)),)

    def lots(self, *jobs: Job) -> list[Lot | None]:
        return [placed.lot for placed in fitted(problem_of(*jobs), self.ORDER)[0]]

    def test_lots_that_fit_stay(self) -> None:
        assert self.lots(SPLIT, OTHER) == [FIRST, None, REST]

    def test_cuts_keep_their_share_of_other_numbers(self) -> None:
        more = replace(SPLIT, versions=(Version("v", 15_000),))
        assert self.lots(more, OTHER) == [Lot(0, 6_000), None, Lot(6_000, 15_000)]

    def test_a_job_that_can_be_split_no_longer_runs_where_its_first_lot_stood(self) -> None:
        few = replace(SPLIT, versions=(Version("v", 1_500),))
        order = fitted(problem_of(few, OTHER), self.ORDER)
        assert order == ((Placement(0, STATIONS), Placement(1, STATIONS)),)
