"""A typed client, made by a generator of clients from our description, does what a shop's system does."""

from __future__ import annotations

import asyncio
import importlib
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import httpx
import pytest
from openapi_python_client import generate
from openapi_python_client.config import Config, ConfigFile, MetaType
from sqlalchemy import URL

from app.main import service_of
from app.security import Role
from app.services.workshop import Workshop
from app.settings import read_settings
from app.store.store import Store
from tests.app.service.served import SAMPLES, Served, served

PACKAGE = "generated_runwright_client"
START = "2027-03-01T06:00:00+01:00"
JOBS = ("M-1", "M-2", "M-3")
ADDRESS = "http://runwright.example"


@pytest.fixture
def service(database: URL) -> Iterator[Served]:
    """The service with a plant that has nothing yet."""
    with served(database) as running:
        yield running


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[str]]:
    """The client, made of the service's description, and importable; what the generator had to say. The
    description is the same on every database.
    """
    folder = tmp_path_factory.mktemp("generated")
    store = Store(f"sqlite:///{folder / 'nothing.db'}")
    description = folder / "openapi.json"
    described = service_of(read_settings({}), Workshop(store)).openapi()
    description.write_text(json.dumps(described), encoding="utf-8")
    store.close()
    asked = ConfigFile(
        package_name_override=PACKAGE,
        project_name_override=PACKAGE,
        post_hooks=[],
        content_type_overrides={"image/svg+xml": "text/plain"},  # drawings as the text that they are
    )
    config = Config.from_sources(asked, MetaType.NONE, description, "utf-8", True, folder / PACKAGE)
    told = [f"{error.header} {error.detail}" for error in generate(config=config)]
    sys.path.insert(0, str(folder))
    try:
        yield told
    finally:
        sys.path.remove(str(folder))
        for name in [name for name in sys.modules if name.partition(".")[0] == PACKAGE]:
            del sys.modules[name]


class Shop:
    """A shop's system: calls operations of the generated client by their names."""

    def __init__(self, service: Served) -> None:
        self._models: Any = importlib.import_module(f"{PACKAGE}.models")
        client_of: Any = importlib.import_module(PACKAGE)
        self._client = client_of.AuthenticatedClient(ADDRESS, service.key(Role.ADMIN))
        self._client.set_async_httpx_client(
            httpx.AsyncClient(
                transport=httpx.ASGITransport(service.app),
                base_url=ADDRESS,
                headers={"Authorization": f"Bearer {self._client.token}"},
            )
        )

    def model(self, name: str, fields: Mapping[str, Any]) -> Any:
        """A model of the client."""
        return getattr(self._models, name).from_dict(dict(fields))

    async def call(self, operation: str, *addressed: str, status: int = 200, **given: Any) -> Any:
        """What an operation answers, as the client's own type; it must be of a status."""
        module = importlib.import_module(f"{PACKAGE}.api.{operation}")
        answer = await module.asyncio_detailed(*addressed, client=self._client, **given)
        assert answer.status_code == status, answer.content
        return answer.parsed

    async def close(self) -> None:
        await self._client.get_async_httpx_client().aclose()


def _sample() -> dict[str, Any]:
    plant: dict[str, Any] = json.loads((SAMPLES / "small" / "plant.json").read_text(encoding="utf-8"))
    return plant


async def _send_plant(shop: Shop) -> None:
    """Post the sample's plant part by part."""
    plant = _sample()
    for stock in plant["substrates"]:
        stock["widths"] = [
            {name: width[name] for name in ("width_mm", "on_hand_m")} for width in stock["widths"]
        ]
    parts = {
        "cylinders": "BulkPostedCylinder",
        "dies": "BulkPostedDie",
        "consumables": "BulkPostedConsumable",
        "substrates": "BulkPostedSubstrate",
    }
    for name, model in parts.items():
        done = await shop.call(f"{name}.take_{name}", body=shop.model(model, {"items": plant[name]}))
        assert done.created == len(plant[name])
    lines = plant.pop("lines")
    setup = {name: value for name, value in plant.items() if name not in parts}
    plant["site"]["plan_from"] = START
    plant["calendar"]["closures"] = []
    stored = await shop.call("plant.read_plant")
    await shop.call(
        "plant.put_plant", body=shop.model("PlantSetupInput", setup), if_match=f'"{stored.version}"'
    )
    for line in lines:
        line.pop("present", None)
        await shop.call(
            "lines.put_line", line["id"], body=shop.model("PlantLineInput", line), if_none_match="*"
        )


