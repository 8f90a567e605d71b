"""A sequence worked out by hand is right, and no value in it may be another."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together
from solver.sequence import LeftOut, LineRuns, Sequence
from solver.weights import GOALS, Weights
from tests.checker import check_sequence
from tests.checker_tests import hand_made
from tests.checker_tests.alterations import alterations


def complaints(sequence: Sequence, *locks: Lock) -> list[str]:
    problem = replace(hand_made.problem(), locks=locks)
    return check_sequence(problem, sequence, Weights(), hand_made.ledger())


def test_the_sequence_worked_out_by_hand_is_right() -> None:
    assert complaints(hand_made.sequence()) == []


@pytest.mark.parametrize(
    ("name", "altered"),
    [
        pytest.param(name, altered, id=path.removeprefix("."))
        for name, path, altered in alterations(hand_made.sequence())
    ],
)
def test_the_checker_catches(name: str, altered: Sequence) -> None:
    assert complaints(altered), f"{name} may be altered"


@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("name", ["line", "from_um", "to_um", "kind", "stock", "job", "version", "cause"])
def test_the_checker_catches_an_altered_piece_of_the_ledger(place: int, name: str) -> None:
    (pieces,) = hand_made.ledger()
    piece = next(altered for _, path, altered in alterations(pieces[place]) if path.split(".")[1] == name)
    ledger = ((*pieces[:place], piece, *pieces[place + 1 :]),)
    assert check_sequence(hand_made.problem(), hand_made.sequence(), Weights(), ledger)


def test_the_checker_catches_a_missing_piece_at_the_end_of_the_ledger() -> None:
    (pieces,) = hand_made.ledger()
    assert check_sequence(hand_made.problem(), hand_made.sequence(), Weights(), (pieces[:-1],))


def test_the_checker_catches_a_job_that_is_left_out_though_it_could_run() -> None:
    (line,) = hand_made.sequence().lines
    first = line.runs[0]
    cost = replace(
        hand_made.sequence().cost,
        waste_eur=Fraction(792, 1000),
        changeover_eur=Fraction(51, 10),
        running_eur=Fraction(501, 100),
        late_eur=Fraction(0),
    )
    alone = Sequence(
        lines=(LineRuns("H", (first,), 0, 0),),
        left_out=(LeftOut("second", ("it is not wanted",)),),
        broken_locks=(),
        cost=cost,
        weighed_eur=cost.total_eur,
    )
    assert check_sequence(hand_made.problem(), alone, Weights()) == [
        "job second: is left out, but H can run it and nothing is short"
    ]


def test_the_checker_catches_a_job_that_runs_twice() -> None:
    (line,) = hand_made.sequence().lines
    twice = replace(hand_made.sequence(), lines=(replace(line, runs=(*line.runs, line.runs[0])),))
    assert complaints(twice) == ["job first: is 2 times in the sequence, should be once"]


def test_the_same_order_weighs_otherwise_under_another_goal() -> None:
    sequence, least_waste = hand_made.sequence(), GOALS["least-waste"]
    right = Fraction("10500") + Fraction("0.029595") + Fraction("10.919")
    assert check_sequence(hand_made.problem(), sequence, least_waste) == [
        f"cost: weighed total in € is 42593/1000, should be {right}"
    ]


KEPT: list[Lock] = [
    FixedStart("first", 0),
    OnLine("first", "H"),
    AtPosition("second", 2),
    Together(("second", "first")),
    Before("first", "second"),
]
BROKEN: list[Lock] = [
    FixedStart("second", 100_000),
    AtPosition("second", 1),
    Before("second", "first"),
    Started("second", "H", -1000, 0, hand_made.SECOND_END_MS),
]


@pytest.mark.parametrize("lock", KEPT, ids=str)
def test_a_kept_lock_must_not_be_named_as_broken(lock: Lock) -> None:
    assert complaints(hand_made.sequence(), lock) == []
    named = replace(hand_made.sequence(), broken_locks=(str(lock),))
    assert f"lock “{lock}”: is kept but named as broken" in complaints(named, lock)


@pytest.mark.parametrize("lock", BROKEN, ids=str)
def test_a_broken_lock_must_be_named(lock: Lock) -> None:
    assert f"lock “{lock}”: is not kept and not named as broken" in complaints(hand_made.sequence(), lock)
    named = replace(hand_made.sequence(), broken_locks=(str(lock),))
    assert complaints(named, lock) == []


def test_a_broken_lock_must_be_known() -> None:
    named = replace(hand_made.sequence(), broken_locks=("first is the best",))
    assert complaints(named) == ["lock “first is the best”: is not known"]
