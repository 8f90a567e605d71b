"""The line of the worked changeovers: splice table 0, flexo-1 5, inkjet 12, flexo-2 21, die 24 m, and so on.

Three fits of it: "H" holds and pulls back, "H2" has a second hand, "P" is plain. Numbers are invented.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from solver.jobs import Job, Layer, Version
from solver.plant import (
    Aspect,
    AspectRule,
    Consumable,
    Die,
    Line,
    LoadedStation,
    Plant,
    PresentState,
    Station,
    StockedWidth,
    Substrate,
)
from solver.problem import Problem

M_UM = 1_000_000
MIN_MS = 60_000
WEB_UM = 330_000


def aspect(name: str, minutes: float, register_m: float) -> Aspect:
    """An aspect that takes its time whenever the needed value is another one."""
    return Aspect(name, AspectRule.DIFFERS, round(minutes * MIN_MS), round(register_m * M_UM))


STATIONS = (
    Station("splice table", "splice", 0, (), (aspect("roll", 1.5, 0),)),
    Station("flexo-1", "flexo", 5 * M_UM, ("white",), (aspect("plate", 5, 5),), reengage_um=2 * M_UM),
    Station(
        "inkjet",
        "inkjet",
        12 * M_UM,
        ("inkjet",),
        (aspect("settings", 0.5, 0), Aspect("channels", AspectRule.ADDED, 0)),
        lift_um=5 * M_UM,
        channels=frozenset("CMYK"),
    ),
    Station("flexo-2", "flexo", 21 * M_UM, ("varnish",), (aspect("plate", 4, 5),), reengage_um=2 * M_UM),
    Station("die", "die", 24 * M_UM, ("die-cut",), (aspect("die", 3, 6.5),)),
    Station("rewinder", "rewinder", 28 * M_UM),
)


def worked_line(fit: str, flexo_2_hidden: bool = False) -> Line:
    """The line in one of its fits."""
    stations = tuple(
        replace(station, guarded=flexo_2_hidden and station.id == "flexo-2") for station in STATIONS
    )
    line = Line(
        id=fit,
        stations=stations,
        web_width_um=WEB_UM,
        print_width_um=WEB_UM,
        max_speed_um_min=50 * M_UM,
        setup_speed_um_min=20 * M_UM,
        eur_per_ms=Fraction(180, 3_600_000),
        stop_ms=30_000,
        job_change_ms=MIN_MS,
        splice_um=M_UM,
        hold_ms=10 * MIN_MS,
        hands_while_running=1 if flexo_2_hidden else 0,
        present=PresentState(
            loaded=(
                LoadedStation("flexo-2", {"plate": "kept"}),
                LoadedStation("die", {"die": "die 1"}),
                LoadedStation("inkjet", {"settings": "coated"}),
            ),
            substrate="paper",
            width_um=WEB_UM,
        ),
    )
    if fit == "P":
        return replace(line, restart_um=3 * M_UM, settle_um=10 * M_UM)
    buffered = replace(
        line,
        pull_back_um=12 * M_UM,
        pull_back_from_um=7 * M_UM,
        pull_back_to_um=17 * M_UM,
        settle_um=5 * M_UM,
    )
    return replace(buffered, hands=2) if fit == "H2" else buffered


def _substrate(code: str, print_settings: str, usual_roll_um: int | None = None) -> Substrate:
    return Substrate(
        code=code,
        eur_per_m2=Fraction(60, 100),
        widths=(StockedWidth(WEB_UM),),
        print_settings=print_settings,
        usual_roll_um=usual_roll_um,
    )


def worked_plant(line: Line) -> Plant:
    """The line with its stocks and dies. "long paper" comes in rolls of 1,000 m."""
    return Plant(
        lines=(line,),
        substrates=(
            _substrate("paper", "coated"),
            _substrate("long paper", "coated", 1000 * M_UM),
            _substrate("gloss paper", "coated"),
            _substrate("film", "film"),
        ),
        dies=tuple(Die(f"die {idx}", 250_000, 3, 2, 100_000) for idx in (1, 2)),
        consumables=(Consumable("ink"),),
    )


def worked_job(job_id: str, *changed: str, web_m: int = 500, ready_min: int = 0) -> Job:
    """A job that prints by inkjet; what it changes against the plainest one is named.

    substrate, inkjet (a substrate of other print settings), flexo-1, flexo-2, kept flexo-2, die.
    """
    white = (Layer("white", "ink", plate="white plate"),)
    varnish = (Layer("varnish", "ink", plate="kept" if "kept flexo-2" in changed else "new"),)
    groups = [
        *([white] if "flexo-1" in changed else []),
        (Layer("inkjet", channels=frozenset("CMYK")),),
        *([varnish] if {"flexo-2", "kept flexo-2"} & set(changed) else []),
    ]
    substrate = "paper"
    if "substrate" in changed:
        substrate = "film" if "inkjet" in changed else "gloss paper"
    if "long" in changed:
        substrate = "long paper"
    return Job(
        id=job_id,
        versions=(Version("v", web_m * 4 * 6),),
        substrate=substrate,
        die="die 2" if "die" in changed else "die 1",
        layer_groups=tuple(groups),
        ready_ms=ready_min * MIN_MS,
    )


def worked_problem(line: Line, *jobs: Job) -> Problem:
    """A queue on the worked line."""
    return Problem(worked_plant(line), jobs)
