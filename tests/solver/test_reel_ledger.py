"""The ledger with rolls and reels: against the ledger of the web, the rolls and the crew's calls."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.baselines import as_entered
from solver.calls import crew_calls
from solver.crew_call import CallKind
from solver.jobs import Job, Version
from solver.ledger import web_ledger
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.reel_ledger import CustomerReel, LineLedger, reel_ledger
from solver.reel_splices import SpliceOrigin
from solver.reels import SpliceRule
from solver.roll_choice import RollChoice
from solver.roll_ledger import RollPart, roll_ledger
from solver.roll_plan import RollPlan, with_rolls
from solver.rolls import Flaw, FlawKind, Roll
from solver.sequence import PieceKind
from solver.weights import Weights
from tests.builders.planned_rolls import planned_rolls
from tests.builders.worked import M_UM, WEB_UM, worked_job, worked_line, worked_problem
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)


def rolled(job: Job, *rolls: Roll, thickness_um: int | None = 140) -> tuple[Problem, RollPlan]:
    """A job on the worked line, its paper in these rolls."""
    problem = worked_problem(worked_line("H"), job)
    paper, *others = problem.plant.substrates
    paper = replace(paper, widths=(StockedWidth.by_roll(WEB_UM, rolls, 0),) if rolls else paper.widths)
    substrates = (replace(paper, thickness_um=thickness_um), *others)
    problem = replace(problem, plant=replace(problem.plant, substrates=substrates))
    return with_rolls(problem, as_entered(problem), Weights())


def long_job(**changes: object) -> Job:
    """1,000 m in reels of 2,000 labels on 3 lanes: four doffs of 250 m."""
    fields: dict[str, object] = {"versions": (Version("v", 24_000),), "labels_per_reel": 2000} | changes
    return replace(worked_job("job"), **fields)  # type: ignore[arg-type]


def first_lane(ledgers: tuple[LineLedger, ...]) -> list[CustomerReel]:
    return [reel for ledger in ledgers for reel in ledger.reels if reel.lane == 1]


# By hand


def test_reels_are_numbered_doff_by_doff_and_lane_by_lane() -> None:
    (ledger,) = reel_ledger(*rolled(long_job()))
    assert [(reel.doff, reel.lane, reel.number) for reel in ledger.reels[:4]] == [
        (1, 1, 1),
        (1, 2, 2),
        (1, 3, 3),
        (2, 1, 4),
    ]
    assert {reel.labels for reel in ledger.reels} == {2000}
    assert len(ledger.reels) == 12


def test_a_reel_is_as_large_as_its_web_wound_on_its_core() -> None:
    """250 m of 140 µm on a core of 76 mm: D = √(4 × 0.14 × 250,000 / π + 76²) = 224.4 mm."""
    (reel, *_) = first_lane(reel_ledger(*rolled(long_job(core_um=76_000))))
    assert reel.outside_um == pytest.approx(math.sqrt(4 * 0.14 * 250_000 / math.pi + 76**2) * 1000)
    assert not reel.is_too_large


def test_a_reel_of_unknown_core_or_thickness_has_no_diameter() -> None:
    assert first_lane(reel_ledger(*rolled(long_job())))[0].outside_um is None
    problem, plan = rolled(long_job(core_um=76_000), thickness_um=None)
    assert first_lane(reel_ledger(problem, plan))[0].outside_um is None


def test_a_lane_wound_on_one_reel_may_be_larger_than_the_customer_takes() -> None:
    """No line is refused for it, since nobody said how many labels a reel has: 1,000 m make 434 mm."""
    (reel,) = first_lane(
        reel_ledger(*rolled(long_job(labels_per_reel=None, core_um=76_000, largest_reel_um=300_000)))
    )
    assert reel.is_too_large
    assert reel.largest_um == 300_000


def test_a_splice_of_ours_and_a_flagged_one_are_told_with_their_reels() -> None:
    """The first roll begins with 34 m of strip, so it ends 566 m into the run, in the third reel; the second
    has a flagged splice behind 200 m.
    """
    rolls = (
        Roll("A", 600 * M_UM, received_ms=-2, on_unwind="H"),
        Roll("B", 600 * M_UM, received_ms=-1, flaws=(Flaw(FlawKind.SPLICE, 200 * M_UM, 200 * M_UM),)),
    )
    problem, plan = rolled(long_job(), *rolls)
    assert plan.settled
    assert not plan.shortages
    (ledger,) = reel_ledger(problem, plan)
    told = [
        (reel.doff, splice.origin, splice.roll, splice.at_um - reel.from_um == splice.wound_um)
        for reel in first_lane((ledger,))
        for splice in reel.splices
    ]
    assert [(origin, roll) for _, origin, roll, _ in told] == [
        (SpliceOrigin.ROLL_END, "B"),
        (SpliceOrigin.FLAGGED, "B"),
    ]
    ends = next(piece for piece in ledger.pieces if piece.roll == "B").web.from_um
    own, flagged = (splice for reel in first_lane((ledger,)) for splice in reel.splices)
    assert own.at_um == ends
    begun = next(piece for piece in ledger.pieces if piece.roll == "B")
    assert flagged.at_um - begun.web.from_um == 200 * M_UM


def test_where_rolls_are_not_followed_splices_are_said_to_be_usual_ones() -> None:
    job = replace(long_job(splice_rule=SpliceRule.BETWEEN_VERSIONS), substrate="long paper")
    job = replace(job, versions=(Version("v", 48_000 - 6_000),))
    (ledger,) = reel_ledger(*rolled(job))
    spliced = [reel for reel in first_lane((ledger,)) if reel.splices]
    assert [splice.origin for reel in spliced for splice in reel.splices] == [SpliceOrigin.USUAL_ROLL_END]
    assert all(reel.has_too_many_splices for reel in spliced)
    assert {piece.roll for piece in ledger.pieces} == {None}


def test_what_is_short_of_rolls_has_no_roll_in_the_ledger() -> None:
    problem, plan = rolled(long_job(), Roll("A", 1100 * M_UM, flaws=(Flaw(FlawKind.DEFECT, 0, M_UM),)))
    short = replace(plan, stretches=tuple(replace(each, choice=None) for each in plan.stretches))
    assert {piece.roll for piece in reel_ledger(problem, short)[0].pieces} == {None}


def test_a_plan_that_never_settled_has_a_ledger_without_rolls() -> None:
    problem, plan = rolled(long_job(), Roll("A", 1100 * M_UM))
    assert {piece.roll for piece in reel_ledger(problem, plan)[0].pieces} == {"A"}
    (ledger,) = reel_ledger(problem, replace(plan, settled=False))
    assert {piece.roll for piece in ledger.pieces} == {None}
    assert sum(piece.labels for piece in ledger.pieces) == 24_000


# On drawn days


@examples(10)
@given(SEEDS, st.integers(1, 2), st.booleans())
def test_pieces_are_the_web_with_the_same_metres_of_every_kind(seed: int, lines: int, lots: bool) -> None:
    problem, plan = planned_rolls(seed, lines, lots)
    for ledger, web in zip(reel_ledger(problem, plan), web_ledger(problem, plan.sequence), strict=True):
        pieces = [there.web for there in ledger.pieces]
        assert [piece.from_um for piece in pieces] == [0, *(piece.to_um for piece in pieces)][: len(pieces)]
        of_kind: Counter[object] = Counter()
        for sign, every in ((1, pieces), (-1, web)):
            for piece in every:
                key = (piece.kind, piece.run, piece.job, piece.version, piece.cause, piece.stock)
                of_kind[key] += sign * piece.length_um
        assert set(of_kind.values()) <= {0}


@examples(10)
@given(SEEDS, st.integers(1, 2), st.booleans())
def test_labels_of_pieces_and_of_reels_are_those_of_the_versions(seed: int, lines: int, lots: bool) -> None:
    problem, plan = planned_rolls(seed, lines, lots)
    for ledger, line in zip(reel_ledger(problem, plan), plan.sequence.lines, strict=True):
        made = {
            (number, version.version): version.labels
            for number, run in enumerate(line.runs, start=1)
            for version in run.versions
        }
        of_pieces: Counter[tuple[int, str]] = Counter()
        of_doffs: Counter[tuple[int, str, int]] = Counter()
        for piece in ledger.pieces:
            assert piece.labels == 0 or piece.web.kind is PieceKind.SELLABLE
            if piece.web.version is not None and piece.doff is not None:
                of_pieces[piece.web.run, piece.web.version] += piece.labels
                of_doffs[piece.web.run, piece.web.version, piece.doff] += piece.labels
        assert of_pieces == made
        of_reels: Counter[tuple[int, str, int]] = Counter()
        for reel in ledger.reels:
            of_reels[reel.run, reel.version, reel.doff] += reel.labels
        assert of_reels == of_doffs


@examples(10)
@given(SEEDS, st.integers(1, 2))
def test_a_piece_lies_on_its_roll_where_the_rolls_ledger_has_it(seed: int, lines: int) -> None:
    problem, plan = planned_rolls(seed, lines)
    if not plan.settled:
        return
    ran: Counter[str] = Counter()
    lies: dict[str, list[tuple[int, int]]] = {}
    for ledger in reel_ledger(problem, plan):
        for piece in ledger.pieces:
            if piece.roll is not None and piece.roll_from_um is not None and piece.roll_to_um is not None:
                ran[piece.roll] += piece.web.length_um
                lies.setdefault(piece.roll, []).append((piece.roll_from_um, piece.roll_to_um))
    by_roll = roll_ledger(problem, plan)
    assert ran == {
        roll: sum(part.length_um for part in parts if part.part is RollPart.WEB)
        for roll, parts in by_roll.items()
    }
    for roll, pieces in lies.items():
        assert all(before[1] <= behind[0] for before, behind in pairwise(sorted(pieces)))
        unused = [part for part in by_roll[roll] if part.part is not RollPart.WEB]
        for from_um, to_um in pieces:
            assert all(to_um <= part.from_um or part.to_um <= from_um for part in unused)


@examples(10)
@given(SEEDS, st.integers(1, 2), st.booleans())
def test_a_reel_ends_where_its_doff_is_called(seed: int, lines: int, lots: bool) -> None:
    problem, plan = planned_rolls(seed, lines, lots)
    for ledger, called in zip(reel_ledger(problem, plan), crew_calls(problem, plan.sequence), strict=True):
        doffs = [call for call in called.calls if call.kind is CallKind.DOFF]
        ends = sorted(reel.to_um for reel in first_lane((ledger,)))
        assert sorted(call.mark_um for call in doffs) == ends


@examples(10)
@given(SEEDS, st.integers(1, 2))
def test_no_reel_has_more_splices_than_it_may_and_every_one_is_counted(seed: int, lines: int) -> None:
    problem, plan = planned_rolls(seed, lines)
    if not plan.settled or plan.shortages:
        return
    reels = [reel for ledger in reel_ledger(problem, plan) for reel in ledger.reels]
    assert not any(reel.has_too_many_splices for reel in reels)
    choices = [each.choice for each in plan.stretches if isinstance(each.choice, RollChoice)]
    made = sum(choice.roll_ends for choice in choices)
    flagged = sum(len(use.run_through_um) for choice in choices for use in choice.uses)
    counted = Counter(splice.origin for reel in reels if reel.lane == 1 for splice in reel.splices)
    assert counted[SpliceOrigin.ROLL_END] <= made
    assert counted[SpliceOrigin.FLAGGED] <= flagged
    assert counted[SpliceOrigin.USUAL_ROLL_END] == 0
