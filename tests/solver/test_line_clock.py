"""When web is at the splice table: the account's times, laid along the web."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered
from solver.calendar import Calendar
from solver.calls import crew_calls
from solver.crew_call import Call, CallKind
from solver.layout import MS_PER_MIN, round_half_up
from solver.ledger import web_ledger
from solver.line_clock import Halt, passage
from solver.line_web import LineWeb
from solver.locks import Started
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Interruption, LineRuns, Piece, PieceKind
from solver.weights import Weights
from tests.builders.called import SEEDS, counting_line, drawn_lines, on_drawn_days
from tests.builders.worked import M_UM, MIN_MS, worked_job, worked_line, worked_problem
from tests.examples import examples


def web_of(problem: Problem) -> tuple[LineRuns, LineWeb]:
    """A queue as entered on its one line, and its web."""
    sequence = account(problem, as_entered(problem), Weights())
    return sequence.lines[0], LineWeb(web_ledger(problem, sequence)[0])


def minutes(*halts_ms: int) -> list[float]:
    return [at_ms / MIN_MS for at_ms in halts_ms]


def test_web_passes_at_set_up_speed_on_the_strip_and_at_the_runs_speed_behind_it() -> None:
    """11 m of strip at 20 m/min, then 50 m/min: 10 m of it at 0.5 min, 100 m behind it at 0.55 + 2 min."""
    line = worked_line("H")
    runs, web = web_of(worked_problem(line, worked_job("one")))
    halts = [Halt(0), Halt(10 * M_UM), Halt(111 * M_UM), Halt(611 * M_UM)]
    assert web.end_um == 511 * M_UM
    passing = passage(line, runs.runs, web, halts)
    assert minutes(*passing.halts_ms) == [0, 0.5, 2.55, 12.55]


def test_the_line_stands_for_a_halt_and_waits_for_one_that_may_not_begin() -> None:
    line = worked_line("H")
    runs, web = web_of(worked_problem(line, worked_job("one")))
    halts = [Halt(0, Fraction(3 * MIN_MS)), Halt(0, Fraction(0), 5 * MIN_MS), Halt(20 * M_UM)]
    assert minutes(*passage(line, runs.runs, web, halts).halts_ms) == [0, 5, 5.73]


def closing(line: Line, *closures_min: tuple[float, float]) -> Line:
    spans = tuple((round(start * MIN_MS), round(end * MIN_MS)) for start, end in closures_min)
    return replace(line, calendar=Calendar(spans))


def test_a_closure_is_called_at_its_time_with_the_web_that_is_there_then() -> None:
    """The run starts to print at 2.05 min; by 7.05 min 250 m of it have passed, behind 11 m of strip."""
    line = closing(counting_line("H", counter_m=28), (7.05, 60))
    problem = worked_problem(line, worked_job("one"), worked_job("two", "die"))
    calls = crew_calls(problem, account(problem, as_entered(problem), Weights()))[0].calls
    closure = next(call for call in calls if call.kind is CallKind.CLOSURE)
    assert closure.expected_ms == round(7.05 * MIN_MS)
    assert closure.reading_um == (11 + 250 - 28) * M_UM
    assert isinstance(closure.about, Interruption)
    assert closure.duration_ms == closure.about.duration_ms == MIN_MS // 2
    die = next(call for call in calls if call.kind is CallKind.STOP and call.run == 2)
    assert die.expected_ms > 60 * MIN_MS


def test_a_stop_interrupted_by_a_closure_is_finished_behind_it() -> None:
    """The first stop begins at 1.89 min and takes half a minute, of which a tenth is left at 2.29 min."""
    line = closing(counting_line("H"), (2.29, 30))
    problem = worked_problem(line, worked_job("one"))
    calls = crew_calls(problem, account(problem, as_entered(problem), Weights()))[0].calls
    assert [call.kind for call in calls[:2]] == [CallKind.STOP, CallKind.CLOSURE]
    assert [call.counted for call in map(_Counted, calls[:2])] == [28 * M_UM, 28 * M_UM]
    assert calls[0].expected_ms < calls[1].expected_ms == round(2.29 * MIN_MS)


class _Counted:
    """A call by the web at the splice table."""

    def __init__(self, call: Call) -> None:
        self.counted = call.reading_um + 28 * M_UM


def test_of_a_started_run_only_what_is_still_to_come_is_called() -> None:
    line = counting_line("H")
    job = replace(worked_job("started", web_m=600), labels_per_reel=800)
    started = Started("started", "H", -9 * MIN_MS, -8 * MIN_MS, 4 * MIN_MS)
    problem = Problem(worked_problem(line, job).plant, (job,), (started,))
    calls = crew_calls(problem, account(problem, as_entered(problem), Weights()))[0].calls
    assert calls
    assert all(call.expected_ms >= 0 for call in calls)
    assert calls[-1].expected_ms == 4 * MIN_MS + round(28 / 50 * MIN_MS)


def settled_lines(
    seed: int, lines: int, goal: str, lots: bool
) -> Iterator[tuple[Line, LineRuns, tuple[Piece, ...], tuple[Call, ...]]]:
    """Drawn lines on which every stop is made before the web of its run ends."""
    for _, line, runs, pieces, calls in drawn_lines(seed, lines, goal, lots):
        ends_um = [LineWeb(pieces).last_sellable_um(number) for number in range(len(runs.runs) + 1)]
        stops = [call for call in calls if call.kind is CallKind.STOP]
        if runs.runs and all(call.reading_um + line.counter_x_um <= ends_um[call.run] for call in stops):
            yield line, runs, pieces, calls


def last_reels_off_ms(line: Line, runs: LineRuns) -> int | None:
    """When the last metre is at the rewinder, a web path behind the run's end; None past a closure."""
    last = runs.runs[-1]
    path_ms = Fraction(line.stations[-1].x_um * MS_PER_MIN, last.speed_um_min)
    off_ms = round_half_up(last.end_ms + path_ms)
    return off_ms if line.calendar.open_between(last.end_ms, off_ms) == off_ms - last.end_ms else None


