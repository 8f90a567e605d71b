"""The cheapest rolls of an order: never dearer than either way to choose them, and what each is good for."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered
from solver.cheapest_rolls import cheapest_rolls, oldest_first_rolls
from solver.jobs import Job
from solver.ledger import web_ledger
from solver.plant import PresentState, StockedWidth
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.roll_choice import RollChoice
from solver.roll_plan import RollPlan, with_rolls
from solver.rolls import Roll, StockRules
from solver.weights import GOALS, Weights
from tests.builders.drawn_rolls import rolled_day
from tests.builders.worked import M_UM, MIN_MS, WEB_UM, worked_job, worked_line, worked_problem
from tests.checker.check import check_sequence
from tests.examples import examples, first

DAY_MS = 86_400_000


def with_paper(rules: StockRules, rolls: tuple[Roll, ...], *jobs: Job) -> Problem:
    """Jobs on the worked line with nothing threaded; its paper lies in these rolls."""
    problem = worked_problem(replace(worked_line("H"), present=PresentState()), *jobs)
    paper, *others = problem.plant.substrates
    paper = replace(paper, widths=(StockedWidth.by_roll(WEB_UM, rolls, rules.core_tail_um),))
    plant = replace(problem.plant, substrates=(paper, *others), stock_rules=rules)
    return replace(problem, plant=plant)


def rolls_of(plan: RollPlan) -> list[str]:
    choices = (each.choice for each in plan.stretches)
    return [use.roll for choice in choices if isinstance(choice, RollChoice) for use in choice.uses]


@examples(25)
@given(st.integers(0, 10**9), st.integers(1, 3), st.sampled_from(sorted(GOALS)))
def test_they_are_never_dearer_than_the_oldest_first(seed: int, lines: int, goal: str) -> None:
    problem, order = rolled_day(seed, lines)
    with_ends, plan = cheapest_rolls(problem, order, GOALS[goal])
    assert plan.rank <= oldest_first_rolls(problem, order, GOALS[goal])[1].rank
    assert plan.rank <= with_rolls(problem, order, GOALS[goal])[1].rank
    assert account(with_ends, order, GOALS[goal]).weighed_eur == plan.sequence.weighed_eur
    assert check_sequence(with_ends, plan.sequence, GOALS[goal], web_ledger(with_ends, plan.sequence)) == []


def test_on_most_days_they_are_cheaper() -> None:
    seeds, cheaper = first(range(12)), 0
    for seed in seeds:
        problem, order = rolled_day(seed, 2)
        ours, oldest = (
            cheapest_rolls(problem, order, Weights()),
            oldest_first_rolls(problem, order, Weights()),
        )
        cheaper += ours[1].rank < oldest[1].rank
    assert 3 * cheaper >= 2 * len(seeds)


def test_a_roll_that_a_later_stretch_cannot_do_without_is_left_to_it() -> None:
    """For the first run the long roll is the cheaper one: it leaves a stub, the other one scrap. But then the
    last job, in which nothing may be spliced, has no roll that is long enough.
    """
    rolls = (
        Roll("short", 420 * M_UM, received_ms=-9 * DAY_MS),
        Roll("long", 560 * M_UM, received_ms=-8 * DAY_MS),
    )
    last = replace(worked_job("last", web_m=480), splice_rule=SpliceRule.NEVER)
    jobs = worked_job("first", web_m=300), worked_job("between", "substrate", web_m=200), last
    problem = with_paper(StockRules(least_stub_um=150 * M_UM), rolls, *jobs)
    order = as_entered(problem)
    _, greedy = with_rolls(problem, order, Weights())
    assert rolls_of(greedy) == ["long"]
    assert [shortage.run for _, shortage in greedy.shortages] == [3]
    _, plan = cheapest_rolls(problem, order, Weights())
    assert rolls_of(plan) == ["short", "long"]
    assert not plan.shortages


def test_a_splice_that_would_miss_a_van_is_not_made() -> None:
    """Two old rolls with a splice between cost less than a young one, but for the van that it misses."""
    rolls = (
        *(Roll(f"old {number}", 600 * M_UM, received_ms=-300 * DAY_MS) for number in (1, 2)),
        Roll("young", 1100 * M_UM, received_ms=-10 * DAY_MS),
    )
    rules = StockRules(age_eur_per_day=Fraction(1, 25))
    problem = with_paper(rules, rolls, worked_job("only", web_m=1000))
    end_ms = account(problem, as_entered(problem), Weights()).runs[0].end_ms
    due = replace(problem.jobs[0], due_ms=end_ms + MIN_MS, late_eur=Fraction(100))
    problem = replace(problem, jobs=(due,))
    order = as_entered(problem)
    _, hasty = with_rolls(problem, order, Weights())
    assert rolls_of(hasty) == ["old 1", "old 2"]
    assert hasty.sequence.cost.late_eur == 100
    _, plan = cheapest_rolls(problem, order, Weights())
    assert rolls_of(plan) == ["young"]
    assert plan.sequence.cost.late_eur == 0
