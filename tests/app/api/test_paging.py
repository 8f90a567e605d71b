"""Lists come in pages, each with the way to the next."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator

import pytest

from app.contracts.cursors import Cursor, read_cursor
from app.errors import BadInput
from app.security import Role
from tests.app.api.conftest import Asking
from tests.app.api.die_shelf import DIES


def test_a_cursor_is_read_as_it_was_told() -> None:
    cursor = Cursor("jobs by due", ("2027-03-01T06:00", 17, None, "Ä“; &"))
    assert read_cursor(cursor.text(), "jobs by due") == cursor
    assert cursor.text().replace("-", "").replace("_", "").isalnum()


def _made_up(*values: object) -> str:
    genuine = Cursor("jobs", ()).text()
    fingerprint = json.loads(base64.urlsafe_b64decode(genuine + "=="))[0]
    return base64.urlsafe_b64encode(json.dumps([fingerprint, *values]).encode()).decode().rstrip("=")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "not a cursor!",
        "ÄÖ",
        "A" * 5000,
        base64.urlsafe_b64encode(b"{}").decode(),
        base64.urlsafe_b64encode(b"7").decode(),
        base64.urlsafe_b64encode(b"[]").decode(),
        base64.urlsafe_b64encode(b"[" * 1000).decode(),
        base64.urlsafe_b64encode(b"\xff\xfe").decode(),
        Cursor("jobs by customer", ("A",)).text(),
        _made_up(1.5),
        _made_up(["A"]),
        _made_up({"A": 1}),
        _made_up(2**64),
        _made_up("a\0b"),
        _made_up("\ud800"),
    ],
)
def test_a_cursor_that_was_not_told_is_refused(text: str) -> None:
    with pytest.raises(BadInput) as error:
        read_cursor(text, "jobs")
    assert error.value.faults[0].field == "query.cursor"


def test_a_made_up_cursor_of_plain_values_is_only_another_place() -> None:
    assert read_cursor(_made_up("A", 3, None), "jobs").after == ("A", 3, None)


def test_following_the_links_gives_every_die_once(asking: Asking) -> None:
    client = asking(Role.ADMIN)
    codes = [f"D {idx:02}&" for idx in range(7)]
    for code in (*codes, "other"):
        client.post(DIES, json={"code": code, "repeat_mm": 100})

    def pages() -> Iterator[list[str]]:
        url: str | None = f"{DIES}?limit=3&search=D%20"
        while url:
            answer = client.get(url)
            assert answer.status_code == 200
            yield [die["code"] for die in answer.json()["items"]]
            link = answer.links.get("next")
            url = link["url"] if link else None

    assert list(pages()) == [codes[:3], codes[3:6], codes[6:]]


def test_a_cursor_of_another_search_is_refused(asking: Asking) -> None:
    client = asking(Role.ADMIN)
    for idx in range(3):
        client.post(DIES, json={"code": f"D{idx}", "repeat_mm": 100})
    cursor = client.get(DIES, params={"limit": 1}).json()["next"]
    refused = client.get(DIES, params={"limit": 1, "cursor": cursor, "search": "D"})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "query.cursor"


@pytest.mark.parametrize("limit", ["0", "201", "-1", "1.5", "all"])
def test_a_page_has_1_to_200_items(asking: Asking, limit: str) -> None:
    answer = asking(Role.ADMIN).get(DIES, params={"limit": limit})
    assert answer.json()["errors"][0]["field"] == "query.limit"
