"""What chosen rolls cost besides their splices, as people and programs read it."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from rich.console import Console

from app.contracts.sequences import CostedPlan, Goal, SequenceAlternative, StubCost
from app.documents.comparison import comparison, headings_of, told_stubs
from app.documents.console import plan_page
from app.documents.report import report_html
from app.documents.told_reasons import difference_sentences, part_text
from app.translation.reasons import told_difference
from app.translation.sequences import Costed, sequence_contract
from app.translation.solving import Question
from solver.account import account
from solver.baselines import as_entered
from solver.cheapest_rolls import RolledSequence
from solver.problem import Problem
from solver.roll_plan import RollPlan
from solver.sequence import ChosenRolls, Order, RollEnds
from solver.stub_cost import StubCost as SolverStubCost
from solver.weights import Weights
from tests.app.costed_plans import QUEUE, START, costed_order
from tests.app.pages import Page

STUBS = StubCost(
    cut_out_eur=Decimal("1.5"),
    core_eur=Decimal("2.25"),
    scrap_eur=Decimal(4),
    trim_eur=Decimal(0),
    opening_eur=Decimal(6),
    taking_back_eur=Decimal(9),
    age_eur=Decimal("0.75"),
)
SUM_EUR = Decimal("22.75")
SENTENCE = (
    "Stubs 22.75 €: web cut out 1.50 €, core tails 2.25 €, rests too short to keep 4.00 €, rolls opened "
    "6.00 €, rests taken back 9.00 €."
)


def with_stubs(plan: CostedPlan) -> CostedPlan:
    """A plan whose order has rolls; its baselines have none."""
    cost = plan.sequence.cost
    stubbed = cost.model_copy(
        update={
            "stubs": STUBS,
            "stubs_eur": SUM_EUR,
            "controllable_eur": cost.controllable_eur + SUM_EUR,
            "total_eur": cost.total_eur + SUM_EUR,
        }
    )
    sequence = plan.sequence.model_copy(update={"cost": stubbed})
    return plan.model_copy(update={"sequence": sequence})


def console_text(plan: CostedPlan) -> str:
    stream = io.StringIO()
    console = Console(file=stream, width=250)
    for part in plan_page(plan):
        console.print(part)
    return " ".join(stream.getvalue().replace("│", " ").split())


PLAIN = costed_order()
STUBBED = with_stubs(PLAIN)


def test_every_part_is_rounded_by_itself_and_they_add_up_to_the_cost() -> None:
    question = Question(QUEUE.plant, QUEUE.jobs, START)
    order = as_entered(question.problem)
    eur = SolverStubCost(*(Fraction(number, 7) for number in range(1, 7)))
    without, cost = (
        sequence_contract(
            Costed(
                RolledSequence(problem, RollPlan(account(problem, order, Weights()), (), settled=False)),
                question.clock,
                "site",
                Goal.BALANCED,
                Weights(),
            )
        ).cost
        for problem in (
            question.problem,
            replace(question.problem, chosen_rolls=ChosenRolls(usual_ends(question.problem, order), eur)),
        )
    )
    assert without.stubs is None
    assert without.stubs_eur == 0
    assert cost.stubs is not None
    assert cost.stubs_eur == sum(eur for _, eur in cost.stubs.parts)
    assert len(cost.stubs.parts) == len(StubCost.model_fields) - 1
    assert cost.stubs_eur == pytest.approx(Decimal(3) - Decimal(6) / 7, abs=Decimal("0.00001"))
    assert cost.controllable_eur - without.controllable_eur == cost.stubs_eur
    assert cost.total_eur - without.total_eur == cost.stubs_eur


def test_the_file_of_a_sequence_has_them_part_by_part() -> None:
    written = json.loads(STUBBED.sequence.model_dump_json())["cost"]
    assert (written["stubs_eur"], written["stubs"]["opening_eur"]) == (22.75, 6)
    assert json.loads(PLAIN.sequence.model_dump_json())["cost"]["stubs"] is None


def test_the_page_on_a_screen_has_a_column_and_a_sentence_of_them_only_where_rolls_are_chosen() -> None:
    page, plain = console_text(STUBBED), console_text(PLAIN)
    assert SENTENCE in page
    assert "stubs" in page
    assert "22.75" in page
    assert "stubs" not in plain.lower()


def test_an_order_without_chosen_rolls_beside_one_that_has_them_shows_none() -> None:
    row = re.search(r"as entered ([^a-z]*)", console_text(STUBBED))
    assert row is not None
    assert "–" in row[1]


def test_so_has_the_report() -> None:
    html, plain = report_html(STUBBED), report_html(PLAIN)
    page = Page(html)
    assert any(SENTENCE in text for text in page.texts("p"))
    assert "stubs" in page.texts("th")
    assert "this order: stubs 23 €" in html
    assert "stubs" not in plain.lower()


def test_orders_side_by_side_have_a_column_of_them() -> None:
    other = SequenceAlternative(name="alternative 1", trade="Saves 1 m of web.", sequence=STUBBED.sequence)
    plan = STUBBED.model_copy(update={"alternatives": (other,)})
    compared = comparison(plan)
    stubs_eur = [order.stubs_eur for order in compared.orders]
    assert stubs_eur == [SUM_EUR, SUM_EUR, *(None for _ in plan.baselines)]
    headings = headings_of(compared.orders)
    assert headings[-3:] == ("stubs €", "controllable €", "total €")
    assert "stubs €" in Page(report_html(plan)).texts("th")
    assert headings_of(comparison(PLAIN).orders)[-3:] == ("late jobs", "controllable €", "total €")


def test_where_they_cost_nothing_no_part_is_named() -> None:
    nothing = StubCost.model_validate(dict.fromkeys(StubCost.model_fields, 0))
    cost = PLAIN.sequence.cost.model_copy(update={"stubs": nothing, "stubs_eur": Decimal(0)})
    assert told_stubs(cost) == "Stubs 0.00 €."
    assert told_stubs(PLAIN.sequence.cost) is None


def test_a_difference_tells_them_by_money_alone() -> None:
    question = Question(QUEUE.plant, QUEUE.jobs, START)
    order = as_entered(question.problem)
    with_rolls = replace(
        question.problem,
        chosen_rolls=ChosenRolls(
            usual_ends(question.problem, order), SolverStubCost(scrap_eur=Fraction(9, 2))
        ),
    )
    here, there = (account(problem, order, Weights()) for problem in (with_rolls, question.problem))
    told = told_difference(question, "this order", here, "another", there, Weights())
    [part] = told.parts
    assert (part.cause, part.line, part.more_m, part.more_min, part.more_runs) == ("stubs", *[None] * 4)
    assert (part.more_eur, part.more_weighed_eur, told.total_eur) == (Decimal("4.5"),) * 3
    assert part_text(part) == "stubs +4.50 €"
    assert next(iter(difference_sentences(told))) == (
        "This order costs 4.50 € more than another, without running: stubs +4.50 €."
    )


def usual_ends(problem: Problem, order: Order) -> RollEnds:
    """The ends that rolls are taken to have where none are chosen."""
    return {
        (line_idx, run.placement): tuple(end.at_um for end in run.roll_ends)
        for line_idx, line in enumerate(account(problem, order, Weights()).lines)
        for run in line.runs
    }
