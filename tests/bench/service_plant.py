"""A plant to ask the service about, and keys to ask with."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import URL

from app.contracts.people import AskedKey
from app.security import Role
from app.services import keys, plant_setup
from app.store.store import Actor, Store
from tests.bench.service_client import answered, ask

SAMPLES = Path(__file__).parents[2] / "sample_data"
PLANT = "main"


def with_plant(url: URL) -> str:
    """Make a plant that has nothing yet in a database with all tables; an administrator's key to it."""
    store = Store(url)
    try:
        with store.writing(Actor("bench")) as work:
            plant_setup.create(work, PLANT)
    finally:
        store.close()
    return another_key(url)


def another_key(url: URL, role: Role = Role.ADMIN) -> str:
    """A new key to the plant."""
    store = Store(url)
    try:
        with store.writing(Actor("bench", PLANT)) as work:
            return keys.create(work, AskedKey(name=f"bench {role.value}", role=role)).key
    finally:
        store.close()


def send_sample(port: int, key: str, sample: str = "day") -> None:
    """Send a sample's plant and its jobs to the service, as files."""
    for name, kind in (("plant.json", "application/json"), ("jobs.csv", "text/csv")):
        body = (SAMPLES / sample / name).read_bytes()
        path = f"/api/v1/files/{name.partition('.')[0]}"
        answered(port, ask("PUT", path, key, body, headers={"Content-Type": kind}))
