"""What the kernels of one island read of a line, and the room they work in."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from solver.locks import AtPosition, Before, FixedStart, Lock, Together
from solver.problem import Problem
from solver.search.compile import CompiledLine
from solver.search.decode import TRACED
from solver.search.islands import Halt
from solver.search.kernels.line_dispatch import Dispatch
from solver.search.kernels.line_locks import (
    AT_POSITION,
    BEFORE_ANOTHER,
    FIXED_START,
    LOCK,
    TOGETHER,
    LockTables,
)
from solver.search.kernels.line_stretches import ALWAYS, STEP
from solver.search.kernels.line_walk import LineModel, Walk
from solver.search.kernels.tables import Ints
from solver.search.packing import Field


def new_dispatch(runs: int, usual_setup_eur: float, halt: Halt) -> Dispatch:
    """Room for dispatching so many runs; a set-up is first expected to cost so much."""
    return Dispatch(
        waiting=np.zeros(runs, np.int64),
        promise=np.zeros(runs),
        chosen=np.zeros(2, np.int64),
        counts=np.zeros(4, np.int64),
        factors=np.array([1.0, 1.0, 0.0, usual_setup_eur, usual_setup_eur, 0.0, 0.0, 0.0]),
        halt=halt,
    )


def line_model(compiled: CompiledLine, uses: Ints) -> LineModel:
    """What the kernels read of a compiled line. An island needs its own: it writes where locked jobs are."""
    return LineModel(
        locks=lock_tables(compiled.problem),
        start=compiled.state,
        start_eur=np.array([compiled.eur]),
        uses=uses,
        asleep=np.array([_asleep(compiled)], np.int64),
    )


def used_slots(compiled: CompiledLine) -> Ints:
    """(plans,) the slots that each plan looks at, as bits."""
    fixed = {lock.job for lock in compiled.problem.locks if isinstance(lock, FixedStart)}
    fields = compiled.packing.fields
    found = np.zeros(len(compiled.plans), np.int64)
    for idx, plan in enumerate(compiled.plans):
        found[idx] = _bits(fields[need.slot] for need in compiled.slots.needs[idx])
        found[idx] |= ALWAYS if compiled.problem.jobs[plan.placement.job_idx].id in fixed else 0
    return found


def _asleep(compiled: CompiledLine) -> int:
    resets = compiled.tables.resets
    return _bits(field for field in compiled.packing.fields if resets[field.column])


def _bits(fields: Iterable[Field]) -> int:
    bits = 0
    for field in fields:
        bits |= field.bit
    return bits


def new_walk(compiled: CompiledLine, runs: int, hope_eur: float) -> Walk:
    """Room for a walk over orders of so many runs."""
    state = len(compiled.state)
    has_fixed = any(isinstance(lock, FixedStart) for lock in compiled.problem.locks)
    return Walk(
        order=np.zeros(runs, np.int64),
        trial=np.zeros(runs, np.int64),
        best=np.zeros(runs, np.int64),
        origin=np.arange(runs),
        place=np.full(len(compiled.problem.jobs), -1, np.int64),
        kept=np.zeros((runs + 1, state), np.int64),
        kept_eur=np.zeros(runs + 1),
        steps=np.zeros(runs, STEP),
        late_eur=np.zeros(runs + 1),
        state=np.zeros(state, np.int64),
        counts=np.zeros(7, np.int64),
        eur=np.array([np.inf, np.inf, hope_eur, 0.0, np.inf]),
        trace=np.zeros((runs, TRACED), np.int64),
        kept_trace=np.zeros((runs if has_fixed else 0, TRACED), np.int64),
    )


def lock_tables(problem: Problem) -> LockTables:
    """The locks that an order of one line can break."""
    rows: list[tuple[int, int, int, int, int]] = []
    members: list[int] = []
    for lock in problem.locks:
        first = len(members)
        if isinstance(lock, Together):
            members.extend(problem.job_idx[job] for job in lock.jobs)
        row = _lock_row(problem, lock)
        if row is not None:
            rows.append((*row, first, len(members)))
    return LockTables(
        locks=np.array(rows, LOCK),
        members=np.array(members, np.int64),
        places=np.zeros(len(problem.jobs), np.int64),
    )


def _lock_row(problem: Problem, lock: Lock) -> tuple[int, int, int] | None:
    match lock:
        case Together():
            return TOGETHER, 0, 0
        case AtPosition():
            return AT_POSITION, problem.job_idx[lock.job], lock.position
        case Before():
            return BEFORE_ANOTHER, problem.job_idx[lock.job], problem.job_idx[lock.then]
        case FixedStart():
            return FIXED_START, problem.job_idx[lock.job], lock.start_ms
        case _:
            return None
