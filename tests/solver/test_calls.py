"""The crew's calls: worked by hand on the worked line, and against ledger and account on drawn days."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from solver.account import account
from solver.baselines import as_entered
from solver.calls import braking_um, crew_calls
from solver.changeover import least_strip_um
from solver.crew_call import Call, CallKind, Doff, FoilReelEnd
from solver.ledger import web_ledger
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Piece, PieceKind, Run, Stop
from solver.set_up_strip import handover_of
from solver.setups import outgoing_stock
from solver.weights import GOALS, Weights
from tests.builders.called import counting_line, drawn_lines, on_drawn_days
from tests.builders.worked import M_UM, MIN_MS, worked_job, worked_line, worked_problem

SPLICE, FLEXO_1, INKJET, FLEXO_2, DIE = "splice table", "flexo-1", "inkjet", "flexo-2", "die"
FOUR = ("substrate", INKJET, FLEXO_2, DIE)


def worked_calls(problem: Problem, goal: str = "balanced") -> tuple[Call, ...]:
    """The calls of a queue as it was entered, without those of finished reels."""
    calls = crew_calls(problem, account(problem, as_entered(problem), GOALS[goal]))[0].calls
    return tuple(call for call in calls if call.kind is not CallKind.DOFF)


def two_jobs(line: Line, *changed: str, ready_min: int = 0) -> tuple[Call, ...]:
    """The calls of the changeover from a plain job of 500 m to one that changes what is named."""
    incoming = worked_job("incoming", *changed, ready_min=ready_min)
    return tuple(call for call in worked_calls(worked_problem(line, worked_job("outgoing"), incoming))[1:])


def test_stops_are_called_at_the_readings_worked_out_by_hand() -> None:
    """Plain line: a first strip of 16 m, 500 m sold, 3 m that the splice's stop spoils: e lies at 519 m.

    The splice is made with e at the table, 28 m before the counter: 519 − 28 = 491 m. The rest is changed
    with e at the die, 4 m before the counter: 519 + 24 − 28 = 515 m.
    """
    splice, rest = two_jobs(counting_line("P"), *FOUR)
    assert [splice.mark_um, rest.mark_um] == [519 * M_UM, 519 * M_UM]
    assert [splice.at_x_um, rest.at_x_um] == [0, 24 * M_UM]
    assert [splice.reading_um, rest.reading_um] == [491 * M_UM, 515 * M_UM]
    assert [splice.duration_ms, rest.duration_ms] == [2 * MIN_MS, 8 * MIN_MS]


def test_behind_a_splice_the_counter_shows_a_metre_less_than_the_ledger() -> None:
    """The metre lost in the splice is cut away and passes no counter."""
    jobs = [worked_job("one"), worked_job("two", "substrate"), worked_job("three", "substrate", DIE)]
    splice, die = worked_calls(worked_problem(counting_line("H"), *jobs))[1:]
    assert (splice.reading_um, splice.ledger_um) == (483 * M_UM, 483 * M_UM)
    assert (die.reading_um, die.ledger_um) == (1012 * M_UM, 1013 * M_UM)


@pytest.mark.parametrize(("counter_m", "remain_m"), [(28, 28), (24, 24), (12, 12), (0, 0)])
def test_the_splice_is_called_when_as_much_remains_as_lies_before_the_counter(
    counter_m: int, remain_m: int
) -> None:
    """50 m/min are 5/6 m/s: (5/6)² / (2 × 0.5) = 0.694445 m pass while the line comes to a stand."""
    splice = two_jobs(counting_line("H", counter_m), "substrate")[0]
    assert splice.margin_um == 694_445
    assert (splice.countdown.job, splice.countdown.version) == ("outgoing", "v")
    assert not splice.countdown.passed
    assert splice.countdown.to_pass_um == remain_m * M_UM + 694_445


def test_a_stop_behind_the_counter_is_called_after_the_last_metre_has_passed_it() -> None:
    die = two_jobs(counting_line("P", counter_m=12), DIE)[0]
    assert die.countdown.passed
    assert die.countdown.job == "outgoing"
    assert die.countdown.to_pass_um == 12 * M_UM - 694_445


def test_without_a_known_deceleration_there_is_no_margin() -> None:
    line = replace(counting_line("H"), deceleration_um_s2=None)
    splice = two_jobs(line, "substrate")[0]
    assert (splice.margin_um, splice.countdown.to_pass_um) == (0, 28 * M_UM)


def test_the_braking_distance_grows_with_the_square_of_the_speed() -> None:
    line = replace(counting_line("H"), deceleration_um_s2=M_UM)
    assert [braking_um(line, speed * M_UM) for speed in (60, 120)] == [M_UM // 2, 2 * M_UM]


def test_a_line_that_never_slows_down_is_refused() -> None:
    with pytest.raises(ValueError, match="deceleration_um_s2 must be above 0"):
        replace(worked_line("H"), deceleration_um_s2=0)


def test_a_call_tells_what_lies_under_every_station() -> None:
    splice, rest = two_jobs(counting_line("P"), *FOUR)

    def under(call: Call) -> list[tuple[str, str | None]]:
        return [
            (there.piece.kind.value, there.piece.version) if there.piece else ("", None)
            for there in call.under
        ]

    strip, spoil, outgoing = ("set-up strip", None), ("restart spoil", None), ("sellable", "v")
    assert under(splice) == [strip, outgoing, spoil, outgoing, outgoing, outgoing]
    assert [there.station for there in splice.under] == [SPLICE, FLEXO_1, INKJET, FLEXO_2, DIE, "rewinder"]
    assert under(rest) == [outgoing, outgoing, strip, strip, strip, outgoing]
    assert [there.piece.job for there in rest.under if there.piece][:2] == ["incoming", "incoming"]


def test_two_hands_share_the_tasks_as_the_stop_is_reckoned() -> None:
    rest = two_jobs(counting_line("H2"), *FOUR)[1]
    done = [(work.hand, work.task.station, int(work.from_ms), int(work.to_ms)) for work in rest.work]
    half = MIN_MS // 2
    assert done == [
        (1, INKJET, 0, half),
        (1, DIE, half, 7 * half),
        (2, FLEXO_2, 0, 8 * half),
    ]
    assert rest.duration_ms == 9 * half
    assert [(change.before, change.after) for change in rest.work[1].task.changes] == [("die 1", "die 2")]


def test_a_call_names_what_to_bring_and_what_was_done_before() -> None:
    splice, rest = two_jobs(counting_line("H", flexo_2_hidden=True), *FOUR)
    assert [task.station for task in splice.ready.hidden] == [FLEXO_2]
    assert rest.ready.hidden == ()
    assert [(staged.station, staged.item) for staged in splice.ready.staged] == [(SPLICE, "film@330000")]
    assert [(staged.station, staged.item) for staged in rest.ready.staged] == [(DIE, "die 2")]


def test_the_strip_tells_on_which_web_every_station_is_set() -> None:
    """The inkjet is stopped 12 m late, so all set on from 12 m; die registers for 6.5 m: 18.5 m in all."""
    strip = two_jobs(counting_line("P"), *FOUR)[0].strip
    assert strip is not None
    on = [(there.station, there.from_um, there.to_um) for there in strip.set_on]
    assert on == [
        (INKJET, 12 * M_UM, 12 * M_UM),
        (FLEXO_2, 12 * M_UM, 17 * M_UM),
        (DIE, 12 * M_UM, 18_500_000),
    ]
    assert (strip.length_um, strip.splice_at_um, strip.splice_um) == (18_500_000, 0, M_UM)
    assert strip.spoil_before == ((-12 * M_UM, -9 * M_UM),)


def test_a_late_splice_loses_outgoing_web_and_a_late_die_incoming_web() -> None:
    splice, rest = two_jobs(counting_line("P"), *FOUR)
    assert splice.late is not None
    assert rest.late is not None
    assert (splice.late.outgoing_um_per_m, splice.late.incoming_um_per_m) == (M_UM, -M_UM)
    assert (rest.late.outgoing_um_per_m, rest.late.incoming_um_per_m) == (0, M_UM)
    assert [splice.late.next_due_um, rest.late.next_due_um] == [24 * M_UM, None]
    assert (rest.late.again_ms, rest.late.again_um) == (30_000, 3 * M_UM)


def test_a_late_stop_costs_what_the_changeover_costs_with_the_stop_made_there() -> None:
    """Splice alone on the plain line: 10 m settle behind it, so every metre late is a metre of paper more."""
    late = two_jobs(counting_line("P"), "substrate")[0].late
    assert late is not None
    assert (late.outgoing_um_per_m, late.incoming_um_per_m) == (M_UM, 0)


@pytest.mark.parametrize(
    ("fit", "changed", "stop", "late_m"),
    [
        # One stop at the die: flexo-1 is 19 m late anyway, and every metre more is one of strip.
        ("H2", (FLEXO_1, DIE), 0, (0, 1)),
        # The inkjet pulls back what is a metre late.
        ("H", ("substrate", INKJET), 1, (0, 0)),
        # The plain line's inkjet is on again 5 m behind the splice, late by a metre or not.
        ("P", ("substrate", INKJET), 1, (0, 0)),
        # Die alone: nothing else decides how long the strip is.
        ("P", (DIE,), 0, (0, 1)),
    ],
)
def test_late_stops_lose_what_was_worked_out_by_hand(
    fit: str, changed: tuple[str, ...], stop: int, late_m: tuple[int, int]
) -> None:
    late = two_jobs(counting_line(fit), *changed)[stop].late
    assert late is not None
    assert (late.outgoing_um_per_m, late.incoming_um_per_m) == (late_m[0] * M_UM, late_m[1] * M_UM)


def test_stops_of_two_changeovers_interleave_where_a_run_is_shorter_than_the_path() -> None:
    """10 m behind the strip of 5 m: the next splice is due before the die of the changeover before."""
    jobs = [worked_job("long"), worked_job("short", "substrate", DIE, web_m=10), worked_job("next")]
    calls = worked_calls(worked_problem(counting_line("H"), *jobs), goal="least-waste")[1:]
    assert [(call.job, call.at_x_um // M_UM) for call in calls] == [
        ("short", 0),
        ("next", 0),
        ("short", 24),
        ("next", 24),
    ]


def test_a_job_run_out_is_called_at_the_rewinder() -> None:
    stop = two_jobs(counting_line("H"), DIE, ready_min=600)[0]
    assert stop.at_x_um == 28 * M_UM
    assert stop.reading_um == stop.mark_um
    assert stop.expected_ms >= 600 * MIN_MS


def test_a_change_of_job_without_a_stop_is_called_all_the_same() -> None:
    call = two_jobs(counting_line("H"))[0]
    assert (call.kind, call.job, call.at_x_um) == (CallKind.JOB_CHANGE, "incoming", 0)
    assert [call.duration_ms, call.further_ms] == [Fraction(0), Fraction(MIN_MS)]


def test_a_roll_end_is_called_where_the_ledger_has_its_splice() -> None:
    problem = worked_problem(counting_line("P"), worked_job("long run", "long", web_m=2500))
    sequence = account(problem, as_entered(problem), Weights())
    ends = [call for call in worked_calls(problem) if call.kind is CallKind.ROLL_END]
    pieces = web_ledger(problem, sequence)[0]
    spliced = [piece for piece in pieces if piece.cause == "roll end" and piece.kind is PieceKind.SPLICE]
    assert [call.mark_um for call in ends] == [piece.from_um for piece in spliced]
    assert [call.ready.staged[0].item for call in ends] == ["long paper@330000"] * 2


def test_roll_ends_that_waste_nothing_are_called_where_they_are() -> None:
    line = replace(
        counting_line("H"),
        splice_um=0,
        stations=tuple(replace(station, lift_um=0) for station in counting_line("H").stations),
    )
    problem = worked_problem(line, worked_job("long run", "long", web_m=3000))
    ends = [call for call in worked_calls(problem) if call.kind is CallKind.ROLL_END]
    start_um = account(problem, as_entered(problem), Weights()).runs[0].changeover
    assert start_um is not None
    assert [call.mark_um - start_um.waste_um for call in ends] == [1000 * M_UM, 2000 * M_UM]


def last_sellable_um(runs: tuple[Run, ...], number: int) -> tuple[int, int]:
    """Where e lies by the account before the run of this number: in the ledger, and as a counter counts."""
    ledger_um = spliced_um = 0
    for run, following in pairwise(runs[:number]):
        ledger_um += run.web_um + run.roll_end_waste_um + run.interruption_waste_um
        if run.changeover is not None:
            ledger_um += run.changeover.blank_um + run.changeover.incoming_waste_um
            spliced_um += run.changeover.splice_um
        spliced_um += sum(end.changeover.splice_um for end in run.roll_ends)
        if following.changeover is not None:
            ledger_um += following.changeover.spoil_before_um
    return ledger_um, ledger_um - spliced_um


@on_drawn_days(40)
def test_counters_agree_with_ledger_and_account(seed: int, lines: int, goal: str, lots: bool) -> None:
    for _, line, runs, pieces, calls in drawn_lines(seed, lines, goal, lots):
        for call in calls:
            if call.kind is not CallKind.STOP:
                continue
            ledger_um, counted_um = last_sellable_um(runs.runs, call.run)
            assert call.mark_um == ledger_um
            assert call.reading_um == counted_um + call.at_x_um - line.counter_x_um
            before = [piece for piece in pieces if piece.to_um == ledger_um]
            assert all(piece.run == call.run - 1 for piece in before)
            behind = [piece for piece in pieces if piece.from_um == ledger_um]
            assert all(piece.cause == "changeover" or piece.run == call.run for piece in behind)


def counted(pieces: tuple[Piece, ...]) -> Iterator[tuple[int, int, Piece]]:
    """Pieces with where they lie as a counter counts: what a splice cuts away takes no room."""
    from_um = 0
    for piece in pieces:
        if piece.kind is not PieceKind.SPLICE:
            yield from_um, from_um + piece.length_um, piece
            from_um += piece.length_um


@on_drawn_days(40)
def test_under_every_station_lies_what_the_ledger_has_there(
    seed: int, lines: int, goal: str, lots: bool
) -> None:
    for _, line, _, pieces, calls in drawn_lines(seed, lines, goal, lots):
        for call in calls:
            for there, station in zip(call.under, line.stations, strict=True):
                at_um = call.reading_um + line.counter_x_um - station.x_um
                lying = [piece for from_um, to_um, piece in counted(pieces) if from_um <= at_um < to_um]
                assert there.piece == (lying[0] if lying else None)
            at_counter = [
                piece.from_um + call.reading_um - from_um
                for from_um, to_um, piece in counted(pieces)
                if from_um <= call.reading_um < to_um
            ]
            assert at_counter in ([call.ledger_um], [])


def counted_mark_um(line: Line, call: Call) -> int:
    """The web awaited, as a counter counts it."""
    return call.reading_um + line.counter_x_um - call.at_x_um


@on_drawn_days(40)
def test_what_remains_of_a_version_is_what_the_ledger_has_of_it_before_the_counter(
    seed: int, lines: int, goal: str, lots: bool
) -> None:
    for _, line, _, pieces, calls in drawn_lines(seed, lines, goal, lots):
        for call in calls:
            countdown = call.countdown
            at_um = call.reading_um - call.margin_um
            assert call.margin_um == math.ceil(Fraction(call.speed_um_min, 60) ** 2 / 800_000)
            if countdown.version is None:
                assert countdown.to_pass_um == at_um
                early = [from_um for from_um, _, piece in counted(pieces) if piece.version is not None]
                assert min(early) > at_um or call.mark_um == 0
                continue
            own = [
                (from_um, to_um)
                for from_um, to_um, piece in counted(pieces)
                if (piece.run, piece.version) == (countdown.run, countdown.version)
            ]
            end_um = own[-1][1]
            assert countdown.to_pass_um == abs(end_um - at_um)
            assert countdown.passed == (end_um <= at_um)
            assert own[0][0] <= at_um
            later = {
                piece.run
                for from_um, _, piece in counted(pieces)
                if piece.version is not None
                and end_um <= from_um < min(at_um + 1, counted_mark_um(line, call))
            }
            assert not later


@on_drawn_days(40)
def test_everything_that_stops_a_line_is_called_once(seed: int, lines: int, goal: str, lots: bool) -> None:
    for _, _, runs, _, calls in drawn_lines(seed, lines, goal, lots):
        said = Counter((call.kind, call.run) for call in calls)
        for number, run in enumerate(runs.runs, start=1):
            changeover = run.changeover
            stops = changeover.stops if changeover else ()
            called = [call.about for call in calls if (call.kind, call.run) == (CallKind.STOP, number)]
            assert called == list(stops)
            quiet = changeover is not None and not stops and not changeover.joined
            assert said[CallKind.JOB_CHANGE, number] == quiet
            assert said[CallKind.ROLL_END, number] == len(run.roll_ends)
            assert said[CallKind.DOFF, number] == run.doffs
            assert said[CallKind.FOIL_REEL, number] == run.foil_reel_ends
            assert said[CallKind.CLOSURE, number] == len(run.interruptions)
        assert said[CallKind.CLEAN_DOWN, len(runs.runs)] == bool(runs.clean_down_ms)
        assert [call.number for call in calls] == list(range(1, len(calls) + 1))


@on_drawn_days(40)
def test_calls_come_in_the_order_of_the_counter_and_of_the_clock(
    seed: int, lines: int, goal: str, lots: bool
) -> None:
    for _, _, _, _, calls in drawn_lines(seed, lines, goal, lots):
        for call, following in pairwise(calls):
            assert call.reading_um <= following.reading_um
            assert call.expected_ms <= following.expected_ms


@on_drawn_days(40)
def test_the_minutes_of_a_changeovers_calls_are_its_own(seed: int, lines: int, goal: str, lots: bool) -> None:
    for _, line, runs, _, calls in drawn_lines(seed, lines, goal, lots):
        for number, run in enumerate(runs.runs, start=1):
            changeover = run.changeover
            if changeover is None or changeover.joined:
                continue
            own = [
                call
                for call in calls
                if call.run == number and call.kind in (CallKind.STOP, CallKind.JOB_CHANGE)
            ]
            passing_um = changeover.strip_um + changeover.spoil_before_um + changeover.spoil_after_um
            told_ms = sum(call.duration_ms + call.further_ms for call in own)
            assert told_ms + Fraction(passing_um * MIN_MS, line.setup_speed_um_min) == changeover.duration_ms
            for call in own:
                if isinstance(call.about, Stop):
                    assert sorted(work.task.station_idx for work in call.work) == [
                        task.station_idx for task in call.about.tasks
                    ]
                    last_ms = max((work.to_ms for work in call.work), default=Fraction(0))
                    assert line.stop_ms + last_ms == call.duration_ms
                    assert all(work.hand <= line.hands for work in call.work)


@on_drawn_days(40)
def test_the_stations_set_on_a_strip_make_it_as_long_as_it_is(
    seed: int, lines: int, goal: str, lots: bool
) -> None:
    for _, line, runs, _, calls in drawn_lines(seed, lines, goal, lots):
        for call in calls:
            if call.kind not in (CallKind.STOP, CallKind.JOB_CHANGE):
                continue
            run = runs.runs[call.run - 1]
            before = runs.runs[call.run - 2] if call.run > 1 else None
            outgoing = before.stock if before else outgoing_stock(line, None)
            assert run.changeover is not None
            assert call.strip is not None
            handover = handover_of(line, run.changeover, run.placement.stations, None, outgoing, run.stock)
            least_um = least_strip_um(line, handover, run.changeover.splice_at_um)
            set_um = max((there.to_um for there in call.strip.set_on), default=0)
            assert call.strip.length_um == run.changeover.strip_um == max(least_um, set_um)


@on_drawn_days(25)
def test_reels_leave_the_rewinder_full_and_foil_reels_end_at_their_station(
    seed: int, lines: int, goal: str, lots: bool
) -> None:
    """Every lane has a reel, whatever the customer's reels come to."""
    for problem, line, runs, _, calls in drawn_lines(seed, lines, goal, lots):
        reels = Counter[tuple[int, str]]()
        for call in calls:
            if isinstance(call.about, Doff):
                assert call.at_x_um == line.stations[-1].x_um
                reels[call.run, call.about.version] += call.about.reels
            if isinstance(call.about, FoilReelEnd):
                assert call.about.station in runs.runs[call.run - 1].stations
        for number, run in enumerate(runs.runs, start=1):
            lanes = problem.dies[problem.jobs[run.job_idx].die].across
            for version in run.versions:
                assert reels[number, version.version] == math.ceil(version.reels / lanes) * lanes
