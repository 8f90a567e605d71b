"""The crew's calls: at which reading of a line's counter it is stopped, and what is done then.

A changeover's stop is made when e, the outgoing run's last sellable metre, is at x_G (`Stop.at_x_um`). The
web path counts with the web, coordinates of the web against it: what is at the counter at that moment left
the rolls x_G − x_counter after e (before it, where the counter sits behind x_G). So

    reading = e + x_G − x_counter       in the counted coordinate of `line_web`

Where a run is shorter than the web path, stops of two changeovers interleave: calls are in the order of
the counter, whatever they belong to.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from solver.changeover import SPLICE_TABLE, Handover
from solver.crew_call import (
    Call,
    CallKind,
    Countdown,
    Doff,
    FoilReelEnd,
    HandTask,
    MadeReady,
    Staged,
    UnderStation,
)
from solver.customer_reels import wound_doffs
from solver.layout import MS_PER_MIN, further_rolls
from solver.ledger import web_ledger
from solver.line_clock import Halt, passage
from solver.line_web import LineWeb
from solver.make_ready import make_ready_shares
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Changeover, Interruption, LineRuns, Piece, Run, Sequence, Stop, Task
from solver.set_up_strip import LateStop, SetUpStrip, handover_of, late_stop, set_up_strip
from solver.setups import outgoing_stock

S_PER_MIN = 60

_BROUGHT = frozenset({"roll", "cylinder", "plate", "consumable", "anilox", "die", "slit_layout", "core"})
"""Aspects that change by something being brought to the station."""

NOTHING_READY = MadeReady()

_RANK = {kind: rank for rank, kind in enumerate(CallKind)}


@dataclass(frozen=True, slots=True)
class LineCalls:
    """The calls of one line, in the order of its counter."""

    line: str
    calls: tuple[Call, ...]


def crew_calls(
    problem: Problem, sequence: Sequence, ledger: tuple[tuple[Piece, ...], ...] | None = None
) -> tuple[LineCalls, ...]:
    """The calls of every line's crew.

    Parameters
    ----------
    ledger
        The web ledger of the sequence, by line; None where it is to be worked out.
    """
    return tuple(
        LineCalls(line.line, _LineCalls(problem, line, pieces).calls())
        for line, pieces in zip(sequence.lines, ledger or web_ledger(problem, sequence), strict=True)
    )


def braking_um(line: Line, speed_um_min: int) -> int:
    """Web that passes while the line comes to a stand: v² / (2a), up to the next µm; 0 if a is not known."""
    if line.deceleration_um_s2 is None:
        return 0
    speed_um_s = Fraction(speed_um_min, S_PER_MIN)
    return math.ceil(speed_um_s**2 / (2 * line.deceleration_um_s2))


@dataclass(frozen=True, slots=True)
class _Point:
    """A call before it is placed in time: the web awaited and where, with what is known about it.

    `counted_um` is the web at the splice table then, `mark_um` what is awaited, both counted. `about` is
    what it is for; `not_before_ms` and `before_ms` are how long the line waits for the job, and what comes
    before the stop itself.
    """

    kind: CallKind | None
    run: int
    mark_um: int
    at_x_um: int
    about: Stop | Doff | FoilReelEnd | Interruption | None = None
    duration_ms: Fraction = Fraction(0)
    standing_ms: Fraction = Fraction(0)
    further_ms: Fraction = Fraction(0)
    not_before_ms: int | None = None
    ready: MadeReady = NOTHING_READY
    strip: SetUpStrip | None = None
    late: LateStop | None = None

    @property
    def counted_um(self) -> int:
        return self.mark_um + self.at_x_um

    @property
    def place(self) -> tuple[int, int, int]:
        """Its place among the line's: by web, a changeover's beginning before all else."""
        return self.counted_um, -1 if self.kind is None else _RANK[self.kind], self.run


class _LineCalls:
    """The calls of one line."""

    def __init__(self, problem: Problem, line_runs: LineRuns, pieces: tuple[Piece, ...]) -> None:
        self._problem = problem
        self._line = problem.plant.lines[problem.line_idx[line_runs.line]]
        self._line_runs = line_runs
        self._runs = line_runs.runs
        self._web = LineWeb(pieces)

    def calls(self) -> tuple[Call, ...]:
        """All of them, numbered."""
        points = self._in_time()
        return tuple(self._call(number, *point) for number, point in enumerate(points, start=1))

    def _in_time(self) -> list[tuple[_Point, int]]:
        """The points with their times, closures among them. What a started run has behind it is left out."""
        points = sorted(self._points(), key=lambda point: point.place)
        halts = [Halt(point.counted_um, point.standing_ms, point.not_before_ms) for point in points]
        passing = passage(self._line, self._runs, self._web, halts)
        timed = [
            (point, at_ms)
            for point, at_ms in zip(points, passing.halts_ms, strict=True)
            if point.kind is not None and at_ms >= 0
        ]
        for interruption, counted_um in passing.interrupted:
            timed.append((self._closure(interruption, counted_um), interruption.closure_start_ms))
        return sorted(timed, key=lambda there: (there[0].counted_um, there[1], there[0].place))

    def _points(self) -> Iterator[_Point]:
        before: Run | None = None
        for number, run in enumerate(self._runs, start=1):
            if run.changeover is not None:
                yield from self._changeover(number, run, run.changeover, before)
            yield from self._roll_ends(number, run)
            yield from self._doffs(number, run)
            yield from self._foil_reels(number, run)
            before = run
        if self._line_runs.clean_down_ms:
            cleaning_ms = Fraction(self._line_runs.clean_down_ms)
            yield _Point(
                kind=CallKind.CLEAN_DOWN,
                run=len(self._runs),
                mark_um=self._web.end_um,
                at_x_um=self._rewinder_um,
                duration_ms=cleaning_ms,
                standing_ms=cleaning_ms,
            )

    @property
    def _rewinder_um(self) -> int:
        return self._line.stations[-1].x_um

    def _changeover(
        self, number: int, run: Run, changeover: Changeover, before: Run | None
    ) -> Iterator[_Point]:
        """A changeover's beginning, which is no call, and its stops; or the job change without one."""
        last_um = self._web.last_sellable_um(number - 1)
        start_up_ms = Fraction(self._line.start_up_ms if changeover.cold else 0)
        further_ms = self._further_ms(changeover)
        waits = before is None or run.wait_ms > 0
        # The account counts print that is spoiled with the changeover; it passes before that begins.
        spoil_ms = changeover.spoil_before_um * MS_PER_MIN // self._line.setup_speed_um_min
        yield _Point(
            kind=None,
            run=number,
            mark_um=last_um,
            at_x_um=0,
            standing_ms=max(Fraction(0), further_ms - start_up_ms),
            not_before_ms=run.changeover_start_ms + spoil_ms if waits else None,
        )
        if changeover.joined:
            return
        handover = self._handover(run, changeover, before)
        strip = set_up_strip(self._line, changeover, handover)
        if not changeover.stops:
            yield _Point(
                kind=CallKind.JOB_CHANGE,
                run=number,
                mark_um=last_um,
                at_x_um=0,
                further_ms=further_ms,
                ready=MadeReady(hidden=changeover.hidden),
                strip=strip,
            )
        for stop_idx, stop in enumerate(changeover.stops):
            first = stop_idx == 0
            hidden = changeover.hidden if first else ()
            yield _Point(
                kind=CallKind.STOP,
                run=number,
                mark_um=last_um,
                at_x_um=stop.at_x_um,
                about=stop,
                duration_ms=stop.duration_ms,
                # A cold line has one stop, that of a run out, and is started up behind it.
                standing_ms=stop.duration_ms + start_up_ms,
                further_ms=further_ms if first else Fraction(0),
                ready=MadeReady(hidden=hidden, staged=tuple(_staged(stop.tasks))),
                strip=strip,
                late=late_stop(self._line, changeover, handover, stop_idx),
            )

    def _further_ms(self, changeover: Changeover) -> Fraction:
        """What a changeover takes besides its stops and the web that passes; its rounding too."""
        wasted_um = changeover.strip_um + changeover.spoil_before_um + changeover.spoil_after_um
        passing_ms = Fraction(wasted_um * MS_PER_MIN, self._line.setup_speed_um_min)
        return changeover.duration_ms - passing_ms - sum(stop.duration_ms for stop in changeover.stops)

    def _handover(self, run: Run, changeover: Changeover, before: Run | None) -> Handover:
        return handover_of(
            self._line,
            changeover,
            run.placement.stations,
            None if before is None else before.placement.stations,
            outgoing_stock(self._line, None) if before is None else before.stock,
            run.stock,
        )

    def _roll_ends(self, number: int, run: Run) -> Iterator[_Point]:
        """The roll ends where the ledger has their splices; where they waste nothing it has none."""
        ends_um = self._web.roll_ends_um(number)
        if len(ends_um) != len(run.roll_ends):
            ends_um = [self._web.run_web_um(number, max(0, end.at_um)) for end in run.roll_ends]
        for end, end_um in zip(run.roll_ends, ends_um, strict=True):
            roll_end = end.changeover
            chosen = () if end.is_on_strip else run.placement.stations
            handover = handover_of(
                self._line, roll_end, chosen, chosen, run.stock, run.stock, job_change=False
            )
            stop = roll_end.stops[0] if roll_end.stops else None
            yield _Point(
                kind=CallKind.ROLL_END,
                run=number,
                mark_um=end_um,
                at_x_um=0,
                about=stop,
                duration_ms=stop.duration_ms if stop else Fraction(0),
                ready=MadeReady(staged=(_next_roll(self._line, run),)),
                strip=set_up_strip(self._line, roll_end, handover),
                late=late_stop(self._line, roll_end, handover, 0) if stop else None,
            )

    def _doffs(self, number: int, run: Run) -> Iterator[_Point]:
        """The reels of all lanes come off together, the last ones as full as they are."""
        job = self._problem.jobs[run.job_idx]
        die = self._problem.dies[job.die]
        begun_um = 0
        for version in run.versions:
            doffs = wound_doffs(job, die, version)
            for doff in doffs:
                yield _Point(
                    kind=CallKind.DOFF,
                    run=number,
                    mark_um=self._web.run_web_um(number, begun_um + doff.to_um),
                    at_x_um=self._rewinder_um,
                    about=Doff(version.version, doff.number, len(doffs), die.across),
                    duration_ms=Fraction(self._line.doff_ms),
                )
            begun_um += version.web_um

    def _foil_reels(self, number: int, run: Run) -> Iterator[_Point]:
        """Every run begins with full reels, as its time is reckoned."""
        job = self._problem.jobs[run.job_idx]
        for layer, station_idx in zip(job.layers, run.placement.stations, strict=False):
            reel_um = (
                None if layer.consumable is None else self._problem.consumables[layer.consumable].reel_um
            )
            if layer.consumable is None or reel_um is None:
                continue
            station = self._line.stations[station_idx]
            for reel in range(1, further_rolls(run.web_um, reel_um) + 1):
                yield _Point(
                    kind=CallKind.FOIL_REEL,
                    run=number,
                    mark_um=self._web.run_web_um(number, reel * reel_um),
                    at_x_um=station.x_um,
                    about=FoilReelEnd(station.id, layer.consumable),
                    duration_ms=Fraction(self._line.foil_ms),
                )

    def _closure(self, interruption: Interruption, counted_um: int) -> _Point:
        number = next(
            number for number, run in enumerate(self._runs, start=1) if interruption in run.interruptions
        )
        return _Point(
            kind=CallKind.CLOSURE,
            run=number,
            mark_um=counted_um,
            at_x_um=0,
            about=interruption,
            duration_ms=Fraction(interruption.duration_ms),
        )

    def _call(self, number: int, point: _Point, at_ms: int) -> Call:
        if point.kind is None:
            raise RuntimeError("a changeover's beginning is no call")
        reading_um = point.counted_um - self._line.counter_x_um
        speed_um_min = self._speed_um_min(point.counted_um)
        margin_um = braking_um(self._line, speed_um_min)
        return Call(
            line=self._line.id,
            number=number,
            kind=point.kind,
            run=point.run,
            job=self._runs[point.run - 1].job,
            about=point.about,
            mark_um=self._web.ledger_end_um(point.mark_um),
            at_x_um=point.at_x_um,
            reading_um=reading_um,
            ledger_um=self._web.ledger_um(reading_um),
            expected_ms=at_ms,
            duration_ms=point.duration_ms,
            further_ms=point.further_ms,
            speed_um_min=speed_um_min,
            margin_um=margin_um,
            countdown=self._countdown(reading_um - margin_um, point.mark_um),
            under=tuple(self._under(point.counted_um)),
            work=_work(point.about.tasks, self._line.hands) if isinstance(point.about, Stop) else (),
            ready=point.ready,
            strip=point.strip,
            late=point.late,
        )

    def _under(self, counted_um: int) -> Iterator[UnderStation]:
        """What lies under the stations when this web is at the splice table."""
        for station in self._line.stations:
            there = self._web.piece_at(counted_um - station.x_um)
            yield UnderStation(station.id, station.x_um, there.piece if there else None)

    def _speed_um_min(self, counted_um: int) -> int:
        """How fast the web comes that is at the splice table: a run's at its speed, waste at set-up speed."""
        there = self._web.piece_before(counted_um)
        if there is None or there.piece.cause != "run":
            return self._line.setup_speed_um_min
        return self._runs[there.piece.run - 1].speed_um_min

    def _countdown(self, counted_um: int, mark_um: int) -> Countdown:
        """What the crew reads off when this web is at the counter.

        A version that only begins behind the web awaited says nothing of it: then what has passed since the
        one before counts.
        """
        version = self._web.version_begun(min(counted_um + 1, mark_um))
        if version is None:
            return Countdown(0, "", None, counted_um, passed=True)
        to_pass_um = version.to_um - counted_um
        return Countdown(version.run, version.job, version.version, abs(to_pass_um), passed=to_pass_um <= 0)


def _staged(tasks: Iterable[Task]) -> Iterator[Staged]:
    for task in tasks:
        for change in task.changes:
            if change.aspect in _BROUGHT and change.after:
                yield Staged(task.station, change.aspect, change.after)


def _next_roll(line: Line, run: Run) -> Staged:
    """The roll that is spliced to one that ends; named as the table names its stock."""
    return Staged(line.stations[SPLICE_TABLE].id, "roll", f"{run.stock.substrate}@{run.stock.width_um}")


def _work(tasks: tuple[Task, ...], hands: int) -> tuple[HandTask, ...]:
    """The tasks of a stop on the hands at hand: together they take the stop's make-ready time."""
    work: list[HandTask] = []
    shares = make_ready_shares(tuple(task.duration_ms for task in tasks), hands)
    for hand, share in enumerate(shares, start=1):
        from_ms = Fraction(0)
        for task_idx in share:
            task = tasks[task_idx]
            work.append(HandTask(hand, from_ms, from_ms + task.duration_ms, task))
            from_ms += task.duration_ms
    return tuple(work)
