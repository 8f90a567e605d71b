"""Jobs for the solver."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from app.contracts.jobs import INKJET, Job, Layer, Version, Winding
from app.contracts.plant import Plant
from app.translation.plant import slit_layout_of
from app.translation.times import PlanClock
from app.translation.units import share_from_pct, um_from_mm
from solver import jobs as solver_jobs
from solver import reels


def solver_job_of(plant: Plant, job: Job, clock: PlanClock) -> solver_jobs.Job:
    """A job in the solver's units, its times counted from the plan's start."""
    return dated(undated_job_of(plant, job), job, clock)


def dated(undated: solver_jobs.Job, job: Job, clock: PlanClock) -> solver_jobs.Job:
    """A job translated before, from another start on."""
    ready_ms = 0 if job.ready is None else max(0, clock.ms(job.ready))
    due_ms = None if job.due is None else clock.ms(job.due)
    if not ready_ms and due_ms is None:
        return undated
    return replace(undated, ready_ms=ready_ms, due_ms=due_ms)


def undated_job_of(plant: Plant, job: Job) -> solver_jobs.Job:
    """A job in the solver's units without its times, with what it leaves to the plant filled in.

    Every layer whose consumable needs a plate gets one of the job's own: JOB/1, JOB/2 … in laying
    order.
    """
    die = next((die for die in plant.dies if die.id == job.die), None)
    late_eur = plant.late_eur if job.late_eur is None else job.late_eur
    late_eur_per_h = plant.late_eur_per_h if job.late_eur_per_h is None else job.late_eur_per_h
    return solver_jobs.Job(
        id=job.job,
        versions=tuple(_version(plant, version) for version in job.versions),
        substrate=job.substrate,
        die=job.die,
        layer_groups=_layer_groups(plant, job),
        customer=job.customer,
        slit_layout="" if die is None else slit_layout_of(die),
        core_um=None if job.core_mm is None else um_from_mm(job.core_mm),
        labels_per_reel=job.labels_per_reel,
        full_reels=job.full_reels,
        roll_width_um=None if job.roll_width_mm is None else um_from_mm(job.roll_width_mm),
        late_eur=Fraction(late_eur),
        late_eur_per_h=Fraction(late_eur_per_h),
        least_lot=job.least_lot,
        may_join=job.may_join,
        splice_rule=reels.SpliceRule(job.splice_rule.value),
        most_splices_a_reel=job.most_splices_a_reel,
        largest_reel_um=None if job.largest_reel_mm is None else um_from_mm(job.largest_reel_mm),
        winding=None if job.winding is None else _winding(job.winding),
    )


def _winding(winding: Winding) -> reels.Winding:
    return reels.Winding(winding.outwards, reels.LeadingEdge(winding.leading_edge.value))


def _version(plant: Plant, version: Version) -> solver_jobs.Version:
    overs_pct = plant.overs_pct if version.overs_pct is None else version.overs_pct
    return solver_jobs.Version(
        id=version.version,
        quantity=version.quantity,
        overs=share_from_pct(overs_pct),
        max_quantity=version.max_quantity,
    )


def _layer_groups(plant: Plant, job: Job) -> tuple[tuple[solver_jobs.Layer, ...], ...]:
    plated = {consumable.id for consumable in plant.consumables if consumable.plate}
    groups: list[tuple[solver_jobs.Layer, ...]] = []
    laid = 0
    for group in job.finishes:
        layers: list[solver_jobs.Layer] = []
        for layer in group:
            laid += 1
            plate = f"{job.job}/{laid}" if layer.consumable in plated else ""
            layers.append(_layer(job, layer, plate))
        groups.append(tuple(layers))
    return tuple(groups)


def _layer(job: Job, layer: Layer, plate: str) -> solver_jobs.Layer:
    channels = frozenset(job.colours) if layer.kind == INKJET else frozenset()
    return solver_jobs.Layer(layer.kind, layer.consumable, plate, channels)
