"""The lines and tasks of the worked numbers: positions, times and prices as the model states them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from solver.plant import Aspect, AspectRule, Line, Station
from solver.sequence import AspectChange, Task
from solver.weights import GOALS
from tests.checker.geometry import Prices, WebCase

SPLICE, FLEXO_1, INKJET, FLEXO_2, DIE, REWIND = range(6)
EUR_PER_UM = Fraction(198, 1000) / 10**6
EUR_PER_MS = Fraction(3, 60_000)

STATIONS = (
    Station("splice", "splice table", 0, aspects=(Aspect("roll", AspectRule.DIFFERS, 90_000),)),
    Station("flexo-1", "flexo", 5_000_000, does=("spot ink",)),
    Station(
        "inkjet",
        "inkjet",
        12_000_000,
        does=("inkjet",),
        aspects=(Aspect("channels", AspectRule.ADDED, 60_000),),
        lift_um=5_000_000,
        channels=frozenset("CMYK"),
    ),
    Station("flexo-2", "flexo", 21_000_000, does=("spot ink",), reengage_um=2_000_000),
    Station("die", "die", 24_000_000, does=("die-cut",)),
    Station("rewind", "rewinder", 28_000_000, aspects=(Aspect("core", AspectRule.DIFFERS, 0),)),
)

LINE_H = Line(
    id="H",
    stations=STATIONS,
    web_width_um=330_000,
    print_width_um=320_000,
    max_speed_um_min=60_000_000,
    setup_speed_um_min=20_000_000,
    eur_per_ms=EUR_PER_MS,
    stop_ms=30_000,
    job_change_ms=60_000,
    splice_um=1_000_000,
    settle_um=5_000_000,
    pull_back_um=12_000_000,
    pull_back_from_um=7_000_000,
    pull_back_to_um=17_000_000,
)
LINE_H2 = replace(LINE_H, id="H2", hands=2)
LINE_P = replace(LINE_H, id="P", restart_um=3_000_000, pull_back_um=0, settle_um=10_000_000)
LINES = {line.id: line for line in (LINE_H, LINE_H2, LINE_P)}

MINUTES_AND_METRES = {
    SPLICE: ("1.5", "0"),
    FLEXO_1: ("5", "5"),
    INKJET: ("0.5", "0"),
    FLEXO_2: ("4", "5"),
    DIE: ("3", "6.5"),
}


def task(station_idx: int) -> Task:
    """The task of the worked numbers at a station."""
    minutes, metres = MINUTES_AND_METRES[station_idx]
    duration_ms = Fraction(minutes) * 60_000
    register_um = int(Fraction(metres) * 10**6)
    station = STATIONS[station_idx]
    change = AspectChange("consumable", "before", "after", duration_ms, register_um)
    return Task(station_idx, station.id, station.x_um, (change,), duration_ms, register_um)


def case(
    line: Line,
    changed: tuple[int, ...],
    *,
    hidden: tuple[int, ...] = (),
    back: tuple[int, ...] = (),
    run_out: bool = False,
    roll_end: bool = False,
) -> WebCase:
    """A row of the worked numbers: the incoming run uses inkjet and die, and what the row names."""
    used = {SPLICE, INKJET, DIE, REWIND, *changed, *hidden, *back}
    register_um = {station_idx: task(station_idx).register_um for station_idx in (*changed, *hidden)}
    for station_idx in back:
        register_um[station_idx] = max(
            register_um.get(station_idx, 0), line.stations[station_idx].reengage_um
        )
    return WebCase(
        line=line,
        used=tuple(sorted(used)),
        stopped=tuple(task(station_idx) for station_idx in changed),
        register_um=register_um,
        spliced=SPLICE in changed,
        settles=SPLICE in changed and not roll_end,
        run_out=run_out,
        jets_before_um=(line.stations[INKJET].x_um,),
        jets_after_um=(line.stations[INKJET].x_um,),
        fixed_ms=0 if roll_end else line.job_change_ms,
    )


def goal_prices(goal: str) -> Prices:
    """The worked stock and line under a named goal."""
    weights = GOALS[goal]
    per_um = weights.waste * EUR_PER_UM
    if weights.waste_eur_per_m is not None:
        per_um = weights.waste_eur_per_m / 10**6
    return Prices(per_um, per_um, weights.changeover * EUR_PER_MS)
