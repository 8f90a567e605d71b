"""An attempt ends, and is told, whatever the receiver does; it goes to no address that was not looked at."""

from __future__ import annotations

import ssl
import threading
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest
from standardwebhooks import Webhook

from app.services.webhooks import new_secret
from app.webhook_targets import Targets, read_allowed
from app.worker.posting import LONGEST_REST_S, MOST_TOLD, Answered, Poster
from tests.app.worker.receivers import (
    CERTIFICATE,
    Answer,
    Listening,
    byte_by_byte,
    endless,
    in_turn,
    listening,
    raw,
    silent,
    status,
    unused_port,
)

TIMEOUT_S = 0.4
SECRET = new_secret()
BODY = '{"type":"job.accepted","timestamp":"2027-03-01T06:00:00Z","data":{"job":"J-1 “é”"}}'


def poster(
    *allowed: str, certificates: ssl.SSLContext | None = None, addresses: Sequence[str] = ()
) -> Poster:
    """Posts to what is allowed, which resolves to these addresses; by name to this machine."""
    listed = tuple(read_allowed(entry) for entry in (*allowed, "127.0.0.1"))
    return Poster(
        Targets(listed, plain_http=True),
        timeout_s=TIMEOUT_S,
        resolve=lambda _host, _port: addresses or ["127.0.0.1"],
        certificates=certificates or ssl.create_default_context(),
    )


def post(poster: Poster, url: str, times: int = 1, at: datetime | None = None) -> list[Answered]:
    with poster.receiver(url) as receiver:
        return [receiver.post(f"msg_{n}", BODY, [SECRET], at or datetime.now(UTC)) for n in range(times)]


def posted(answer: Answer) -> Answered:
    """What comes of posting to a receiver that answers so."""
    with listening(answer) as there:
        (answered,) = post(poster(f"127.0.0.1:{there.port}"), there.url)
        return answered


def test_a_message_comes_as_it_is_and_signed() -> None:
    old = new_secret()
    with listening(status(204)) as there, poster(f"127.0.0.1:{there.port}").receiver(there.url) as receiver:
        answered = receiver.post("msg_1", BODY, [SECRET, old], datetime.now(UTC))
        (request,) = there.wait_for(1)
    assert (answered.status, answered.rests_s) == (204, 0)
    assert request.line == "POST /hooks?of=press HTTP/1.1"
    assert request.headers["host"] == f"127.0.0.1:{there.port}"
    assert request.headers["content-type"] == "application/json"
    assert request.headers["webhook-id"] == "msg_1"
    assert request.body == BODY
    assert len(request.headers["webhook-signature"].split()) == 2
    for secret in (SECRET, old):
        Webhook(secret).verify(request.body, request.headers)


def test_messages_go_one_after_the_other_on_one_connection() -> None:
    with listening(status(200, body="thanks")) as there:
        answered = post(poster(f"127.0.0.1:{there.port}"), there.url, times=3)
    assert [one.status for one in answered] == [200] * 3
    assert there.connections == 1


def test_a_connection_that_does_not_stay_is_made_anew() -> None:
    closing = raw(b"HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n")
    with listening(closing) as there:
        answered = post(poster(f"127.0.0.1:{there.port}"), there.url, times=2)
    assert [one.status for one in answered] == [200] * 2
    assert there.connections == 2


def test_a_receiver_that_is_down_is_told_so() -> None:
    port = unused_port()
    (answered,) = post(poster(f"127.0.0.1:{port}"), f"http://127.0.0.1:{port}/")
    assert answered.status is None
    assert "refused" in answered.told


SLOW = {
    "never answers": silent,
    "answers byte by byte": byte_by_byte(b"HTTP/1.1 200 OK\r\n"),
    "goes on saying that it goes on": byte_by_byte(
        b"", b"HTTP/1.1 102 P\r\n\r\n", b"HTTP/1.1 200 OK\r\n\r\n"
    ),
}


@pytest.mark.parametrize("how", SLOW)
def test_a_receiver_that_takes_too_long_is_given_up(how: str) -> None:
    answered = posted(SLOW[how])
    assert answered.status is None
    assert answered.told == "no answer within 0.4 s"


