"""The rolls that a plant's stock on hand lies in, as a stock list has them: whole ones, rests, awkward ones.

By width they give what the plant file has on hand and on order, to the metre: what is lost at their cores
and cut out lies in the last rest of the width.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from app.contracts.base import plain_number
from app.contracts.plant import Plant, StockedWidth, Substrate

SEED = 6
ROLL_COLUMNS = (
    "code",
    "width_mm",
    "roll",
    "metres",
    "received",
    "best_before",
    "location",
    "defects",
    "reserved_for",
    "on_unwind",
    "delivery_at",
)
AWKWARD: Mapping[tuple[str, int], tuple[tuple[int, Mapping[str, str]], ...]] = {
    ("PAPER-80", 330): (
        (760, {"on_unwind": "H1", "location": "H1"}),
        (85, {}),
        (2000, {"defects": "defect 410-425"}),
        (140, {}),
    ),
    ("PAPER-TT", 330): ((240, {"best_before": "2027-03-03T12:00+01:00"}),),
    ("PAPER-KRAFT", 330): ((64, {}), (1480, {"defects": "defect 0-12"})),
    ("PP-W60", 330): ((840, {"on_unwind": "B1", "location": "B1"}),),
    ("PP-C50", 250): (
        (2000, {"defects": "splice 1150"}),
        (2000, {"reserved_for": "J-3128"}),
        (130, {}),
        (1995, {"defects": "defect 20-26; splice 640; defect 1890-1904"}),
    ),
    ("PE-W85", 250): ((410, {"best_before": "2027-03-09"}),),
}
"""Rolls of a stock and width that come before the whole ones: their metres, and what is said of them."""

_CUT_OUT_M = {"defect 410-425": 15, "defect 0-12": 12, "defect 20-26; splice 640; defect 1890-1904": 20}


def stock_roll_rows(plant: Plant) -> list[dict[str, str]]:
    """One row a roll, those that are on order behind those that are there."""
    rng = random.Random(SEED)
    rows: list[dict[str, str]] = []
    for substrate in plant.substrates:
        for stocked in substrate.widths:
            for row in _rows(plant, substrate, stocked, rng):
                number = f"R-{4101 + len(rows)}"
                rows.append({column: row.get(column, "") for column in ROLL_COLUMNS} | {"roll": number})
    return rows


def _rows(
    plant: Plant, substrate: Substrate, stocked: StockedWidth, rng: random.Random
) -> Iterator[dict[str, str]]:
    named = {"code": substrate.code, "width_mm": str(plain_number(stocked.width_mm))}
    awkward = AWKWARD.get((substrate.code, int(stocked.width_mm)), ())
    for metres, said in _pieces(plant, substrate, stocked.on_hand_m or Decimal(0), awkward):
        yield named | _in_store(plant, rng) | {"metres": str(metres)} | dict(said)
    for delivery in stocked.deliveries:
        at = delivery.at.isoformat(timespec="minutes")
        for metres, _ in _pieces(plant, substrate, delivery.length_m, ()):
            yield named | {"metres": str(metres), "location": "on its way", "delivery_at": at}


def _pieces(
    plant: Plant,
    substrate: Substrate,
    usable_m: Decimal,
    awkward: tuple[tuple[int, Mapping[str, str]], ...],
) -> Iterator[tuple[int, Mapping[str, str]]]:
    """Rolls that give so many usable metres: the awkward ones, whole ones, and a rest."""
    if substrate.usual_roll_m is None:
        raise ValueError(f"{substrate.code} has no usual roll")
    tail_m, whole_m = int(plant.stock_rules.core_tail_m), int(substrate.usual_roll_m)
    left_m = int(usable_m)
    for metres, said in awkward:
        yield metres, said
        left_m -= metres - tail_m - _CUT_OUT_M.get(said.get("defects", ""), 0)
    while left_m > whole_m - tail_m:
        yield whole_m, {}
        left_m -= whole_m - tail_m
    yield left_m + tail_m, {}


def _in_store(plant: Plant, rng: random.Random) -> dict[str, str]:
    """Where a roll lies and since when."""
    hall, shelf = rng.choice(("Hall 1, A", "Hall 1, B", "Hall 2, A")), rng.randrange(1, 13)
    return {
        "received": (_start(plant) - timedelta(days=rng.randrange(3, 240))).date().isoformat(),
        "location": f"{hall}-{shelf:02}",
    }


def _start(plant: Plant) -> datetime:
    if plant.site.plan_from is None:
        raise ValueError("the sample day has a start of its own")
    return plant.site.plan_from
