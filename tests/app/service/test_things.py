"""Everything that is posted under a key of its sender's is created, changed, listed and removed alike."""

from __future__ import annotations

from typing import Any

import pytest

from app.api import examples
from app.contracts.base import Contract
from app.contracts.posted_jobs import PostedJob
from app.contracts.stock_items import PostedDelivery, PostedRoll, PostedSubstrate
from app.contracts.tooling_items import PostedConsumable, PostedCylinder, PostedDie
from app.security import Role
from tests.app.service.served import Served, places, problem

ITEMS: dict[str, tuple[str, dict[str, Any]]] = {
    "jobs": ("job", examples.JOB),
    "substrates": ("code", examples.SUBSTRATE | {"code": "FILM-1"}),
    "rolls": ("id", examples.ROLL),
    "deliveries": ("id", examples.DELIVERY),
    "dies": ("id", examples.DIE | {"id": "D-900"}),
    "cylinders": ("id", examples.CYLINDER),
    "consumables": ("id", examples.CONSUMABLE | {"id": "moss-green"}),
}
CONTRACTS: dict[str, type[Contract]] = {
    "jobs": PostedJob,
    "substrates": PostedSubstrate,
    "rolls": PostedRoll,
    "deliveries": PostedDelivery,
    "dies": PostedDie,
    "cylinders": PostedCylinder,
    "consumables": PostedConsumable,
}
ANY_OF_THEM = pytest.mark.parametrize("name", ITEMS)


def numbered(name: str, number: int) -> dict[str, Any]:
    """An item of its own, with a revision."""
    key, example = ITEMS[name]
    return example | {key: f"N-{number:03}", "revision": 1}


def without_amounts(small: Served) -> None:
    """Follow the sample's paper by roll, so that rolls of it can be posted."""
    client = small.asking()
    stored = client.get("/api/v1/substrates/PAPER-80").json()
    for width in stored["item"]["widths"]:
        width["on_hand_m"] = None
    put = client.put(
        "/api/v1/substrates/PAPER-80", json=stored["item"], headers={"If-Match": f'"{stored["version"]}"'}
    )
    assert put.status_code == 200, put.text


@pytest.fixture
def ready(small: Served) -> Served:
    without_amounts(small)
    return small


