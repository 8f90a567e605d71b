"""Rolls that are wider than needed are slit down where that pays, and never at the cost of their own width.

The paper of the worked line is stocked 310 and 330 mm wide; its jobs fit on 310 mm and are told where
they are to run on 330 mm. A metre of 310 mm costs 0.186 €, of the strip of 20 mm 0.012 €.
"""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered
from solver.jobs import Job
from solver.ledger import web_ledger
from solver.plant import PresentState, StockedWidth
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.roll_choice import RollChoice, Use
from solver.roll_ledger import RollPart, RollPiece, roll_ledger
from solver.roll_plan import RollPlan, with_rolls
from solver.roll_store import RollStore
from solver.rolls import Roll, StockRules
from solver.stock import choose_rolls
from solver.web_stretches import stretches_of
from solver.weights import GOALS, Weights
from tests.builders.drawn_rolls import DAY_MS
from tests.builders.worked import M_UM, WEB_UM, worked_job, worked_line, worked_problem
from tests.checker.check import check_sequence
from tests.examples import examples

NARROW_UM = 310_000
TAIL_UM = 3 * M_UM
RULES = StockRules(least_stub_um=60 * M_UM, core_tail_um=TAIL_UM, most_trim_um=30_000)
END_MS = 0


def roll(name: str, length_m: int, **more: object) -> Roll:
    return replace(Roll(name, length_m * M_UM), **more)  # type: ignore[arg-type]


def paper_problem(
    narrow: tuple[Roll, ...], wide: tuple[Roll, ...], *jobs: Job, rules: StockRules = RULES
) -> Problem:
    """A queue on paper of two widths; nothing is threaded."""
    line = replace(worked_line("H"), present=PresentState())
    problem = worked_problem(line, *jobs)
    paper, *others = problem.plant.substrates
    widths = (
        StockedWidth.by_roll(NARROW_UM, narrow, TAIL_UM),
        StockedWidth.by_roll(WEB_UM, wide, TAIL_UM),
    )
    paper = replace(paper, widths=widths)
    plant = replace(problem.plant, substrates=(paper, *others), stock_rules=rules)
    return replace(problem, plant=plant)


def wide_job(name: str, web_m: int) -> Job:
    return replace(worked_job(name, web_m=web_m), roll_width_um=WEB_UM)


def planned(problem: Problem, weights: Weights | None = None) -> tuple[Problem, RollPlan]:
    """With the rolls of the order as entered; nothing is wrong with what comes out."""
    weights = weights or Weights()
    with_ends, plan = with_rolls(problem, as_entered(problem), weights)
    sequence = plan.sequence
    assert check_sequence(with_ends, sequence, weights, web_ledger(with_ends, sequence)) == []
    return with_ends, plan


def uses(plan: RollPlan) -> list[Use]:
    return [use for each in plan.stretches if isinstance(each.choice, RollChoice) for use in each.choice.uses]


def taken(plan: RollPlan) -> list[str]:
    return [use.roll for use in uses(plan)]


def test_a_wider_rest_is_slit_where_it_is_cheaper_than_what_another_roll_leaves() -> None:
    """Of the roll of the width 32.5 m would be scrap, 6.05 €; of the rest 7.5 m and a strip of 2.70 €."""
    problem = paper_problem((roll("own", 250),), (roll("rest", 225),), worked_job("job", web_m=200))
    with_ends, plan = planned(problem)
    assert [(use.roll, use.slit_from_um) for use in uses(plan)] == [("rest", WEB_UM)]
    stubs = plan.sequence.cost.stubs
    assert stubs is not None
    assert stubs.trim_eur == 225 * Fraction(20, 1000) * Fraction(60, 100)
    assert plan.sequence.cost.stubs_eur == stubs.trim_eur + stubs.scrap_eur + stubs.core_eur
    ledger = roll_ledger(with_ends, plan)["rest"]
    assert {(piece.width_um, piece.slit_from_um) for piece in ledger} == {(NARROW_UM, WEB_UM)}
    assert sum(piece.trim_um2 for piece in ledger) == 225 * M_UM * 20_000


