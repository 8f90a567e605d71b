"""The first start on an empty database: a plant to work in, and a key to begin with."""

from __future__ import annotations

from pathlib import Path

from app.contracts.people import AskedKey
from app.errors import BadInput
from app.intake.files import LARGEST_BYTES, read_bytes
from app.intake.findings import Findings
from app.security import Role
from app.services import files, keys, plant_setup
from app.services.workshop import Workshop
from app.store import plants
from app.store.store import Actor

FIRST_PLANT = "main"
SAMPLE = Path("sample_data") / "day"
_ACTOR = "first start"


def begin(shop: Workshop, *, with_sample: bool) -> str | None:
    """Make a plant and a key of the role admin where there is no plant yet; the key, or None where there is.

    Parameters
    ----------
    with_sample
        Whether the plant is to be the invented sample day, with its stock and its jobs.
    """
    store = shop.store
    with store.reading() as view:
        if plants.names(view):
            return None
    with store.writing(Actor(_ACTOR)) as work:
        plant_setup.create(work, FIRST_PLANT)
    with store.writing(Actor(_ACTOR, FIRST_PLANT)) as work:
        if with_sample:
            files.take_plant(work, "plant.json", _sample("plant.json"))
            files.take_stock(shop, work, "stock.csv", _sample("stock.csv"))
            read = files.read_jobs_list(shop, work, "jobs.csv", _sample("jobs.csv"))
            files.take_jobs(shop, work, read)
        return keys.create(work, AskedKey(name="first key", role=Role.ADMIN)).key


def _sample(name: str) -> bytes:
    findings = Findings()
    content = read_bytes(SAMPLE / name, LARGEST_BYTES, findings)
    if content is None:
        raise BadInput(findings.faults)
    return content
