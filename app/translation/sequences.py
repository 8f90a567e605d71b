"""The solver's sequences as contracts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from app.contracts import sequences as contracts
from app.contracts.roll_use import UsedRoll
from app.translation.locks import lock_text
from app.translation.roll_use import missing_stock, used_rolls
from app.translation.times import PlanClock
from app.translation.units import m_from_um, min_from_ms, mm_from_um, rounded
from solver.cheapest_rolls import RolledSequence
from solver.ledger import web_ledger
from solver.measures import Indicators, Measures, measure
from solver.problem import Problem
from solver.sequence import (
    Changeover,
    Cost,
    Interruption,
    LineRuns,
    Lot,
    Piece,
    Run,
    Sequence,
    Stop,
    Task,
    VersionRun,
)
from solver.stub_cost import StubCost
from solver.weights import Weights


@dataclass(frozen=True, slots=True)
class Costed:
    """A sequence with its rolls, and what is needed to tell it to people."""

    rolled: RolledSequence
    clock: PlanClock
    site: str
    goal: contracts.Goal
    weights: Weights

    @property
    def problem(self) -> Problem:
        """With the rolls chosen for the sequence."""
        return self.rolled.problem

    @property
    def sequence(self) -> Sequence:
        return self.rolled.sequence


def sequence_contract(costed: Costed) -> contracts.Sequence:
    """A sequence with its totals, its ledger and its rolls."""
    sequence = costed.sequence
    measures = measure(costed.problem, sequence, costed.weights)
    lots = lots_by_job(sequence)
    lines = tuple(_line_runs(costed, line, measures, lots) for line in sequence.lines)
    return contracts.Sequence(
        site=costed.site,
        zone=costed.clock.zone.key,
        start=costed.clock.moment(0),
        goal=costed.goal,
        lines=lines,
        left_out=tuple(
            contracts.LeftOut(
                job=left_out.job, lot=lot_contract(lots, left_out.job, left_out.lot), reasons=left_out.reasons
            )
            for left_out in sequence.left_out
        ),
        broken_locks=tuple(
            lock_text(lock, costed.clock)
            for lock in costed.problem.locks
            if str(lock) in sequence.broken_locks
        ),
        cost=cost_contract(sequence.cost),
        totals=_totals(costed.problem, sequence, lines, measures),
        ledger=tuple(
            piece_contract(piece) for pieces in web_ledger(costed.problem, sequence) for piece in pieces
        ),
        rolls=_rolls(costed),
        missing=missing_stock(costed.problem, costed.rolled.plan, costed.clock),
    )


def _rolls(costed: Costed) -> tuple[UsedRoll, ...] | None:
    plan = costed.rolled.plan
    if costed.problem.chosen_rolls is None or not plan.settled:
        return None
    return tuple(used_rolls(costed.problem, plan))


def baseline_contract(costed: Costed, name: str) -> contracts.Baseline:
    """Cost and totals of an order nobody searched for."""
    sequence = costed.sequence
    measures = measure(costed.problem, sequence, costed.weights)
    lots = lots_by_job(sequence)
    lines = tuple(_line_runs(costed, line, measures, lots) for line in sequence.lines)
    return contracts.Baseline(
        name=name,
        cost=cost_contract(sequence.cost),
        totals=_totals(costed.problem, sequence, lines, measures),
    )


LotsByJob = dict[str, list[Lot]]


def lots_by_job(sequence: Sequence) -> LotsByJob:
    """Every lot of every split job in the order of its labels, left-out ones too."""
    lots: LotsByJob = {}
    parts = [(run.job, run.lot) for run in sequence.runs]
    parts += [(left_out.job, left_out.lot) for left_out in sequence.left_out]
    for job, lot in parts:
        if lot is not None:
            lots.setdefault(job, []).append(lot)
    return {job: sorted(of_job) for job, of_job in lots.items()}


def lot_contract(lots: LotsByJob, job: str, lot: Lot | None) -> contracts.Lot | None:
    """A lot among those of its job; None for a whole job."""
    if lot is None:
        return None
    return contracts.Lot(
        first_label=lot.first + 1,
        last_label=lot.last,
        number=lots[job].index(lot) + 1,
        lots=len(lots[job]),
    )


def _line_runs(costed: Costed, line: LineRuns, measures: Measures, lots: LotsByJob) -> contracts.LineRuns:
    return contracts.LineRuns(
        line=line.line,
        runs=tuple(_run(costed, run, lots) for run in line.runs),
        closures=tuple(_closures(costed, line)),
        waiting_min=min_from_ms(line.waiting_ms),
        clean_down_min=min_from_ms(line.clean_down_ms),
        minute_is_worth_m=measures.exchange_m_per_min[line.line],
        indicators=_indicators(measures.line_indicators[line.line]),
    )


def _closures(costed: Costed, line: LineRuns) -> Iterator[contracts.Closure]:
    """When a line is closed until its last run has ended."""
    end_ms = max((run.end_ms for run in line.runs), default=0)
    calendar = costed.problem.plant.lines[costed.problem.line_idx[line.line]].calendar
    for closed_ms, open_ms in calendar.closures:
        if closed_ms >= end_ms:
            return
        yield contracts.Closure(
            closed_from=costed.clock.moment(closed_ms), closed_to=costed.clock.moment(open_ms)
        )


def _run(costed: Costed, run: Run, lots: LotsByJob) -> contracts.Run:
    clock = costed.clock
    job = costed.problem.jobs[run.job_idx]
    changeover_um = run.changeover.waste_um if run.changeover else 0
    return contracts.Run(
        job=run.job,
        lot=lot_contract(lots, run.job, run.lot),
        customer=job.customer,
        substrate=run.stock.substrate,
        width_mm=mm_from_um(run.stock.width_um),
        die=job.die,
        stations=run.stations,
        changeover=changeover_contract(run.changeover) if run.changeover else None,
        changeover_start=clock.moment(run.changeover_start_ms),
        print_start=clock.moment(run.print_start_ms),
        end=clock.moment(run.end_ms),
        press_due=None if run.press_due_ms is None else clock.moment(run.press_due_ms),
        late_min=min_from_ms(run.lateness_ms),
        late_eur=rounded(run.late_eur),
        speed_m_min=m_from_um(run.speed_um_min),
        wait_min=min_from_ms(run.wait_ms),
        run_min=min_from_ms(run.run_ms),
        doffs=run.doffs,
        foil_reel_ends=run.foil_reel_ends,
        roll_ends=len(run.roll_ends),
        roll_end=changeover_contract(run.roll_ends[0].changeover) if run.roll_ends else None,
        roll_end_min=min_from_ms(run.roll_end_ms),
        interruptions=tuple(interruption_contract(interruption, clock) for interruption in run.interruptions),
        versions=tuple(_version_run(version) for version in run.versions),
        good_m=m_from_um(run.good_um),
        web_m=m_from_um(run.web_um),
        waste_m=m_from_um(changeover_um + run.roll_end_waste_um + run.interruption_waste_um),
        moved=run.moved,
    )


def _version_run(version: VersionRun) -> contracts.VersionRun:
    return contracts.VersionRun(
        version=version.version,
        quantity=version.quantity,
        target=version.target,
        labels=version.labels,
        reels=version.reels,
        good_m=m_from_um(version.good_um),
        web_m=m_from_um(version.web_um),
        held_to_maximum=version.held_to_maximum,
    )


def interruption_contract(interruption: Interruption, clock: PlanClock) -> contracts.Interruption:
    """A closure that work goes through."""
    return contracts.Interruption(
        closed_from=clock.moment(interruption.closure_start_ms),
        closed_to=clock.moment(interruption.closure_end_ms),
        minutes=min_from_ms(interruption.duration_ms),
        waste_m=m_from_um(interruption.waste_um),
        during_run=interruption.during_run,
        cold=interruption.cold,
    )


def changeover_contract(changeover: Changeover) -> contracts.Changeover:
    """A changeover, or what a roll end costs."""
    splice_at_um = changeover.splice_at_um
    return contracts.Changeover(
        mode=changeover.mode.value,
        joined=changeover.joined,
        cold=changeover.cold,
        stops=tuple(_stop(stop) for stop in changeover.stops),
        hidden=tuple(task_contract(task) for task in changeover.hidden),
        reengaged=changeover.reengaged,
        splice_at_m=None if splice_at_um is None else m_from_um(splice_at_um),
        strip_m=m_from_um(changeover.strip_um),
        blank_m=m_from_um(changeover.blank_um),
        spoil_outgoing_m=m_from_um(changeover.spoil_before_um),
        spoil_incoming_m=m_from_um(changeover.spoil_after_um),
        splice_m=m_from_um(changeover.splice_um),
        start_up_m=m_from_um(changeover.start_up_um),
        waste_m=m_from_um(changeover.waste_um),
        clean_down_min=min_from_ms(changeover.clean_down_ms),
        minutes=min_from_ms(changeover.duration_ms),
    )


def _stop(stop: Stop) -> contracts.Stop:
    return contracts.Stop(
        at_m=m_from_um(stop.at_x_um),
        minutes=min_from_ms(stop.duration_ms),
        tasks=tuple(task_contract(task) for task in stop.tasks),
    )


_IN_UM = ("width", "core")
"""Aspects whose values the solver keeps in µm."""


def task_contract(task: Task) -> contracts.Task:
    """A station to be changed, in the trade's units."""
    return contracts.Task(
        station=task.station,
        position_m=m_from_um(task.x_um),
        minutes=min_from_ms(task.duration_ms),
        register_m=m_from_um(task.register_um),
        changes=tuple(
            contracts.Change(
                aspect=change.aspect,
                before=loaded_text(change.aspect, change.before),
                after=loaded_text(change.aspect, change.after),
                minutes=min_from_ms(change.duration_ms),
                register_m=m_from_um(change.register_um),
            )
            for change in task.changes
        ),
    )