def test_a_job_that_takes_no_splice_gets_a_wider_roll_where_only_that_is_long_enough() -> None:
    short = tuple(roll(f"own {number}", 300) for number in range(3))
    job = replace(worked_job("job", web_m=500), splice_rule=SpliceRule.NEVER)
    without = replace(RULES, most_trim_um=0)
    _, plan = planned(paper_problem(short, (roll("long", 900),), job, rules=without))
    assert [shortage.missing_um > 0 for _, shortage in plan.shortages] == [True]
    _, plan = planned(paper_problem(short, (roll("long", 900),), job))
    assert plan.shortages == ()
    assert "long" in taken(plan)


def test_a_wider_roll_that_its_own_width_needs_is_not_slit() -> None:
    """There is web enough of both widths, but no splice in either job, and the narrow one would lack more."""
    short = tuple(roll(f"own {number}", 300) for number in range(3))
    wide = (roll("long", 900), roll("wide 1", 300), roll("wide 2", 300), roll("wide 3", 300))
    narrow_job = replace(worked_job("narrow", web_m=800), splice_rule=SpliceRule.NEVER)
    wide_one = replace(wide_job("wide", 700), splice_rule=SpliceRule.NEVER)
    _, plan = planned(paper_problem(short, wide, narrow_job, wide_one))
    assert [use.slit_from_um for use in uses(plan) if use.roll == "long"] == [None]
    assert {stretch.stock.width_um for stretch, _ in plan.shortages} == {NARROW_UM}
    _, plan = planned(paper_problem(short, (*wide, roll("longer", 950)), narrow_job, wide_one))
    assert plan.shortages == ()


def test_a_roll_is_slit_whole_or_not_at_all() -> None:
    """Not once something of it was used at its own width, nor a second time."""
    jobs = (worked_job("narrow", web_m=200), wide_job("wide", 200), worked_job("film", "substrate", web_m=50))
    problem = paper_problem((roll("own", 900),), (roll("spare", 900), roll("kept", 900)), *jobs)
    sequence = account(problem, as_entered(problem), Weights())
    narrow, wide, _ = stretches_of(problem, sequence, Weights())
    store = RollStore(problem, {"spare"})
    assert [offered.slit_from_um for offered in store.candidates(narrow, False, END_MS)] == [None, WEB_UM]
    own_width = store.candidates(wide, False, END_MS)
    assert [offered.roll for offered in own_width] == ["spare", "kept"]
    used = choose_rolls(wide.stretch, own_width[:1])
    assert isinstance(used, RollChoice)
    store.take(used, wide.stock, 0)
    assert [offered.roll for offered in store.candidates(narrow, False, END_MS)] == ["own"]
    store = RollStore(problem, {"spare"})
    slit = choose_rolls(narrow.stretch, store.candidates(narrow, False, END_MS)[1:])
    assert isinstance(slit, RollChoice)
    store.take(slit, narrow.stock, 0)
    assert [offered.roll for offered in store.candidates(wide, False, END_MS)] == ["kept"]
    assert [offered.slit_from_um for offered in store.candidates(narrow, False, END_MS)] == [None, None]


def test_no_roll_is_slit_of_a_width_that_lacks_web_itself() -> None:
    narrow_job = replace(worked_job("narrow", web_m=400), splice_rule=SpliceRule.NEVER)
    wide_one = replace(wide_job("wide", 900), splice_rule=SpliceRule.NEVER)
    own = (roll("own 1", 300), roll("own 2", 300))
    wide = (roll("wide 1", 500), roll("wide 2", 600))
    _, plan = planned(paper_problem(own, wide, narrow_job, wide_one))
    assert {stretch.stock.width_um for stretch, _ in plan.shortages} == {NARROW_UM, WEB_UM}
    assert not any(use.slit_from_um for use in uses(plan))


def test_what_is_left_of_a_slit_roll_is_a_roll_of_the_narrow_width() -> None:
    """It is taken up again without another strip being paid."""
    never = SpliceRule.NEVER
    jobs = (
        replace(worked_job("first", web_m=500), splice_rule=never),
        replace(worked_job("film", "substrate", "inkjet"), ready_ms=0),
        replace(worked_job("second", web_m=350), splice_rule=never),
    )
    short = tuple(roll(f"own {number}", 300) for number in range(4))
    with_ends, plan = planned(paper_problem(short, (roll("long", 1000),), *jobs))
    of_long = [use for use in uses(plan) if use.roll == "long"]
    assert [use.slit_from_um for use in of_long] == [WEB_UM, WEB_UM]
    stubs = plan.sequence.cost.stubs
    assert stubs is not None
    assert stubs.trim_eur == 1000 * Fraction(20, 1000) * Fraction(60, 100)
    pieces = roll_ledger(with_ends, plan)["long"]
    assert sum(piece.length_um for piece in pieces) == 1000 * M_UM
    assert sum(piece.trim_um2 for piece in pieces) == 1000 * M_UM * 20_000


