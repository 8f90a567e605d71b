"""Days of a shop: balanced orders beside both baselines, and the waste of the four goals."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from fractions import Fraction
from statistics import median
from typing import TypeVar

from rich.console import Console

from app.contracts.sequences import CostedPlan, Goal
from app.services import planning
from app.translation.solving import Limits, Question
from solver.account import account
from solver.problem import Problem
from solver.sequence import Order, Placement
from solver.weights import GOALS
from tests.bench.checked_sequences import WrongSequenceError, refuse_wrong
from tests.bench.entry import OURS
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.tables import FigureTable
from tests.bench.versions import circumstances
from tests.builders.plant_days import Day, drawn_day, sample_day

NAME = "day"
HELP = "The sample day and drawn days beside both baselines; the four goals on the sample day."
DRAWN_DAYS = (
    (1, 60, 3),
    (2, 64, 3),
    (3, 72, 3),
    (4, 80, 3),
    (5, 40, 2),
    (6, 48, 2),
    (7, 66, 3),
    (8, 70, 3),
    (9, 84, 4),
    (10, 76, 4),
)
"""Seed, jobs and lines of the drawn days."""
SAMPLE = "sample day"
ROUNDING_EUR = Fraction(2, 100)
"""How far the sum of four figures rounded to a cent may be from the exact one."""


@dataclass(frozen=True)
class DayRow:
    """A day's balanced order beside the baselines; money is controllable cost."""

    day: str
    jobs: int
    lines: int
    seed: int
    work: int
    left_out: int
    late_jobs: int
    waste_m: float
    changeover_min: float
    waiting_min: float
    late_eur: float
    balanced_eur: float
    as_entered_eur: float
    by_due_time_eur: float
    as_entered_late_eur: float
    by_due_time_late_eur: float

    @property
    def saving(self) -> float:
        """Share saved on the better of the two baselines."""
        return 1 - self.balanced_eur / min(self.as_entered_eur, self.by_due_time_eur)

    @property
    def saving_without_late(self) -> float:
        """The same of waste, changeovers and waiting alone."""
        baseline_eur = min(
            self.as_entered_eur - self.as_entered_late_eur, self.by_due_time_eur - self.by_due_time_late_eur
        )
        return 1 - (self.balanced_eur - self.late_eur) / baseline_eur


@dataclass(frozen=True)
class GoalRow:
    """What the sample day's order wastes under a goal."""

    goal: str
    seed: int
    work: int
    waste_m: float
    changeover_min: float
    controllable_eur: float


Row = DayRow | GoalRow
AnyRow = TypeVar("AnyRow", DayRow, GoalRow)


