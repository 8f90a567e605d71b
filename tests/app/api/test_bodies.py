"""What of a body is read, and what is refused with which words."""

from __future__ import annotations

import gzip
import json
import zlib
from decimal import Decimal
from typing import Any

import pytest
from pydantic import Field

from app.api.bodies import MOST_DEPTH, read_body
from app.api.problems import Refusal
from app.contracts.base import Contract, OffsetMoment
from app.errors import BadInput
from app.security import Role
from tests.app.api.conftest import Asking, Service, as_holder
from tests.app.api.die_shelf import DIES, EXAMPLE, ShelfDie, ShelfDies

JSON = {"Content-Type": "application/json"}


class Timed(Contract):
    """Something that happens."""

    at: OffsetMoment
    things: tuple[dict[str, Any], ...] = Field(default=(), max_length=3)


def refused(body: bytes, contract: type[Contract] = ShelfDie) -> str:
    """Why a body cannot be read at all."""
    with pytest.raises(Refusal) as error:
        read_body(body, contract)
    assert error.value.kind.status == 400
    return str(error.value)


def faults(value: object, contract: type[Contract] = ShelfDie) -> dict[str, str]:
    """What is wrong with a body's fields."""
    with pytest.raises(BadInput) as error:
        read_body(json.dumps(value).encode(), contract)
    return {fault.field or "": fault.right for fault in error.value.faults}


def test_a_tenth_arrives_as_a_tenth() -> None:
    die = read_body(b'{"code": "A", "repeat_mm": 0.1}', ShelfDie)
    assert die.repeat_mm == Decimal("0.1")
    assert str(die.repeat_mm) == "0.1"


def test_a_number_finer_than_can_be_kept_is_refused_and_not_rounded() -> None:
    right = faults({"code": "A", "repeat_mm": 1.0001})["repeat_mm"]
    assert "3 decimal places" in right
    with pytest.raises(BadInput):
        read_body(b'{"code": "A", "repeat_mm": 0.10000000000000000000001}', ShelfDie)


def test_all_faults_are_found_at_once_with_their_paths() -> None:
    dies = {"items": [EXAMPLE, {"code": " A", "repeat_mm": "7", "across": 0}, {"cod": 1}]}
    found = faults(dies, ShelfDies)
    assert found == {
        "items[1].code": "should be one line of text, without blanks around it",
        "items[1].repeat_mm": "should be a number, without quotes",
        "items[1].across": "should be greater than or equal to 1",
        "items[2].code": "must be given",
        "items[2].repeat_mm": "must be given",
        "items[2].cod": "unknown field; the nearest known one is “code”",
    }


def test_a_list_that_is_too_long_is_refused() -> None:
    found = faults({"at": "2027-03-01T06:00Z", "things": [{}, {}, {}, {}]}, Timed)
    assert "at most 3 items" in found["things"]


def test_a_moment_without_an_offset_is_refused() -> None:
    assert "offset" in faults({"at": "2027-03-01T06:00"}, Timed)["at"]
    read_body(b'{"at": "2027-03-01T06:00+01:00"}', Timed)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "is empty"),
        (b"  \n", "is empty"),
        (b"{", "is not JSON"),
        (b'{"code": "A",}', "is not JSON"),
        (b"{'code': 1}", "is not JSON"),
        (b'{"code": NaN}', "holds NaN, which is no number"),
        (b'{"code": -Infinity}', "holds -Infinity, which is no number"),
        (b'{"code": 1, "code": 2}', "gives “code” twice"),
        (b'{"code": ' + b"9" * 5000 + b"}", "far too many digits"),
        (b'{"code": "\xff"}', "is not UTF-8 at byte 10"),
        (b'\xef\xbb\xbf{"code": "A"}', "begins with a byte order mark"),
        (b'{"code": "\\ud800"}', "half a character"),
        (b'{"\\udc00": 1}', "half a character"),
        (b'{"code": "a\\u0000b"}', "u0000, which no text needs"),
        (b'{"a\\u0000b": 1}', "u0000, which no text needs"),
        (b'{"code": "\\ud83d\\ud83d\\ude00"}', "half a character"),
        (b"[" * 100_000, "nested deeper"),
        (b"[" * 100_000 + b"]" * 100_000, "nested deeper"),
        (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "nested deeper"),
        (b"[}" * 50_000, "not JSON"),
        (b'{"code": "a\tb"}', "is not JSON"),
    ],
)
def test_what_is_no_json_that_anybody_means_is_refused(body: bytes, words: str) -> None:
    assert words in refused(body)


def test_a_pair_of_escapes_is_one_character() -> None:
    body = b'{"code": "\\ud83d\\ude00 \\\\ud800", "repeat_mm": 1}'
    assert read_body(body, ShelfDie).code == "\U0001f600 \\ud800"


