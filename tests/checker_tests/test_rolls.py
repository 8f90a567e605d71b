"""Rolls that are right pass, and whatever is wrong with them is told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.intake.queue import read_queue
from app.translation.solving import Question
from solver.baselines import by_due_time
from solver.ledger import web_ledger
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.roll_choice import CostKind, RestKind, RollChoice, Shortage
from solver.roll_ledger import RollPart, RollPiece, roll_ledger
from solver.roll_plan import RolledStretch, RollPlan, with_rolls
from solver.rolls import Flaw, FlawKind, Roll
from solver.sequence import Placement, Stock
from solver.weights import GOALS, Weights
from tests.builders.awkward_rolls import awkward_day, without_lost_metres
from tests.builders.plant_days import SAMPLE_DATA, sample_day
from tests.builders.worked import M_UM, MIN_MS, WEB_UM
from tests.checker.check import check_sequence
from tests.checker.replay import replay
from tests.checker.rolls import check_rolls, plan_complaints
from tests.checker.rolls_slit import lacking_complaints, stock_complaints
from tests.checker.rolls_store import RollStore
from tests.checker.rolls_web import RollLedger, StretchWeb, stretch_webs
from tests.checker_tests.alterations import alterations, shuffled
from tests.checker_tests.rolled_day import (
    DAY_MS,
    JOBS,
    LEDGER,
    PLAN,
    PROBLEM,
    RULES,
    WEB,
    WIDE_ROLLS,
    WIDE_UM,
)
from tests.examples import examples, first

PLAY = replay(PROBLEM, PLAN.sequence, Weights())
H_FIRST, P_FIRST, FILM, H_AGAIN, SLIT, _, REST_OF_SLIT = range(7)
"""The day's stretches, in the order in which they begin."""


def choice_of(stretch: int) -> RollChoice:
    choice = PLAN.stretches[stretch].choice
    assert isinstance(choice, RollChoice)
    return choice


def with_choice(stretch: int, choice: RollChoice | Shortage | None) -> RollPlan:
    stretches = list(PLAN.stretches)
    stretches[stretch] = replace(stretches[stretch], choice=choice)
    return replace(PLAN, stretches=tuple(stretches))


def with_use(stretch: int, place: int, **said: Any) -> RollPlan:
    choice = choice_of(stretch)
    uses = list(choice.uses)
    uses[place] = replace(uses[place], **said)
    return with_choice(stretch, replace(choice, uses=tuple(uses)))


def with_roll(name: str, **said: Any) -> Problem:
    """The day's problem with a roll that is another one."""
    paper, *others = PROBLEM.plant.substrates
    widths = tuple(_with_roll(width, name, said) for width in paper.widths)
    paper = replace(paper, widths=widths)
    return replace(PROBLEM, plant=replace(PROBLEM.plant, substrates=(paper, *others)))


def _with_roll(width: StockedWidth, name: str, said: dict[str, Any]) -> StockedWidth:
    rolls = tuple(replace(roll, **said) if roll.id == name else roll for roll in width.rolls)
    return StockedWidth.by_roll(width.width_um, rolls, RULES.core_tail_um)


def with_line(name: str, **said: Any) -> Problem:
    lines = tuple(replace(line, **said) if line.id == name else line for line in PROBLEM.plant.lines)
    return replace(PROBLEM, plant=replace(PROBLEM.plant, lines=lines))


def with_job(name: str, **said: Any) -> Problem:
    jobs = tuple(replace(job, **said) if job.id == name else job for job in PROBLEM.jobs)
    return replace(PROBLEM, jobs=jobs)


def with_rules(**said: Any) -> Problem:
    rules = replace(PROBLEM.plant.stock_rules, **said)
    return replace(PROBLEM, plant=replace(PROBLEM.plant, stock_rules=rules))


def of_plan(plan: RollPlan, rolls: RollLedger = LEDGER) -> list[str]:
    return plan_complaints(PLAY, plan, WEB, rolls)


def of_problem(problem: Problem) -> list[str]:
    """What the day's rolls are told to be in another problem."""
    return plan_complaints(replay(problem, PLAN.sequence, Weights()), PLAN, WEB, LEDGER)