def loaded_text(aspect: str, value: str) -> str:
    """What is loaded, in the trade's units."""
    if aspect in _IN_UM and value:
        return f"{mm_from_um(int(value)):f} mm"
    if aspect == "roll" and "@" in value:
        substrate, _, width_um = value.rpartition("@")
        return f"{substrate} {mm_from_um(int(width_um)):f} mm"
    return value


def cost_contract(cost: Cost) -> contracts.Cost:
    """Money by part, each rounded; what is summed up is what is shown."""
    waste_eur = rounded(cost.waste_eur)
    changeover_eur = rounded(cost.changeover_eur)
    waiting_eur = rounded(cost.waiting_eur)
    running_eur = rounded(cost.running_eur)
    late_eur = rounded(cost.late_eur)
    moved_eur = rounded(cost.moved_eur)
    stubs = None if cost.stubs is None else _stub_cost(cost.stubs)
    stubs_eur = Decimal(0) if stubs is None else _sum(eur for _, eur in stubs.parts)
    controllable_eur = waste_eur + changeover_eur + waiting_eur + late_eur + moved_eur + stubs_eur
    return contracts.Cost(
        waste_eur=waste_eur,
        changeover_eur=changeover_eur,
        waiting_eur=waiting_eur,
        running_eur=running_eur,
        late_eur=late_eur,
        moved_eur=moved_eur,
        stubs_eur=stubs_eur,
        stubs=stubs,
        total_eur=controllable_eur + running_eur,
        controllable_eur=controllable_eur,
    )


