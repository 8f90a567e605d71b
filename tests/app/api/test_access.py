"""Who is let in: every route with every role, and with keys that open nothing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Annotated

import pytest
from fastapi import APIRouter
from starlette.responses import Response

from app.api.access import access
from app.api.application import OPEN_PATHS, OpenRouteError, Parts, create_app
from app.api.bodies import body
from app.api.health import ALIVE
from app.security import Doorkeeper, Holder, KeyText, Role, new_key
from app.settings import read_settings
from tests.app.api.conftest import Needs, Service, as_holder
from tests.app.api.die_shelf import DIES, ShelfDie, die_routes
from tests.app.api.key_shelf import LINE, LONG_AGO
from tests.app.api.walking import FORBIDDEN, NO_KEY, steps, walk_with_every_role, walk_with_useless_keys


def test_a_route_lets_in_the_roles_it_declares_and_no_other(service: Service) -> None:
    app = service.app()
    walk_with_every_role(app, {role: service.keys.issue(role) for role in Role})


def test_no_route_but_the_open_ones_answers_without_a_key_that_opens(service: Service) -> None:
    real = service.keys.issue(Role.ADMIN)
    useless: dict[str, KeyText | str | None] = {
        "none": None,
        "of nobody": new_key(),
        "with another secret": KeyText(real.public_id, new_key().secret),
        "of no form": "open sesame",
        "with a blank in it": f"{real} {real}",
        "expired": service.keys.issue(Role.ADMIN, expires=LONG_AGO),
        "revoked": service.keys.issue(Role.ADMIN, revoked=LONG_AGO),
    }
    walk_with_useless_keys(service.app(wrong_keys_per_minute=0), useless)


def test_the_walk_finds_who_is_let_in_or_kept_out_wrongly(service: Service) -> None:
    app = service.app()
    keys = {role: service.keys.issue(role) for role in Role}
    with pytest.raises(AssertionError, match="answers 403 to admin"):
        walk_with_every_role(app, {Role.ADMIN: keys[Role.PRESS]})
    with pytest.raises(AssertionError, match=r"answers \d+ to integration"):
        walk_with_every_role(app, {Role.INTEGRATION: keys[Role.ADMIN]})
    with pytest.raises(AssertionError, match="to a key that is good"):
        walk_with_useless_keys(app, {"good": keys[Role.ADMIN]})


def test_only_health_and_the_description_are_open(service: Service) -> None:
    app = service.app()
    assert {step.declared.path for step in steps(app) if step.declared.access is None} == OPEN_PATHS


def test_a_key_that_is_missing_is_asked_for(service: Service) -> None:
    answer = as_holder(service.app(), None).get(DIES)
    assert answer.headers["www-authenticate"] == 'Bearer realm="runwright"'
    assert answer.json()["detail"] == "Send a key: Authorization: Bearer rw_…"


def test_another_scheme_than_bearer_is_refused(service: Service) -> None:
    key = service.keys.issue(Role.ADMIN)
    client = as_holder(service.app(), None)
    assert client.get(DIES, headers={"Authorization": f"Basic {key}"}).status_code == NO_KEY
    assert client.get(DIES, headers={"Authorization": f"bearer {key}"}).status_code == 200


def test_a_role_that_is_not_enough_is_told_which_is(service: Service) -> None:
    client = as_holder(service.app(), service.keys.issue(Role.INTEGRATION))
    answer = client.put(f"{DIES}/A", json={})
    assert answer.status_code == FORBIDDEN
    assert answer.json()["detail"] == "This needs the role supervisor; the key has integration."


def test_a_press_key_works_for_its_own_line_alone(service: Service) -> None:
    client = as_holder(service.app(), service.keys.issue(Role.PRESS))
    assert client.get(f"{DIES}/on/{LINE}").status_code == 200
    other = client.get(f"{DIES}/on/L2")
    assert other.status_code == FORBIDDEN
    assert LINE in other.json()["detail"]


def test_a_key_that_is_revoked_opens_nothing_a_moment_later(service: Service) -> None:
    clock = [0.0]
    keeper = Doorkeeper(service.keys, ticks=lambda: clock[0])
    app = create_app(read_settings({}), Parts(keeper, Needs()), [die_routes(service.dies)])
    key = service.keys.issue(Role.ADMIN)
    client = as_holder(app, key)
    assert client.get(DIES).status_code == 200
    service.keys.revoke(key)
    clock[0] = 1.0
    assert client.get(DIES).status_code == NO_KEY


def test_the_day_a_key_is_used_is_noted_once(service: Service) -> None:
    key = service.keys.issue(Role.ADMIN)
    client = as_holder(service.app(), key)
    for _ in range(3):
        client.get(DIES)
    assert service.keys.keys[key.public_id].last_used == datetime.now(UTC).date()


def test_a_key_expires_between_two_looks_into_the_book(service: Service) -> None:
    key = service.keys.issue(Role.ADMIN, expires=datetime.now(UTC) + timedelta(hours=1))
    now = [datetime.now(UTC)]
    keeper = Doorkeeper(service.keys, now=lambda: now[0], ticks=lambda: 0.0)
    assert keeper.holder(str(key)).role is Role.ADMIN
    now[0] += timedelta(hours=2)
    with pytest.raises(Exception, match="expired"):
        keeper.holder(str(key))


def _app_of(router: APIRouter) -> None:
    service = Service()
    create_app(read_settings({}), Parts(Doorkeeper(service.keys), Needs()), [router])


def test_an_application_with_a_route_for_anybody_is_refused() -> None:
    router = APIRouter()

    @router.get("/api/v1/everything")
    def everything() -> Response:
        return Response()

    with pytest.raises(OpenRouteError, match="GET /api/v1/everything does not say who may call it"):
        _app_of(router)


def test_an_application_that_reads_bodies_of_strangers_is_refused() -> None:
    router = APIRouter()

    @router.post("/api/v1/dies")
    def create(
        die: Annotated[ShelfDie, body(ShelfDie)], who: Annotated[Holder, access(Role.INTEGRATION)]
    ) -> Response:
        return Response()

    with pytest.raises(OpenRouteError, match="reads a body before the key"):
        _app_of(router)


def test_a_router_inside_a_router_is_refused() -> None:
    outer, inner = APIRouter(), APIRouter()

    @inner.get("/inside", dependencies=[access(Role.ADMIN)])
    def inside() -> Response:
        return Response()

    outer.include_router(inner)
    with pytest.raises(TypeError, match="no route that can say who may call it"):
        _app_of(outer)


def test_a_route_added_behind_the_application_s_back_is_not_found(service: Service) -> None:
    app = service.app()

    @app.get("/back-door")
    def back_door() -> Response:
        return Response()

    assert as_holder(app, None).get("/back-door").status_code == 404
    assert as_holder(app, None).get(ALIVE).status_code == 200


def test_access_needs_a_role() -> None:
    with pytest.raises(ValueError, match="which role"):
        access()
