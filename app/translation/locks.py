"""Locks for the solver, and in words on the site's clock."""

from __future__ import annotations

from app.contracts.locks import BeforeLock, FixedStartLock, LineLock, Lock, PositionLock, StartedLock
from app.translation.times import PlanClock
from solver import locks as solver_locks


def solver_lock_of(lock: Lock, clock: PlanClock) -> solver_locks.Lock:
    """A lock with its moments in ms from the plan's start."""
    match lock:
        case StartedLock():
            return solver_locks.Started(
                job=lock.job,
                line=lock.line,
                changeover_start_ms=clock.ms(lock.changeover_start),
                print_start_ms=clock.ms(lock.print_start),
                end_ms=clock.ms(lock.end),
                stations=lock.stations,
            )
        case FixedStartLock():
            return solver_locks.FixedStart(lock.job, clock.ms(lock.at))
        case LineLock():
            return solver_locks.OnLine(lock.job, lock.line)
        case PositionLock():
            return solver_locks.AtPosition(lock.job, lock.position)
        case BeforeLock():
            return solver_locks.Before(lock.job, lock.then)
        case _:
            return solver_locks.Together(lock.jobs)


def lock_text(lock: solver_locks.Lock, clock: PlanClock) -> str:
    """A lock in words."""
    if isinstance(lock, solver_locks.FixedStart):
        return f"{lock.job} starts at {clock.moment(lock.start_ms).isoformat(timespec='minutes')}"
    return str(lock)
