"""Lists and plants as files over HTTP."""

from __future__ import annotations

import json

import pytest

from app.contracts.offsets import on_clock
from app.contracts.plant import Plant
from app.security import Role
from tests.app.service.served import SAMPLES, Served, problem, send_sample

CSV = {"Content-Type": "text/csv"}


@pytest.mark.parametrize("sample", ["small", "day"])
def test_a_plant_file_comes_back_as_it_went_in(service: Served, sample: str) -> None:
    client = service.asking(Role.SUPERVISOR)
    send_sample(client, sample)
    back = client.get("/api/v1/files/plant")
    sent = Plant.model_validate_json((SAMPLES / sample / "plant.json").read_text(encoding="utf-8"))
    assert Plant.model_validate(back.json()) == on_clock(sent, sent.site.zone_info)


def test_a_plant_sent_again_changes_nothing(service: Served) -> None:
    client = service.asking(Role.SUPERVISOR)
    send_sample(client)
    content = (SAMPLES / "small" / "plant.json").read_bytes()
    again = client.put("/api/v1/files/plant", content=content, headers={"Content-Type": "application/json"})
    told = again.json()
    assert (told["created"], told["updated"], told["removed"]) == (0, 0, 0)


def test_the_days_stock_by_roll_comes_back(service: Served) -> None:
    client = service.asking()
    send_sample(client, "day", stock=True)
    rolls = client.get("/api/v1/rolls", params={"limit": 200}).json()["items"]
    assert len(rolls) > 20
    listed = client.get("/api/v1/files/stock")
    assert listed.headers["content-type"].startswith("text/csv")
    before = client.get("/api/v1/files/plant").json()
    again = client.put("/api/v1/files/stock", content=listed.content, headers=CSV)
    assert again.status_code == 200, again.text
    assert client.get("/api/v1/files/plant").json() == before


def test_jobs_come_back_as_a_list(small: Served) -> None:
    client = small.asking(Role.INTEGRATION)
    listed = client.get("/api/v1/files/jobs")
    again = client.put("/api/v1/files/jobs", content=listed.content, headers=CSV)
    numbers = ["J-2101", "J-2102", "J-2103", "J-2104"]
    assert again.json() == {"created": 0, "updated": 0, "removed": 0, "notes": [], "jobs": numbers}
    assert client.get("/api/v1/files/dies").text.count("\r\n") == 1 + len(
        client.get("/api/v1/dies").json()["items"]
    )


def test_every_fault_of_a_file_is_told_with_its_row(small: Served) -> None:
    text = (SAMPLES / "small" / "jobs.csv").read_text(encoding="utf-8").splitlines()
    broken = [text[0], text[1].replace("2027-", "soon-"), text[2].replace("PAPER-80", "")]
    sent = small.asking().put("/api/v1/files/jobs", content="\n".join(broken), headers=CSV)
    told = problem(sent, 422, "fields")
    assert sorted(error["row"] for error in told["errors"])[0] == 2
    assert "/tmp" not in json.dumps(told)
    assert len(small.asking().get("/api/v1/jobs").json()["items"]) == 4


def test_jobs_that_still_wait_are_noted(small: Served) -> None:
    text = (SAMPLES / "small" / "jobs.csv").read_text(encoding="utf-8").splitlines()
    strange = text[1].replace("J-2101", "J-9").replace("D-101", "D-NEW")
    sent = small.asking().put("/api/v1/files/jobs", content="\n".join([text[0], strange]), headers=CSV)
    assert sent.status_code == 200, sent.text
    assert "J-9 waits: die D-NEW is not known." in sent.json()["notes"]


def test_what_is_no_list_is_refused(small: Served) -> None:
    sent = small.asking().put("/api/v1/files/jobs", content=b"{}", headers={"Content-Type": "image/png"})
    problem(sent, 415, "media-type")


def test_only_who_sets_the_plant_up_may_send_a_plant(service: Served) -> None:
    sent = service.asking(Role.SCHEDULER).put(
        "/api/v1/files/plant", content=b"{}", headers={"Content-Type": "application/json"}
    )
    problem(sent, 403, "role")