@dataclass(frozen=True)
class DayTrial:
    """One search of one day."""

    name: str
    day: Day
    goal: Goal
    seed: int

    def rows(self, costed: CostedPlan) -> Iterator[Row]:
        """A balanced order beside the baselines; on the sample day what the goal wastes."""
        if self.name == SAMPLE:
            yield _goal_row(costed, self.seed)
        if self.goal is Goal.BALANCED:
            yield _day_row(self.name, self.day, costed, self.seed)


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=30.0, help="Of each search.")
    parser.add_argument("--work", type=int, help="Orders costed by each search, in place of seconds.")
    parser.add_argument("--seeds", type=int, default=1, help="Searches of each day.")
    parser.add_argument("--days", type=int, default=len(DRAWN_DAYS), help="Drawn days, the first first.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every day with every seed, and the other goals on the sample day; the rows of these limits."""
    limits = Limits(seconds=None if asked.work else asked.seconds, work=asked.work)
    limited = {"seconds": limits.seconds, "work_limit": limits.work}
    file = RowFile(asked.json, asked.command)
    for trial in _trials(range(asked.seeds), asked.days):
        key = {"bench": NAME, "instance": trial.name, "solver": OURS, "seed": trial.seed, **limited}
        if file.has(**key, **({} if trial.goal is Goal.BALANCED else {"goal": trial.goal})):
            continue
        wall_s, cpu_s = time.perf_counter(), time.process_time()
        costed = _planned(trial.day, trial.goal, limits, trial.seed)
        times = {"wall_s": time.perf_counter() - wall_s, "cpu_s": time.process_time() - cpu_s}
        _check(trial, costed)
        rounded = {name: round(time_s, 3) for name, time_s in times.items()}
        for row in trial.rows(costed):
            added = key | json_of(row) | rounded | circumstances()
            # A run that was killed between a trial's two rows has left the first of them.
            if not file.has(**added):
                file.add(added)
                console.print(line_of(row))
    return [
        row
        for row in file.rows
        if row["bench"] == NAME and (row["seconds"], row["work_limit"]) == tuple(limited.values())
    ]


def json_of(row: Row) -> JsonRow:
    """A row as JSON has it; its value is controllable cost in €."""
    if isinstance(row, GoalRow):
        return asdict(row) | {"value": row.controllable_eur}
    shares = {"saving": row.saving, "saving_without_late": row.saving_without_late}
    return asdict(row) | shares | {"value": row.balanced_eur}


def line_of(row: Row) -> str:
    """A row in a line, to see how far a run has come."""
    if isinstance(row, GoalRow):
        return f"{SAMPLE}, {row.goal}: {row.waste_m:,.1f} m of waste, {row.work:,} orders tried"
    return f"{row.day}: {row.balanced_eur:,.0f} €, {row.saving:.1%} saved, {row.work:,} orders tried"


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Days beside the baselines with the median over the drawn ones, and the four goals."""
    days = [_row_of(DayRow, row) for row in rows if "day" in row]
    drawn = [row for row in days if row.day != SAMPLE]
    notes = (
        "Saved on the better baseline over the drawn days: " + _spread(row.saving for row in drawn),
        "The same without late costs: " + _spread(row.saving_without_late for row in drawn),
    )
    yield _day_table(days, notes if drawn else ())
    yield _goal_table(_row_of(GoalRow, row) for row in rows if "goal" in row)


def _row_of(kind: type[AnyRow], row: JsonRow) -> AnyRow:
    return kind(**{field.name: row[field.name] for field in fields(kind)})


def _trials(seeds: Iterable[int], drawn_days: int) -> Iterator[DayTrial]:
    seeds = tuple(seeds)
    sample = sample_day()
    others = (goal for goal in Goal if goal is not Goal.BALANCED)
    goals = (Goal.BALANCED, *others)
    for seed in seeds:
        for goal in goals:
            yield DayTrial(SAMPLE, sample, goal, seed)
    for day_seed, jobs, lines in DRAWN_DAYS[:drawn_days]:
        day = drawn_day(day_seed, jobs, lines)
        for seed in seeds:
            yield DayTrial(f"drawn {day_seed}", day, Goal.BALANCED, seed)


def _spread(savings: Iterable[float]) -> str:
    savings = tuple(savings)
    return f"{median(savings):.1%} in the median, {min(savings):.1%} at least."


def _planned(day: Day, goal: Goal, limits: Limits, seed: int) -> CostedPlan:
    return planning.plan(
        Question(day.plant, day.jobs, day.start), goal, seconds=limits.seconds, work=limits.work, seed=seed
    )


def _check(trial: DayTrial, costed: CostedPlan) -> None:
    """Have the order that came out costed once more, and that checked.

    Raises
    ------
    WrongSequenceError
        Where the checker complains, or the order costs something else than was said.
    """
    day, weights, said = trial.day, GOALS[trial.goal], costed.sequence.cost.controllable_eur
    problem = Question(day.plant, day.jobs, day.start).problem
    sequence = account(problem, _order(problem, costed), weights)
    refuse_wrong(f"{trial.name}, {trial.goal}", problem, sequence, weights)
    if abs(sequence.cost.controllable_eur - Fraction(said)) > ROUNDING_EUR:
        raise WrongSequenceError(
            f"{trial.name}: {float(sequence.cost.controllable_eur)} €, said to be {said}"
        )


def _order(problem: Problem, costed: CostedPlan) -> Order:
    return tuple(
        tuple(_placement(problem, line_idx, run.job, run.stations) for run in line.runs)
        for line_idx, line in enumerate(costed.sequence.lines)
    )


def _placement(problem: Problem, line_idx: int, job: str, stations: Iterable[str]) -> Placement:
    idx = {station.id: idx for idx, station in enumerate(problem.plant.lines[line_idx].stations)}
    return Placement(problem.job_idx[job], tuple(idx[station] for station in stations))


def _day_row(name: str, day: Day, costed: CostedPlan, seed: int) -> DayRow:
    totals, cost = costed.sequence.totals, costed.sequence.cost
    baseline = {baseline.name: baseline.cost for baseline in costed.baselines}
    entered, by_due = baseline["as entered"], baseline["by due time"]
    return DayRow(
        day=name,
        jobs=len(day.jobs),
        lines=len(day.plant.lines),
        seed=seed,
        work=_work(costed),
        left_out=totals.left_out,
        late_jobs=totals.late_jobs,
        waste_m=float(totals.waste_m),
        changeover_min=float(totals.changeover_min),
        waiting_min=float(totals.waiting_min),
        late_eur=float(cost.late_eur),
        balanced_eur=float(cost.controllable_eur),
        as_entered_eur=float(entered.controllable_eur),
        by_due_time_eur=float(by_due.controllable_eur),
        as_entered_late_eur=float(entered.late_eur),
        by_due_time_late_eur=float(by_due.late_eur),
    )


def _goal_row(costed: CostedPlan, seed: int) -> GoalRow:
    sequence = costed.sequence
    return GoalRow(
        goal=sequence.goal.value,
        seed=seed,
        work=_work(costed),
        waste_m=float(sequence.totals.waste_m),
        changeover_min=float(sequence.totals.changeover_min),
        controllable_eur=float(sequence.cost.controllable_eur),
    )


def _work(costed: CostedPlan) -> int:
    return 0 if costed.search is None else costed.search.work


def _day_table(rows: Iterable[DayRow], notes: tuple[str, ...]) -> FigureTable:
    return FigureTable(
        "Controllable cost of the balanced order",
        (
            *("day", "jobs", "lines", "seed", "left out", "late", "late €", "waste m", "changeover min"),
            *("balanced €", "as entered €", "by due €", "saving", "without late", "orders"),
        ),
        tuple(_day_line(row) for row in rows),
        notes,
    )


def _day_line(row: DayRow) -> tuple[str, ...]:
    counts = (row.jobs, row.lines, row.seed, row.left_out, row.late_jobs)
    figures = (row.late_eur, row.waste_m, row.changeover_min)
    money = (row.balanced_eur, row.as_entered_eur, row.by_due_time_eur)
    return (
        row.day,
        *map(str, counts),
        *(f"{figure:,.0f}" for figure in (*figures, *money)),
        f"{row.saving:.1%}",
        f"{row.saving_without_late:.1%}",
        f"{row.work:,}",
    )


def _goal_table(rows: Iterable[GoalRow]) -> FigureTable:
    return FigureTable(
        "The four goals on the sample day",
        ("goal", "seed", "waste m", "changeover min", "controllable €", "orders"),
        tuple(
            (
                row.goal,
                str(row.seed),
                f"{row.waste_m:,.1f}",
                f"{row.changeover_min:,.1f}",
                f"{row.controllable_eur:,.0f}",
                f"{row.work:,}",
            )
            for row in rows
        ),
    )
