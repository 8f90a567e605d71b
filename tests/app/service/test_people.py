"""Users and keys over HTTP: who may make them, and what becomes of a key that is taken back."""

from __future__ import annotations

from starlette.testclient import TestClient

from app.security import Role
from tests.app.service.served import Served, places, problem


def with_key(service: Served, key: str) -> TestClient:
    return TestClient(service.app, headers={"Authorization": f"Bearer {key}"})


def test_a_key_is_shown_once_and_opens_until_it_is_taken_back(service: Served) -> None:
    admin = service.asking(Role.ADMIN)
    made = admin.post("/api/v1/keys", json={"name": "MIS", "role": "integration"})
    assert made.status_code == 201, made.text
    key, shown = made.json()["key"], made.json()["shown"]
    assert with_key(service, key).get("/api/v1/jobs").status_code == 200
    listed = admin.get("/api/v1/keys")
    assert shown["id"] in listed.text
    assert key not in listed.text
    revoked = admin.delete(f"/api/v1/keys/{shown['id']}")
    assert revoked.json()["revoked_at"] is not None
    problem(with_key(service, key).get("/api/v1/jobs"), 401, "key")


def test_a_key_of_a_user_opens_while_the_user_is_active(service: Served) -> None:
    admin = service.asking(Role.ADMIN)
    jo = {"name": "jo", "role": "scheduler"}
    assert admin.post("/api/v1/users", json=jo).status_code == 201
    made = admin.post("/api/v1/keys", json={"name": "Jo's", "role": "scheduler", "user": "jo"})
    assert made.json()["shown"]["user"] == "jo"
    key = made.json()["key"]
    assert with_key(service, key).get("/api/v1/jobs").status_code == 200
    left = admin.put("/api/v1/users/jo", json=jo | {"active": False}, headers={"If-Match": '"1"'})
    assert left.status_code == 200, left.text
    service.app.state.gate.doorkeeper.forget(made.json()["shown"]["id"])
    problem(with_key(service, key).get("/api/v1/jobs"), 401, "key")


def test_a_key_of_nobody_is_not_made(service: Served) -> None:
    asked = {"name": "x", "role": "admin", "user": "nobody"}
    told = problem(service.asking(Role.ADMIN).post("/api/v1/keys", json=asked), 422, "fields")
    assert places(told) == ["user"]


def test_a_press_key_is_of_a_line_and_no_other_is(service: Served) -> None:
    for asked in ({"name": "x", "role": "press"}, {"name": "x", "role": "admin", "line": "H1"}):
        problem(service.asking(Role.ADMIN).post("/api/v1/keys", json=asked), 422, "fields")


def test_a_line_screen_writes_and_reads_its_own_lines_runs_alone(small: Served) -> None:
    press = small.asking(Role.PRESS)
    mine = {"id": "A-1", "line": "H1", "job": "J-2101", "started": "2027-03-01T06:00:00+01:00"}
    assert press.post("/api/v1/actuals/bulk", json={"items": [mine]}).status_code == 200
    other = mine | {"id": "A-2", "line": "H2"}
    problem(press.post("/api/v1/actuals/bulk", json={"items": [other]}), 403, "role")
    assert (
        small.asking(Role.INTEGRATION).post("/api/v1/actuals/bulk", json={"items": [other]}).status_code
        == 200
    )
    assert [one["item"]["id"] for one in press.get("/api/v1/actuals").json()["items"]] == ["A-1"]
    problem(press.get("/api/v1/actuals/A-2"), 403, "role")
    taken_over = other | {"line": "H1"}
    problem(press.put("/api/v1/actuals/A-2", json=taken_over, headers={"If-Match": '"1"'}), 403, "role")
    assert press.get("/api/v1/lines/H1/state").status_code == 200
    problem(press.get("/api/v1/jobs"), 403, "role")


def test_plants_have_keys_and_users_of_their_own(service: Served) -> None:
    other = service.asking(Role.ADMIN, "other")
    service.asking(Role.ADMIN).post("/api/v1/users", json={"name": "jo", "role": "scheduler"})
    problem(other.get("/api/v1/users/jo"), 404, "not-found")
    assert [key["name"] for key in other.get("/api/v1/keys").json()["items"]] == ["the admin"]