def told(complaints: list[str], words: str) -> bool:
    return any(words in complaint for complaint in complaints)


# What is right passes


def test_the_rolled_day_holds_everything_that_can_go_wrong() -> None:
    choices = [each.choice for each in PLAN.stretches if isinstance(each.choice, RollChoice)]
    assert {rest.kind for choice in choices for rest in choice.rests} == set(RestKind)
    assert {cost.kind for choice in choices for cost in choice.costs} == set(CostKind)
    assert any(use.run_through_um for choice in choices for use in choice.uses)
    assert PLAN.stretches[FILM].choice is None
    assert {piece.part for pieces in LEDGER.values() for piece in pieces} == set(RollPart)
    lines = {web.line for pieces in LEDGER.values() for piece in pieces if (web := piece.web) is not None}
    assert lines == {"H", "P", "H2"}
    assert choice_of(H_AGAIN).uses[0].roll == choice_of(H_FIRST).uses[-1].roll
    slit, again = choice_of(SLIT).uses[-1], choice_of(REST_OF_SLIT).uses[0]
    assert (again.roll, again.from_um) == (slit.roll, slit.to_um)
    assert (slit.slit_from_um, again.slit_from_um) == (WIDE_UM, WIDE_UM)
    ends = [end for run in PLAN.sequence.runs for end in run.roll_ends]
    assert {end.is_on_strip for end in ends} == {True, False}


@pytest.mark.parametrize("goal", sorted(GOALS))
def test_the_rolled_day_is_right_under_every_goal(goal: str) -> None:
    problem, plan = with_rolls(PROBLEM, PLAN.sequence.order, GOALS[goal])
    web, rolls = web_ledger(problem, plan.sequence), roll_ledger(problem, plan)
    assert check_sequence(problem, plan.sequence, GOALS[goal], web) == []
    assert check_rolls(problem, plan, GOALS[goal], web, rolls) == []


@examples(25)
@given(st.integers(0, 10**9), st.integers(1, 3), st.sampled_from(sorted(GOALS)), st.booleans())
def test_rolls_of_drawn_days_are_right(seed: int, lines: int, goal: str, without_metres: bool) -> None:
    problem, order = awkward_day(seed, lines)
    if without_metres:
        problem = without_lost_metres(problem)
    problem, plan = with_rolls(problem, order, GOALS[goal])
    if plan.settled:
        web, rolls = web_ledger(problem, plan.sequence), roll_ledger(problem, plan)
        assert check_rolls(problem, plan, GOALS[goal], web, rolls) == []


def test_rolls_of_the_sample_day_by_due_time_are_right() -> None:
    folder = SAMPLE_DATA / "day"
    queue = read_queue(folder / "plant.json", folder / "jobs.csv", stock_path=folder / "stock.csv")
    problem = Question(queue.plant, queue.jobs, sample_day().start).problem
    problem, plan = with_rolls(problem, by_due_time(problem), Weights())
    assert plan.settled
    assert sum(isinstance(each.choice, RollChoice) for each in plan.stretches) > 10
    web, rolls = web_ledger(problem, plan.sequence), roll_ledger(problem, plan)
    assert check_rolls(problem, plan, Weights(), web, rolls) == []


# Whatever value is another one is told


def altered_ledgers() -> Iterator[tuple[str, RollLedger]]:
    for roll, pieces in LEDGER.items():
        for place, piece in enumerate(pieces):
            for name, _, other in alterations(piece):
                if name == "RollPiece.web":
                    other = replace(piece, web=WEB[0][0])
                yield f"{name} of {piece}", {**LEDGER, roll: (*pieces[:place], other, *pieces[place + 1 :])}


def test_no_value_of_the_roll_ledger_may_be_another() -> None:
    altered = list(altered_ledgers())
    assert len(altered) > 100
    assert [what for what, rolls in first(shuffled(altered)) if not of_plan(PLAN, rolls)] == []