def test_rolls_wider_than_the_rule_or_the_line_allows_stay_whole() -> None:
    job = worked_job("job", web_m=200)
    own, rest = (roll("own", 250),), (roll("rest", 225),)
    for most_trim_um in (0, 19_999):
        rules = replace(RULES, most_trim_um=most_trim_um)
        assert taken(planned(paper_problem(own, rest, job, rules=rules))[1]) == ["own"]
    exactly = replace(RULES, most_trim_um=20_000)
    problem = paper_problem(own, rest, job, rules=exactly)
    assert taken(planned(problem)[1]) == ["rest"]
    (line,) = problem.plant.lines
    slim = replace(line, web_width_um=WEB_UM - 1, print_width_um=NARROW_UM)
    assert taken(planned(replace(problem, plant=replace(problem.plant, lines=(slim,))))[1]) == ["own"]


def test_a_roll_on_an_unwind_and_one_reserved_for_another_job_are_not_slit() -> None:
    job, own = worked_job("job", web_m=200), (roll("own", 250),)
    for rest in (roll("rest", 225, on_unwind="H"), roll("rest", 225, reserved_for="another")):
        assert taken(planned(paper_problem(own, (rest,), job))[1]) == ["own"]


def drawn_paper(seed: int) -> Problem:
    """Jobs of both widths between others, and rolls of both, about enough of them."""
    rng = random.Random(seed)
    jobs: list[Job] = []
    for number in range(rng.randint(2, 5)):
        web_m, rule = rng.randint(50, 500), rng.choice(list(SpliceRule))
        job = (wide_job if rng.random() < 0.4 else worked_job)(f"job {number}", web_m=web_m)
        jobs.append(replace(job, splice_rule=rule))
        if rng.random() < 0.3:
            jobs.append(worked_job(f"film {number}", "substrate", "inkjet", web_m=50))
    narrow, wide = (
        tuple(
            roll(f"{name} {number}", rng.randint(80, 900), received_ms=-rng.randint(1, 200) * DAY_MS)
            for number in range(rng.randint(3, 6))
        )
        for name in ("narrow", "wide")
    )
    rules = replace(RULES, open_eur=Fraction(2), age_eur_per_day=Fraction(1, 20))
    return paper_problem(narrow, wide, *jobs, rules=rules)


@examples(20)
@given(st.integers(0, 10**9), st.sampled_from(sorted(GOALS)))
def test_slitting_makes_no_sequence_dearer_and_no_width_short(seed: int, goal: str) -> None:
    problem = drawn_paper(seed)
    with_ends, plan = planned(problem, GOALS[goal])
    rules = replace(problem.plant.stock_rules, most_trim_um=0)
    whole = replace(problem, plant=replace(problem.plant, stock_rules=rules))
    _, without = planned(whole, GOALS[goal])
    if not (plan.settled and without.settled):
        return
    missing_um, missing_without_um = (
        sum(shortage.missing_um for _, shortage in found.shortages) for found in (plan, without)
    )
    assert missing_um <= missing_without_um
    if missing_um == missing_without_um:
        assert plan.sequence.weighed_eur <= without.sequence.weighed_eur
    short, short_without = ({stretch.stock for stretch, _ in found.shortages} for found in (plan, without))
    assert short <= short_without
    for pieces in roll_ledger(with_ends, plan).values():
        _check_widths(pieces)


def _check_widths(pieces: tuple[RollPiece, ...]) -> None:
    """A roll has one width, and what runs of it is as wide."""
    assert len({(piece.width_um, piece.slit_from_um) for piece in pieces}) == 1
    for piece in pieces:
        assert (piece.web is not None) == (piece.part is RollPart.WEB)
        assert piece.web is None or piece.web.stock.width_um == piece.width_um


def test_some_drawn_rolls_are_slit_and_some_that_could_be_are_not() -> None:
    slit = [any(use.slit_from_um for use in uses(planned(drawn_paper(seed))[1])) for seed in range(12)]
    assert 0 < sum(slit) < 12
