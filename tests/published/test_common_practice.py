"""What set-ups cost on a buffered hybrid line.

Common practice, no source: a job set-up costs about 7 m of web whatever changes (here between 6 and
9 m), three set-ups in a row about 20 m (here between 18 and 24 m), when waste is what counts.

The line is an invented one: it pulls 12 m back through its inkjet, loses nothing at a restart, a metre in
a splice, 5 m until another substrate settles.
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from solver.jobs import Job, Layer, Version
from solver.problem import Problem
from solver.sequence import Placement, Sequence
from solver.weights import GOALS
from tests.builders.worked import M_UM, worked_line, worked_plant
from tests.published.accounts import costed

EVERYTHING = frozenset({"substrate", "settings", "white", "varnish", "die"})
AT_EACH_STATION = (1, 2, 3, 4)


def _queue_costed(changes: Iterable[frozenset[str]]) -> Sequence:
    """A first job and one more for every set of changes, under least waste.

    What changes alternates between two values.
    """
    looks = [dict.fromkeys(sorted(EVERYTHING), 0)]
    for changed in changes:
        looks.append({name: 1 - value if name in changed else value for name, value in looks[-1].items()})
    jobs = tuple(_job(str(idx), look) for idx, look in enumerate(looks))
    order = (tuple(Placement(job_idx, AT_EACH_STATION) for job_idx in range(len(jobs))),)
    return costed(Problem(worked_plant(worked_line("H")), jobs), order, GOALS["least-waste"])


def _job(job_id: str, look: dict[str, int]) -> Job:
    """A job that uses every station; other print settings come with another substrate."""
    papers = ("paper", "gloss paper")
    return Job(
        job_id,
        (Version("only", 12_000),),
        "film" if look["settings"] else papers[look["substrate"]],
        ("die 1", "die 2")[look["die"]],
        (
            (Layer("white", "ink", plate=f"white plate {look['white']}"),),
            (Layer("inkjet", channels=frozenset("CMYK")),),
            (Layer("varnish", "ink", plate=f"varnish plate {look['varnish']}"),),
        ),
    )


def _waste_m(sequence: Sequence) -> list[float]:
    """Waste of every changeover but the first, which runs out what stood on the line."""
    return [run.changeover.waste_um / M_UM for run in sequence.runs[1:] if run.changeover]


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
