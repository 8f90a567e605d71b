"""Moves of the local search: each makes a changed copy of the lines it touches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from solver.run_plan import RunPlan
from tests.bench.peers.first_engine.evaluate import Evaluator, Plans

LONGEST_SEGMENT = 3


@dataclass(frozen=True, slots=True)
class Shift:
    """Take `length` adjacent runs from a line and insert them at a position of a line.

    `to_position` counts after the runs have been taken out.
    """

    from_line: int
    from_position: int
    length: int
    to_line: int
    to_position: int


@dataclass(frozen=True, slots=True)
class Swap:
    """Exchange two runs."""

    line: int
    position: int
    other_line: int
    other_position: int


@dataclass(frozen=True, slots=True)
class Restation:
    """Give a run another of its station choices."""

    line: int
    position: int
    choice_idx: int


@dataclass(frozen=True, slots=True)
class Reseat:
    """Exchange two stations in `length` adjacent runs from a position on."""

    line: int
    position: int
    length: int
    station: int
    other: int


Move = Shift | Swap | Restation | Reseat
Changed = list[tuple[int, int]]
"""(line, first changed position)."""


def moves_of(evaluator: Evaluator, plans: Plans, line_idx: int, position: int) -> Iterator[Move]:
    """Every move of the run at a position: with runs behind it, with another run, to other stations."""
    line_plans = plans[line_idx]
    plan = line_plans[position]
    choices = evaluator.choices[line_idx][plan.placement.job_idx]
    for choice_idx in range(len(choices)):
        if choices[choice_idx] != plan.placement.stations:
            yield Restation(line_idx, position, choice_idx)
    if len(choices) > 1:
        yield from _reseats(evaluator, plans, line_idx, position)
    for length in range(1, min(LONGEST_SEGMENT, len(line_plans) - position) + 1):
        for to_line, to_plans in enumerate(plans):
            taken = length if to_line == line_idx else 0
            for to_position in range(evaluator.first_free(to_plans), len(to_plans) - taken + 1):
                if to_line != line_idx or to_position != position:
                    yield Shift(line_idx, position, length, to_line, to_position)
    for other_line, other_plans in enumerate(plans):
        for other_position in range(evaluator.first_free(other_plans), len(other_plans)):
            if (other_line, other_position) != (line_idx, position):
                yield Swap(line_idx, position, other_line, other_position)


def _reseats(evaluator: Evaluator, plans: Plans, line_idx: int, position: int) -> Iterator[Reseat]:
    """Exchanges of two stations that begin at a position, as far as the runs behind it can follow."""
    choices = evaluator.choices[line_idx][plans[line_idx][position].placement.job_idx]
    for station, other in combinations(sorted({seat for choice in choices for seat in choice}), 2):
        for length, plan in enumerate(plans[line_idx][position:], 1):
            stations = plan.placement.stations
            exchanged = _exchanged(stations, station, other)
            if exchanged not in evaluator.choices[line_idx][plan.placement.job_idx]:
                break
            if exchanged != stations:
                yield Reseat(line_idx, position, length, station, other)


def _exchanged(stations: tuple[int, ...], station: int, other: int) -> tuple[int, ...]:
    exchange = {station: other, other: station}
    return tuple(exchange.get(idx, idx) for idx in stations)


def moved_plans(evaluator: Evaluator, plans: Plans, move: Move) -> tuple[Plans, Changed] | None:
    """The order after a move, and where it differs; None where a job cannot run on its new line."""
    match move:
        case Shift():
            return _shifted(evaluator, plans, move)
        case Swap():
            return _swapped(evaluator, plans, move)
        case Restation():
            return _restationed(evaluator, plans, move)
        case Reseat():
            return _reseated(evaluator, plans, move)


def _on_line(evaluator: Evaluator, plan: RunPlan, line_idx: int) -> RunPlan | None:
    if plan.line_idx == line_idx:
        return plan
    job_idx = plan.placement.job_idx
    return evaluator.plan(line_idx, job_idx) if evaluator.choices[line_idx][job_idx] else None


def _shifted(evaluator: Evaluator, plans: Plans, move: Shift) -> tuple[Plans, Changed] | None:
    source = plans[move.from_line]
    segment: list[RunPlan] = []
    for plan in source[move.from_position : move.from_position + move.length]:
        placed = _on_line(evaluator, plan, move.to_line)
        if placed is None:
            return None
        segment.append(placed)
    after = list(plans)
    after[move.from_line] = source[: move.from_position] + source[move.from_position + move.length :]
    target = after[move.to_line]
    after[move.to_line] = target[: move.to_position] + segment + target[move.to_position :]
    if move.from_line == move.to_line:
        return after, [(move.from_line, min(move.from_position, move.to_position))]
    return after, [(move.from_line, move.from_position), (move.to_line, move.to_position)]


def _swapped(evaluator: Evaluator, plans: Plans, move: Swap) -> tuple[Plans, Changed] | None:
    first = _on_line(evaluator, plans[move.line][move.position], move.other_line)
    second = _on_line(evaluator, plans[move.other_line][move.other_position], move.line)
    if first is None or second is None:
        return None
    after = list(plans)
    for line_idx in {move.line, move.other_line}:
        after[line_idx] = list(plans[line_idx])
    after[move.line][move.position] = second
    after[move.other_line][move.other_position] = first
    return after, [(move.line, move.position), (move.other_line, move.other_position)]


def _restationed(evaluator: Evaluator, plans: Plans, move: Restation) -> tuple[Plans, Changed]:
    plan = plans[move.line][move.position]
    after = list(plans)
    after[move.line] = list(plans[move.line])
    after[move.line][move.position] = evaluator.plan(move.line, plan.placement.job_idx, move.choice_idx)
    return after, [(move.line, move.position)]


def _reseated(evaluator: Evaluator, plans: Plans, move: Reseat) -> tuple[Plans, Changed] | None:
    line_plans = list(plans[move.line])
    for position in range(move.position, move.position + move.length):
        placement = line_plans[position].placement
        stations = _exchanged(placement.stations, move.station, move.other)
        choices = evaluator.choices[move.line][placement.job_idx]
        if stations not in choices:
            return None
        line_plans[position] = evaluator.plan(move.line, placement.job_idx, choices.index(stations))
    after = list(plans)
    after[move.line] = line_plans
    return after, [(move.line, move.position)]
