"""Runs in time: waiting, cold lines, closures, deliveries, shared dies, hidden work, clean-downs."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from solver.account import account
from solver.baselines import as_entered
from solver.calendar import Calendar
from solver.jobs import Job
from solver.plant import Delivery, Line, LoadedStation, Plant, PresentState, StockedWidth
from solver.problem import Problem
from solver.sequence import Changeover, Mode, Order, Placement, Run, Sequence
from solver.weights import Weights
from tests.builders.worked import M_UM, MIN_MS, WEB_UM, worked_job, worked_line, worked_plant

STATIONS = (2, 4)


def costed(plant: Plant, *jobs: Job, order: Order | None = None) -> Sequence:
    problem = Problem(plant, jobs)
    return account(problem, as_entered(problem) if order is None else order, Weights())


def on_line(line: Line, *jobs: Job) -> tuple[Run, ...]:
    return costed(worked_plant(line), *jobs).runs


def changeover_of(run: Run) -> Changeover:
    assert run.changeover is not None
    return run.changeover


def test_a_run_starts_when_the_line_is_free_and_the_job_is_ready() -> None:
    first, second, third = on_line(
        worked_line("H"), worked_job("a"), worked_job("b"), worked_job("c", ready_min=600)
    )
    assert second.changeover_start_ms == first.end_ms
    assert third.changeover_start_ms == 600 * MIN_MS
    assert third.wait_ms == 600 * MIN_MS - second.end_ms


def test_running_minutes_are_web_over_the_slowest_stations_speed() -> None:
    line = worked_line("H")
    slow = tuple(
        replace(station, max_speed_um_min=20 * M_UM, channel_speed_um_min={"K": 10 * M_UM})
        if station.is_inkjet
        else station
        for station in line.stations
    )
    (run,) = on_line(replace(line, stations=slow), worked_job("a"))
    assert (run.speed_um_min, run.web_um) == (10 * M_UM, 500 * M_UM)
    assert run.run_ms == 50 * MIN_MS


def test_a_wait_up_to_the_hold_time_is_held_and_a_longer_one_run_out() -> None:
    line = worked_line("H")
    end_min = Fraction(on_line(line, worked_job("a"))[0].end_ms, MIN_MS)
    for extra_min, mode in ((10, Mode.HELD), (Fraction(11), Mode.RUN_OUT)):
        later = replace(worked_job("b"), ready_ms=round((end_min + extra_min) * MIN_MS))
        assert changeover_of(on_line(line, worked_job("a"), later)[1]).mode is mode


def test_a_line_that_rested_long_enough_starts_up_cold_and_its_channels_sleep() -> None:
    line = replace(worked_line("H"), cold_after_ms=120 * MIN_MS, start_up_um=9 * M_UM, start_up_ms=6 * MIN_MS)
    wakeful = tuple(
        replace(
            station,
            aspects=tuple(
                replace(aspect, duration_ms=MIN_MS) if aspect.name == "channels" else aspect
                for aspect in station.aspects
            ),
        )
        for station in line.stations
    )
    line = replace(line, stations=wakeful)
    warm, cold = (
        changeover_of(on_line(line, worked_job("a"), worked_job("b", ready_min=ready_min))[1])
        for ready_min in (100, 300)
    )
    assert (warm.cold, cold.cold) == (False, True)
    assert (warm.start_up_um, cold.start_up_um) == (0, 9 * M_UM)
    woken = [change for stop in cold.stops for task in stop.tasks for change in task.changes]
    assert [(change.aspect, change.after, change.duration_ms) for change in woken] == [
        ("channels", "C+K+M+Y", Fraction(4 * MIN_MS))
    ]
    assert cold.duration_ms - warm.duration_ms == (6 + 4) * MIN_MS


def test_the_first_run_of_a_plan_is_changed_over_from_the_present_state_run_out() -> None:
    (run,) = on_line(worked_line("H"), worked_job("a", "die"))
    changeover = changeover_of(run)
    assert changeover.mode is Mode.RUN_OUT
    assert [task.station for stop in changeover.stops for task in stop.tasks] == ["die"]


def test_nothing_is_spliced_where_nothing_is_threaded() -> None:
    line = replace(worked_line("H"), present=PresentState(loaded=(LoadedStation("die", {"die": "die 1"}),)))
    changeover = changeover_of(on_line(line, worked_job("a"))[0])
    assert changeover.splice_at_um is None
    assert changeover.splice_um == 0


class TestClosures:
    """A closure interrupts the work, which goes on when it ends."""

    LINE = replace(worked_line("P"), cold_after_ms=60 * MIN_MS, start_up_um=8 * M_UM, start_up_ms=5 * MIN_MS)

    def run_with(self, *closures_min: tuple[float, float]) -> Run:
        closures = tuple((round(start * MIN_MS), round(end * MIN_MS)) for start, end in closures_min)
        line = replace(self.LINE, calendar=Calendar(closures))
        return on_line(line, worked_job("a"))[0]

    def test_work_that_ends_as_the_closure_begins_is_not_interrupted(self) -> None:
        end_min = self.run_with().end_ms / MIN_MS
        assert self.run_with((end_min, end_min + 30)).interruptions == ()

    def test_a_short_closure_costs_a_stop_and_restart_metres(self) -> None:
        open_run, run = self.run_with(), self.run_with((5, 35))
        (interruption,) = run.interruptions
        assert interruption.waste_um == 3 * M_UM
        assert interruption.duration_ms == round((0.5 + 3 / 20) * MIN_MS)
        assert run.end_ms == open_run.end_ms + 30 * MIN_MS + interruption.duration_ms

    def test_a_long_closure_costs_a_start_up_as_well(self) -> None:
        (interruption,) = self.run_with((5, 66)).interruptions
        assert interruption.cold
        assert interruption.waste_um == (3 + 8) * M_UM
        assert interruption.duration_ms == round((0.5 + 3 / 20 + 5) * MIN_MS)

    def test_a_run_may_go_through_several_closures(self) -> None:
        run = self.run_with((3, 4), (5, 6), (7, 8))
        assert len(run.interruptions) == 3
        assert run.interruption_waste_um == 9 * M_UM

    def test_a_changeover_does_not_begin_while_the_line_is_closed(self) -> None:
        run = self.run_with((0, 40))
        assert run.changeover_start_ms == 40 * MIN_MS
        assert run.interruptions == ()

    def test_nothing_is_planned_beyond_the_calendars_horizon(self) -> None:
        line = replace(self.LINE, calendar=Calendar((), horizon_ms=15 * MIN_MS))
        sequence = costed(worked_plant(line), worked_job("a"), worked_job("b"))
        assert [left.job for left in sequence.left_out] == ["b"]
        assert "beyond the calendar" in sequence.left_out[0].reasons[0]


def stocked_plant(line: Line, on_hand_m: int, *deliveries: tuple[int, int]) -> Plant:
    plant = worked_plant(line)
    width = StockedWidth(
        WEB_UM,
        on_hand_m * M_UM,
        tuple(Delivery(at_min * MIN_MS, metres * M_UM) for at_min, metres in deliveries),
    )
    return replace(plant, substrates=(replace(plant.substrates[0], widths=(width,)), *plant.substrates[1:]))


class TestStock:
    """Cumulative metres never exceed stock plus deliveries so far."""

    def test_a_run_waits_for_the_delivery_that_makes_its_stock_suffice(self) -> None:
        plant = stocked_plant(worked_line("H"), 520, (90, 100), (200, 500))
        runs = costed(plant, worked_job("a"), worked_job("b")).runs
        assert runs[1].changeover_start_ms == 200 * MIN_MS

    def test_incoming_waste_is_taken_too(self) -> None:
        first_m = (500 * M_UM + changeover_of(on_line(worked_line("H"), worked_job("a"))[0]).waste_um) / M_UM
        enough = costed(stocked_plant(worked_line("H"), int(first_m)), worked_job("a"))
        short = costed(stocked_plant(worked_line("H"), int(first_m) - 1), worked_job("a"))
        assert (len(enough.runs), len(short.runs)) == (1, 0)

    def test_the_outgoing_blank_is_taken_from_the_outgoing_stock(self) -> None:
        line = worked_line("H")
        plant = stocked_plant(line, 27)
        gloss = worked_job("gloss", "substrate")
        assert costed(plant, gloss).left_out[0].reasons == (
            "paper in 330 mm never suffices for its run on H",
        )
        assert costed(stocked_plant(line, 28), gloss).left_out == ()


def two_lines(*, copies: int) -> Plant:
    """Two worked lines, one die 1 loaded on neither."""
    bare = PresentState(substrate="paper", width_um=WEB_UM)
    lines = tuple(replace(worked_line("H"), id=name, present=bare) for name in ("left", "right"))
    plant = worked_plant(lines[0])
    return replace(plant, lines=lines, dies=tuple(replace(die, copies=copies) for die in plant.dies))


class TestCopies:
    """A die with one copy serves one line at a time."""

    SPLIT: Order = ((Placement(0, STATIONS),), (Placement(1, STATIONS),))

    def test_a_second_line_waits_until_the_copy_is_free(self) -> None:
        left, right = costed(two_lines(copies=1), worked_job("a"), worked_job("b"), order=self.SPLIT).runs
        assert right.changeover_start_ms == left.end_ms

    def test_with_two_copies_both_run_at_once(self) -> None:
        left, right = costed(two_lines(copies=2), worked_job("a"), worked_job("b"), order=self.SPLIT).runs
        assert left.changeover_start_ms == right.changeover_start_ms == 0

    def test_a_copy_taken_from_a_line_leaves_its_station_empty(self) -> None:
        jobs = (worked_job("a"), worked_job("b"), worked_job("c", ready_min=60))
        order: Order = ((Placement(0, STATIONS), Placement(2, STATIONS)), (Placement(1, STATIONS),))
        runs = costed(two_lines(copies=1), *jobs, order=order).runs
        back = next(run for run in runs if run.job == "c")
        (change,) = [
            change
            for stop in changeover_of(back).stops
            for task in stop.tasks
            for change in task.changes
            if change.aspect == "die"
        ]
        assert (change.before, change.after) == ("", "die 1")

    def test_a_copy_that_stays_on_its_own_line_needs_no_task(self) -> None:
        first, second = costed(
            two_lines(copies=1),
            worked_job("a"),
            worked_job("b"),
            order=((Placement(0, STATIONS), Placement(1, STATIONS)), ()),
        ).runs
        assert [task.station for stop in changeover_of(first).stops for task in stop.tasks] == [
            "inkjet",
            "die",
        ]
        assert changeover_of(second).stops == ()

    def test_more_copies_loaded_than_there_are_is_refused(self) -> None:
        line = worked_line("H")
        plant = worked_plant(line)
        dies = tuple(replace(die, copies=0) for die in plant.dies)
        with pytest.raises(ValueError, match="die die 1 is loaded 1 times, there are 0"):
            Problem(replace(plant, dies=dies), ())


class TestHiddenWork:
    """Tasks at idle guarded stations are done while the run before runs, if they fit."""

    def hidden(self, line: Line, web_m: int, ready_min: int = 0) -> list[str]:
        runs = on_line(line, worked_job("a", web_m=web_m), worked_job("b", "flexo-2", ready_min=ready_min))
        return [task.station for task in changeover_of(runs[1]).hidden]

    def test_a_task_that_fits_the_window_is_hidden(self) -> None:
        line = worked_line("H", flexo_2_hidden=True)
        assert self.hidden(line, web_m=200) == ["flexo-2"]
        assert self.hidden(line, web_m=199) == []

    def test_the_window_opens_when_the_job_is_ready(self) -> None:
        line = worked_line("H", flexo_2_hidden=True)
        first = on_line(line, worked_job("a", web_m=500))[0]
        ready_min = (first.end_ms - 4 * MIN_MS) // MIN_MS
        assert self.hidden(line, web_m=500, ready_min=ready_min) == ["flexo-2"]
        assert self.hidden(line, web_m=500, ready_min=ready_min + 1) == []

    def test_two_tasks_share_the_hands_longest_first(self) -> None:
        line = worked_line("H", flexo_2_hidden=True)
        guarded = replace(
            line,
            stations=tuple(replace(station, guarded=station.kind == "flexo") for station in line.stations),
        )
        for web_m, hands, expected in (
            (449, 1, ["flexo-1"]),
            (450, 1, ["flexo-1", "flexo-2"]),
            (250, 2, ["flexo-1", "flexo-2"]),
            (249, 2, ["flexo-2"]),
        ):
            runs = on_line(
                replace(guarded, hands_while_running=hands),
                worked_job("a", web_m=web_m),
                worked_job("b", "flexo-1", "flexo-2"),
            )
            assert [task.station for task in changeover_of(runs[1]).hidden] == expected

    def test_a_run_out_hides_nothing(self) -> None:
        assert self.hidden(worked_line("H", flexo_2_hidden=True), web_m=500, ready_min=600) == []


def test_low_migration_rows_are_cleaned_before_and_after() -> None:
    line = replace(worked_line("H"), clean_down_in_ms=30 * MIN_MS, clean_down_out_ms=5 * MIN_MS)
    jobs = [replace(worked_job(name), low_migration=name in "bce") for name in "abcde"]
    sequence = costed(worked_plant(line), *jobs)
    assert [changeover_of(run).clean_down_ms // MIN_MS for run in sequence.runs] == [0, 30, 0, 5, 30]
    assert sequence.lines[0].clean_down_ms == 5 * MIN_MS


def test_lateness_is_a_missed_van_once_and_then_by_the_hour() -> None:
    line = worked_line("H")
    plant = replace(worked_plant(line), after_press_ms=30 * MIN_MS)
    job = replace(worked_job("a"), due_ms=0, late_eur=Fraction(80), late_eur_per_h=Fraction(12))
    (run,) = costed(plant, job).runs
    assert run.press_due_ms == -30 * MIN_MS
    assert run.lateness_ms == run.end_ms + 30 * MIN_MS
    assert run.late_eur == 80 + Fraction(12 * run.lateness_ms, 60 * MIN_MS)


def test_an_idle_line_waits_from_the_plans_first_start_on() -> None:
    plant = two_lines(copies=2)
    order: Order = ((Placement(0, STATIONS),), (Placement(1, STATIONS),))
    sequence = costed(plant, worked_job("a"), worked_job("b", ready_min=45), order=order)
    assert [line.waiting_ms for line in sequence.lines] == [0, 45 * MIN_MS]


@pytest.mark.parametrize(
    ("order", "complaint"),
    [
        ((), "the order has 0 lines, the plant has 1"),
        (((Placement(0, STATIONS), Placement(0, STATIONS)),), "places job a twice"),
        (((Placement(0, (4, 2)),),), "cannot be done at die, inkjet"),
        (((Placement(0, (2,)),),), "cannot be done at inkjet"),
        (((Placement(0, (2, 99)),),), "cannot be done at inkjet, 99"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused(order: Order, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        costed(worked_plant(worked_line("H")), worked_job("a"), order=order)