def test_what_a_receiver_says_behind_its_status_is_not_waited_for() -> None:
    begun = b"HTTP/1.1 200 OK\r\nContent-Length: 1000000\r\n\r\n"
    assert posted(byte_by_byte(begun, b"thanks ")).status == 200
    assert posted(raw(begun + b"thank")).status == 200


def test_an_answer_without_end_is_not_read() -> None:
    megabyte = b"garbage " * 131072
    for code, filler in ((200, megabyte), (500, megabyte)):
        sent: list[int] = []
        begun = f"HTTP/1.1 {code} so\r\nContent-Length: 1000000000000\r\n\r\n".encode()
        answered = posted(endless(begun, filler, sent))
        assert answered.status == code
        assert len(answered.told) == MOST_TOLD
        assert sum(sent) < 64 * 2**20


BROKEN = {
    "garbage": raw(b"\x00\xff\xfe garbage\r\n\r\n"),
    "half a status": raw(b"HTTP/1.1 20"),
    "nothing": raw(b""),
    "headers without end": endless(b"HTTP/1.1 200 OK\r\n", b"x-more: and more\r\n" * 1000, []),
    "a header that is none": raw(b"HTTP/1.1 200 OK\r\nno header\r\n\r\n"),
    "another protocol": raw(b"SSH-2.0-OpenSSH_9.6\r\n"),
}


@pytest.mark.parametrize("what", BROKEN)
def test_what_is_no_answer_is_told_so(what: str) -> None:
    answered = posted(BROKEN[what])
    assert answered.status is None
    assert answered.told
    assert "\n" not in answered.told


def test_a_receiver_that_sends_on_is_not_followed() -> None:
    with listening(status(204)) as other:
        answered = posted(status(307, f"Location: {other.url}"))
        assert answered.status == 307
        assert "not followed" in answered.told
        assert other.connections == 0


def test_an_answer_is_told_in_one_line_without_control_characters() -> None:
    answered = posted(raw(b"HTTP/1.1 400 No\r\n\r\n field\x1b[31m\r\n\x00 missing \xff"))
    assert answered.status == 400
    assert answered.told == "field [31m missing \N{REPLACEMENT CHARACTER}"


@pytest.mark.parametrize(
    ("header", "rests_s"),
    [
        ("7", 7.0),
        ("Mon, 01 Mar 2027 12:00:30 GMT", 30.0),
        ("Mon, 01 Mar 2027 11:00:00 GMT", 0.0),
        ("99999999", LONGEST_REST_S),
        ("soon", 0.0),
        ("-5", 0.0),
    ],
)
def test_a_receiver_that_asks_to_be_left_alone_is_heard(header: str, rests_s: float) -> None:
    noon = datetime(2027, 3, 1, 12, tzinfo=UTC)
    with listening(status(429, f"Retry-After: {header}")) as there:
        (answered,) = post(poster(f"127.0.0.1:{there.port}"), there.url, at=noon)
    assert (answered.status, answered.rests_s) == (429, rests_s)


def test_a_receiver_is_known_by_its_certificate_and_its_name() -> None:
    trusting = ssl.create_default_context(cafile=str(CERTIFICATE))
    with listening(in_turn(status(204)), CERTIFICATE) as there:
        url = f"https://mis.example.com:{there.port}/"
        (answered,) = post(poster(f"mis.example.com:{there.port}", certificates=trusting), url)
        assert answered.status == 204, answered.told
        assert there.names == ["mis.example.com"]
        assert there.received[0].headers["host"] == f"mis.example.com:{there.port}"
        other = f"https://other.example.com:{there.port}/"
        (answered,) = post(poster(f"other.example.com:{there.port}", certificates=trusting), other)
        assert answered.status is None
        assert "mismatch" in answered.told.lower()
        (answered,) = post(poster(f"mis.example.com:{there.port}"), url)
        assert answered.status is None
        assert "CERTIFICATE_VERIFY_FAILED" in answered.told
        assert len(there.received) == 1