@pytest.mark.parametrize("stretch", [H_FIRST, P_FIRST, H_AGAIN, SLIT, REST_OF_SLIT])
def test_no_value_of_a_choice_may_be_another(stretch: int) -> None:
    """But whether it is proved that none costs less: that is not asked here."""
    altered = [
        (f"{name} at {path}", with_choice(stretch, other))
        for name, path, other in alterations(choice_of(stretch))
        if name != "RollChoice.proven"
    ]
    assert len(altered) > 10
    assert [what for what, plan in first(shuffled(altered)) if not of_plan(plan)] == []


# Ledger


def web_piece() -> tuple[str, int, RollPiece]:
    """A piece of web that has others before and behind it on its roll."""
    return next(
        (roll, place, piece)
        for roll, pieces in LEDGER.items()
        for place, piece in enumerate(pieces)
        if 0 < place < len(pieces) - 1 and piece.part is RollPart.WEB
    )


def test_a_piece_that_is_missing_leaves_a_gap_on_roll_and_web() -> None:
    roll, place, piece = web_piece()
    pieces = LEDGER[roll]
    complaints = of_plan(PLAN, {**LEDGER, roll: (*pieces[:place], *pieces[place + 1 :])})
    assert told(complaints, f"roll {roll}: {pieces[place + 1].part} begins at µm is {piece.to_um}")
    assert told(complaints, "begins on the web at µm")


def test_a_piece_that_is_there_twice_overlaps() -> None:
    roll, place, piece = web_piece()
    pieces = LEDGER[roll]
    complaints = of_plan(PLAN, {**LEDGER, roll: (*pieces[:place], piece, *pieces[place:])})
    assert told(complaints, f"roll {roll}: web begins at µm is {piece.from_um}, should be {piece.to_um}")
    assert told(complaints, "rolls hold")


def test_a_roll_that_nobody_has_is_told() -> None:
    assert told(of_plan(PLAN, {**LEDGER, "of nobody": ()}), "roll of nobody: is in no store")
    assert told(of_plan(with_use(P_FIRST, 1, roll="of nobody")), "there is no roll of nobody")


def test_a_roll_of_another_width_is_told() -> None:
    paper, *others = PROBLEM.plant.substrates
    width, wider = paper.widths
    moved = [roll for roll in width.rolls if roll.id == "whole 2"]
    kept = tuple(roll for roll in width.rolls if roll.id != "whole 2")
    widths = (
        StockedWidth.by_roll(width.width_um, kept, RULES.core_tail_um),
        StockedWidth.by_roll(width.width_um + 10_000, tuple(moved), RULES.core_tail_um),
        wider,
    )
    plant = replace(PROBLEM.plant, substrates=(replace(paper, widths=widths), *others))
    complaints = of_problem(replace(PROBLEM, plant=plant))
    assert told(complaints, "roll whole 2: stock is Stock(substrate='paper', width_um=340000)")


def test_rolls_where_none_were_chosen_are_told() -> None:
    complaints = of_plan(with_choice(P_FIRST, None))
    assert told(complaints, "on P lies on it though no rolls were chosen")
    assert told(complaints, "followed by roll is False, should be True")


def test_a_shortage_of_what_is_there_is_told() -> None:
    """What "with a splice" leaves would do for the last stretch, but that has a flaw; the stub has none."""
    shortage = Shortage(0, 5, 0, 0, proven=True)
    complaints = of_plan(with_choice(H_AGAIN, shortage))
    assert told(complaints, "nothing is missing")
    assert told(complaints, "missing from ms is 0")
    assert told(complaints, "roll with a splice would do for all of it, yet web is missing")


def test_stretches_in_another_order_are_told() -> None:
    assert told(of_plan(replace(PLAN, stretches=PLAN.stretches[::-1])), "rolls: stretches is")


def test_a_plan_that_has_not_settled_is_told() -> None:
    assert check_rolls(PROBLEM, replace(PLAN, settled=False), Weights(), WEB, LEDGER) == [
        "rolls: roll ends and the hours they fall in do not agree"
    ]


def test_a_wrong_web_is_told_first() -> None:
    shorter = (WEB[0][:-1], *WEB[1:])
    complaints = check_rolls(PROBLEM, PLAN, Weights(), shorter, LEDGER)
    assert complaints
    assert all("roll " not in complaint for complaint in complaints)


