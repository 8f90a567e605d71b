"""Run sheets as contracts: every call once, every roll to fetch, what is set where, needed by when."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from decimal import Decimal
from urllib.parse import unquote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts.crew_calls import CallKind
from app.contracts.run_sheets import LineRunSheets, NeededItem, RunSheet, ToolAction
from app.translation.cautions import ALWAYS, BLADES, RUNNING, WASH_UP
from app.translation.run_sheets import NO_MARGIN, NOT_SETTLED, run_code, run_sheet_contracts
from app.translation.units import m_from_um
from solver.baselines import as_entered
from solver.calls import crew_calls
from solver.crew_call import CallKind as SolverKind
from solver.plant import StockedWidth
from solver.reels import SpliceRule
from solver.roll_choice import RollChoice
from solver.rolls import Roll, StockRules
from solver.sequence import Stop
from tests.app.sheets import CLOCK, Sheets, drawn_sheets, sample_sheets, sheets_of, worked_sheets
from tests.builders.called import counting_line
from tests.builders.worked import M_UM, WEB_UM, worked_job, worked_line, worked_problem
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
LINES = ("B1", "H1", "P1")


# Calls


def assert_calls_are_told_once(day: Sheets) -> None:
    for of_line in crew_calls(day.problem, day.plan.sequence):
        told = day.calls(of_line.line)
        assert [call.number for call in told] == [call.number for call in of_line.calls]
        for call, solved in zip(told, of_line.calls, strict=True):
            assert call.kind.value == solved.kind.value
            assert call.reading_m == m_from_um(solved.reading_um)
            assert call.begin_m == call.reading_m - call.margin_m
            stands = solved.duration_ms > 0 and solved.kind is not SolverKind.CLOSURE
            assert call.margin_m == (m_from_um(solved.margin_um) if stands else 0)
            assert call.expected == day.clock.moment(solved.expected_ms)


def test_every_call_is_on_the_sheets_once_in_the_order_of_the_counter() -> None:
    assert_calls_are_told_once(sample_sheets())


@examples(15)
@given(SEEDS, st.integers(1, 2), st.booleans())
def test_so_it_is_on_drawn_days(seed: int, lines: int, lots: bool) -> None:
    assert_calls_are_told_once(drawn_sheets(seed, lines, lots))


@pytest.mark.parametrize("line", LINES)
def test_every_stop_of_the_sequence_is_on_the_sheets_once_with_its_tasks(line: str) -> None:
    (runs,) = (each.runs for each in sample_sheets().plan.sequence.lines if each.line == line)
    stops: list[tuple[int, Stop]] = []
    for number, run in enumerate(runs, start=1):
        stops += ((number, stop) for stop in (run.changeover.stops if run.changeover else ()))
        stops += ((number, stop) for end in run.roll_ends for stop in end.changeover.stops)
    told = Counter(
        (
            call.run,
            call.at_m if call.kind is CallKind.STOP else 0,
            frozenset(work.task.station for work in call.tasks),
        )
        for call in sample_sheets().calls(line)
        if call.kind in (CallKind.STOP, CallKind.ROLL_END)
    )
    assert told == Counter(
        (number, m_from_um(stop.at_x_um), frozenset(task.station for task in stop.tasks))
        for number, stop in stops
    )


def test_the_sentence_of_a_call_agrees_with_its_figures() -> None:
    """A version's last metre passes the counter at its `to_reading_m`."""
    ends = {
        (run.number, version.version): version.to_reading_m
        for sheet in sample_sheets().of_line("B1")
        for run in sheet.runs
        for version in run.versions
    }
    checked = 0
    for call in sample_sheets().calls("B1"):
        for (run, version), end_m in ends.items():
            if (
                call.kind is CallKind.STOP
                and run == call.run - 1
                and f"m of version {version} of" in call.sentence
            ):
                assert f" {end_m - call.begin_m:,.1f} m of version {version}" in call.sentence
                checked += 1
    assert checked > 10


