"""Open time of a line, and how work runs through its closures."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from solver.calendar import Calendar
from solver.plant import Line
from solver.sequence import Interruption
from tests.checker.rounding import MS_PER_MIN, half_up


@dataclass(frozen=True)
class Passage:
    """When a changeover and its run got through the calendar."""

    print_start_ms: int
    end_ms: int
    interruptions: tuple[Interruption, ...]


def next_open(calendar: Calendar, at_ms: int) -> int:
    """The first open instant from `at_ms` on; closures are half-open."""
    for start_ms, end_ms in calendar.closures:
        if start_ms <= at_ms < end_ms:
            return end_ms
    return at_ms


def open_between(calendar: Calendar, start_ms: int, end_ms: int) -> int:
    """Open time between two instants; 0 if they are in the wrong order."""
    closed_ms = sum(max(0, min(end_ms, close) - max(start_ms, begin)) for begin, close in calendar.closures)
    return max(0, end_ms - start_ms - closed_ms)


def is_cold_after(line: Line, rest_ms: int) -> bool:
    """Whether a line is cold after a rest."""
    return line.cold_after_ms is not None and rest_ms > line.cold_after_ms


def interruption_ms(line: Line, cold: bool) -> int:
    """A stop, restart metres at set-up speed, and the start-up when cold; rounded once."""
    start_up_ms = line.start_up_ms if cold else 0
    return half_up(
        line.stop_ms + start_up_ms + Fraction(line.restart_um * MS_PER_MIN, line.setup_speed_um_min)
    )


def interruption_waste_um(line: Line, cold: bool) -> int:
    """Restart metres, and start-up metres when cold, of the running stock."""
    return line.restart_um + (line.start_up_um if cold else 0)


def work_through(line: Line, start_ms: int, changeover_ms: int, run_ms: int) -> Passage:
    """Let a changeover and then its run pass from an open instant through the line's closures.

    A closure that begins before all is done interrupts it, and adds to the work that is left. Where
    the changeover ends just when a closure begins, the run is what is interrupted.
    """
    now_ms, done_ms, extra_ms = start_ms, 0, 0
    total_ms = changeover_ms + run_ms
    print_start_ms = None if changeover_ms else start_ms
    interruptions: list[Interruption] = []
    for closure_start_ms, closure_end_ms in line.calendar.closures:
        if closure_start_ms < start_ms:
            continue
        spare_ms = closure_start_ms - now_ms - extra_ms
        if spare_ms >= total_ms - done_ms:
            break
        if print_start_ms is None and done_ms + spare_ms >= changeover_ms:
            print_start_ms = now_ms + extra_ms + changeover_ms - done_ms
        done_ms += max(0, spare_ms)
        cold = is_cold_after(line, closure_end_ms - closure_start_ms)
        during_run = done_ms >= changeover_ms
        interruptions.append(
            Interruption(
                closure_start_ms=closure_start_ms,
                closure_end_ms=closure_end_ms,
                duration_ms=interruption_ms(line, cold),
                waste_um=interruption_waste_um(line, cold),
                during_run=during_run,
                work_done_ms=done_ms - changeover_ms if during_run else done_ms,
                cold=cold,
            )
        )
        extra_ms = max(0, -spare_ms) + interruptions[-1].duration_ms
        now_ms = closure_end_ms
    end_ms = now_ms + extra_ms + total_ms - done_ms
    if print_start_ms is None:
        print_start_ms = now_ms + extra_ms + changeover_ms - done_ms
    return Passage(print_start_ms, end_ms, tuple(interruptions))