# No roll twice


def test_a_roll_on_two_lines_at_once_is_told() -> None:
    complaints = of_plan(with_use(P_FIRST, 2, roll="with a splice"))
    assert told(complaints, "roll with a splice on H: is taken at")
    assert told(complaints, "are gone")


def test_metres_that_are_gone_are_told() -> None:
    use = choice_of(H_AGAIN).uses[0]
    said = {"from_um": use.from_um - M_UM, "to_um": use.to_um - M_UM}
    complaints = of_plan(with_use(H_AGAIN, 0, **said))
    assert told(complaints, f"is used from {use.from_um - M_UM} µm, up to {use.from_um} µm is gone already")


def test_scrap_that_is_taken_up_again_is_told() -> None:
    complaints = of_problem(with_rules(least_stub_um=500 * M_UM))
    assert told(complaints, "roll with a splice on H: was scrap already, its rest is 494000000 µm")


def test_a_roll_put_on_twice_in_a_stretch_is_told() -> None:
    assert told(of_plan(with_use(P_FIRST, 2, roll="on P")), "roll on P is put on twice")


def test_a_roll_on_the_unwind_comes_first() -> None:
    paper, *others = with_roll("on P", on_unwind=None).plant.substrates
    width, wider = paper.widths
    rolls = tuple(replace(roll, on_unwind="P") if roll.id == "whole 2" else roll for roll in width.rolls)
    paper = replace(paper, widths=(replace(width, rolls=rolls), wider))
    complaints = of_problem(replace(PROBLEM, plant=replace(PROBLEM.plant, substrates=(paper, *others))))
    assert told(complaints, "roll whole 2, on the unwind of P: is used in its line's first stretch, but not")


def test_a_roll_on_an_unwind_is_not_taken_by_another_line_before_it_is_taken_off() -> None:
    complaints = of_problem(with_roll("whole 2", on_unwind="H2"))
    assert told(complaints, "roll whole 2, on the unwind of H2: is used on P before it is taken off")


def test_another_roll_than_the_one_on_the_unwind_needs_a_splice_at_the_first_metre() -> None:
    paper, *others = with_roll("on P", on_unwind=None).plant.substrates
    width, wider = paper.widths
    waiting = Roll("waiting", 300 * M_UM, on_unwind="P")
    paper = replace(paper, widths=(replace(width, rolls=(*width.rolls, waiting)), wider))
    problem = replace(PROBLEM, plant=replace(PROBLEM.plant, substrates=(paper, *others)))
    assert told(of_problem(problem), "stretch of P from 0 µm: number of roll ends is 2, should be 3")


# Slit rolls


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"most_trim_um": 19_999}, "20000 µm would be cut off, at most 19999 µm may"),
        ({"most_trim_um": 0}, "20000 µm would be cut off, at most 0 µm may"),
    ],
)
def test_a_roll_that_is_too_much_wider_is_told(said: dict[str, int], words: str) -> None:
    assert told(of_problem(with_rules(**said)), f"roll wide: is slit, but {words}")


def test_a_roll_wider_than_the_web_of_its_line_is_told() -> None:
    complaints = of_problem(with_line("H2", web_width_um=WIDE_UM - 1))
    assert told(complaints, "roll wide: is slit, but it is wider than the web of H2")


def slit_and_again() -> tuple[StretchWeb, StretchWeb]:
    """The stretch for which a roll is slit, and the one that takes up its rest."""
    slit, again = (
        web for web in stretch_webs(PLAY, WEB) if (web.line, web.stock.substrate) == ("H2", "paper")
    )
    return slit, again


def test_a_roll_slit_on_an_unwind_is_told() -> None:
    present = replace(PROBLEM.plant.lines[2].present, width_um=WIDE_UM)
    plant = with_line("H2", present=present).plant
    paper, *others = plant.substrates
    paper = replace(paper, widths=(paper.widths[0], _with_roll(paper.widths[1], "wide", {"on_unwind": "H2"})))
    store = RollStore(replace(PROBLEM, plant=replace(plant, substrates=(paper, *others))))
    complaints = stock_complaints(slit_and_again()[0], choice_of(SLIT), store)
    assert told(complaints, "roll wide: is slit, but it is on the unwind of H2")


