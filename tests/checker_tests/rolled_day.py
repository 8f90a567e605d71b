"""A day made for rolls: two lines, and a wider one that begins when they are done; a roll or a job for every
rule that rolls may break.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from solver.jobs import Job, Version
from solver.ledger import web_ledger
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.roll_ledger import roll_ledger
from solver.roll_plan import with_rolls
from solver.rolls import Flaw, FlawKind, Roll, StockRules
from solver.sequence import Order, Placement
from solver.weights import Weights
from tests.builders.worked import M_UM, MIN_MS, WEB_UM, worked_job, worked_line, worked_plant
from tests.checker.rolls_web import RollLedger
from tests.checker.web import Ledger

DAY_MS = 86_400_000
RULES = StockRules(
    least_stub_um=60 * M_UM,
    core_tail_um=3 * M_UM,
    open_eur=Fraction(2),
    age_eur_per_day=Fraction(1, 20),
    most_trim_um=20_000,
    stub_eur=Fraction(3),
)
WIDE_UM = 350_000
"""No job needs paper so wide; only one line could take it."""
WIDE_ROLLS = (Roll("wide", 2800 * M_UM, -30 * DAY_MS), Roll("wide too", 600 * M_UM, -30 * DAY_MS))
ROLLS = (
    Roll("on H", 420 * M_UM, -20 * DAY_MS, on_unwind="H"),
    Roll("on P", 430 * M_UM, -20 * DAY_MS, on_unwind="P"),
    Roll("with a splice", 1400 * M_UM, -45 * DAY_MS, flaws=(Flaw(FlawKind.SPLICE, 390 * M_UM, 390 * M_UM),)),
    Roll(
        "reserved",
        1300 * M_UM,
        -10 * DAY_MS,
        flaws=(Flaw(FlawKind.DEFECT, 0, 12 * M_UM),),
        reserved_for="no splice",
    ),
    Roll("soon out of date", 1000 * M_UM, -90 * DAY_MS, best_before_ms=40 * MIN_MS),
    Roll("on its way", 1500 * M_UM, -1 * DAY_MS, arrives_ms=60 * MIN_MS),
    Roll("whole 1", 500 * M_UM, -1 * DAY_MS),
    Roll("whole 2", 1000 * M_UM, -1 * DAY_MS),
    Roll("kept for another day", 3000 * M_UM, -60 * DAY_MS, reserved_for="of another day"),
)


def _job(name: str, metres: tuple[int, ...], *changed: str, **said: Any) -> Job:
    versions = tuple(Version(f"v{number}", metre * 4 * 6) for number, metre in enumerate(metres, start=1))
    return replace(worked_job(name, *changed), versions=versions, **said)


JOBS = (
    _job("any", (380,), "die"),
    _job("no splice", (600, 620), "flexo-1", splice_rule=SpliceRule.NEVER),
    _job("between", (450, 500), splice_rule=SpliceRule.BETWEEN_VERSIONS),
    _job("in reels", (900,), "flexo-2", labels_per_reel=2400, most_splices_a_reel=1),
    _job("film", (300,), "substrate", "inkjet"),
    _job("again", (330,)),
    _job("second line", (500, 400), "die", labels_per_reel=2000, most_splices_a_reel=1),
    _job("long", (2000,), splice_rule=SpliceRule.NEVER, ready_ms=200 * MIN_MS),
    _job("film between", (300,), "substrate", "inkjet"),
    _job("rest of a slit roll", (500,), splice_rule=SpliceRule.NEVER),
)
ON_LINES = (
    ("any", "no splice", "in reels", "film", "again"),
    ("second line", "between"),
    ("long", "film between", "rest of a slit roll"),
)


def _problem() -> Problem:
    wider = replace(worked_line("H2"), web_width_um=WIDE_UM)
    lines = (worked_line("H"), worked_line("P"), wider)
    plant = worked_plant(lines[0])
    paper, *others = plant.substrates
    widths = (
        StockedWidth.by_roll(WEB_UM, ROLLS, RULES.core_tail_um),
        StockedWidth.by_roll(WIDE_UM, WIDE_ROLLS, RULES.core_tail_um),
    )
    paper = replace(paper, widths=widths)
    return Problem(replace(plant, lines=lines, substrates=(paper, *others), stock_rules=RULES), JOBS)


def _order(problem: Problem) -> Order:
    seats = {"flexo-1": (1,), "inkjet": (2,), "flexo-2": (3,)}

    def placed(name: str) -> Placement:
        job_idx = problem.job_idx[name]
        kinds = [layer.kind for layer in problem.jobs[job_idx].layers]
        of_kind = {"white": seats["flexo-1"], "inkjet": seats["inkjet"], "varnish": seats["flexo-2"]}
        return Placement(job_idx, (*(of_kind[kind][0] for kind in kinds), 4))

    return tuple(tuple(map(placed, names)) for names in ON_LINES)


DRAWN = _problem()
ORDER = _order(DRAWN)
PROBLEM, PLAN = with_rolls(DRAWN, ORDER, Weights())
WEB: Ledger = web_ledger(PROBLEM, PLAN.sequence)
LEDGER: RollLedger = roll_ledger(PROBLEM, PLAN)
