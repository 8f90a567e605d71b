"""Things to store, and who stores them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from app.contracts.plant import Plant
from app.contracts.posted_jobs import PostedJob
from app.contracts.stock_items import PostedRoll
from app.store.store import Actor

SAMPLES = Path(__file__).parents[3] / "sample_data"
NOON = datetime(2027, 3, 1, 12, 0, tzinfo=UTC)

MIS = Actor("MIS", plant="here", request_id="request-1")
ANN = Actor("Ann", plant="here")
ELSEWHERE = Actor("MIS", plant="elsewhere")


class Clock:
    """A clock that goes on by a second every time it is looked at."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


@cache
def sample_plant() -> Plant:
    """The plant of the small sample."""
    return Plant.model_validate_json((SAMPLES / "small" / "plant.json").read_text(encoding="utf-8"))


def job(number: str = "J-1", quantity: int = 5000, **other: Any) -> PostedJob:
    """A job of two versions."""
    fields: dict[str, Any] = {
        "job": number,
        "customer": "Café Noir",
        "substrate": "PAPER-80",
        "die": "D-101",
        "colours": ["C", "M"],
        "finishes": [[{"kind": "white", "consumable": "white-opaque"}], [{"kind": "inkjet"}]],
        "due": "2027-03-05T12:00:00+01:00",
        "core_mm": 76,
        "late_eur": 150.25,
        "splice_rule": "between versions",
        "winding": {"outwards": True, "leading_edge": "head"},
        "versions": [
            {"version": "A", "quantity": quantity, "overs_pct": 2.5},
            {"version": "B", "quantity": 700, "max_quantity": 800},
        ],
    }
    return PostedJob.model_validate({**fields, **other})


def jobs(numbers: range, **other: Any) -> list[PostedJob]:
    """Jobs J-0001, J-0002 …"""
    return [job(f"J-{number:04d}", **other) for number in numbers]


def roll(number: str = "R-1", **other: Any) -> PostedRoll:
    """A roll of the sample's paper."""
    fields: dict[str, Any] = {"id": number, "substrate": "PAPER-80", "width_mm": 330, "length_m": 1999.5}
    return PostedRoll.model_validate({**fields, **other})
