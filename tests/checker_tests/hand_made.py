"""A sequence of two runs worked out by hand, with its ledger: what the checker must find right.

Two jobs without layers on line H, each of 334 repeats of 300 mm at 60 m/min; the die of the first is
loaded. At first nothing changes, but the line runs out: the die lies 4 m before the rewinder. Then
the die changes: 3 minutes and 6.5 m to register.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from solver.jobs import Job, Version
from solver.plant import (
    Aspect,
    AspectRule,
    Die,
    LoadedStation,
    Plant,
    PresentState,
    StockedWidth,
    Substrate,
)
from solver.problem import Problem
from solver.sequence import (
    AspectChange,
    Changeover,
    Cost,
    LineRuns,
    Mode,
    Piece,
    PieceKind,
    Placement,
    Run,
    Sequence,
    Stock,
    Stop,
    Task,
    VersionRun,
)
from tests.checker_tests.worked_lines import DIE, LINE_H, STATIONS

STOCK = Stock("paper", 330_000)
FIRST_END_MS = 102_000 + 100_200
SECOND_START_MS = FIRST_END_MS
SECOND_END_MS = SECOND_START_MS + 289_500 + 100_200


def problem() -> Problem:
    """Line H with a die station that takes dies; 1,000 labels of either job."""
    die_station = replace(STATIONS[DIE], aspects=(Aspect("die", AspectRule.DIFFERS, 180_000, 6_500_000),))
    line = replace(
        LINE_H,
        stations=(*STATIONS[:DIE], die_station, *STATIONS[DIE + 1 :]),
        present=PresentState(
            loaded=(LoadedStation("die", {"die": "d1"}),), substrate="paper", width_um=330_000
        ),
    )
    plant = Plant(
        lines=(line,),
        substrates=(Substrate("paper", Fraction(60, 100), (StockedWidth(330_000),)),),
        dies=tuple(Die(die_id, 300_000, 1, 3, 100_000) for die_id in ("d1", "d2")),
    )
    first = Job("first", (Version("v", 1000),), "paper", "d1")
    second = Job(
        "second",
        (Version("v", 1000),),
        "paper",
        "d2",
        due_ms=500_000,
        late_eur=Fraction(10),
        late_eur_per_h=Fraction(36),
    )
    return Problem(plant, (first, second))


def first_changeover() -> Changeover:
    """Run out without a task: a stop, 4 m of strip, a job change."""
    return Changeover(
        mode=Mode.RUN_OUT,
        cold=False,
        stops=(Stop(28_000_000, (), Fraction(30_000)),),
        hidden=(),
        reengaged=(),
        splice_at_um=None,
        strip_um=4_000_000,
        spoil_before=(),
        spoil_after=(),
        splice_um=0,
        start_up_um=0,
        clean_down_ms=0,
        duration_ms=30_000 + 60_000 + 12_000,
    )


def second_changeover() -> Changeover:
    """The die alone, on held web."""
    change = AspectChange("die", "d1", "d2", Fraction(180_000), 6_500_000)
    task = Task(DIE, "die", 24_000_000, (change,), Fraction(180_000), 6_500_000)
    return replace(
        first_changeover(),
        mode=Mode.HELD,
        stops=(Stop(24_000_000, (task,), Fraction(210_000)),),
        strip_um=6_500_000,
        duration_ms=210_000 + 60_000 + 19_500,
    )


def first_run() -> Run:
    return Run(
        job_idx=0,
        job="first",
        line="H",
        placement=Placement(0, (DIE,)),
        stations=("die",),
        stock=STOCK,
        versions=(VersionRun("v", 1000, 1000, 1002, 100_200_000, 100_200_000, 1, False),),
        speed_um_min=60_000_000,
        doffs=1,
        foil_reel_ends=0,
        changeover=first_changeover(),
        wait_ms=0,
        changeover_start_ms=0,
        print_start_ms=102_000,
        end_ms=FIRST_END_MS,
        run_ms=100_200,
        roll_ends=(),
        interruptions=(),
        press_due_ms=None,
        lateness_ms=0,
        late_eur=Fraction(0),
    )


def second_run() -> Run:
    """Late by 91.9 s: 10 € and 0.919 €."""
    return replace(
        first_run(),
        job_idx=1,
        job="second",
        placement=Placement(1, (DIE,)),
        changeover=second_changeover(),
        changeover_start_ms=SECOND_START_MS,
        print_start_ms=SECOND_START_MS + 289_500,
        end_ms=SECOND_END_MS,
        press_due_ms=500_000,
        lateness_ms=91_900,
        late_eur=Fraction(10_919, 1000),
    )


def sequence() -> Sequence:
    """10.5 m at 0.198 €, 391.5 s of changeover and 200.4 s of running at 3 € a minute."""
    return Sequence(
        lines=(LineRuns("H", (first_run(), second_run()), 0, 0),),
        left_out=(),
        broken_locks=(),
        cost=Cost(
            waste_eur=Fraction(2_079, 1000),
            changeover_eur=Fraction(19_575, 1000),
            waiting_eur=Fraction(0),
            running_eur=Fraction(10_020, 1000),
            late_eur=Fraction(10_919, 1000),
        ),
        weighed_eur=Fraction(42_593, 1000),
    )


def ledger() -> tuple[tuple[Piece, ...], ...]:
    """Strip, sellable, strip, sellable."""
    lengths = (
        (4_000_000, PieceKind.STRIP, "first", None, "changeover", 1),
        (100_200_000, PieceKind.SELLABLE, "first", "v", "run", 1),
        (6_500_000, PieceKind.STRIP, "second", None, "changeover", 2),
        (100_200_000, PieceKind.SELLABLE, "second", "v", "run", 2),
    )
    pieces, reached_um = [], 0
    for length_um, kind, job, version, cause, run in lengths:
        pieces.append(Piece("H", reached_um, reached_um + length_um, kind, STOCK, job, version, cause, run))
        reached_um += length_um
    return (tuple(pieces),)
