"""What a roll end costs by what it makes later, beside its web and its minutes at the line's rate.

A roll end delays its run and all that are behind it on the line. Those that are late already are later by as
much; those that end shortly before they are due may become late. That is reckoned by the run, as if nothing
behind took up the delay, and nobody waited for the line's tools elsewhere.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import accumulate

from solver.problem import Problem
from solver.run_plan import MS_PER_H, roll_end
from solver.sequence import LineRuns, Run, Sequence
from solver.stretches import Segment, SegmentKind, Stretch
from solver.tooling import used_stations
from solver.web_stretches import LineStretch, stretches_of
from solver.weights import Weights

NEAR_MS = 15 * 60_000
"""A run that ends so much before it is due may be made late by the roll ends of a line, some minutes each."""


def delaying_stretches(problem: Problem, sequence: Sequence, weights: Weights) -> tuple[LineStretch, ...]:
    """The stretches of a sequence; their roll ends cost what they delay as well."""
    prices = [_delay_eur_per_ms(problem, line, weights) for line in sequence.lines]
    return tuple(
        _priced(problem, weights, stretch, sequence.lines[stretch.line_idx].runs, prices[stretch.line_idx])
        for stretch in stretches_of(problem, sequence, weights)
    )


def _delay_eur_per_ms(problem: Problem, line: LineRuns, weights: Weights) -> list[Fraction]:
    """By run, counted from 1, what a ms costs there, through it and all behind it; by 0, before all."""
    own = [_late_eur_per_ms(problem, run) * weights.late for run in line.runs]
    behind = list(accumulate(reversed(own)))[::-1]
    return [behind[0] if behind else Fraction(0), *behind]


def _late_eur_per_ms(problem: Problem, run: Run) -> Fraction:
    if run.press_due_ms is None:
        return Fraction(0)
    job = problem.jobs[run.job_idx]
    slack_ms = run.press_due_ms - run.end_ms
    if slack_ms < 0:
        return job.late_eur_per_h / MS_PER_H
    return job.late_eur / NEAR_MS if slack_ms < NEAR_MS else Fraction(0)


def _priced(
    problem: Problem,
    weights: Weights,
    stretch: LineStretch,
    runs: tuple[Run, ...],
    eur_per_ms: list[Fraction],
) -> LineStretch:
    line = problem.plant.lines[stretch.line_idx]

    def priced(segment: Segment) -> Segment:
        used: tuple[int, ...] = ()
        if segment.kind is SegmentKind.PRINT:
            used = used_stations(line, runs[segment.run - 1].placement.stations)
        delay_ms = roll_end(problem, weights, line, used, stretch.stock).duration_ms
        eur = segment.roll_end_eur + delay_ms * eur_per_ms[segment.run]
        return replace(segment, roll_end_eur=eur)

    return replace(stretch, stretch=Stretch(tuple(map(priced, stretch.stretch.segments))))