def test_reels_that_leave_a_running_line_are_called_without_a_margin() -> None:
    doffs = [call for call in sample_sheets().calls("B1") if call.kind is CallKind.DOFF]
    assert all(call.margin_m == 0 and not call.stands for call in doffs)
    last = next(call for call in doffs if call.doff and call.doff.number == call.doff.of)
    assert last.sentence == (
        f"Take the reels off as the last metre of version {last.doff and last.doff.version} of {last.job} "
        "passes the counter."
    )


def test_without_a_known_deceleration_the_sheet_says_that_nothing_is_allowed_for_braking() -> None:
    known, unknown = (
        worked_sheets(line, worked_job("one"), worked_job("two", "substrate")).sheets[0]
        for line in (counting_line("H"), replace(counting_line("H"), deceleration_um_s2=None))
    )
    assert known.remarks == ()
    assert unknown.remarks == (NO_MARGIN,)
    assert {call.margin_m for run in unknown.runs for call in run.calls} == {0}
    assert max(call.margin_m for run in known.runs for call in run.calls) == Decimal("0.694445")


def test_calls_stand_under_the_furthest_job_called_so_far() -> None:
    for sheet in sample_sheets().sheets:
        for run in sheet.runs:
            assert all(call.run <= run.number for call in run.calls)
            first_own = [call.run for call in run.calls].index(run.number) if run.calls else 0
            assert first_own == 0 or run.begun_before


# Shifts


def test_a_call_is_on_the_sheet_of_the_shift_in_which_it_comes() -> None:
    for sheet in sample_sheets().sheets:
        for run in sheet.runs:
            for call in run.calls:
                assert call.expected >= sheet.shift.begins
                assert sheet.shift.ends is None or call.expected <= sheet.shift.ends


def test_a_briefing_does_not_part_a_shift_and_a_night_does() -> None:
    first, second = (sheet.shift for sheet in sample_sheets().of_line("B1"))
    assert [f"{moment:%d %H:%M}" for moment in (first.begins, second.begins)] == ["02 06:00", "03 06:00"]
    assert [f"{each.closed_from:%H:%M}" for each in first.breaks] == ["13:45"]
    assert [(sheet.number, sheet.sheets) for sheet in sample_sheets().of_line("B1")] == [(1, 2), (2, 2)]


def test_a_run_through_the_night_is_on_both_sheets_with_the_counter_where_it_stands() -> None:
    first, second = sample_sheets().of_line("B1")
    ending, going_on = first.runs[-1], second.runs[0]
    assert ending.number == going_on.number
    assert (ending.goes_on, going_on.begun_before) == (True, True)
    assert second.goes_on_from_m == ending.calls[-1].reading_m
    assert ending.calls[-1].kind is CallKind.CLOSURE
    assert second.on_unwind == first.rolls[-1]
    assert (first.goes_on_from_m, first.on_unwind, second.before_first) == (None, None, None)


def test_every_run_is_on_a_sheet() -> None:
    for line in sample_sheets().plan.sequence.lines:
        told = {run.number for sheet in sample_sheets().of_line(line.line) for run in sheet.runs}
        assert told == set(range(1, len(line.runs) + 1))


def test_a_line_without_runs_has_no_sheet() -> None:
    problem = drawn_sheets(3, 2).problem
    empty = sheets_of(problem, ((), ()))
    assert empty.sheets == ()


# Versions


def test_versions_have_their_labels_reels_and_metres() -> None:
    solved = {
        (run.line, number): run
        for line in sample_sheets().plan.sequence.lines
        for number, run in enumerate(line.runs, 1)
    }
    for sheet in sample_sheets().sheets:
        for run in sheet.runs:
            of_run = solved[sheet.line, run.number].versions
            assert [(each.version, each.target, each.reels, each.web_m) for each in run.versions] == [
                (each.version, each.target, each.reels, m_from_um(each.web_um)) for each in of_run
            ]