@pytest.mark.parametrize("opening", ["[", '{"a":', '[{"a":'])
def test_brackets_may_stand_in_each_other_so_deep_and_no_deeper(opening: str) -> None:
    levels = opening.count("[") + opening.count("{")
    closing = "".join({"[": "]", "{": "}"}[letter] for letter in reversed(opening) if letter in "[{")

    def nested(depth: int) -> bytes:
        times = (depth - 2) // levels
        return f'{{"at": "x", "b": [{opening * times}1{closing * times}]}}'.encode()

    with pytest.raises(BadInput):
        read_body(nested(MOST_DEPTH), Timed)
    assert "nested deeper" in refused(nested(MOST_DEPTH + levels), Timed)


def test_brackets_in_texts_do_not_count() -> None:
    code = "[" * 70 + '\\"{{\\\\'
    assert read_body(f'{{"code": "{code}", "repeat_mm": 1}}'.encode(), ShelfDie).code == json.loads(
        f'"{code}"'
    )


def test_a_body_of_no_object_is_refused_as_a_whole() -> None:
    assert faults([1]) == {"": "should be an object in braces {}"}


@pytest.mark.parametrize(
    "kind",
    [
        "application/json",
        "application/json; charset=utf-8",
        'Application/JSON; charset="UTF-8"',
        "application/x+json",
    ],
)
def test_json_is_taken_however_its_kind_is_written(asking: Asking, kind: str) -> None:
    client = asking(Role.ADMIN)
    answer = client.post(DIES, content=json.dumps(EXAMPLE), headers={"Content-Type": kind})
    assert answer.status_code == 201, answer.text


@pytest.mark.parametrize(
    "kind", [None, "text/plain", "application/xml", "application/json; charset=latin-1", "json"]
)
def test_another_kind_of_body_is_refused(asking: Asking, kind: str | None) -> None:
    headers = {} if kind is None else {"Content-Type": kind}
    answer = asking(Role.ADMIN).post(DIES, content=json.dumps(EXAMPLE), headers=headers)
    assert answer.status_code == 415
    assert answer.headers["accept"] == "application/json"


def test_a_gzipped_body_is_read(asking: Asking) -> None:
    packed = gzip.compress(json.dumps(EXAMPLE).encode())
    answer = asking(Role.ADMIN).post(DIES, content=packed, headers={**JSON, "Content-Encoding": "gzip"})
    assert answer.status_code == 201


PACKED = gzip.compress(b"{}", mtime=0)
"""The same in every process: tests are named after it."""


@pytest.mark.parametrize(
    ("packed", "words"),
    [
        (b"not gzip", "is not gzip"),
        (PACKED[:-9], "breaks off"),
        (PACKED + b"more", "goes on after its end"),
        (PACKED + PACKED, "goes on after its end"),
        (zlib.compress(b"{}"), "is not gzip"),
    ],
)
def test_a_broken_gzip_is_refused(asking: Asking, packed: bytes, words: str) -> None:
    answer = asking(Role.ADMIN).post(DIES, content=packed, headers={**JSON, "Content-Encoding": "gzip"})
    assert answer.status_code == 400
    assert words in answer.json()["detail"]


def test_another_coding_is_refused(asking: Asking) -> None:
    answer = asking(Role.ADMIN).post(DIES, content=b"{}", headers={**JSON, "Content-Encoding": "br"})
    assert answer.status_code == 415
    assert answer.headers["accept-encoding"] == "gzip, identity"


@pytest.fixture
def narrow(service: Service) -> Any:
    """A client of a service that takes bodies of 1 MB."""
    return as_holder(service.app(most_body_mb=1), service.keys.issue(Role.ADMIN))


def test_a_body_that_says_it_is_too_large_is_refused_unread(narrow: Any) -> None:
    answer = narrow.post(DIES, content=b" " * (1024 * 1024 + 1), headers=JSON)
    assert answer.status_code == 413
    assert answer.headers["connection"] == "close"


def test_a_body_that_does_not_say_its_size_is_measured_as_it_arrives(narrow: Any) -> None:
    sent = []

    def parts() -> Any:
        for _ in range(64):
            sent.append(1)
            yield b" " * 64 * 1024

    answer = narrow.post(DIES, content=parts(), headers=JSON)
    assert answer.status_code == 413


def test_a_small_body_that_unpacks_to_a_large_one_is_refused(narrow: Any) -> None:
    bomb = gzip.compress(b" " * 300_000_000)
    assert len(bomb) < 400_000
    answer = narrow.post(DIES, content=bomb, headers={**JSON, "Content-Encoding": "gzip"})
    assert answer.status_code == 413


def test_a_thousand_dies_go_in_one_post(asking: Asking) -> None:
    dies = [{**EXAMPLE, "code": f"D-{idx}"} for idx in range(1000)]
    answer = asking(Role.ADMIN).post(f"{DIES}/bulk", json={"items": dies})
    assert answer.json() == {"taken": 1000}


def test_ten_thousand_faults_are_cut_short(asking: Asking) -> None:
    answer = asking(Role.ADMIN).post(f"{DIES}/bulk", json={"items": [{"x": 1}] * 1000})
    assert answer.status_code == 422
    assert len(answer.json()["errors"]) == 200
