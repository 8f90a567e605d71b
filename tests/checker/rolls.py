"""The question for rolls: are those of a sequence right, metre by metre and cent by cent?"""

from __future__ import annotations

from solver.problem import Problem
from solver.roll_choice import RollChoice, Shortage
from solver.roll_plan import RolledStretch, RollPlan
from solver.weights import Weights
from tests.checker.complaints import differs
from tests.checker.replay import replay
from tests.checker.rolls_in_time import holding_complaints, time_complaints
from tests.checker.rolls_laid import (
    choice_complaints,
    coverage_complaints,
    place_complaints,
    rest_complaints,
    roll_complaints,
    roll_end_complaints,
)
from tests.checker.rolls_money import roll_cost_complaints, stub_complaints
from tests.checker.rolls_slit import lacking_complaints, stock_complaints, width_complaints
from tests.checker.rolls_splices import defect_complaints, ends_of, splice_complaints
from tests.checker.rolls_store import RollStore, usable_um
from tests.checker.rolls_web import RollLedger, StretchWeb, stretch_webs
from tests.checker.state import Replay
from tests.checker.web import Ledger, ledger_complaints


def check_rolls(
    problem: Problem, plan: RollPlan, weights: Weights, ledger: Ledger, rolls: RollLedger
) -> list[str]:
    """Work out from the web of a sequence what its rolls have to be, and name every rule they violate.

    Parameters
    ----------
    problem, weights
        What the rolls were chosen for, with the roll ends that came of it.
    plan
        The rolls of every stretch; its sequence is taken as right (`check_sequence` tells).
    ledger, rolls
        Every line's web, and what every roll became.

    Returns
    -------
    One sentence for every violated rule; none if all is right. Where the plan has not settled, the web does
    not fit the sequence, or the stretches are others, only that is told.
    """
    if not plan.settled:
        return ["rolls: roll ends and the hours they fall in do not agree"]
    play = replay(problem, plan.sequence, weights)
    return ledger_complaints(play, ledger) or plan_complaints(play, plan, ledger, rolls)


def plan_complaints(play: Replay, plan: RollPlan, ledger: Ledger, rolls: RollLedger) -> list[str]:
    """The same for a sequence that was played again, and whose web is right."""
    webs = stretch_webs(play, ledger)
    complaints = _stretches_complaints(webs, plan)
    if complaints:
        return complaints
    store = RollStore(play.problem)
    chosen: list[tuple[StretchWeb, RollChoice]] = []
    for web, said in zip(webs, plan.stretches, strict=True):
        complaints += coverage_complaints(web, said.choice, rolls)
        followed = web.stock in store.by_stock and not (web.is_threaded_before and not store.has_mounted(web))
        complaints += differs(web.name, "followed by roll", said.choice is not None, followed)
        if isinstance(said.choice, Shortage):
            complaints += shortage_complaints(web, said.choice, store)
        if not isinstance(said.choice, RollChoice):
            continue
        wrong = stock_complaints(web, said.choice, store)
        if wrong:
            return complaints + wrong
        complaints += _stretch_complaints(web, said, said.choice, store, play.weights, rolls)
        chosen.append((web, said.choice))
        store.take(web, said.choice)
    complaints += roll_complaints(store, rolls, ledger) + defect_complaints(store, rolls)
    complaints += width_complaints(store, rolls) + lacking_complaints(store, plan)
    complaints += stub_complaints(play.problem, plan)
    first_of_line = {web.line: web for web in webs if web.is_first}
    return complaints + holding_complaints(tuple(chosen), store, first_of_line)


def _stretches_complaints(webs: tuple[StretchWeb, ...], plan: RollPlan) -> list[str]:
    """The plan has the stretches of the web, in the order in which they begin."""
    said = [(each.stretch.line_idx, each.stretch.stock, each.stretch.first_ms) for each in plan.stretches]
    right = [(web.line_idx, web.stock, web.first_ms) for web in webs]
    return differs("rolls", "stretches", said, right)


def _stretch_complaints(
    web: StretchWeb,
    said: RolledStretch,
    choice: RollChoice,
    store: RollStore,
    weights: Weights,
    rolls: RollLedger,
) -> list[str]:
    return [
        *choice_complaints(web, choice, rolls),
        *place_complaints(web, said.stretch.stretch.segments, choice, store),
        *roll_end_complaints(web, ends_of(web, choice, store)),
        *rest_complaints(web, choice, store),
        *splice_complaints(web, choice, store),
        *time_complaints(web, choice, store),
        *roll_cost_complaints(web, choice, store, weights),
    ]


def shortage_complaints(web: StretchWeb, shortage: Shortage, store: RollStore) -> list[str]:
    """Something is missing, for a run of the stretch; and no roll is there that would do alone."""
    where = web.name
    complaints = [] if shortage.missing_um > 0 else [f"{where}: nothing is missing of its shortage"]
    needs = {piece.run: web.needed_ms(piece) for piece in web.pieces}
    if shortage.run not in needs:
        complaints.append(f"{where}: run {shortage.run}, which lacks web, is not of it")
    else:
        complaints += differs(where, "missing from ms", shortage.needed_ms, needs[shortage.run])
    for roll in store.of_stock(web.stock):
        used_um = store.used_um.get(roll.id, 0)
        there_ms = max(roll.arrives_ms, store.free_ms.get(roll.id, 0))
        in_time = there_ms <= web.first_ms and store.could_take(web, roll)
        left_um = usable_um(roll, used_um, roll.length_um - store.rules.core_tail_um)
        flawless = not any(flaw.to_um > used_um for flaw in roll.flaws)
        unreserved = roll.reserved_for is None and (not web.is_first or store.is_mounted(web, roll))
        if in_time and flawless and unreserved and left_um >= web.good_um(web.to_um):
            complaints.append(f"{where}: roll {roll.id} would do for all of it, yet web is missing")
    return complaints
