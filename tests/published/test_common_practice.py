"""What set-ups cost on a buffered hybrid line.

Common practice, no source: a job set-up costs about 7 m of web whatever changes (here between 6 and
9 m), three set-ups in a row about 20 m (here between 18 and 24 m), when waste is what counts.

The line is an invented one: it pulls 12 m back through its inkjet, loses nothing at a restart, a metre in
a splice, 5 m until another substrate settles.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

import pytest

from solver.account import account
from solver.jobs import Job, Layer, Version
from solver.plant import Aspect, AspectRule, Consumable, Die, Line, Plant, Station, StockedWidth, Substrate
from solver.problem import Problem
from solver.sequence import Placement, Sequence
from solver.weights import GOALS

UM_PER_M = 1_000_000
MS_PER_MIN = 60_000
WEB_UM = 330_000
EVERYTHING = frozenset({"substrate", "settings", "white", "varnish", "die"})


def _task(aspect: str, minutes: float, register_m: float = 0.0) -> Aspect:
    return Aspect(aspect, AspectRule.DIFFERS, round(minutes * MS_PER_MIN), round(register_m * UM_PER_M))


def _station(station_id: str, x_m: int, does: str, *aspects: Aspect) -> Station:
    return Station(station_id, station_id, x_m * UM_PER_M, (does,) if does else (), aspects)


INKJET = Station(
    "inkjet",
    "inkjet",
    12 * UM_PER_M,
    ("inkjet",),
    (Aspect("channels", AspectRule.ADDED, 0), _task("settings", 0.5)),
    lift_um=5 * UM_PER_M,
    channels=frozenset("CMYK"),
)
HYBRID_LINE = Line(
    "hybrid",
    (
        _station("splice table", 0, "", _task("roll", 1.5)),
        _station("flexo-1", 5, "white", _task("consumable", 5, 5)),
        INKJET,
        _station("flexo-2", 21, "varnish", _task("consumable", 4, 5)),
        _station("die", 24, "die-cut", _task("die", 3, 6.5)),
        _station("rewinder", 28, ""),
    ),
    web_width_um=WEB_UM,
    print_width_um=WEB_UM,
    max_speed_um_min=50 * UM_PER_M,
    setup_speed_um_min=20 * UM_PER_M,
    eur_per_ms=Fraction(180, 60 * MS_PER_MIN),
    stop_ms=MS_PER_MIN // 2,
    job_change_ms=MS_PER_MIN,
    splice_um=UM_PER_M,
    settle_um=5 * UM_PER_M,
    pull_back_um=12 * UM_PER_M,
    pull_back_from_um=7 * UM_PER_M,
    pull_back_to_um=17 * UM_PER_M,
)
AT_EACH_STATION = (1, 2, 3, 4)


def _queue_costed(changes: Iterable[frozenset[str]]) -> Sequence:
    """A first job and one more for every set of changes, under least waste."""
    looks = [dict.fromkeys(sorted(EVERYTHING), 0)]
    for changed in changes:
        looks.append({name: 1 - number if name in changed else number for name, number in looks[-1].items()})
    problem = Problem(_plant(), tuple(_job(str(idx), look) for idx, look in enumerate(looks)))
    order = (tuple(Placement(job_idx, AT_EACH_STATION) for job_idx in range(len(looks))),)
    return account(problem, order, GOALS["least-waste"])


def _plant() -> Plant:
    return Plant(
        (HYBRID_LINE,),
        tuple(
            Substrate(
                f"stock {code} {settings}",
                Fraction(60, 100),
                (StockedWidth(WEB_UM),),
                print_settings=str(settings),
            )
            for code in (0, 1)
            for settings in (0, 1)
        ),
        tuple(Die(f"die {number}", UM_PER_M // 4, 3, 1, 100_000) for number in (0, 1)),
        consumables=tuple(
            Consumable(f"{name} {number}") for name in ("white", "varnish") for number in (0, 1)
        ),
    )


def _job(job_id: str, look: dict[str, int]) -> Job:
    return Job(
        job_id,
        (Version("only", 12_000),),
        f"stock {look['substrate']} {look['settings']}",
        f"die {look['die']}",
        (
            (Layer("white", f"white {look['white']}"),),
            (Layer("inkjet", channels=frozenset("CMYK")),),
            (Layer("varnish", f"varnish {look['varnish']}"),),
        ),
    )


def _waste_m(sequence: Sequence) -> list[float]:
    """Waste of every changeover but the first, which starts from an empty line."""
    return [run.changeover.waste_um / UM_PER_M for run in sequence.runs[1:] if run.changeover]


@pytest.mark.parametrize(
    "changed",
    [
        {"die"},
        {"varnish", "die"},
        {"white", "die"},
        {"substrate"},
        {"substrate", "settings"},
        {"substrate", "settings", "die"},
        {"substrate", "settings", "varnish", "die"},
        EVERYTHING,
    ],
    ids=lambda changed: "-".join(sorted(changed)),
)
def test_a_job_set_up_costs_about_7_m_whatever_changes(changed: frozenset[str]) -> None:
    (waste_m,) = _waste_m(_queue_costed([frozenset(changed)]))
    assert 6 <= waste_m <= 9


@pytest.mark.parametrize(
    "changed",
    [{"die"}, {"substrate", "settings"}, {"varnish", "die"}, EVERYTHING],
    ids=lambda changed: "-".join(sorted(changed)),
)
def test_three_set_ups_of_one_kind_cost_about_20_m(changed: frozenset[str]) -> None:
    assert 18 <= sum(_waste_m(_queue_costed([frozenset(changed)] * 3))) <= 24


def test_three_set_ups_of_different_kinds_cost_about_20_m() -> None:
    kinds = [frozenset({"die"}), frozenset({"substrate"}), EVERYTHING]
    waste_m = _waste_m(_queue_costed(kinds))
    assert len(waste_m) == 3
    assert 18 <= sum(waste_m) <= 24
