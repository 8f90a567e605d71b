"""A costed plan and a queue's readiness on a screen."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from app.contracts.readiness import JobReadiness, Readiness
from app.contracts.sequences import (
    Changeover,
    Cost,
    CostedPlan,
    LineRuns,
    Run,
    Sequence,
    Task,
    Totals,
)
from app.documents.comparison import (
    HEADINGS,
    NO_ALTERNATIVE,
    RECOMMENDED,
    comparison,
    has_stubs,
    headings_of,
    told_moved,
    told_stubs,
)
from app.documents.figures import cents, cents_if_any, full_time, percent, tenths, worth
from app.documents.told_missing import missing_text
from app.documents.told_search import search_text
from app.drawings.labels import day_and_clock

CAUTION = (
    "Caution: moving webs, blades, nips, UV light and solvents. Stop the line and lock it out before you "
    "reach in; the maker's manual, site rules, local codes and trained staff come first."
)


def plan_page(costed_plan: CostedPlan) -> Iterator[RenderableType]:
    """A plan from top to bottom: order, totals beside the baselines, what was left out, the caution."""
    sequence = costed_plan.sequence
    yield Text(
        f"{sequence.site}: plan from {full_time(sequence.start)} ({sequence.zone}), goal {sequence.goal}"
    )
    for line in sequence.lines:
        if line.runs:
            yield _line_table(line)
        else:
            yield Text(f"{line.line}: no runs")
    yield _totals_table(costed_plan)
    for told in (told_moved(sequence), told_stubs(sequence.cost)):
        if told is not None:
            yield Text(told)
    yield from _exchange_rates(sequence)
    yield from _alternatives(costed_plan)
    yield Text(_indicators_text(sequence.totals))
    yield from _remarks(sequence)
    if costed_plan.search is not None:
        yield Text(search_text(costed_plan.search))
    yield Text(CAUTION, style="yellow")


def readiness_page(readiness: Readiness) -> Iterator[RenderableType]:
    """What is not ready or cannot run, job by job, and the stocks a queue takes."""
    can_run = sum(job.can_run for job in readiness.jobs)
    yield Text(
        f"From {full_time(readiness.start)}: {can_run} of {len(readiness.jobs)} jobs can run on some line"
    )
    table = Table(title="Jobs", title_justify="left")
    for heading in ("job", "lines", "state"):
        table.add_column(heading, overflow="fold")
    for job in readiness.jobs:
        table.add_row(job.job, "\n".join(_fits(job)), "\n".join(_state(job)))
    yield table
    if readiness.stocks:
        yield _stock_table(readiness)


def _line_table(line: LineRuns) -> Table:
    table = Table(title=f"Line {line.line}", title_justify="left")
    table.add_column("#", justify="right")
    table.add_column("job")
    table.add_column("stock, die", overflow="fold")
    table.add_column("changeover, stop by stop", overflow="fold", ratio=1)
    for heading in ("stops", "waste m", "min"):
        table.add_column(heading, justify="right")
    for heading in ("prints", "ends"):
        table.add_column(heading)
    table.add_column("late min", justify="right")
    for number, run in enumerate(line.runs, start=1):
        table.add_row(str(number), *_run_cells(run))
    return table


def _run_cells(run: Run) -> tuple[str, ...]:
    changeover = run.changeover
    return (
        "\n".join((run.job, *([run.lot.name] if run.lot else []), *(["moved"] if run.moved else []))),
        f"{run.substrate} {run.width_mm:f}\n{run.die}",
        "\n".join(_changeover_texts(run)) or "job only",
        str(len(changeover.stops)) if changeover else "–",
        tenths(changeover.waste_m) if changeover else "–",
        tenths(changeover.minutes) if changeover else "–",
        day_and_clock(run.print_start),
        day_and_clock(run.end),
        tenths(run.late_min) if run.late_min else "",
    )


def _changeover_texts(run: Run) -> Iterator[str]:
    if run.changeover is None:
        yield "started before the plan"
        return
    if run.changeover.joined:
        yield "runs as one with the run before"
    yield from _stop_texts(run.changeover)
    if run.roll_ends and run.roll_end is not None:
        each = f"{tenths(run.roll_end.waste_m)} m, {tenths(run.roll_end.minutes)} min"
        yield f"then {run.roll_ends} × roll end inside the run: {each} each"
    for interruption in run.interruptions:
        part = "run" if interruption.during_run else "changeover"
        yield (
            f"closure in the {part} from {day_and_clock(interruption.closed_from)}: "
            f"{tenths(interruption.waste_m)} m, {tenths(interruption.minutes)} min"
        )


def _stop_texts(changeover: Changeover) -> Iterator[str]:
    if changeover.cold:
        yield f"cold start: {tenths(changeover.start_up_m)} m"
    for number, stop in enumerate(changeover.stops, start=1):
        tasks = "; ".join(_task_text(task) for task in stop.tasks) or "no task"
        way = "run out, " if changeover.mode == "run-out" else ""
        yield f"{number}. {way}at {stop.at_m:f} m, {tenths(stop.minutes)} min: {tasks}"
    for task in changeover.hidden:
        yield f"while running: {_task_text(task)}"
    changed = {task.station for stop in changeover.stops for task in stop.tasks}
    changed |= {task.station for task in changeover.hidden}
    kept = [station for station in changeover.reengaged if station not in changed]
    if kept:
        yield f"back with kept tooling: {', '.join(kept)}"


def _task_text(task: Task) -> str:
    return f"{task.station} ({', '.join(change.aspect.replace('_', ' ') for change in task.changes)})"


def _totals_table(costed_plan: CostedPlan) -> Table:
    sequence = costed_plan.sequence
    table = Table(title="Totals", title_justify="left")
    table.add_column("order", no_wrap=True)
    is_in_force = sequence.totals.moved_runs is not None
    has_rolls = _has_rolls(costed_plan)
    for heading in (
        "waste m",
        "stops",
        "changeover min",
        "waiting min",
        "running min",
        "late jobs",
        "waste €",
        "late €",
        *(("moved €",) if is_in_force else ()),
        *(("stubs €",) if has_rolls else ()),
        "controllable €",
        "total €",
    ):
        table.add_column(heading.replace(" ", "\n"), justify="right")
    name = "this order" if costed_plan.search is None else "this plan"
    table.add_row(name, *_totals_cells(sequence.totals, sequence.cost, has_rolls), style="bold")
    for baseline in costed_plan.baselines:
        table.add_row(baseline.name, *_totals_cells(baseline.totals, baseline.cost, has_rolls))
    return table


def _has_rolls(costed_plan: CostedPlan) -> bool:
    """Whether rolls are chosen for any of the orders that are shown."""
    costs = (costed_plan.sequence.cost, *(baseline.cost for baseline in costed_plan.baselines))
    return any(cost.stubs is not None for cost in costs)


def _totals_cells(totals: Totals, cost: Cost, has_rolls: bool) -> tuple[str, ...]:
    return (
        tenths(totals.waste_m),
        str(totals.stops),
        tenths(totals.changing_min),
        tenths(totals.waiting_min),
        tenths(totals.running_min),
        str(totals.late_jobs),
        cents(cost.waste_eur),
        cents(cost.late_eur),
        *(() if totals.moved_runs is None else (cents(cost.moved_eur),)),
        *((cents_if_any(None if cost.stubs is None else cost.stubs_eur),) if has_rolls else ()),
        cents(cost.controllable_eur),
        cents(cost.total_eur),
    )


def _alternatives(costed_plan: CostedPlan) -> Iterator[RenderableType]:
    """What is recommended beside its alternatives and the baselines, then what each alternative trades."""
    if not costed_plan.alternatives:
        if costed_plan.search is not None and costed_plan.search.alternatives:
            yield Text(NO_ALTERNATIVE)
        return
    table = Table(title="Alternatives", title_justify="left")
    orders = comparison(costed_plan).orders
    for heading in headings_of(orders):
        table.add_column(
            heading.replace(" and ", " and\n"), justify="left" if heading == HEADINGS[0] else "right"
        )
    for order in orders:
        table.add_row(
            order.name,
            tenths(order.waste_m),
            tenths(order.stopped_min),
            cents(order.late_eur),
            str(order.late_jobs),
            *(() if order.moved_runs is None else (str(order.moved_runs),)),
            *((cents_if_any(order.stubs_eur),) if has_stubs(orders) else ()),
            cents(order.controllable_eur),
            cents(order.total_eur),
            style="bold" if order.name == RECOMMENDED else None,
        )
    yield table
    for alternative in costed_plan.alternatives:
        yield Text(f"{alternative.name.capitalize()}: {alternative.trade}")


def _exchange_rates(sequence: Sequence) -> Iterator[Text]:
    for line in sequence.lines:
        if line.minute_is_worth_m is not None:
            yield Text(
                f"Line {line.line}: one minute is worth {worth(line.minute_is_worth_m)} of waste here."
            )


def _indicators_text(totals: Totals) -> str:
    indicators = totals.indicators
    return (
        f"Set-up ratio {percent(indicators.setup_ratio)}, availability {percent(indicators.availability)}, "
        f"effectiveness {percent(indicators.effectiveness)}, "
        f"quality ratio {percent(indicators.quality_ratio)}, OEE {percent(indicators.oee)} (ISO 22400-2)."
    )


def _remarks(sequence: Sequence) -> Iterator[Text]:
    for left_out in sequence.left_out:
        yield Text(f"Left out: {left_out.name}: {' | '.join(left_out.reasons)}", style="red")
    for lock in sequence.broken_locks:
        yield Text(f"Broken lock: {lock}", style="red")
    for short in sequence.missing:
        yield Text(missing_text(short), style="red")
    for (job, version), labels in _held_to_maximum(sequence).items():
        yield Text(f"{job}, version {version}: held to its maximum of {labels:,}.")


def _held_to_maximum(sequence: Sequence) -> dict[tuple[str, str], int]:
    """Labels of the versions held to their maximum, all lots of a job together."""
    held: dict[tuple[str, str], int] = {}
    for run in (run for line in sequence.lines for run in line.runs):
        for version in run.versions:
            if version.held_to_maximum:
                named = (run.job, version.version)
                held[named] = held.get(named, 0) + version.target
    return held


def _fits(job: JobReadiness) -> Iterator[str]:
    for fit in job.lines:
        yield f"{fit.line}: {'; '.join(fit.reasons) if fit.reasons else 'can run it'}"


def _state(job: JobReadiness) -> Iterator[str]:
    if not job.can_run and not job.left_out:
        yield "no line can run it"
    if job.left_out:
        yield f"stays out: {'; '.join(job.left_out)}"
    if job.not_ready_until is not None:
        yield f"not ready until {day_and_clock(job.not_ready_until)}"
    if job.overdue_since is not None:
        yield f"overdue since {day_and_clock(job.overdue_since)}"
    if job.can_run and job.not_ready_until is None and job.overdue_since is None:
        yield "ready"


def _stock_table(readiness: Readiness) -> Table:
    table = Table(title="Stock that the jobs take in the order entered", title_justify="left")
    table.add_column("stock")
    for heading in ("needed m", "on hand m", "to come m"):
        table.add_column(heading, justify="right")
    for stock in readiness.stocks:
        table.add_row(
            f"{stock.substrate} {stock.width_mm:f} mm",
            tenths(stock.needed_m),
            "not followed" if stock.on_hand_m is None else tenths(stock.on_hand_m),
            tenths(stock.to_come_m),
        )
    return table
