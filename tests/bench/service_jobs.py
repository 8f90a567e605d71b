"""Jobs as a management system posts them: made from a number, each like no other."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

FIRST_DUE = datetime(2027, 3, 1, 6, tzinfo=UTC)
CUSTOMERS, DIES, SUBSTRATES = 2_000, 300, 40
COLOURS = ("C", "M", "Y", "K")
INKS = ("signal-red", "deep-blue", "reflex-blue", "warm-grey")


def number_of(job: int) -> str:
    """A job's number; all of the same length, so that they sort as they count."""
    return f"J-{job:08d}"


def customer_of(job: int) -> str:
    """Whose job it is; customers come back every `CUSTOMERS` jobs."""
    return f"Customer {job % CUSTOMERS:04d} Foods"


def die_of(job: int) -> str:
    return f"D-{job % DIES:03d}"


def substrate_of(job: int) -> str:
    return f"PAPER-{job % SUBSTRATES:02d}"


def due_of(job: int) -> datetime:
    """Spread over some weeks, a minute apart."""
    return FIRST_DUE + timedelta(minutes=job * 7919 % 50_000)


def job(number: int, versions: int) -> dict[str, Any]:
    """A job as it is posted."""
    rng = random.Random(number)
    return {
        "job": number_of(number),
        "revision": 1,
        "customer": customer_of(number),
        "substrate": substrate_of(number),
        "die": die_of(number),
        "colours": list(COLOURS),
        "finishes": [
            [{"kind": "spot", "consumable": rng.choice(INKS)}],
            [{"kind": "inkjet"}],
            [{"kind": "varnish", "consumable": "gloss"}],
        ],
        "due": due_of(number).isoformat(),
        "labels_per_reel": 4000,
        "core_mm": 76,
        "late_eur": 150.5,
        "versions": [
            {"version": f"{position} of {number}", "quantity": rng.randrange(2_000, 90_000)}
            for position in range(1, versions + 1)
        ],
    }


def bulk(jobs: Sequence[int], versions: int) -> bytes:
    """The body of a bulk request, all or nothing."""
    return _json({"each": False, "items": [job(number, versions) for number in jobs]})


def single(number: int, versions: int) -> bytes:
    """The body of a request for one job."""
    return _json(job(number, versions))


def _json(value: object) -> bytes:
    return json.dumps(value, separators=(",", ":")).encode()
