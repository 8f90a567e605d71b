"""The README's requests do what it says."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from httpx2 import Response
from starlette.testclient import TestClient

from app.main import service_of
from app.security import Role
from app.services import planning
from app.services.first_run import begin
from app.services.workshop import Workshop
from app.settings import read_settings
from app.store.claims import Found
from app.store.engine import database_url
from app.store.migrating import upgrade
from app.store.store import Store
from tests.app.service.hand_worker import HandWorker, question_of
from tests.app.service.served import Served, send_sample

README = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
ADDRESS = "localhost:8000"


@dataclass
class Asked:
    """A request as curl would make it."""

    method: str = "GET"
    address: str = ""
    headers: dict[str, str] = field(default_factory=dict)
    data: str | None = None


def requests() -> Iterator[str]:
    """The README's requests in order."""
    yield from re.findall(r"^curl .*$", README, flags=re.MULTILINE)


def asked(line: str, **values: str) -> Asked:
    """A request, with values in place of the shell's variables."""
    found = Asked()
    for name, value in values.items():
        line = line.replace(f"${name}", value)
    words = iter(shlex.split(line)[1:])
    for word in words:
        match word:
            case "-X":
                found.method = next(words)
            case "-H":
                name, _, value = next(words).partition(": ")
                found.headers[name] = value
            case "-d":
                found.data = next(words)
            case "-N":
                pass
            case _:
                found.address = word.removeprefix(ADDRESS)
    return found


def worked_on(service: Served) -> None:
    """Work on the request that waits, as little as a search can."""
    worker = HandWorker(service.shop.store)
    claim = worker.claim()
    question, goal = question_of(claim)
    plan = planning.plan(question, goal, work=1)
    found = Found(plan.model_dump_json(by_alias=True).encode(), (), None, is_whole=True)
    worker.finish(claim, found=found)


def test_a_system_posts_a_job_and_has_an_order_costed_planned_and_released(service: Served) -> None:
    send_sample(service.asking(), "day", stock=True)
    client = service.asking(None)
    values = {"KEY": service.key(Role.SUPERVISOR)}
    answers: list[Response] = []
    for line in requests():
        request = asked(line, **values)
        answer = client.request(
            request.method, request.address, headers=request.headers, content=request.data
        )
        assert answer.is_success, answer.text
        answers.append(answer)
        if request.address.endswith("/planning-requests"):
            values["REQUEST"] = answer.json()["id"]
            worked_on(service)
        elif request.address.endswith(f"/{values.get('REQUEST')}"):
            values["SEQUENCE"] = answer.json()["result"]["sequence"]
    posted, readiness, costed, wanted, events, over, released, current = answers
    assert posted.json()["created"] == 1
    assert [line["line"] for line in readiness.json()["lines"] if not line["reasons"]] == ["B1", "H1"]
    assert [run["job"] for run in costed.json()["runs"]] == ["J-3101", "J-9001"]
    assert costed.json()["cost"]["total_eur"] > 0
    assert wanted.json()["status"] == "queued"
    assert re.findall(r"^event: (.*)$", events.text, flags=re.MULTILINE) == ["queued", "started", "finished"]
    assert over.json()["status"] == "finished"
    assert released.json()["note"] == "Tuesday as planned on Monday"
    assert current.json()["sequence"] == values["SEQUENCE"]


def test_the_first_start_makes_a_plant_with_the_sample_and_a_key(tmp_path: Path) -> None:
    url = database_url(f"sqlite:///{tmp_path / 'runwright.db'}")
    upgrade(url)
    shop = Workshop(Store(url))
    key = begin(shop, with_sample=True)
    assert key is not None
    app = service_of(read_settings({}), shop)
    with TestClient(app, headers={"Authorization": f"Bearer {key}"}) as client:
        listed = client.get("/api/v1/jobs", params={"limit": 200}).json()["items"]
        assert len(listed) > 50
        assert client.get("/api/v1/keys").json()["items"][0]["name"] == "first key"
        assert begin(shop, with_sample=True) is None
