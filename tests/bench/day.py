"""Days of a shop: balanced orders beside both baselines, and the waste of the four goals."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from statistics import median

from rich.console import RenderableType
from rich.table import Table

from app.contracts.sequences import CostedPlan, Goal
from app.services import planning
from app.translation.solving import Limits
from tests.builders.plant_days import Day, drawn_day, sample_day

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


def measured(limits: Limits, seeds: Iterable[int], drawn_days: int) -> Iterator[Row]:
    """Rows as they come: every day with every seed, then the other goals on the sample day."""
    seeds = tuple(seeds)
    sample = sample_day()
    for seed in seeds:
        costed = _planned(sample, Goal.BALANCED, limits, seed)
        yield _day_row(SAMPLE, sample, costed, seed)
        yield _goal_row(costed, seed)
        for goal in Goal:
            if goal is not Goal.BALANCED:
                yield _goal_row(_planned(sample, goal, limits, seed), seed)
    for day_seed, jobs, lines in DRAWN_DAYS[:drawn_days]:
        day = drawn_day(day_seed, jobs, lines)
        for seed in seeds:
            yield _day_row(f"drawn {day_seed}", day, _planned(day, Goal.BALANCED, limits, seed), seed)


def json_of(row: Row) -> dict[str, object]:
    """A row as JSON has it."""
    if isinstance(row, GoalRow):
        return asdict(row)
    return asdict(row) | {"saving": row.saving, "saving_without_late": row.saving_without_late}


def line_of(row: Row) -> str:
    """A row in a line, to see how far a run has come."""
    if isinstance(row, GoalRow):
        return f"{SAMPLE}, {row.goal}: {row.waste_m:,.1f} m of waste, {row.work:,} orders costed"
    return f"{row.day}: {row.balanced_eur:,.0f} €, {row.saving:.1%} saved, {row.work:,} orders costed"


def page(rows: Iterable[Row]) -> Iterator[RenderableType]:
    """The tables of a run and its median."""
    rows = tuple(rows)
    days = [row for row in rows if isinstance(row, DayRow)]
    yield _day_table(days)
    yield _goal_table(row for row in rows if isinstance(row, GoalRow))
    drawn = [row for row in days if row.day != SAMPLE]
    if drawn:
        yield "Saved on the better baseline over the drawn days: " + _spread(row.saving for row in drawn)
        yield "The same without late costs: " + _spread(row.saving_without_late for row in drawn)


def _spread(savings: Iterable[float]) -> str:
    savings = tuple(savings)
    return f"{median(savings):.1%} in the median, {min(savings):.1%} at least."


def _planned(day: Day, goal: Goal, limits: Limits, seed: int) -> CostedPlan:
    return planning.plan(
        day.plant, day.jobs, day.start, goal, seconds=limits.seconds, work=limits.work, seed=seed
    )


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


def _day_table(rows: Iterable[DayRow]) -> Table:
    table = Table(title="Controllable cost of the balanced order", title_justify="left")
    for heading in (
        "day",
        "jobs",
        "lines",
        "seed",
        "left out",
        "late",
        "late €",
        "waste m",
        "changeover min",
    ):
        table.add_column(heading, justify="left" if heading == "day" else "right")
    for heading in ("balanced €", "as entered €", "by due €", "saving", "without late", "orders"):
        table.add_column(heading, justify="right")
    for row in rows:
        counts = (row.jobs, row.lines, row.seed, row.left_out, row.late_jobs)
        money = (row.balanced_eur, row.as_entered_eur, row.by_due_time_eur)
        table.add_row(
            row.day,
            *map(str, counts),
            f"{row.late_eur:,.0f}",
            f"{row.waste_m:,.0f}",
            f"{row.changeover_min:,.0f}",
            *(f"{eur:,.0f}" for eur in money),
            f"{row.saving:.1%}",
            f"{row.saving_without_late:.1%}",
            f"{row.work:,}",
        )
    return table


def _goal_table(rows: Iterable[GoalRow]) -> Table:
    table = Table(title="The four goals on the sample day", title_justify="left")
    table.add_column("goal")
    for heading in ("seed", "waste m", "changeover min", "controllable €", "orders"):
        table.add_column(heading, justify="right")
    for row in rows:
        table.add_row(
            row.goal,
            str(row.seed),
            f"{row.waste_m:,.1f}",
            f"{row.changeover_min:,.1f}",
            f"{row.controllable_eur:,.0f}",
            f"{row.work:,}",
        )
    return table