def test_a_version_passes_the_counter_for_as_many_metres_as_it_has_and_what_is_wasted_in_it() -> None:
    for sheet in sample_sheets().sheets:
        readings = [
            reading
            for run in sheet.runs
            for version in run.versions
            for reading in (version.from_reading_m, version.to_reading_m)
        ]
        assert readings == sorted(readings)
        for run in sheet.runs:
            for version in run.versions:
                assert version.to_reading_m - version.from_reading_m >= version.web_m


# Rolls


def assert_rolls_are_picked(day: Sheets) -> None:
    taken = Counter(
        (
            day.problem.plant.lines[each.stretch.line_idx].id,
            use.roll,
            m_from_um(use.from_um),
            m_from_um(use.to_um),
        )
        for each in day.plan.stretches
        if isinstance(each.choice, RollChoice)
        for use in each.choice.uses
    )
    picked = Counter(
        (sheet.line, roll.roll, part.from_m, part.to_m)
        for sheet in day.sheets
        for roll in sheet.rolls
        for part in roll.parts
    )
    assert picked == taken


def assert_rolls_are_called(day: Sheets) -> None:
    """Where nobody calls a roll it is on the unwind, or the line had nothing threaded."""
    for line in day.problem.plant.lines:
        calls = {call.number: call for call in day.calls(line.id)}
        parts = [
            (roll, part) for sheet in day.of_line(line.id) for roll in sheet.rolls for part in roll.parts
        ]
        for roll, part in parts:
            if part.call is not None:
                told = calls[part.call].next_roll
                assert told is not None
                assert (told.roll, told.from_m) == (roll.roll, part.from_m)
        uncalled = [roll for roll, part in parts if part.call is None]
        assert len(uncalled) <= 1
        ends = [call for call in calls.values() if call.kind is CallKind.ROLL_END]
        assert all(call.next_roll is not None for call in ends)


def test_every_roll_of_the_plan_is_picked_once_with_the_metres_that_run() -> None:
    assert sum(len(sheet.rolls) for sheet in sample_sheets().sheets) > 80
    assert_rolls_are_picked(sample_sheets())


def test_every_roll_goes_on_at_a_call_that_names_it() -> None:
    assert_rolls_are_called(sample_sheets())


@examples(8)
@given(SEEDS, st.integers(1, 2))
def test_so_they_do_on_drawn_days(seed: int, lines: int) -> None:
    day = drawn_sheets(seed, lines)
    assert_rolls_are_picked(day)
    if day.plan.settled:
        assert_rolls_are_called(day)


def test_web_threaded_through_a_shift_without_work_is_told_with_the_first_work() -> None:
    """Both lines are closed for hours before their first runs; their rolls were once on no sheet."""
    day = drawn_sheets(101, 3, lots=True)
    assert day.of_line("line-1")[0].shift.begins > day.clock.moment(0)
    assert_rolls_are_picked(day)


def test_a_roll_tells_where_it_lies_and_what_becomes_of_it() -> None:
    first, second, third = sample_sheets().of_line("B1")[0].rolls[:3]
    assert (first.on_unwind, first.job, first.rest_of) == (True, "", None)
    assert (second.location, second.parts[0].call) == ("Hall 1, A-11", 1)
    rests = ("back to the store", "back to the store", "runs to its end")
    for roll, rest in zip((first, second, third), rests, strict=True):
        assert roll.rest.value == rest
        assert roll.rest_m == roll.length_m - roll.parts[-1].to_m
    assert "J-3130" in (third.job, third.parts[0].job)


def test_the_rest_of_a_roll_that_a_line_has_used_is_told_to_come_from_there() -> None:
    rests = [(sheet.line, roll) for sheet in sample_sheets().sheets for roll in sheet.rolls if roll.rest_of]
    users = {(roll.roll, sheet.line) for sheet in sample_sheets().sheets for roll in sheet.rolls}
    assert len(rests) > 5
    for _, roll in rests:
        assert (roll.roll, roll.rest_of) in users
        assert not roll.on_unwind


