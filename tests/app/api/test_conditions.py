"""Changes name the version that was read."""

from __future__ import annotations

import pytest

from app.api.conditions import Condition, Tags, etag, read_tags
from app.api.problems import Refusal
from app.security import Role
from tests.app.api.conftest import Asking
from tests.app.api.die_shelf import DIES, EXAMPLE

A_DIE = f"{DIES}/D-17"


def status(condition: Condition, stored: int | None) -> int:
    """What a change under a condition is refused with; 200 if it is done."""
    try:
        condition.require(stored)
    except Refusal as refusal:
        return refusal.kind.status
    return 200


@pytest.mark.parametrize(
    ("text", "tags"),
    [
        ("*", Tags(any=True)),
        (" * ", Tags(any=True)),
        ('"7"', Tags(strong=frozenset("7"))),
        ('"7", "8"', Tags(strong=frozenset("78"))),
        ('W/"7"', Tags(weak=frozenset("7"))),
        ('"7",W/"8" , "9"', Tags(strong=frozenset("79"), weak=frozenset("8"))),
        ('""', Tags(strong=frozenset({""}))),
    ],
)
def test_tags_are_read(text: str, tags: Tags) -> None:
    assert read_tags("If-Match", text) == tags


@pytest.mark.parametrize("text", ["", "7", '"7', '7"', '"7" "8"', 'w/"7"', '*, "7"', '"a b"', '"7"; x'])
def test_what_is_no_tag_is_refused(text: str) -> None:
    with pytest.raises(Refusal, match="If-Match should be") as error:
        read_tags("If-Match", text)
    assert error.value.kind.status == 400


@pytest.mark.parametrize(
    ("if_match", "if_none_match", "stored", "expected"),
    [
        (None, None, None, 200),
        (None, None, 7, 428),
        ('"7"', None, 7, 200),
        ('"6"', None, 7, 412),
        ('"6", "7"', None, 7, 200),
        ('W/"7"', None, 7, 412),
        ("*", None, 7, 200),
        ("*", None, None, 412),
        ('"7"', None, None, 412),
        (None, "*", None, 200),
        (None, "*", 7, 412),
        (None, 'W/"7"', 7, 412),
        (None, '"6"', 7, 200),
        ('"7"', "*", 7, 412),
    ],
)
def test_a_change_is_done_only_to_the_version_that_was_read(
    if_match: str | None, if_none_match: str | None, stored: int | None, expected: int
) -> None:
    condition = Condition(
        read_tags("If-Match", if_match) if if_match else None,
        read_tags("If-None-Match", if_none_match) if if_none_match else None,
    )
    assert status(condition, stored) == expected


def test_the_version_that_passes_is_given_back() -> None:
    assert Condition(if_match=Tags(any=True)).require(7) == 7
    assert Condition().require(None) is None


@pytest.mark.parametrize(
    ("if_match", "if_none_match", "wanted"),
    [('"7"', None, 7), (None, "*", None), (' "12" ', None, 12)],
)
def test_the_one_version_that_is_meant(
    if_match: str | None, if_none_match: str | None, wanted: int | None
) -> None:
    condition = Condition(
        read_tags("If-Match", if_match) if if_match else None,
        read_tags("If-None-Match", if_none_match) if if_none_match else None,
    )
    assert condition.wanted() == wanted


@pytest.mark.parametrize(
    ("if_match", "expected"),
    [
        (None, 428),
        ("*", 428),
        ('"7", "8"', 428),
        ('W/"7"', 412),
        ('"seven"', 412),
        ('"' + "9" * 30 + '"', 412),
    ],
)
def test_no_single_version_is_meant(if_match: str | None, expected: int) -> None:
    condition = Condition(read_tags("If-Match", if_match) if if_match else None)
    with pytest.raises(Refusal) as error:
        condition.wanted()
    assert error.value.kind.status == expected


def test_a_die_is_made_read_changed_and_not_changed_twice(asking: Asking) -> None:
    client = asking(Role.SUPERVISOR)
    made = client.put(A_DIE, json=EXAMPLE, headers={"If-None-Match": "*"})
    assert made.headers["etag"] == etag(1)
    assert client.put(A_DIE, json=EXAMPLE).status_code == 428
    changed = client.put(A_DIE, json=EXAMPLE, headers={"If-Match": made.headers["etag"]})
    assert (changed.status_code, changed.headers["etag"]) == (200, etag(2))
    late = client.put(A_DIE, json=EXAMPLE, headers={"If-Match": made.headers["etag"]})
    assert late.status_code == 412
    assert late.json()["detail"] == "It is at version 2 now; read it again, then repeat the change."


def test_who_has_the_version_already_is_told_so(asking: Asking) -> None:
    client = asking(Role.SUPERVISOR)
    client.put(A_DIE, json=EXAMPLE)
    same = client.get(A_DIE, headers={"If-None-Match": 'W/"9", W/"1"'})
    assert (same.status_code, same.content, same.headers["etag"]) == (304, b"", '"1"')
    assert client.get(A_DIE, headers={"If-None-Match": '"2"'}).status_code == 200
    assert client.get(A_DIE, headers={"If-None-Match": "nonsense"}).status_code == 400
