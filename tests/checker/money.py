"""Waiting, and the cost by part."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from solver.sequence import Sequence
from solver.weights import Weights
from tests.checker.complaints import differs
from tests.checker.expected import ExpectedRun
from tests.checker.lateness import job_late_eur
from tests.checker.moved import moved_eur
from tests.checker.open_time import open_between
from tests.checker.prices import stock_eur_per_um, weighed_stock_eur_per_um
from tests.checker.state import Replay


def runs_of_line(play: Replay, line_idx: int) -> list[ExpectedRun]:
    """A line's runs in order."""
    return [run for run in play.runs.values() if run.line_idx == line_idx]


def plan_start_ms(play: Replay) -> int:
    """The first changeover start on any line; 0 if a run had started."""
    if any(run.changeover is None for run in play.runs.values()):
        return 0
    return min((run.start_ms for run in play.runs.values()), default=0)


def waiting_ms(play: Replay, line_idx: int) -> int:
    """A line's open time from the plan's first start to its last end in which it does nothing."""
    runs = runs_of_line(play, line_idx)
    if not runs:
        return 0
    line = play.problem.plant.lines[line_idx]
    open_ms = open_between(line.calendar, plan_start_ms(play), runs[-1].end_ms)
    return open_ms - sum(run.work_ms + started_changeover_ms(run) for run in runs)


def started_changeover_ms(run: ExpectedRun) -> int:
    """What is left of the changeover of a started run: no cost of this plan, but no waiting either."""
    return open_between(run.line.calendar, 0, run.print_start_ms) if run.changeover is None else 0


def closing_clean_down_ms(play: Replay, line_idx: int) -> int:
    """The clean-down behind a last run that was low-migration work."""
    runs = runs_of_line(play, line_idx)
    if runs and runs[-1].job.low_migration:
        return play.problem.plant.lines[line_idx].clean_down_out_ms
    return 0


def line_complaints(play: Replay, sequence: Sequence) -> list[str]:
    """Waiting and closing clean-down of every line."""
    complaints = []
    for line_idx, line in enumerate(sequence.lines):
        where = f"line {line.line}"
        complaints += differs(where, "waiting in ms", line.waiting_ms, waiting_ms(play, line_idx))
        closing_ms = closing_clean_down_ms(play, line_idx)
        complaints += differs(where, "closing clean-down in ms", line.clean_down_ms, closing_ms)
    return complaints


def waste_eur(play: Replay) -> Fraction:
    """Σ waste × width × €/m²."""
    return sum(
        (
            length_um * stock_eur_per_um(play.problem, stock)
            for run in play.runs.values()
            for stock, length_um in run.waste_by_stock().items()
        ),
        Fraction(0),
    )


def weighed_waste_eur(play: Replay, weights: Weights) -> Fraction:
    """The same as the goal weighs it."""
    return sum(
        (
            length_um * weighed_stock_eur_per_um(play.problem, weights, stock)
            for run in play.runs.values()
            for stock, length_um in run.waste_by_stock().items()
        ),
        Fraction(0),
    )


def changeover_eur(play: Replay) -> Fraction:
    """Changeovers, roll ends, interruptions and clean-downs at their line's rate."""
    eur = Fraction(0)
    for line_idx, line in enumerate(play.problem.plant.lines):
        busy_ms = sum(run.work_ms - run.run_ms for run in runs_of_line(play, line_idx))
        eur += line.eur_per_ms * (busy_ms + closing_clean_down_ms(play, line_idx))
    return eur


def waiting_eur(play: Replay) -> Fraction:
    """Waiting at its line's rate."""
    lines = enumerate(play.problem.plant.lines)
    return sum((line.eur_per_ms * waiting_ms(play, line_idx) for line_idx, line in lines), Fraction(0))


def running_eur(play: Replay) -> Fraction:
    """Running at its line's rate."""
    return sum((run.line.eur_per_ms * run.run_ms for run in play.runs.values()), Fraction(0))


def late_eur(play: Replay) -> Fraction:
    """Late costs of all jobs: each is late once, when its last run ends."""
    ends: dict[int, int] = {}
    for run in play.runs.values():
        job_idx = run.placement.job_idx
        ends[job_idx] = max(run.end_ms, ends.get(job_idx, run.end_ms))
    jobs = play.problem.jobs
    return sum(
        (job_late_eur(play.problem, jobs[job_idx], end_ms) for job_idx, end_ms in ends.items()), Fraction(0)
    )


def stubs_eur(play: Replay) -> Fraction:
    """What is paid for chosen rolls besides their splices."""
    rolls = play.problem.chosen_rolls
    if rolls is None:
        return Fraction(0)
    cost = rolls.cost
    lost_eur = cost.cut_out_eur + cost.core_eur + cost.scrap_eur + cost.trim_eur
    return lost_eur + cost.opening_eur + cost.taking_back_eur


def cost_complaints(play: Replay, sequence: Sequence, weights: Weights) -> list[str]:
    """Money by part, and the weighed total."""
    changeover, waiting = changeover_eur(play), waiting_eur(play)
    running, late = running_eur(play), late_eur(play)
    cost = sequence.cost
    complaints = differs("cost", "waste in €", cost.waste_eur, waste_eur(play))
    complaints += differs("cost", "changeovers in €", cost.changeover_eur, changeover)
    complaints += differs("cost", "waiting in €", cost.waiting_eur, waiting)
    complaints += differs("cost", "running in €", cost.running_eur, running)
    complaints += differs("cost", "late in €", cost.late_eur, late)
    complaints += differs("cost", "moved runs in €", cost.moved_eur, moved_eur(play))
    rolls = play.problem.chosen_rolls
    expected = None if rolls is None else rolls.cost
    complaints += differs("cost", "stubs", cost.stubs, expected)
    cost = replace(cost, stubs=expected)
    complaints += differs("cost", "stubs in €", cost.stubs_eur, stubs_eur(play))
    parts = (
        cost.waste_eur,
        cost.changeover_eur,
        cost.waiting_eur,
        cost.late_eur,
        cost.moved_eur,
        cost.stubs_eur,
    )
    complaints += differs("cost", "controllable in €", cost.controllable_eur, sum(parts, Fraction(0)))
    weighed = (
        weighed_waste_eur(play, weights)
        + weights.changeover * (changeover + waiting)
        + weights.running * running
        + weights.late * late
        + moved_eur(play)
        + stubs_eur(play)
        + (Fraction(0) if expected is None else expected.age_eur)
    )
    return complaints + differs("cost", "weighed total in €", sequence.weighed_eur, weighed)
