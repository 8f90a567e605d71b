"""Values of a job that contradict each other, and codes that a plant does not have."""

from __future__ import annotations

from typing import Any

import pytest

from app.contracts.job_rules import KnownCodes, contradictions, with_inkjet
from app.contracts.jobs import Layer
from app.contracts.posted_jobs import PostedJob

JOB: dict[str, Any] = {
    "job": "J-1",
    "substrate": "PP-60",
    "die": "D-1",
    "versions": [{"version": "A", "quantity": 1000}],
}
FOIL = {"kind": "foil", "consumable": "GOLD"}


def job(**values: Any) -> PostedJob:
    return PostedJob.model_validate(JOB | values)


def test_a_plain_job_contradicts_nothing() -> None:
    assert list(contradictions(job())) == []


@pytest.mark.parametrize(
    ("values", "field", "right"),
    [
        ({"versions": [{"version": "A", "quantity": 5}] * 2}, "versions[1].version", "once in the job"),
        (
            {"versions": [{"version": "A", "quantity": 5, "max_quantity": 4}]},
            "versions[0].max_quantity",
            "at least the quantity, 5",
        ),
        ({"full_reels": True}, "labels_per_reel", "must be given"),
        ({"splice_rule": "never", "most_splices_a_reel": 2}, "most_splices_a_reel", "0 or absent"),
        ({"core_mm": 76, "largest_reel_mm": 76}, "largest_reel_mm", "larger than the core, 76 mm"),
        (
            {"ready": "2027-03-01T06:00+01:00", "due": "2027-03-01T05:30+01:00"},
            "due",
            "not be before the job's own ready time",
        ),
        ({"finishes": [[{"kind": "inkjet"}]]}, "finishes", "where colours is empty"),
        (
            {"finishes": [[{"kind": "inkjet"}], [{"kind": "inkjet"}]], "colours": ["C"]},
            "finishes",
            "place once",
        ),
        ({"finishes": [[FOIL]] * 8, "colours": ["C"]}, "finishes", "at most 8 layers"),
    ],
)
def test_a_contradiction_is_told_with_its_field(values: dict[str, Any], field: str, right: str) -> None:
    found = list(contradictions(job(**values)))
    assert [each.field for each in found] == [field]
    assert right in found[0].right


def test_eight_layers_are_not_too_many_where_the_inkjets_place_is_marked() -> None:
    finishes = [[{"kind": "inkjet"}], *[[FOIL]] * 7]
    assert list(contradictions(job(finishes=finishes, colours=["C"]))) == []


def test_the_inkjet_comes_first_unless_its_place_is_marked() -> None:
    foil, inkjet = Layer(kind="foil"), Layer(kind="inkjet")
    assert with_inkjet(((foil,),), True) == ((inkjet,), (foil,))
    assert with_inkjet(((foil,), (inkjet,)), True) == ((foil,), (inkjet,))
    assert with_inkjet(((foil,),), False) == ((foil,),)


def test_what_the_plant_does_not_have_is_named_once() -> None:
    known = KnownCodes({"PP-80"}, {"D-2"}, {"GOLD"}, {"foil"})
    finishes = [[FOIL], [{"kind": "spot", "consumable": "RED"}], [{"kind": "spot"}]]
    assert known.missing_of(job(finishes=finishes)) == (
        "substrate PP-60 is not known",
        "die D-1 is not known",
        "no station of the plant does spot",
        "consumable RED is not known",
    )


def test_nothing_is_missing_of_a_job_whose_codes_are_known() -> None:
    known = KnownCodes({"PP-60"}, {"D-1"}, {"GOLD"}, {"foil"})
    assert known.missing_of(job(finishes=[[{"kind": "inkjet"}], [FOIL]], colours=["C"])) == ()
