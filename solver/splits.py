"""Which of a changeover's tasks share a stop: the split that costs least.

All splits of the tasks into consecutive groups count. The search goes along the web and gives up a
beginning that already costs more than a whole split that is known; that is exact, since every further
stop adds minutes and never takes waste away.

It works because the strip is a maximum over stations: with R_k the register metres that a station's
first coordinate is followed by (together: the largest at its position or downstream; in turn: the sum
from its position on), strip = max over stations of (first_k + R_k), and first_k depends on the station's
own stop and on the splice alone.
"""

from __future__ import annotations

import math
from itertools import pairwise

from solver.changeover import (
    SPLICE_TABLE,
    Groups,
    Handover,
    Prices,
    by_position,
    changeover_with,
    first_um,
    fixed_ms,
    least_strip_um,
    registers_um,
    spoiled,
    stop_duration_ms,
)
from solver.layout import MS_PER_MIN
from solver.plant import Line
from solver.sequence import Changeover, Mode

Rank = tuple[int, int, int, tuple[int, ...]]
"""Weighed cost, stops, waste, last stations of the stops: less is better."""


def cheapest_changeover(line: Line, handover: Handover, prices: Prices) -> Changeover:
    """The changeover with its tasks in the stops that cost least.

    Ties go to fewer stops, then to less waste, then to the split whose first differing stop lies
    further upstream. A run out has one stop, at the line's last station.
    """
    if handover.mode is Mode.RUN_OUT:
        return changeover_with(line, handover, (handover.stopped,))
    if len(handover.stopped) <= 1:
        return changeover_with(line, handover, (handover.stopped,) if handover.stopped else ())
    return changeover_with(line, handover, _Splits(line, handover, prices).best())


class _Splits:
    """The splits of one held changeover, ranked in integers.

    Times are counted in a unit of 1/`_unit` ms in which all of them are whole.
    """

    def __init__(self, line: Line, handover: Handover, prices: Prices) -> None:
        self._line = line
        self._handover = handover
        self._outgoing, self._incoming, self._per_ms = prices.scaled
        self._tasks = handover.stopped
        self._follow_um = _following_registers(line, handover)
        self._unit = math.lcm(
            line.setup_speed_um_min, *(task.duration_ms.denominator for task in self._tasks)
        )
        self._passing = MS_PER_MIN * self._unit // line.setup_speed_um_min
        self._fixed = fixed_ms(line, handover) * self._unit
        self._stop_units: dict[tuple[int, int], int] = {}
        self._best: Rank | None = None
        self._best_bounds: tuple[int, ...] = ()

    def best(self) -> Groups:
        """The best split."""
        count = len(self._tasks)
        for end in range(count, 0, -1):
            splice_um = None
            if self._handover.spliced:
                with_table = self._tasks[0].station_idx == SPLICE_TABLE
                splice_um = self._tasks[end - 1].x_um if with_table else 0
            strip_um = max(self._unstopped_um(splice_um), self._group_um(0, end, splice_um))
            self._extend((0, end), strip_um, self._stop_unit(0, end), splice_um)
        bounds = (0, *self._best_bounds)
        return tuple(self._tasks[start:end] for start, end in pairwise(bounds))

    def _extend(self, bounds: tuple[int, ...], strip_um: int, duration: int, splice_um: int | None) -> None:
        """Finish a split whose groups so far end at `bounds`."""
        if self._best is not None and self._eur(strip_um, 0, 0, duration, splice_um) > self._best[0]:
            return
        start = bounds[-1]
        if start == len(self._tasks):
            self._rank(bounds, strip_um, duration, splice_um)
            return
        for end in range(len(self._tasks), start, -1):
            self._extend(
                (*bounds, end),
                max(strip_um, self._group_um(start, end, splice_um)),
                duration + self._stop_unit(start, end),
                splice_um,
            )

    def _rank(self, bounds: tuple[int, ...], strip_um: int, duration: int, splice_um: int | None) -> None:
        ends = bounds[1:]
        stop_x_um = [self._tasks[end - 1].x_um for end in ends]
        before, after = spoiled(self._line, self._handover, stop_x_um, strip_um)
        before_um = sum(end_um - start_um for start_um, end_um in before)
        after_um = sum(end_um - start_um for start_um, end_um in after)
        rank = (
            self._eur(strip_um, before_um, after_um, duration, splice_um),
            len(ends),
            strip_um + before_um + after_um,
            tuple(self._tasks[end - 1].station_idx for end in ends),
        )
        if self._best is None or rank < self._best:
            self._best, self._best_bounds = rank, ends

    def _eur(self, strip_um: int, before_um: int, after_um: int, duration: int, splice_um: int | None) -> int:
        """Weighed cost, but for what is the same in every split."""
        blank_um = splice_um or 0
        units = duration + self._fixed + (strip_um + before_um + after_um) * self._passing
        whole_ms = (2 * units + self._unit) // (2 * self._unit)
        return (
            self._outgoing * (blank_um + before_um)
            + self._incoming * (strip_um - blank_um + after_um)
            + self._per_ms * whole_ms
        )

    def _unstopped_um(self, splice_um: int | None) -> int:
        """Strip that the splice and the used stations without a stopped task ask for."""
        stopped = {task.station_idx for task in self._tasks}
        return max(
            least_strip_um(self._line, self._handover, splice_um),
            *(
                self._strip_of(station_idx, None, splice_um)
                for station_idx in self._follow_um
                if station_idx not in stopped
            ),
            0,
        )

    def _group_um(self, start: int, end: int, splice_um: int | None) -> int:
        """Strip that the tasks of a group ask for when they share a stop."""
        stop_x_um = self._tasks[end - 1].x_um
        return max(
            (
                self._strip_of(task.station_idx, stop_x_um, splice_um)
                for task in self._tasks[start:end]
                if task.station_idx != SPLICE_TABLE
            ),
            default=0,
        )

    def _strip_of(self, station_idx: int, stop_x_um: int | None, splice_um: int | None) -> int:
        x_um = self._line.stations[station_idx].x_um
        return first_um(self._line, station_idx, x_um, stop_x_um, splice_um) + self._follow_um[station_idx]

    def _stop_unit(self, start: int, end: int) -> int:
        units = self._stop_units.get((start, end))
        if units is None:
            units = int(stop_duration_ms(self._line, self._tasks[start:end]) * self._unit)
            self._stop_units[start, end] = units
        return units


def _following_registers(line: Line, handover: Handover) -> dict[int, int]:
    """By used station: the register metres that its first coordinate is followed by."""
    register_um = registers_um(line, handover)
    follow_um: dict[int, int] = {}
    behind_um = 0
    for _, station_idxs in reversed(list(by_position(line, handover.used))):
        here = [register_um.get(station_idx, 0) for station_idx in station_idxs]
        behind_um = behind_um + sum(here) if line.registers_in_turn else max(behind_um, *here)
        follow_um |= dict.fromkeys(station_idxs, behind_um)
    return follow_um
