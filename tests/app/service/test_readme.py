"""The README's requests do what it says."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from starlette.testclient import TestClient

from app.main import service_of
from app.security import Role
from app.services.first_run import begin
from app.services.workshop import Workshop
from app.settings import read_settings
from app.store.engine import database_url
from app.store.migrating import upgrade
from app.store.store import Store
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


def requests(key: str) -> Iterator[Asked]:
    """The README's requests in order."""
    for line in re.findall(r"^curl .*$", README, flags=re.MULTILINE):
        asked = Asked()
        words = iter(shlex.split(line.replace("$KEY", key))[1:])
        for word in words:
            match word:
                case "-X":
                    asked.method = next(words)
                case "-H":
                    name, _, value = next(words).partition(": ")
                    asked.headers[name] = value
                case "-d":
                    asked.data = next(words)
                case _:
                    asked.address = word.removeprefix(ADDRESS)
        yield asked


def test_a_system_posts_a_job_reads_its_readiness_and_costs_an_order(service: Served) -> None:
    send_sample(service.asking(), "day", stock=True)
    key = service.key(Role.INTEGRATION)
    client = service.asking(None)
    answers = []
    for asked in requests(key):
        answer = client.request(asked.method, asked.address, headers=asked.headers, content=asked.data)
        assert answer.status_code == 200, answer.text
        answers.append(answer.json())
    posted, readiness, costed = answers
    assert posted["created"] == 1
    assert [line["line"] for line in readiness["lines"] if not line["reasons"]] == ["B1", "H1"]
    assert [run["job"] for run in costed["runs"]] == ["J-3101", "J-9001"]
    assert costed["cost"]["total_eur"] > 0


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