def test_a_roll_of_another_material_cannot_be_slit() -> None:
    paper, gloss, *others = PROBLEM.plant.substrates
    width, wider = paper.widths
    substrates = (replace(paper, widths=(width,)), replace(gloss, widths=(*gloss.widths, wider)), *others)
    problem = replace(PROBLEM, plant=replace(PROBLEM.plant, substrates=substrates))
    assert told(of_problem(problem), f"roll wide: is slit, but it is {gloss.code}")


def test_a_roll_cannot_be_slit_to_more() -> None:
    wider = replace(slit_and_again()[0], stock=Stock("paper", WIDE_UM + 10_000))
    complaints = stock_complaints(wider, choice_of(SLIT), RollStore(PROBLEM))
    assert told(complaints, "roll wide: is slit, but it is not wider")


def test_a_roll_that_is_used_at_its_own_width_is_not_slit_after() -> None:
    """The first stretch of its line is as wide as the roll, then comes one that is narrower."""
    store = RollStore(PROBLEM)
    slit, again = slit_and_again()
    own_width = replace(slit, stock=Stock(slit.stock.substrate, WIDE_UM))
    choice = choice_of(SLIT)
    whole = replace(choice, uses=tuple(replace(use, slit_from_um=None) for use in choice.uses))
    assert stock_complaints(own_width, whole, store) == []
    store.take(own_width, whole)
    complaints = stock_complaints(again, choice_of(REST_OF_SLIT), store)
    assert told(complaints, "roll wide: is slit, but something of it is used")


def test_a_roll_is_not_slit_twice() -> None:
    store = RollStore(with_rules(most_trim_um=100_000))
    slit, again = slit_and_again()
    store.take(slit, choice_of(SLIT))
    narrower = replace(again, stock=Stock(again.stock.substrate, WEB_UM - 20_000))
    assert told(stock_complaints(narrower, choice_of(REST_OF_SLIT), store), "but it was slit already")
    wider = replace(again, stock=Stock(again.stock.substrate, WIDE_UM))
    whole = with_use(REST_OF_SLIT, 0, slit_from_um=None).stretches[REST_OF_SLIT].choice
    assert isinstance(whole, RollChoice)
    assert told(stock_complaints(wider, whole, store), "but it was slit already")


def test_a_roll_slit_of_a_width_that_lacks_web_itself_is_told() -> None:
    stretches = list(PLAN.stretches)
    own_width = replace(stretches[FILM].stretch, stock=Stock("paper", WIDE_UM))
    short = RolledStretch(own_width, Shortage(M_UM, 4, 0, 0, proven=True))
    store = RollStore(PROBLEM)
    store.take(slit_and_again()[0], choice_of(SLIT))
    assert lacking_complaints(store, PLAN) == []
    lacking = replace(PLAN, stretches=(*stretches, short))
    assert lacking_complaints(store, lacking) == [
        "roll wide: is slit, but paper of 350000 µm is missing itself"
    ]


def test_a_slit_roll_whose_web_is_told_under_its_first_width_is_told() -> None:
    pieces = tuple(
        replace(piece, web=piece.web and replace(piece.web, stock=Stock("paper", WIDE_UM)))
        for piece in LEDGER["wide"]
    )
    complaints = of_plan(PLAN, {**LEDGER, "wide": pieces})
    assert told(complaints, "roll wide, web from 0 µm: stock is Stock(substrate='paper', width_um=350000)")


def test_the_trim_is_of_the_whole_length_and_paid_once() -> None:
    """A strip of 20 mm along 2,800 m, at 0.60 € a m²; 2,011 m of them run where it is slit."""
    assert [cost.eur for cost in choice_of(SLIT).costs if cost.kind is CostKind.TRIM] == [Fraction(336, 10)]
    assert not any(cost.kind is CostKind.TRIM for cost in choice_of(REST_OF_SLIT).costs)
    costs = tuple(
        replace(cost, eur=cost.eur * 2011 / 2800) if cost.kind is CostKind.TRIM else cost
        for cost in choice_of(SLIT).costs
    )
    complaints = of_plan(with_choice(SLIT, replace(choice_of(SLIT), costs=costs)))
    assert told(complaints, "trim of roll wide in €")