def _stub_cost(cost: StubCost) -> contracts.StubCost:
    return contracts.StubCost(
        cut_out_eur=rounded(cost.cut_out_eur),
        core_eur=rounded(cost.core_eur),
        scrap_eur=rounded(cost.scrap_eur),
        trim_eur=rounded(cost.trim_eur),
        opening_eur=rounded(cost.opening_eur),
        taking_back_eur=rounded(cost.taking_back_eur),
        age_eur=rounded(cost.age_eur),
    )


def _totals(
    problem: Problem, sequence: Sequence, lines: tuple[contracts.LineRuns, ...], measures: Measures
) -> contracts.Totals:
    runs = [run for line in lines for run in line.runs]
    waste = tuple(
        contracts.WasteShare(
            kind=share.kind.value,
            substrate=share.stock.substrate,
            width_mm=mm_from_um(share.stock.width_um),
            length_m=m_from_um(share.length_um),
            area_m2=rounded(share.area_m2),
        )
        for share in measures.waste
    )
    return contracts.Totals(
        jobs=len({run.job for run in runs}),
        left_out=len(sequence.left_out),
        waste_m=m_from_um(measures.waste_um),
        waste_m2=rounded(measures.waste_m2),
        waste=waste,
        stops=measures.stops,
        changeovers=measures.changeovers,
        changeover_min=_sum(run.changeover.minutes for run in runs if run.changeover),
        waiting_min=_sum(line.waiting_min for line in lines),
        running_min=_sum(run.run_min for run in runs),
        roll_end_min=_sum(run.roll_end_min for run in runs),
        interruption_min=_sum(interruption.minutes for run in runs for interruption in run.interruptions),
        clean_down_min=_sum(line.clean_down_min for line in lines),
        late_jobs=measures.late_jobs,
        lateness_min=_sum(_late_min_by_job(runs).values()),
        moved_runs=None if problem.in_force is None else measures.moved_runs,
        tightest=tuple(
            contracts.Slack(job=job, slack_min=min_from_ms(slack_ms)) for job, slack_ms in measures.tightest
        ),
        makespan_min=min_from_ms(measures.makespan_ms),
        indicators=_indicators(measures.indicators),
    )


def _late_min_by_job(runs: Iterable[contracts.Run]) -> dict[str, Decimal]:
    """How late every job is: as its last run."""
    late_min: dict[str, Decimal] = {}
    for run in runs:
        late_min[run.job] = max(run.late_min, late_min.get(run.job, run.late_min))
    return late_min


def _sum(parts: Iterable[Decimal]) -> Decimal:
    return sum(parts, Decimal(0))


def _indicators(indicators: Indicators) -> contracts.Indicators:
    return contracts.Indicators(
        setup_ratio=indicators.setup_ratio,
        availability=indicators.availability,
        effectiveness=indicators.effectiveness,
        quality_ratio=indicators.quality_ratio,
        oee=indicators.oee,
    )


def piece_contract(piece: Piece) -> contracts.Piece:
    """A piece of a line's web."""
    return contracts.Piece(
        line=piece.line,
        from_m=m_from_um(piece.from_um),
        to_m=m_from_um(piece.to_um),
        length_m=m_from_um(piece.length_um),
        kind=piece.kind.value,
        substrate=piece.stock.substrate,
        width_mm=mm_from_um(piece.stock.width_um),
        job=piece.job,
        version=piece.version,
        cause=piece.cause,
        run=piece.run,
    )
