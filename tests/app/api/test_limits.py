"""How many requests one may make."""

from __future__ import annotations

import pytest

from app.api.application import Parts, create_app
from app.api.health import ALIVE
from app.api.limits import MOST_NAMES, RateLimit
from app.api.problems import Refusal
from app.security import Doorkeeper, Role
from app.settings import read_settings
from app.telemetry import RequestFigures
from tests.app.api.conftest import Needs, Service, as_holder
from tests.app.api.die_shelf import DIES


class Ticks:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.s = 100.0

    def __call__(self) -> float:
        return self.s


def test_a_minutes_worth_may_come_at_once_and_then_evenly() -> None:
    ticks = Ticks()
    limit = RateLimit(6, ticks)
    assert [limit.take("MIS") for _ in range(6)] == [0.0] * 6
    assert limit.take("MIS") == pytest.approx(10.0)
    ticks.s += 9.9
    assert limit.take("MIS") == pytest.approx(0.1)
    ticks.s += 0.1
    assert limit.take("MIS") == 0.0
    assert limit.take("MIS") == pytest.approx(10.0)


def test_over_a_long_time_no_more_than_agreed_come_through() -> None:
    ticks = Ticks()
    limit = RateLimit(60, ticks)
    taken = 0
    for _ in range(3000):
        taken += limit.take("MIS") == 0.0
        ticks.s += 0.1
    assert 60 + 299 <= taken <= 60 + 300


def test_each_has_a_bucket_of_its_own() -> None:
    limit = RateLimit(1, Ticks())
    assert limit.take("MIS") == 0.0
    assert limit.take("screen") == 0.0
    assert limit.take("MIS") > 0.0


def test_without_a_limit_any_number_come_through() -> None:
    limit = RateLimit(None, Ticks())
    assert all(limit.take("MIS") == 0.0 for _ in range(1000))


def test_a_flood_of_names_does_not_fill_the_memory() -> None:
    ticks = Ticks()
    limit = RateLimit(60, ticks)
    limit.take("MIS")
    for idx in range(MOST_NAMES + 10):
        ticks.s += 0.01
        limit.take(f"address {idx}")
    assert len(limit._full_at) <= MOST_NAMES  # noqa: SLF001 – what is kept is the point


def test_too_many_are_told_when_to_come_again() -> None:
    limit = RateLimit(2, Ticks())
    limit.require("MIS")
    limit.require("MIS")
    with pytest.raises(Refusal, match="ask again in 30 s") as error:
        limit.require("MIS")
    assert error.value.headers == {"Retry-After": "30"}


def test_a_key_that_asks_too_often_waits_and_others_do_not(service: Service) -> None:
    app = service.app(requests_per_minute_by_key=2)
    eager, other = (as_holder(app, service.keys.issue(Role.ADMIN)) for _ in range(2))
    assert [eager.get(DIES).status_code for _ in range(3)] == [200, 200, 429]
    assert other.get(DIES).status_code == 200


def test_an_address_that_asks_too_often_waits_but_health_is_told(service: Service) -> None:
    client = as_holder(service.app(requests_per_minute_by_address=2), None)
    answers = [client.get("/nowhere") for _ in range(3)]
    assert [answer.status_code for answer in answers] == [404, 404, 429]
    assert int(answers[-1].headers["retry-after"]) > 0
    assert answers[-1].json()["type"] == "/problems/too-many-requests"
    assert client.get(ALIVE).status_code == 200


def test_trying_keys_is_slowed_down_and_a_good_key_is_not(service: Service) -> None:
    app = service.app(wrong_keys_per_minute=3)
    wrong, good = as_holder(app, "rw_guess"), as_holder(app, service.keys.issue(Role.ADMIN))
    assert [wrong.get(DIES).status_code for _ in range(4)] == [401, 401, 401, 429]
    assert good.get(DIES).status_code == 200


def test_whoever_comes_while_too_many_are_answered_is_asked_to_come_again(service: Service) -> None:
    figures = RequestFigures()
    parts = Parts(Doorkeeper(service.keys), Needs(), figures)
    client = as_holder(create_app(read_settings({}, most_at_once=2), parts, []), None)
    figures.begin()
    assert client.get("/nowhere").status_code == 404
    figures.begin()
    busy = client.get("/nowhere")
    assert (busy.status_code, busy.headers["retry-after"]) == (503, "1")
    assert client.get(ALIVE).status_code == 200
    figures.end("/x", "GET", 200, 0.1)
    assert client.get("/nowhere").status_code == 404
