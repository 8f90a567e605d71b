"""When which web of a line is at its splice table: a sequence's times laid along its web.

The account times whole changeovers and runs. Here the web is followed through them: set-up waste passes at
set-up speed, a run's web in its running time and that of its roll ends, evenly; stops last as long as they
do, at the web at which they are made, which may lie in the run behind. What the account adds up to is the
same, and closures interrupt it in the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from solver.layout import MS_PER_MIN, round_half_up
from solver.line_web import LineWeb, PassingPiece
from solver.plant import Line
from solver.sequence import Interruption, Piece, PieceKind, Run

_ROUNDING_MS = 1
"""The ledger lays a closure's waste where the web is then, down to the µm; the account rounds to the ms."""


@dataclass(frozen=True, slots=True)
class Halt:
    """Something that is done when certain web is at the splice table.

    Parameters
    ----------
    counted_um
        That web, as the counter counts it.
    duration_ms
        How long the line stands.
    not_before_ms
        The line waits until then; None where it does not.
    """

    counted_um: int
    duration_ms: Fraction = Fraction(0)
    not_before_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Passage:
    """When every halt begins, and which web is at the splice table when a closure interrupts the work."""

    halts_ms: tuple[int, ...]
    interrupted: tuple[tuple[Interruption, int], ...]


def passage(line: Line, runs: Sequence[Run], web: LineWeb, halts: Sequence[Halt]) -> Passage:
    """Follow a line's web through its halts, which come in the order of their web."""
    walk = _Walk(line, runs)
    halts_ms: list[int] = []
    waiting = list(reversed(halts))

    def halt_until(counted_um: int | None) -> None:
        while waiting and (counted_um is None or waiting[-1].counted_um < counted_um):
            halt = waiting.pop()
            walk.pass_to(halt.counted_um)
            walk.wait_until(halt.not_before_ms)
            halts_ms.append(round_half_up(walk.now_ms))
            walk.stand(halt.duration_ms)

    for there in web.passing:
        walk.under(there)
        if there.piece.cause == "closure":
            walk.close_if_due()
        halt_until(there.to_um)
        walk.pass_to(there.to_um)
    walk.behind_the_plan()
    halt_until(None)
    return Passage(tuple(halts_ms), walk.interrupted())


@dataclass(slots=True)
class _Clock:
    """The line's time, with the closures still to come and what they interrupt."""

    now_ms: Fraction
    closures: list[tuple[int, int]]
    expected: dict[int, Interruption]
    met: list[tuple[Interruption, int]] = field(default_factory=list)


class _Walk:
    """The web at the splice table and the time, going on together."""

    def __init__(self, line: Line, runs: Sequence[Run]) -> None:
        self._line = line
        self._runs = runs
        self._at_um = 0
        self._pace_ms = Fraction(0)
        starts_ms = [_first_ms(run) for run in runs[:1]]
        closures = [span for span in line.calendar.closures if starts_ms and span[1] > starts_ms[0]]
        self._clock = _Clock(
            now_ms=Fraction(*starts_ms) if starts_ms else Fraction(0),
            closures=list(reversed(closures)),
            expected={
                interruption.closure_start_ms: interruption
                for run in runs
                for interruption in run.interruptions
            },
        )

    @property
    def now_ms(self) -> Fraction:
        return self._clock.now_ms

    def under(self, there: PassingPiece) -> None:
        """A piece begins to pass."""
        self._pace_ms = _pace_ms(self._line, self._runs, there.piece)

    def behind_the_plan(self) -> None:
        """What follows the plan's last metre passes as its last run did."""
        speed_um_min = self._runs[-1].speed_um_min if self._runs else self._line.setup_speed_um_min
        self._pace_ms = Fraction(MS_PER_MIN, speed_um_min)

    def pass_to(self, counted_um: int) -> None:
        """Web passes until this is at the splice table."""
        length_um = max(0, counted_um - self._at_um)
        self._work(length_um * self._pace_ms, length_um)
        self._at_um += length_um

    def stand(self, duration_ms: Fraction) -> None:
        """The line stands while something is done."""
        self._work(duration_ms, 0)

    def wait_until(self, at_ms: int | None) -> None:
        """Nothing is done until then. A closure that the account works through is met all the same."""
        clock = self._clock
        if at_ms is None or at_ms <= clock.now_ms:
            return
        while clock.closures and clock.closures[-1][0] < at_ms:
            interruption = clock.expected.pop(clock.closures.pop()[0], None)
            if interruption is not None:
                clock.met.append((interruption, self._at_um))
        clock.now_ms = Fraction(at_ms)

    def close_if_due(self) -> None:
        """A closure's waste is laid from here: if one is about to begin it does, before that passes."""
        clock = self._clock
        if clock.closures and 0 <= clock.closures[-1][0] - clock.now_ms <= _ROUNDING_MS:
            start_ms, end_ms = clock.closures.pop()
            interruption = clock.expected.pop(start_ms, None)
            if interruption is not None:
                clock.met.append((interruption, self._at_um))
            clock.now_ms = Fraction(end_ms + (interruption.duration_ms if interruption else 0))

    def interrupted(self) -> tuple[tuple[Interruption, int], ...]:
        """All closures that interrupt; what was not met on the way comes with the plan's last metre."""
        clock = self._clock
        return (*clock.met, *((interruption, self._at_um) for interruption in clock.expected.values()))

    def _work(self, work_ms: Fraction, length_um: int) -> None:
        """Work through closures: what an interruption takes is done first when it ends, as in `closures`."""
        clock = self._clock
        again_ms, left_ms = Fraction(0), work_ms
        while clock.closures and clock.now_ms + again_ms + left_ms > clock.closures[-1][0]:
            start_ms, end_ms = clock.closures.pop()
            open_ms = max(Fraction(0), start_ms - clock.now_ms)
            left_ms -= max(Fraction(0), open_ms - again_ms)
            again_ms = max(Fraction(0), again_ms - open_ms)
            interruption = clock.expected.pop(start_ms, None)
            if interruption is not None:
                done_um = length_um * (work_ms - left_ms) // work_ms if work_ms else 0
                clock.met.append((interruption, self._at_um + int(done_um)))
                again_ms += interruption.duration_ms
            clock.now_ms = max(clock.now_ms, Fraction(end_ms))
        clock.now_ms += again_ms + left_ms


def _first_ms(run: Run) -> int:
    return run.print_start_ms if run.changeover is None else run.changeover_start_ms


def _pace_ms(line: Line, runs: Sequence[Run], piece: Piece) -> Fraction:
    """Time in which a µm of a piece passes. Start-up, closures and roll ends have times of their own."""
    if piece.cause == "run":
        run = runs[piece.run - 1]
        return Fraction(_work_ms(line, run), run.web_um)
    passes = (PieceKind.BLANK, PieceKind.STRIP, PieceKind.RESTART)
    if piece.cause == "changeover" and piece.kind in passes:
        return Fraction(MS_PER_MIN, line.setup_speed_um_min)
    return Fraction(0)


def _work_ms(line: Line, run: Run) -> int:
    """Time in which a run's own web passes; of a started run from its beginning, before the plan too."""
    if run.changeover is None:
        return line.calendar.open_between(run.print_start_ms, run.end_ms)
    return run.run_ms + run.roll_end_ms
