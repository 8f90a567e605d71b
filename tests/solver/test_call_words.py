"""What the crew reads: sentences made of a call's numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest

from solver.account import account
from solver.baselines import as_entered
from solver.call_words import late_sentence, metres, stop_sentence
from solver.calls import crew_calls
from solver.crew_call import Call, CallKind
from solver.jobs import Job
from solver.plant import Line
from solver.weights import Weights
from tests.builders.called import counting_line
from tests.builders.worked import M_UM, worked_job, worked_problem


def calls_of(line: Line, *jobs: Job, kind: CallKind = CallKind.STOP) -> list[Call]:
    problem = worked_problem(line, *jobs)
    called = crew_calls(problem, account(problem, as_entered(problem), Weights()))[0].calls
    return [call for call in called if call.kind is kind]


def test_the_splice_is_called_by_what_remains_of_the_version() -> None:
    splice = calls_of(counting_line("H"), worked_job("one"), worked_job("two", "substrate"))[1]
    assert stop_sentence(splice) == "Stop and splice when 28.7 m of version v of one remain."


def test_a_stop_behind_the_counter_is_called_by_what_has_passed() -> None:
    die = calls_of(counting_line("P", counter_m=12), worked_job("one"), worked_job("two", "die"))[1]
    assert stop_sentence(die) == (
        "Stop 11.3 m after the last metre of version v of one has passed the counter."
    )


def test_the_first_stop_is_called_by_the_plans_first_metre() -> None:
    early = calls_of(counting_line("H"), worked_job("one"))[0]
    assert stop_sentence(early) == "Stop 0.7 m before the plan's first metre passes the counter."
    late = calls_of(counting_line("H", counter_m=12), worked_job("one"))[0]
    assert stop_sentence(late) == "Stop 15.3 m after the plan's first metre passes the counter."


def test_the_last_reels_are_called_by_the_last_metre() -> None:
    line = replace(counting_line("H"), deceleration_um_s2=None)
    reels = calls_of(line, worked_job("one"), kind=CallKind.DOFF)[-1]
    assert stop_sentence(reels) == (
        "Take the reels off as the last metre of version v of one passes the counter."
    )


def test_a_stop_at_the_plans_first_metre_is_called_by_it() -> None:
    line = replace(counting_line("H"), deceleration_um_s2=None)
    assert stop_sentence(calls_of(line, worked_job("one"))[0]) == (
        "Stop as the plan's first metre passes the counter."
    )


@pytest.mark.parametrize(
    ("kind", "begins"),
    [
        (CallKind.ROLL_END, "Splice the next roll when"),
        (CallKind.DOFF, "Take the reels off when"),
    ],
)
def test_other_calls_say_what_is_done(kind: CallKind, begins: str) -> None:
    call = calls_of(counting_line("H"), worked_job("long run", "long", web_m=2500), kind=kind)[0]
    assert stop_sentence(call).startswith(begins)


def test_a_job_change_names_its_job() -> None:
    call = calls_of(counting_line("H"), worked_job("one"), worked_job("two"), kind=CallKind.JOB_CHANGE)[0]
    assert stop_sentence(call).startswith("two begins when 28.7 m of version v of one remain")


def test_a_late_stop_is_told_with_what_it_loses_and_when_the_next_is_due() -> None:
    changed = ("substrate", "inkjet", "flexo-2", "die")
    splice, rest = calls_of(counting_line("P"), worked_job("one"), worked_job("two", *changed))[1:]
    assert late_sentence(splice) == (
        "Too late: the stop is not repeated, its tasks are done where the web stands. The first metre late "
        "loses a further 1.0 m of the outgoing stock, and 1.0 m less of the other. From 24.0 m late on the "
        "next stop's tasks are done here as well. Too early: run on to the reading; a further stop takes "
        "0.5 min and spoils 3.0 m of print."
    )
    assert "loses a further 1.0 m of the incoming stock." in str(late_sentence(rest))


def test_a_late_roll_end_tells_what_to_do_with_a_roll_that_has_run_off() -> None:
    call = calls_of(counting_line("H"), worked_job("long run", "long", web_m=2500), kind=CallKind.ROLL_END)[0]
    words = str(late_sentence(call))
    assert "it is caught and spliced where it lies. The first metre late loses a further 1.0 m." in words


def test_nothing_is_said_of_being_late_where_nothing_is_at_stake() -> None:
    doff = calls_of(counting_line("H"), worked_job("one"), kind=CallKind.DOFF)[0]
    assert late_sentence(doff) is None
    assert late_sentence(replace(doff, late=None)) is None


def test_lengths_are_told_to_a_tenth_of_a_metre() -> None:
    assert [metres(um) for um in (49_999, 50_000, 1_234 * M_UM)] == ["0.0 m", "0.1 m", "1,234.0 m"]
