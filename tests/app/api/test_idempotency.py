"""A request that comes twice is done once."""

from __future__ import annotations

import gzip
import json

import pytest

from app.security import Role
from tests.app.api.conftest import Asking, Service
from tests.app.api.die_shelf import DIES, EXAMPLE


def _key(text: str) -> dict[str, str]:
    return {"Idempotency-Key": text}


def test_the_same_request_is_answered_alike_and_done_once(asking: Asking, service: Service) -> None:
    client = asking(Role.ADMIN)
    first = client.post(DIES, json=EXAMPLE, headers=_key("order-17"))
    again = client.post(DIES, json=EXAMPLE, headers=_key('"order-17"'))
    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    for name in ("etag", "location"):
        assert first.headers[name] == again.headers[name]
    assert len(service.dies.dies) == 1


def test_the_same_body_gzipped_is_the_same_request(asking: Asking) -> None:
    client = asking(Role.ADMIN)
    plain = json.dumps(EXAMPLE).encode()
    kind = {"Content-Type": "application/json", **_key("order-18")}
    assert client.post(DIES, content=plain, headers=kind).status_code == 201
    packed = client.post(DIES, content=gzip.compress(plain), headers={**kind, "Content-Encoding": "gzip"})
    assert packed.status_code == 201


def test_another_body_under_the_same_key_is_refused(asking: Asking) -> None:
    client = asking(Role.ADMIN)
    client.post(DIES, json=EXAMPLE, headers=_key("order-19"))
    other = client.post(DIES, json={**EXAMPLE, "across": 4}, headers=_key("order-19"))
    assert other.status_code == 422
    assert other.json()["type"] == "/problems/idempotency-key-reused"


def test_another_address_under_the_same_key_is_refused(asking: Asking, service: Service) -> None:
    client = asking(Role.ADMIN)
    client.post(DIES, json=EXAMPLE, headers=_key("order-20"))
    kept = service.dies.answers.answers.pop("order-20")
    service.dies.answers.keep("order-21", kept)
    service.dies.answers.answers["order-21"] = type(kept)("POST /api/v1/jobs", kept.body_digest, kept.answer)
    other = client.post(DIES, json=EXAMPLE, headers=_key("order-21"))
    assert other.status_code == 422
    assert "came with POST /api/v1/jobs before" in other.json()["detail"]


def test_what_was_refused_may_be_tried_again_with_the_same_key(asking: Asking) -> None:
    client = asking(Role.ADMIN)
    client.post(DIES, json=EXAMPLE)
    refused = client.post(DIES, json=EXAMPLE, headers=_key("order-22"))
    assert refused.status_code == 409
    done = client.post(DIES, json={**EXAMPLE, "code": "D-18"}, headers=_key("order-22"))
    assert done.status_code == 201


def test_without_a_key_each_request_is_done(asking: Asking) -> None:
    client = asking(Role.ADMIN)
    assert client.post(DIES, json=EXAMPLE).status_code == 201
    assert client.post(DIES, json=EXAMPLE).status_code == 409


@pytest.mark.parametrize("key", ["", '""', "a b", "x" * 256, "ä"])
def test_a_key_of_another_form_is_refused(asking: Asking, key: str) -> None:
    answer = asking(Role.ADMIN).post(DIES, json=EXAMPLE, headers={b"Idempotency-Key": key.encode()})
    assert answer.status_code == 400