@on_drawn_days(40)
def test_along_the_web_as_much_time_goes_by_as_in_the_account(
    seed: int, lines: int, goal: str, lots: bool
) -> None:
    for line, runs, _, calls in settled_lines(seed, lines, goal, lots):
        expected_ms = last_reels_off_ms(line, runs)
        if expected_ms is not None:
            doffs = [call.expected_ms for call in calls if call.kind is CallKind.DOFF]
            assert abs(doffs[-1] - expected_ms) <= len(runs.runs)


def closures_met(
    line: Line, pieces: tuple[Piece, ...], calls: tuple[Call, ...]
) -> Iterator[tuple[Call, int]]:
    """Calls of closures inside runs, with where the ledger has their waste.

    All stops of the run have been made, and the print that those of the next spoil is still to come: the
    account counts all that with the changeovers, whenever it passes.
    """
    web = LineWeb(pieces)
    path_um = line.stations[-1].x_um
    for run in {call.run for call in calls}:
        own = [call for call in calls if call.run == run]
        closures = [call for call in own if isinstance(call.about, Interruption)]
        spoil_um = [
            there.from_um
            for there in web.passing
            if (there.piece.cause, there.piece.run) == ("closure", run)
            and (there.piece.kind is PieceKind.RESTART or not line.restart_um)
        ]
        stops = [call.reading_um for call in own if call.kind is CallKind.STOP]
        if len(spoil_um) == len(closures):
            for call, at_um in zip(closures, spoil_um, strict=True):
                inside = isinstance(call.about, Interruption) and call.about.during_run
                alone = at_um < web.last_sellable_um(run) - 2 * path_um
                if inside and alone and all(reading_um < call.reading_um for reading_um in stops):
                    yield call, at_um


@on_drawn_days(40)
def test_closures_inside_runs_fall_where_the_ledger_has_their_waste(
    seed: int, lines: int, goal: str, lots: bool
) -> None:
    for line, runs, pieces, calls in settled_lines(seed, lines, goal, lots):
        for call, spoil_um in closures_met(line, pieces, calls):
            speed_um_min = runs.runs[call.run - 1].speed_um_min
            assert abs(call.reading_um + line.counter_x_um - spoil_um) <= speed_um_min // MIN_MS


def test_the_drawn_days_have_settled_lines_and_closures_on_them() -> None:
    met: set[str] = set()
    for seed in range(25):
        for line, runs, pieces, calls in settled_lines(seed, 2, "balanced", seed % 2 == 0):
            if last_reels_off_ms(line, runs) is not None:
                met.add("end")
            met |= {"closure" for _ in closures_met(line, pieces, calls)}
    assert met == {"end", "closure"}


@examples(30)
@given(SEEDS, st.sampled_from(["balanced", "least-waste"]))
def test_no_call_is_expected_inside_a_closure(seed: int, goal: str) -> None:
    for _, line, _, _, calls in drawn_lines(seed, 2, goal, False):
        for call in calls:
            if call.kind is not CallKind.CLOSURE:
                assert not any(start < call.expected_ms < end for start, end in line.calendar.closures)