def test_rolls_that_do_not_suffice_are_said_first() -> None:
    """1,000 m without a splice from two rolls of 700 m."""
    job = replace(worked_job("long", web_m=1000), splice_rule=SpliceRule.NEVER)
    rolls = (Roll("R-1", 700 * M_UM), Roll("R-2", 700 * M_UM))
    (sheet,) = worked_sheets(counting_line("H"), job, stocked=StockedWidth.by_roll(WEB_UM, rolls, 0)).sheets
    (stock,) = sheet.stocks
    assert sheet.rolls == ()
    assert (stock.missing_job, stock.job) == ("long", "long")
    assert stock.missing_m > 0
    assert (
        sheet.remarks[0]
        == f"{stock.substrate} 330 mm: the rolls lack {stock.missing_m:.1f} m, first for long."
    )


def test_stock_that_nobody_follows_by_roll_is_told_by_the_metre() -> None:
    (sheet,) = worked_sheets(counting_line("H"), worked_job("one"), worked_job("two", "substrate")).sheets
    web_m = sum(version.web_m for run in sheet.runs for version in run.versions)
    waste_m = sum(run.changeover_m for run in sheet.runs)
    assert [stock.missing_m for stock in sheet.stocks] == [0, 0]
    assert sum(stock.length_m for stock in sheet.stocks) == web_m + waste_m
    assert sheet.stocks[1].job == "two"
    assert sheet.stocks[1].call in {call.number for call in sheet.runs[1].calls if call.kind is CallKind.STOP}


def test_a_plan_that_has_not_settled_is_said() -> None:
    plan = replace(sample_sheets().plan, settled=False)
    sheets = run_sheet_contracts(sample_sheets().problem, plan, sample_sheets().clock, "Site")
    assert all(NOT_SETTLED in sheet.remarks for sheet in sheets)
    assert not any(NOT_SETTLED in sheet.remarks for sheet in sample_sheets().sheets)


# Tooling


def test_what_a_station_holds_before_is_what_it_was_set_to_last() -> None:
    """Dies that another line has fetched meanwhile are not there any more."""
    for line in LINES:
        held: dict[tuple[str, str], str] = {}
        runs = {run.number: run for sheet in sample_sheets().of_line(line) for run in sheet.runs}
        for number in sorted(runs):
            for station in runs[number].stations:
                for setting in station.settings:
                    key = (station.station, setting.aspect)
                    if setting.aspect == "channels":
                        continue
                    fetched = setting.aspect in ("die", "cylinder") and setting.before == ""
                    assert fetched or setting.before == held.get(key, setting.before), (line, number, key)
                    held[key] = setting.after


def test_every_change_of_every_task_is_on_the_tooling_list_with_its_call() -> None:
    checked = 0
    for sheet in sample_sheets().sheets:
        settings_by_run = {run.number: {each.station: each for each in run.stations} for run in sheet.runs}
        for run in sheet.runs:
            for call in run.calls:
                if call.kind is not CallKind.STOP or call.run not in settings_by_run:
                    continue
                for work in call.tasks:
                    station = settings_by_run[call.run][work.task.station]
                    assert station.call == call.number
                    changed = {each.aspect for each in station.settings if each.action is not ToolAction.KEEP}
                    assert {change.aspect for change in work.task.changes} <= changed
                    checked += 1
    assert checked > 100