def test_an_older_roll_that_is_wider_makes_none_younger() -> None:
    """Those that lie about are 45 days old at most; of the wider ones another may be older."""
    assert WIDE_ROLLS[1].id == "wide too"
    assert of_problem(with_roll("wide too", received_ms=-300 * DAY_MS)) == []


# Flaws, splices, tails and rests


def test_a_defect_under_labels_is_told() -> None:
    flaw = Flaw(FlawKind.DEFECT, 200 * M_UM, 201 * M_UM)
    complaints = of_problem(with_roll("whole 2", flaws=(flaw,)))
    assert told(complaints, "its defect from 200000000 to 201000000 µm lies under sellable of run 2 on P")


def test_a_cut_out_without_a_flaw_is_told() -> None:
    complaints = of_problem(with_roll("reserved", flaws=()))
    assert told(complaints, "roll reserved: is cut out up to 12000000 µm, where no flaw ends")


def test_a_core_tail_that_is_used_is_told() -> None:
    complaints = of_problem(with_rules(core_tail_um=4 * M_UM))
    assert told(complaints, "roll on P: is used up to 427000000 µm, into its core tail")


@pytest.mark.parametrize(
    ("least_m", "words"),
    [
        (20, "roll whole 2: rest or gap at 976000000 µm is scrap, should be stub"),
        (70, "roll reserved: rest or gap at 1233000000 µm is stub, should be scrap"),
    ],
)
def test_rests_are_stubs_or_scrap_by_their_length(least_m: int, words: str) -> None:
    assert told(of_problem(with_rules(least_stub_um=least_m * M_UM)), words)


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (SpliceRule.NEVER, "the splice to roll whole 1 at 427000000 µm lies in a job that takes no splice"),
        (
            SpliceRule.BETWEEN_VERSIONS,
            "the splice to roll whole 1 at 427000000 µm lies in a version, not between",
        ),
    ],
)
def test_a_splice_where_its_job_takes_none_is_told(rule: SpliceRule, words: str) -> None:
    most = None if rule is SpliceRule.NEVER else 1
    problem = with_job("second line", splice_rule=rule, most_splices_a_reel=most)
    assert told(of_problem(problem), f"P, run second line: {words}")


def test_a_splice_between_two_versions_lies_in_no_version_but_in_their_job() -> None:
    job = replace(JOBS[2], splice_rule=SpliceRule.BETWEEN_VERSIONS)
    rolls = (Roll("on H", 480 * M_UM, on_unwind="H"), Roll("other", 600 * M_UM))
    paper, *others = PROBLEM.plant.substrates
    paper = replace(paper, widths=(StockedWidth.by_roll(WEB_UM, rolls, RULES.core_tail_um),))
    plant = replace(PROBLEM.plant, substrates=(paper, *others))
    order = ((Placement(0, (2, 4)),), (), ())
    problem, plan = with_rolls(Problem(plant, (job,)), order, Weights())
    (run,) = plan.sequence.runs
    assert [end.at_um for end in run.roll_ends] == [run.versions[0].web_um]

    def told_of(problem: Problem) -> list[str]:
        web, rolls = web_ledger(problem, plan.sequence), roll_ledger(problem, plan)
        return check_rolls(problem, plan, Weights(), web, rolls)

    assert told_of(problem) == []
    never = replace(problem, jobs=(replace(job, splice_rule=SpliceRule.NEVER),))
    assert told(told_of(never), "lies in a job that takes no splice")


def test_a_splice_just_between_two_reels_is_in_neither() -> None:
    """The first roll ends 404.5 m into a version, where a reel of 3,236 labels is full."""
    complaints = of_problem(with_job("second line", labels_per_reel=3236, most_splices_a_reel=0))
    assert not told(complaints, "version v1: reel")
    assert told(complaints, "version v2: reel 1 has 1 splices")