def _jobs() -> Sequence[dict[str, Any]]:
    return [
        {
            "job": job,
            "revision": 1,
            "customer": "Example Tea",
            "substrate": "PAPER-80",
            "die": "D-101",
            "colours": ["C", "M", "Y", "K"],
            "finishes": [[{"kind": "inkjet"}], [{"kind": "varnish", "consumable": "varnish-gloss"}]],
            "due": "2027-03-03T13:00:00+01:00",
            "labels_per_reel": 2000,
            "core_mm": 76,
            "versions": [
                {"version": f"Tea {number}", "quantity": 4000 + 500 * number} for number in range(3)
            ],
        }
        for job in JOBS
    ]


async def _main_job(shop: Shop) -> None:
    await _send_plant(shop)
    body = shop.model("BulkPostedJob", {"items": _jobs()})
    done = await shop.call("jobs.take_jobs", body=body, idempotency_key="queue-of-Monday")
    assert (done.created, done.refused) == (len(JOBS), 0)
    again = await shop.call("jobs.take_jobs", body=body, idempotency_key="queue-of-Monday")
    assert again.created == len(JOBS)

    readiness = await shop.call("jobs.read_readiness")
    able = {ready.job: [fit.line for fit in ready.lines if not fit.reasons] for ready in readiness.jobs}
    assert set(able) == set(JOBS)
    assert all("H1" in lines for lines in able.values())

    order = {"start": START, "lines": [{"line": "H1", "runs": [{"job": job} for job in JOBS[::-1]]}]}
    costed = await shop.call("sequences.cost_order", body=shop.model("OrderToCost", order))
    assert [run.job for run in costed.runs] == list(JOBS[::-1])
    assert costed.cost.total_eur > 0

    new = shop.model("NewSequence", {"name": "by hand", **order})
    kept = await shop.call("sequences.keep_sequence", body=new, status=201)
    read = await shop.call("sequences.read_sequence", kept.item.id)
    runs = [run for line in read.plan.sequence.lines for run in line.runs]
    assert [run.job for run in runs] == list(JOBS[::-1])
    detail = await shop.call("jobs.read_job", JOBS[0])
    assert [planned.sequence for planned in detail.planned] == [kept.item.id]
    drawn = await shop.call("sequences.draw_line_web", kept.item.id, "H1")
    assert drawn.startswith("<svg ")
    await _order_asked_for(shop)


async def _order_asked_for(shop: Shop) -> None:
    """Ask for an order, and take the request back."""
    requests = "planning_requests"
    new = shop.model("NewPlanningRequest", {"jobs": JOBS, "start": START, "work": 1000})
    asked = await shop.call(f"{requests}.ask_for_order", body=new, idempotency_key="order-1", status=201)
    assert (asked.status.value, asked.asked.jobs) == ("queued", list(JOBS))
    await shop.call(f"{requests}.cancel_planning_request", asked.id)
    told = await shop.call(f"{requests}.follow_planning_request", asked.id)
    assert [line for line in told.splitlines() if line.startswith("event:")] == [
        "event: queued",
        "event: cancelled",
    ]
    listed = await shop.call(f"{requests}.list_planning_requests")
    assert [request.id for request in listed.items] == [asked.id]


def test_every_route_but_those_of_list_files_is_in_the_generated_client(generated: list[str]) -> None:
    files = [told for told in generated if "/api/v1/files/" in told and "text/csv" in told]
    assert generated == files
    assert len(files) == 3


def test_the_generated_client_posts_jobs_reads_readiness_and_costs_an_order(
    service: Served, generated: list[str]
) -> None:
    async def work() -> None:
        shop = Shop(service)
        try:
            await _main_job(shop)
        finally:
            await shop.close()

    asyncio.run(work())


def test_a_problem_comes_as_the_clients_own_type(service: Served, generated: list[str]) -> None:
    async def ask() -> Any:
        shop = Shop(service)
        try:
            return await shop.call("jobs.read_job", "nobody knows it", status=404)
        finally:
            await shop.close()

    told = asyncio.run(ask())
    assert (told.status, told.type_) == (404, "/problems/not-found")
