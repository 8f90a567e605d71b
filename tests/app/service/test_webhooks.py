"""Webhooks over HTTP: their secrets are shown once, their deliveries looked at and tried again."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import text, update
from starlette.testclient import TestClient

from app.contracts.webhooks import DeliveryStatus
from app.security import Role
from app.store.announcing import DELIVERIES, announce
from app.store.store import Actor
from tests.app.service.served import Served, places, problem

PATH = "/api/v1/webhooks"
MIS = {"name": "MIS", "url": "https://mis.example.com/hooks", "types": ["run.started"]}
NOBODY = f"{PATH}/nobody-knows-it"


@pytest.fixture
def admin(service: Served) -> TestClient:
    return service.asking(Role.ADMIN)


def made(admin: TestClient, **other: Any) -> dict[str, Any]:
    """A webhook that was just made, and its secret."""
    answer = admin.post(PATH, json=MIS | other)
    assert answer.status_code == 201, answer.text
    told: dict[str, Any] = answer.json()
    assert answer.headers["location"] == f"{PATH}/{told['shown']['item']['id']}"
    return told


def address(made: dict[str, Any]) -> str:
    return f"{PATH}/{made['shown']['item']['id']}"


def started(service: Served, *runs: str) -> None:
    """Something that the webhook wants to hear of."""
    with service.shop.store.writing(Actor("tests", "main")) as work:
        announce(work, "run.started", [{"run": run} for run in runs])


def given_up(service: Served) -> None:
    with service.shop.store.writing(Actor("tests", "main")) as work:
        work.connection.execute(update(DELIVERIES).values(status=DeliveryStatus.DEAD, attempts=8))


def test_a_secret_is_shown_once_and_stands_in_no_list_and_no_audit(
    service: Served, admin: TestClient
) -> None:
    webhook = made(admin)
    new = admin.post(f"{address(webhook)}/secret").json()
    assert webhook["secret"].startswith("whsec_")
    assert new["secret"].startswith("whsec_")
    assert new["secret"] != webhook["secret"]
    read = admin.get(address(webhook))
    told = read.text + admin.get(PATH).text + admin.get("/api/v1/audit").text
    with service.shop.store.reading() as view:
        told += str(view.connection.execute(text("SELECT * FROM audit")).all())
        told += str(view.connection.execute(text("SELECT * FROM answers")).all())
    assert webhook["secret"] not in told
    assert new["secret"] not in told
    assert "whsec_" not in told
    until = datetime.fromisoformat(new["old_secret_until"])
    assert until - datetime.fromisoformat(read.json()["secret_made_at"]) == timedelta(hours=24)


def test_a_webhook_is_read_changed_and_removed(admin: TestClient) -> None:
    webhook = made(admin)
    read = admin.get(address(webhook))
    assert read.json()["item"] == MIS | {"id": read.json()["item"]["id"], "active": True}
    assert [one["item"]["name"] for one in admin.get(PATH, params={"search": "mi"}).json()["items"]] == [
        "MIS"
    ]
    assert admin.get(PATH, params={"active": "false"}).json()["items"] == []
    other = read.json()["item"] | {"types": ["run.finished"], "active": False}
    problem(admin.put(address(webhook), json=other), 428, "precondition-required")
    changed = admin.put(address(webhook), json=other, headers={"If-Match": read.headers["etag"]})
    assert changed.json()["item"] == other
    problem(admin.delete(address(webhook), headers={"If-Match": read.headers["etag"]}), 412, "version")
    assert admin.delete(address(webhook), headers={"If-Match": changed.headers["etag"]}).status_code == 204
    problem(admin.get(address(webhook)), 404, "not-found")
    actions = [
        one["action"] for one in admin.get("/api/v1/audit", params={"resource": "webhooks"}).json()["items"]
    ]
    assert actions == ["removed", "updated", "created"]


WRONG: list[dict[str, Any]] = [
    {"url": "https://other.example.com/"},
    {"url": "http://mis.example.com/"},
    {"url": "https://mis.example.com:8443/"},
    {"url": "https://me:pw@mis.example.com/"},
    {"url": "https://127.0.0.1/"},
    {"types": []},
    {"types": ["job.forgotten"]},
    {"name": ""},
]


def test_a_webhook_that_goes_nowhere_or_wants_nothing_is_refused(admin: TestClient) -> None:
    for wrong in WRONG:
        told = problem(admin.post(PATH, json=MIS | wrong), 422, "fields")
        assert [place.partition("[")[0] for place in places(told)] == list(wrong)


def test_a_url_that_is_changed_is_looked_at_too(admin: TestClient) -> None:
    webhook = made(admin)
    item = webhook["shown"]["item"] | {"url": "https://other.example.com/"}
    problem(admin.put(address(webhook), json=item, headers={"If-Match": "*"}), 422, "fields")


def test_a_webhook_whose_host_is_not_allowed_any_more_can_be_switched_off(
    service: Served, admin: TestClient
) -> None:
    webhook = made(admin)
    moved = "https://moved.example.com/"
    with service.shop.store.writing(Actor("tests", "main")) as work:
        work.connection.execute(text("UPDATE webhooks SET url = :url"), {"url": moved})
    item = webhook["shown"]["item"] | {"url": moved}
    problem(admin.put(address(webhook), json=item, headers={"If-Match": "*"}), 422, "fields")
    off = admin.put(address(webhook), json=item | {"active": False}, headers={"If-Match": "*"})
    assert off.status_code == 200, off.text


def test_deliveries_are_listed_the_latest_first_page_by_page(service: Served, admin: TestClient) -> None:
    webhook = made(admin)
    started(service, "A-1", "A-2", "A-3")
    first = admin.get(f"{address(webhook)}/deliveries", params={"limit": 2})
    following = admin.get(first.headers["link"].partition(">")[0].removeprefix("<"))
    listed = first.json()["items"] + following.json()["items"]
    assert [one["status"] for one in listed] == ["pending"] * 3
    bodies = [
        json.loads(admin.get(f"{address(webhook)}/deliveries/{one['id']}").json()["body"]) for one in listed
    ]
    assert [body["data"]["run"] for body in bodies] == ["A-3", "A-2", "A-1"]
    assert admin.get(f"{address(webhook)}/deliveries", params={"status": "dead"}).json()["items"] == []
    detail = admin.get(address(webhook)).json()
    assert (detail["pending"], detail["dead"]) == (3, 0)


def test_what_was_given_up_is_tried_again_or_removed(service: Served, admin: TestClient) -> None:
    webhook = made(admin)
    started(service, "A-1", "A-2", "A-3")
    given_up(service)
    assert admin.get(address(webhook)).json()["dead"] == 3
    one, other, _ = admin.get(f"{address(webhook)}/deliveries", params={"status": "dead"}).json()["items"]
    again = admin.post(f"{address(webhook)}/deliveries/{one['id']}/resending")
    assert (again.json()["status"], again.json()["attempts"]) == ("pending", 0)
    assert again.json()["message"] == one["message"]
    problem(admin.delete(f"{address(webhook)}/deliveries/{one['id']}"), 409, "conflict")
    assert admin.delete(f"{address(webhook)}/deliveries/{other['id']}").status_code == 204
    assert admin.post(f"{address(webhook)}/resending", json={}).json() == {"resent": 1}
    assert admin.post(f"{address(webhook)}/resending", json={}).json() == {"resent": 0}
    detail = admin.get(address(webhook)).json()
    assert (detail["pending"], detail["dead"]) == (2, 0)
    audited = admin.get("/api/v1/audit", params={"resource": "webhook deliveries"}).json()["items"]
    assert [entry["action"] for entry in audited] == ["updated", "removed", "updated"]


def test_what_was_given_up_since_a_moment_is_tried_again(service: Served, admin: TestClient) -> None:
    webhook = made(admin)
    started(service, "A-1")
    given_up(service)
    (dead,) = admin.get(f"{address(webhook)}/deliveries").json()["items"]
    at = datetime.fromisoformat(dead["at"])
    for since, resent in ((at + timedelta(seconds=1), 0), (at, 1)):
        asked = admin.post(f"{address(webhook)}/resending", json={"since": since.isoformat()})
        assert asked.json() == {"resent": resent}


def test_a_test_message_goes_to_one_webhook_that_is_on(service: Served, admin: TestClient) -> None:
    webhook, other = made(admin), made(admin, name="other")
    sent = admin.post(f"{address(webhook)}/test")
    assert sent.status_code == 201
    assert sent.json()["type"] == "webhook.test"
    assert admin.get(sent.headers["location"]).json() == sent.json()
    assert admin.get(f"{address(other)}/deliveries").json()["items"] == []
    item = webhook["shown"]["item"] | {"active": False}
    admin.put(address(webhook), json=item, headers={"If-Match": "*"})
    problem(admin.post(f"{address(webhook)}/test"), 409, "conflict")


def test_only_admins_know_of_webhooks_and_only_of_their_plants(service: Served, admin: TestClient) -> None:
    webhook = made(admin)
    started(service, "A-1")
    delivery = admin.get(f"{address(webhook)}/deliveries").json()["items"][0]["id"]
    problem(service.asking(Role.SUPERVISOR).get(PATH), 403, "role")
    elsewhere = service.asking(Role.ADMIN, "other")
    assert elsewhere.get(PATH).json()["items"] == []
    for method, path in (
        ("GET", ""),
        ("POST", "/secret"),
        ("POST", "/test"),
        ("GET", "/deliveries"),
        ("GET", f"/deliveries/{delivery}"),
        ("DELETE", f"/deliveries/{delivery}"),
        ("POST", f"/deliveries/{delivery}/resending"),
    ):
        problem(elsewhere.request(method, address(webhook) + path), 404, "not-found")
    problem(elsewhere.post(f"{address(webhook)}/resending", json={}), 404, "not-found")
    problem(elsewhere.delete(address(webhook), headers={"If-Match": "*"}), 404, "not-found")
    problem(admin.get(f"{NOBODY}/deliveries"), 404, "not-found")
    problem(admin.get(f"{address(webhook)}/deliveries/none"), 404, "not-found")