def test_flagged_splices_count_like_ours() -> None:
    complaints = of_problem(with_job("in reels", splice_rule=SpliceRule.NEVER, most_splices_a_reel=0))
    assert told(complaints, "run in reels: a splice of roll with a splice at")


@pytest.mark.parametrize(
    ("job", "words"),
    [
        ("in reels", "H, run in reels, version v1: reel 2 has 1 splices, at most 0 are allowed"),
        ("second line", "P, run second line, version v1: reel 2 has 1 splices, at most 0 are allowed"),
    ],
)
def test_a_reel_with_too_many_splices_is_told(job: str, words: str) -> None:
    assert told(of_problem(with_job(job, most_splices_a_reel=0)), words)


def test_two_splices_in_one_reel_are_counted_together() -> None:
    flaw = Flaw(FlawKind.SPLICE, 20 * M_UM, 20 * M_UM)
    problem = with_roll("whole 1", flaws=(flaw,))
    assert told(of_problem(problem), "version v1: reel 2 has 2 splices, at most 1 are allowed")
    all_in_one = replace(with_job("second line", labels_per_reel=None), plant=problem.plant)
    assert told(of_problem(all_in_one), "version v1: reel 1 has 2 splices")


# In time


def test_a_roll_used_before_it_arrives_is_told() -> None:
    complaints = of_problem(with_roll("whole 1", arrives_ms=MIN_MS))
    assert told(complaints, "roll whole 1: is used by run 1 before it arrives")


def test_a_roll_used_past_its_best_before_is_told() -> None:
    """It is on the line's unwind from the 9th minute of the first print on, for ten minutes at least."""
    complaints = of_problem(with_roll("whole 1", best_before_ms=15 * MIN_MS))
    assert told(complaints, "roll whole 1: is used at")
    assert of_problem(with_roll("whole 2", best_before_ms=60 * MIN_MS)) == []


def test_a_roll_kept_for_another_job_is_told() -> None:
    complaints = of_problem(with_roll("whole 1", reserved_for="between"))
    assert told(complaints, "roll whole 1: is used by second line, it is reserved for between")


# Money


@pytest.mark.parametrize(
    ("prices", "kind"),
    [
        ({"open_eur": Fraction(3)}, "opening of roll whole 1 in € is 2, should be 3"),
        ({"stub_eur": Fraction(4)}, "taking back of roll wide in € is 3, should be 4"),
        ({"age_eur_per_day": Fraction(1, 10)}, "age of roll whole 1 in € is 19/20, should be 19/10"),
    ],
)
def test_another_price_is_told(prices: dict[str, Fraction], kind: str) -> None:
    assert told(of_problem(with_rules(**prices)), kind)


def test_a_rest_costs_each_time_that_it_is_taken_back() -> None:
    """Also where it is taken up again; nothing where it is scrap, or ran out."""
    taken_back = [
        (stretch, cost.roll)
        for stretch in (H_FIRST, P_FIRST, H_AGAIN, SLIT, REST_OF_SLIT)
        for cost in choice_of(stretch).costs
        if cost.kind is CostKind.TAKING_BACK
    ]
    assert taken_back == [
        (H_FIRST, "reserved"),
        (H_FIRST, "with a splice"),
        (H_AGAIN, "with a splice"),
        (SLIT, "wide"),
        (REST_OF_SLIT, "wide"),
    ]


def test_what_the_sequence_pays_for_its_rolls_is_what_their_choices_cost() -> None:
    rolls = PROBLEM.chosen_rolls
    assert rolls is not None
    for name, _, cost in alterations(rolls.cost):
        problem = replace(PROBLEM, chosen_rolls=replace(rolls, cost=cost))
        complaints = plan_complaints(replay(problem, PLAN.sequence, Weights()), PLAN, WEB, LEDGER)
        assert told(complaints, "rolls: cost of stubs"), name


def test_the_oldest_that_could_be_taken_is_what_age_is_counted_from() -> None:
    complaints = of_problem(with_roll("on its way", arrives_ms=0, received_ms=-21 * DAY_MS))
    assert told(complaints, "age of roll whole 1 in € is 19/20, should be 1")