def test_a_receiver_that_speaks_no_tls_is_told_so() -> None:
    with listening(status(204)) as there:
        url = f"https://127.0.0.1:{there.port}/"
        (answered,) = post(poster(f"127.0.0.1:{there.port}"), url)
    assert answered.status is None
    assert not any(one.line.startswith("POST") for one in there.received)


def test_a_handshake_that_never_ends_is_given_up() -> None:
    with listening(silent) as there:
        (answered,) = post(poster(f"127.0.0.1:{there.port}"), f"https://127.0.0.1:{there.port}/")
    assert answered.told == "no answer within 0.4 s"


def at_name(there: Listening, *addresses: str) -> Answered:
    url = f"http://mis.example.com:{there.port}/"
    (answered,) = post(poster(f"mis.example.com:{there.port}", addresses=addresses), url)
    return answered


def test_a_name_that_leads_inside_is_not_connected_to() -> None:
    with listening(status(204)) as there:
        url = f"http://mis.example.com:{there.port}/"
        inside = Poster(
            Targets((read_allowed(f"mis.example.com:{there.port}"),), plain_http=True),
            timeout_s=TIMEOUT_S,
            resolve=lambda _host, _port: ["127.0.0.1", "::1"],
        )
        (answered,) = post(inside, url)
        assert answered.status is None
        assert "not public" in answered.told
        assert there.connections == 0


def test_a_name_is_resolved_once_and_what_it_becomes_later_is_no_matter() -> None:
    asked: list[str] = []

    def resolve(host: str, _port: int) -> list[str]:
        asked.append(host)
        return ["127.0.0.1"] if len(asked) == 1 else ["169.254.169.254"]

    closing = raw(b"HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n")
    with listening(closing) as there:
        allowed = (read_allowed(f"mis.example.com:{there.port}"), read_allowed(f"127.0.0.1/32:{there.port}"))
        once = Poster(Targets(allowed, plain_http=True), timeout_s=TIMEOUT_S, resolve=resolve)
        answered = post(once, f"http://mis.example.com:{there.port}/", times=2)
        assert [one.status for one in answered] == [200, 200]
        assert asked == ["mis.example.com"]
        (later,) = post(once, f"http://mis.example.com:{there.port}/")
        assert "169.254.169.254" in later.told


def test_a_name_that_is_not_known_or_not_told_in_time_is_given_up() -> None:
    def unknown(host: str, _port: int) -> list[str]:
        raise OSError(f"nobody knows {host}")

    released = threading.Event()

    def slow(_host: str, _port: int) -> list[str]:
        released.wait(TIMEOUT_S * 20)
        return ["127.0.0.1"]

    allowed = Targets((read_allowed("mis.example.com"),))
    for resolve, told in ((unknown, "nobody knows mis.example.com"), (slow, "not resolved in time")):
        (answered,) = post(Poster(allowed, TIMEOUT_S, resolve), "https://mis.example.com/")
        assert answered.status is None
        assert told in answered.told
    released.set()


def test_of_several_addresses_the_next_is_tried_where_nobody_answers() -> None:
    with listening(status(204)) as there:
        answered = at_name(there, "127.0.0.1", "127.0.0.1")
        assert answered.status == 204
        listed = (f"mis.example.com:{there.port}", "127.0.0.0/8")
        url = f"http://mis.example.com:{there.port}/"
        (answered,) = post(poster(*listed, addresses=("127.0.0.9", "127.0.0.1")), url)
        assert answered.status == 204


def test_a_url_that_is_not_allowed_any_more_is_not_posted_to() -> None:
    with listening(status(204)) as there:
        (answered,) = post(poster(), there.url)
        assert answered.status is None
        assert "RUNWRIGHT_WEBHOOK_TARGETS" in answered.told
        assert there.connections == 0


def test_the_time_of_an_attempt_is_that_of_its_signature() -> None:
    at = datetime.now(UTC) - timedelta(minutes=2)
    with listening(status(204)) as there:
        post(poster(f"127.0.0.1:{there.port}"), there.url, at=at)
        (request,) = there.received
    assert request.headers["webhook-timestamp"] == str(int(at.timestamp()))
    Webhook(SECRET).verify(request.body, request.headers)