@ANY_OF_THEM
def test_what_is_created_is_read_back(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    item = numbered(name, 1)
    made = client.post(f"/api/v1/{name}", json=item)
    assert made.status_code == 201, made.text
    assert made.headers["etag"] == '"1"'
    read = client.get(made.headers["location"])
    assert read.status_code == 200
    told = read.json()
    assert told["version"] == 1
    contract = CONTRACTS[name]
    assert contract.model_validate(told["item"]) == contract.model_validate(item)
    again = client.get(made.headers["location"], headers={"If-None-Match": '"1"'})
    assert again.status_code == (200 if name == "jobs" else 304)


@ANY_OF_THEM
def test_what_is_there_is_not_created_again(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    item = numbered(name, 1)
    client.post(f"/api/v1/{name}", json=item)
    problem(client.post(f"/api/v1/{name}", json=item), 409, "conflict")


@ANY_OF_THEM
def test_a_change_names_the_version_that_was_read(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    key, _ = ITEMS[name]
    item = numbered(name, 1)
    address = f"/api/v1/{name}/{item[key]}"
    assert client.put(address, json=item, headers={"If-None-Match": "*"}).status_code == 200
    problem(client.put(address, json=item), 428, "precondition-required")
    problem(client.put(address, json=item, headers={"If-Match": '"7"'}), 412, "version")
    changed = client.put(address, json=item | {"revision": 2}, headers={"If-Match": '"1"'})
    assert changed.status_code == 200, changed.text
    assert changed.headers["etag"] == '"2"'
    other = item | {key: "N-other"}
    told = problem(client.put(address, json=other, headers={"If-Match": '"2"'}), 422, "fields")
    assert places(told) == [key]


@ANY_OF_THEM
def test_an_older_revision_is_refused_and_the_same_one_changes_nothing(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    item = numbered(name, 1)
    for revision, done in ((5, "created"), (5, "unchanged"), (6, "updated")):
        sent = client.post(f"/api/v1/{name}/bulk", json={"items": [item | {"revision": revision}]})
        assert sent.status_code == 200, sent.text
        assert [one["done"] for one in sent.json()["outcomes"]] == [done]
    old = item | {"revision": 4}
    problem(client.post(f"/api/v1/{name}/bulk", json={"items": [old]}), 409, "conflict")
    each = client.post(f"/api/v1/{name}/bulk", json={"each": True, "items": [old, numbered(name, 2)]})
    assert each.status_code == 200
    assert [one["done"] for one in each.json()["outcomes"]] == ["refused", "created"]
    assert each.json()["outcomes"][0]["errors"][0]["field"] == "revision"


@ANY_OF_THEM
def test_all_are_taken_or_none(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    first = numbered(name, 1)
    told = problem(
        client.post(f"/api/v1/{name}/bulk", json={"items": [first, numbered(name, 2), first]}), 422, "fields"
    )
    key, _ = ITEMS[name]
    assert places(told) == [f"items[2].{key}"]
    assert client.get(f"/api/v1/{name}", params={"search": "n-0"}).json()["items"] == []


@ANY_OF_THEM
def test_a_list_is_read_page_by_page(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    key, _ = ITEMS[name]
    items = [numbered(name, number) for number in range(7)]
    assert client.post(f"/api/v1/{name}/bulk", json={"items": items}).json()["created"] == 7
    seen: list[str] = []
    address: str | None = f"/api/v1/{name}?search=n-0&limit=3"
    while address is not None:
        page = client.get(address)
        assert page.status_code == 200, page.text
        seen += [one["item"][key] for one in page.json()["items"]]
        link = page.headers.get("link")
        assert (link is None) == (page.json()["next_cursor"] is None)
        address = None if link is None else link[1 : link.index(">")]
    assert seen == [f"N-{number:03}" for number in range(7)]
    backwards = client.get(f"/api/v1/{name}", params={"sort": "-updated_at", "limit": 200})
    assert backwards.status_code == 200, backwards.text


@ANY_OF_THEM
def test_what_nobody_can_ask_a_list_is_told(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    for asked in (
        {"colour": "red"},
        {"limit": 0},
        {"limit": 201},
        {"sort": "weight"},
        {"cursor": "nonsense"},
    ):
        problem(client.get(f"/api/v1/{name}", params=asked), 422, "fields")


@ANY_OF_THEM
def test_a_removal_names_the_version_too(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    key, _ = ITEMS[name]
    item = numbered(name, 1)
    address = f"/api/v1/{name}/{item[key]}"
    client.post(f"/api/v1/{name}", json=item)
    problem(client.delete(address), 428, "precondition-required")
    assert client.delete(address, headers={"If-Match": '"1"'}).status_code == 204
    problem(client.get(address), 404, "not-found")
    problem(client.delete(address, headers={"If-Match": '"1"'}), 404, "not-found")


@ANY_OF_THEM
def test_a_post_with_an_idempotency_key_is_done_once(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    item = numbered(name, 1)
    key = {"Idempotency-Key": "0b5e-1"}
    made = client.post(f"/api/v1/{name}", json=item, headers=key)
    again = client.post(f"/api/v1/{name}", json=item, headers=key)
    assert (again.status_code, again.content) == (made.status_code, made.content) == (201, made.content)
    assert again.headers["location"] == made.headers["location"]
    told = client.post(f"/api/v1/{name}", json=numbered(name, 2), headers=key)
    problem(told, 422, "idempotency-key-reused")
    # another holder's key of the same text is another one
    other = ready.asking(Role.SCHEDULER).post(f"/api/v1/{name}", json=numbered(name, 2), headers=key)
    assert other.status_code == 201


@ANY_OF_THEM
def test_plants_do_not_see_each_other(ready: Served, name: str) -> None:
    key, _ = ITEMS[name]
    item = numbered(name, 1)
    ready.asking(Role.INTEGRATION).post(f"/api/v1/{name}", json=item)
    other = ready.asking(Role.INTEGRATION, "other")
    problem(other.get(f"/api/v1/{name}/{item[key]}"), 404, "not-found")
    assert other.get(f"/api/v1/{name}").json()["items"] == []


@ANY_OF_THEM
def test_every_change_is_in_the_audit_with_what_it_was_before(ready: Served, name: str) -> None:
    client = ready.asking(Role.INTEGRATION)
    key, _ = ITEMS[name]
    item = numbered(name, 1)
    client.post(f"/api/v1/{name}", json=item, headers={"X-Request-Id": "request-0001"})
    client.post(f"/api/v1/{name}/bulk", json={"items": [item | {"revision": 2}]})
    client.delete(f"/api/v1/{name}/{item[key]}", headers={"If-Match": '"2"'})
    audit = ready.asking(Role.SUPERVISOR).get("/api/v1/audit", params={"resource": name, "key": item[key]})
    entries = audit.json()["items"]
    assert [entry["action"] for entry in entries] == ["removed", "updated", "created"]
    assert [(entry["before"] or {}).get("revision") for entry in entries] == [2, 1, None]
    assert [(entry["after"] or {}).get("revision") for entry in entries] == [None, 2, 1]
    assert entries[-1]["actor"] == "the integration"
    assert entries[-1]["request_id"] == "request-0001"


def test_every_fault_of_a_body_is_told_at_once(ready: Served) -> None:
    job = examples.JOB | {
        "due": "2027-03-01T06:00",
        "quantity": 3,
        "versions": [{"version": "A", "quantity": 0}],
    }
    told = problem(ready.asking().post("/api/v1/jobs/bulk", json={"items": [job]}), 422, "fields")
    assert sorted(places(told)) == ["items[0].due", "items[0].quantity", "items[0].versions[0].quantity"]


def test_a_key_may_have_slashes_and_blanks(ready: Served) -> None:
    client = ready.asking()
    job = examples.JOB | {"job": "24/117 b&w"}
    made = client.post("/api/v1/jobs", json=job)
    assert made.headers["location"] == "/api/v1/jobs/24/117%20b%26w"
    assert client.get(made.headers["location"]).json()["item"]["job"] == "24/117 b&w"


def test_what_is_needed_is_not_removed(ready: Served) -> None:
    client = ready.asking()
    client.post("/api/v1/cylinders", json=examples.CYLINDER)
    die = examples.DIE | {"id": "D-901", "cylinder": examples.CYLINDER["id"], "teeth": None, "pitch": None}
    assert client.post("/api/v1/dies", json=die).status_code == 201
    address = f"/api/v1/cylinders/{examples.CYLINDER['id']}"
    told = problem(client.delete(address, headers={"If-Match": '"1"'}), 409, "conflict")
    assert "die D-901 names it" in told["detail"]


def test_what_is_a_things_own_takes_no_other_methods(ready: Served) -> None:
    client = ready.asking()
    for address in ("/api/v1/jobs/J-2101/status", "/api/v1/lines/H1/state"):
        for tag in ('"1"', ""):
            refused = client.delete(address, headers={"If-Match": tag})
            problem(refused, 405, "method")
            assert "PUT" in refused.headers["allow"]
            assert "DELETE" not in refused.headers["allow"]


def test_a_job_may_be_called_as_an_address_is(ready: Served) -> None:
    client = ready.asking()
    assert client.post("/api/v1/jobs", json=examples.JOB | {"job": "bulk"}).status_code == 201
    assert client.get("/api/v1/jobs/bulk").json()["item"]["job"] == "bulk"
