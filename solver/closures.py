"""Work that runs into a line's closures: it is interrupted, and goes on when they end."""

from __future__ import annotations

from fractions import Fraction

from solver.layout import MS_PER_MIN, round_half_up
from solver.plant import Line
from solver.sequence import Interruption


def interruption_ms(line: Line, cold: bool) -> int:
    """A closure's stop, its restart metres at set-up speed, and start-up where the line went cold."""
    duration_ms = Fraction(line.restart_um * MS_PER_MIN, line.setup_speed_um_min) + line.stop_ms
    return round_half_up(duration_ms + (line.start_up_ms if cold else 0))


def through_closures(
    line: Line, start_ms: int, changeover_ms: int, work_ms: int
) -> tuple[int, int, tuple[Interruption, ...]]:
    """Print start and end of a changeover and the run behind it, and what interrupts them."""
    if not line.calendar.closures:
        print_start_ms = start_ms + changeover_ms
        return print_start_ms, print_start_ms + work_ms, ()
    print_start_ms, end_ms = start_ms + changeover_ms, start_ms + changeover_ms + work_ms
    closure = line.calendar.closure_from(start_ms)
    if closure is None or end_ms <= closure[0]:
        return print_start_ms, end_ms, ()
    print_start_ms, in_changeover = _advance(line, start_ms, changeover_ms, during_run=False)
    end_ms, in_run = _advance(line, print_start_ms, work_ms, during_run=True)
    return print_start_ms, end_ms, (*in_changeover, *in_run)


def _advance(line: Line, at_ms: int, work_ms: int, during_run: bool) -> tuple[int, tuple[Interruption, ...]]:
    """When work that begins at `at_ms` is done, and the closures it goes through.

    What an interruption costs is worked off first when its closure ends.
    """
    interruptions: list[Interruption] = []
    again_ms = 0
    left_ms = work_ms
    while True:
        closure = line.calendar.closure_from(at_ms)
        if closure is None or at_ms + again_ms + left_ms <= closure[0]:
            return at_ms + again_ms + left_ms, tuple(interruptions)
        open_ms = closure[0] - at_ms
        left_ms -= max(0, open_ms - again_ms)
        cold = line.cold_after_ms is not None and closure[1] - closure[0] > line.cold_after_ms
        stop_ms = interruption_ms(line, cold)
        again_ms = max(0, again_ms - open_ms) + stop_ms
        interruptions.append(
            Interruption(
                closure_start_ms=closure[0],
                closure_end_ms=closure[1],
                duration_ms=stop_ms,
                waste_um=line.restart_um + (line.start_up_um if cold else 0),
                during_run=during_run,
                work_done_ms=work_ms - left_ms,
                cold=cold,
            )
        )
        at_ms = closure[1]