def test_a_wash_up_is_told_apart_from_a_change_and_from_what_stays() -> None:
    flexo_2 = {
        run.number: {setting.aspect: setting.action for setting in station.settings}
        for run in sample_sheets().of_line("B1")[0].runs
        for station in run.stations
        if station.station == "flexo-2"
    }
    assert flexo_2[2] == {
        "cylinder": ToolAction.LOAD,
        "plate": ToolAction.LOAD,
        "consumable": ToolAction.WASH,
        "anilox": ToolAction.CHANGE,
    }
    assert flexo_2[3]["plate"] is ToolAction.TAKE_OFF
    inkjet = next(
        station
        for station in sample_sheets().of_line("B1")[0].runs[1].stations
        if station.station == "inkjet"
    )
    woken = inkjet.settings[0]
    assert (woken.action, woken.after) == (ToolAction.WAKE, "O+V")


def test_stations_that_are_thrown_off_keep_what_they_hold() -> None:
    run = sample_sheets().of_line("B1")[0].runs[0]
    assert "flexo-1 (keeps P-88, white-opaque, A-80)" in run.idle
    assert {station.station for station in run.stations}.isdisjoint(
        text.partition(" ")[0] for text in run.idle
    )


# What the rooms bring


def needed(sheet: RunSheet) -> list[NeededItem]:
    rooms = sheet.needed_by
    return [*rooms.plate_room, *rooms.die_store, *rooms.stock_room]


def test_items_are_needed_when_their_stop_is_expected() -> None:
    for line in LINES:
        expected = {call.number: call.expected for call in sample_sheets().calls(line)}
        items = [item for sheet in sample_sheets().of_line(line) for item in needed(sheet)]
        assert all(item.by == expected[item.call] for item in items if item.call is not None)


def test_what_is_set_while_the_run_before_runs_is_needed_when_that_begins_to_print() -> None:
    for line in LINES:
        runs = {run.number: run for sheet in sample_sheets().of_line(line) for run in sheet.runs}
        for number, run in runs.items():
            for station in run.stations:
                if station.while_running:
                    items = [
                        item
                        for sheet in sample_sheets().of_line(line)
                        for item in needed(sheet)
                        if item.job == run.job
                        and item.station == station.station
                        and item.kind != "further reel"
                    ]
                    assert all(
                        runs[number - 1].print_start <= item.by <= runs[number - 1].end for item in items
                    )
                    assert items or all(setting.action is not ToolAction.LOAD for setting in station.settings)


def test_every_room_has_its_own_items() -> None:
    kinds = {
        room: {item.kind for sheet in sample_sheets().sheets for item in getattr(sheet.needed_by, room)}
        for room in ("plate_room", "die_store", "stock_room")
    }
    assert kinds == {
        "plate_room": {"plate", "cylinder", "anilox"},
        "die_store": {"die", "cylinder", "slit layout"},
        "stock_room": {"consumable", "roll", "further reel"},
    }
    cylinders = {
        item.item[0]
        for sheet in sample_sheets().sheets
        for item in sheet.needed_by.die_store
        if item.kind == "cylinder"
    }
    assert cylinders == {"M"}, "the sample names its magnetic cylinders so"


def test_lists_are_in_the_order_in_which_things_are_needed() -> None:
    for sheet in sample_sheets().sheets:
        for items in (sheet.needed_by.plate_room, sheet.needed_by.die_store, sheet.needed_by.stock_room):
            assert [item.by for item in items] == sorted(item.by for item in items)


def test_the_next_job_is_made_ready_with_all_that_its_stops_need() -> None:
    sheet = sample_sheets().of_line("B1")[0]
    stage = sheet.runs[0].pre_stage
    assert stage is not None
    assert (stage.run, stage.job) == (2, "J-3130")
    assert {item.item for item in stage.bring} >= {
        "J-3130/2",
        "P-112",
        "A-260",
        "signal-red",
        "M-112",
        "D-242",
    }
    assert any(item.kind == "roll" and item.location == "Hall 2, A-10" for item in stage.bring)
    assert sheet.before_first is not None
    assert sheet.before_first.run == 1
    assert sample_sheets().of_line("B1")[-1].runs[-1].pre_stage is None


