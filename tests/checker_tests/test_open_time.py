"""Work in open time, by the checker's calendar alone."""

from __future__ import annotations

from dataclasses import replace

from solver.calendar import Calendar
from tests.checker.open_time import next_open, open_between, work_through
from tests.checker_tests.worked_lines import LINE_P

CLOSED = Calendar(((100_000, 160_000), (300_000, 400_000)))
LINE = replace(LINE_P, calendar=CLOSED, cold_after_ms=70_000, start_up_ms=6_000, start_up_um=9_000_000)
RESTART_MS = 30_000 + 9_000
"""A stop of half a minute and 3 m at 20 m/min."""


def test_a_closure_is_half_open() -> None:
    assert [next_open(CLOSED, at_ms) for at_ms in (99_999, 100_000, 160_000)] == [99_999, 160_000, 160_000]


def test_open_time_leaves_out_what_is_closed() -> None:
    assert open_between(CLOSED, 50_000, 350_000) == 190_000
    assert open_between(CLOSED, 350_000, 50_000) == 0


def test_work_that_ends_when_a_closure_begins_is_not_interrupted() -> None:
    passage = work_through(LINE, 0, 60_000, 40_000)
    assert (passage.print_start_ms, passage.end_ms, passage.interruptions) == (60_000, 100_000, ())


def test_a_closure_in_a_run_adds_a_stop_and_restart_metres() -> None:
    passage = work_through(LINE, 0, 60_000, 40_001)
    (interruption,) = passage.interruptions
    assert (interruption.during_run, interruption.work_done_ms) == (True, 40_000)
    assert (interruption.duration_ms, interruption.waste_um) == (RESTART_MS, 3_000_000)
    assert passage.end_ms == 160_000 + RESTART_MS + 1


def test_a_closure_in_a_changeover_moves_the_print_start() -> None:
    passage = work_through(LINE, 0, 110_000, 5_000)
    (interruption,) = passage.interruptions
    assert (interruption.during_run, interruption.work_done_ms) == (False, 100_000)
    assert passage.print_start_ms == 160_000 + RESTART_MS + 10_000


def test_a_closure_longer_than_the_line_stays_warm_adds_a_start_up() -> None:
    passage = work_through(LINE, 160_000, 100_000, 50_000)
    (interruption,) = passage.interruptions
    assert interruption.cold
    assert (interruption.duration_ms, interruption.waste_um) == (RESTART_MS + 6_000, 12_000_000)


def test_a_closure_that_begins_during_a_restart_leaves_the_rest_of_it_to_be_done() -> None:
    short = replace(LINE, calendar=Calendar(((100_000, 160_000), (180_000, 190_000))), cold_after_ms=None)
    passage = work_through(short, 0, 60_000, 40_001)
    assert [interruption.work_done_ms for interruption in passage.interruptions] == [40_000, 40_000]
    assert passage.end_ms == 190_000 + (RESTART_MS - 20_000) + RESTART_MS + 1