def test_a_task_done_while_the_run_before_runs_is_on_its_list() -> None:
    hidden = {
        (line.line, number): {task.station for task in run.changeover.hidden}
        for line in sample_sheets().plan.sequence.lines
        for number, run in enumerate(line.runs, start=1)
        if run.changeover and run.changeover.hidden
    }
    told = {
        (sheet.line, run.pre_stage.run): {task.station for task in run.pre_stage.set_now}
        for sheet in sample_sheets().sheets
        for run in sheet.runs
        if run.pre_stage and run.pre_stage.set_now
    }
    assert told == hidden
    assert hidden


# Cautions, codes, JSON


def test_the_general_cautions_are_on_every_sheet_and_others_where_tasks_ask_for_them() -> None:
    said = " ".join(ALWAYS)
    for word in (
        "lock it out",
        "nip",
        "blades",
        "UV",
        "solvents",
        "manual",
        "site rules",
        "codes",
        "trained",
    ):
        assert word in said
    assert all(sheet.cautions[: len(ALWAYS)] == ALWAYS for sheet in sample_sheets().sheets)
    busy = sample_sheets().of_line("B1")[0].cautions
    assert {WASH_UP, BLADES, RUNNING} <= set(busy)
    # The run that ends on it has nothing to set.
    assert worked_sheets(worked_line("H"), worked_job("one")).sheets[0].cautions == ALWAYS


def test_the_code_of_a_run_says_which_it_is_in_five_parts() -> None:
    for sheet in sample_sheets().sheets:
        for run in sheet.runs:
            site, line, start, number, name = map(unquote, run.code.split("/"))
            assert (site, line, start) == ("Sample site, three lines", sheet.line, "20270302T0600")
            assert (number, name) == (str(run.number), run.job)


@pytest.mark.parametrize("name", ["J/1", "50%", "Żółć/日", "J-1, lot 2 of 3"])
def test_the_parts_of_a_code_come_apart_whatever_they_hold(name: str) -> None:
    code = run_code("Site", name, CLOCK, 3, name)
    assert code.isascii()
    assert [unquote(part) for part in code.split("/")] == ["Site", name, "20270301T0600", "3", name]


def test_lots_are_named_with_their_run() -> None:
    names = {
        run.name for seed in range(4) for sheet in drawn_sheets(seed, 2, True).sheets for run in sheet.runs
    }
    assert any(", lot 1 of 2" in name for name in names)


def test_sheets_come_back_from_json_as_they_went_in() -> None:
    sheets = LineRunSheets(line="P1", sheets=tuple(sample_sheets().of_line("P1")))
    assert LineRunSheets.model_validate_json(sheets.model_dump_json()) == sheets


def test_a_roll_that_is_to_be_slit_says_so_wherever_it_is_fetched() -> None:
    """1,000 m without a splice, for which only a roll 20 mm wider is long enough: its label tells 350 mm."""
    job = replace(worked_job("only", web_m=1_000), splice_rule=SpliceRule.NEVER)
    problem = worked_problem(replace(worked_line("H"), web_width_um=350_000), job)
    paper, *others = problem.plant.substrates
    own = StockedWidth.by_roll(WEB_UM, (Roll("A", 600 * M_UM), Roll("B", 600 * M_UM)), 0)
    wider = StockedWidth.by_roll(350_000, (Roll("W", 1_200 * M_UM, location="Hall 1"),), 0)
    plant = replace(
        problem.plant,
        substrates=(replace(paper, widths=(own, wider)), *others),
        stock_rules=StockRules(most_trim_um=30_000),
    )
    problem = replace(problem, plant=plant)
    (sheet,) = sheets_of(problem, as_entered(problem)).sheets
    stock = "paper 330 mm, slit from 350 mm first"
    assert [(roll.stock, roll.where) for roll in sheet.rolls if roll.roll == "W"] == [(stock, "Hall 1")]
    assert f"W, {stock}" in {item.item for item in sheet.needed_by.stock_room}
