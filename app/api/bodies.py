"""JSON bodies as contracts: measured while they arrive, read exactly, refused with every fault at once."""

from __future__ import annotations

import hashlib
import re
import zlib
from collections.abc import Iterator, Mapping
from typing import Any, Generic, TypeVar

from fastapi import Depends
from pydantic import BaseModel, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request

from app.api.problems import MALFORMED, MEDIA_TYPE, MOST_ERRORS_TOLD, TOO_LARGE, Refusal
from app.api.visits import visit_of
from app.contracts.exact_json import NotJson, exact_json
from app.contracts.faults import contract_faults, field_names
from app.contracts.offsets import offset_faults
from app.errors import BadInput

MOST_DEPTH = 40
"""Of braces and brackets in each other."""

READ_IN_THREAD_FROM_BYTES = 32 * 1024
"""A body of this size takes a millisecond or more to read: other requests go on meanwhile."""

JSON = "application/json"

Item = TypeVar("Item", bound=BaseModel)


class ReadsBody:
    """A dependency that reads a request's body; it must come behind the key."""


class JsonBody(ReadsBody, Generic[Item]):
    """Reads a request's body as a contract.

    Parameters
    ----------
    contract
        What the body must be.
    examples
        Bodies for OpenAPI, by name.
    most_bytes
        Of the body after decompression; less where less can be meant.
    only_offsets
        Whether the contract itself takes no time without an offset; else they are looked for.
    """

    def __init__(
        self,
        contract: type[Item],
        examples: Mapping[str, Mapping[str, object]],
        most_bytes: int | None,
        only_offsets: bool,
    ) -> None:
        self.contract = contract
        self.examples = examples
        self._most_bytes = most_bytes
        self._only_offsets = only_offsets

    async def __call__(self, request: Request) -> Any:
        allowed: int = request.app.state.most_body_bytes
        _require_json(request)
        body = await received(request, min(allowed, self._most_bytes or allowed))
        if len(body) < READ_IN_THREAD_FROM_BYTES:
            return self._read(request, body)
        return await run_in_threadpool(self._read, request, body)

    def _read(self, request: Request, body: bytes) -> Item:
        visit_of(request.scope).body_digest = hashlib.sha256(body).hexdigest()
        read = read_body(body, self.contract)
        faults = () if self._only_offsets else offset_faults(read)
        if faults:
            raise BadInput(faults)
        return read


def body(
    contract: type[BaseModel],
    *,
    examples: Mapping[str, Mapping[str, object]] | None = None,
    most_bytes: int | None = None,
    only_offsets: bool = False,
) -> Any:
    """Declare the body of a route: `job: Annotated[Job, body(Job)]`; parameters as for `JsonBody`."""
    return Depends(JsonBody(contract, examples or {}, most_bytes, only_offsets))


def read_body(body: bytes, contract: type[Item]) -> Item:
    """A body as a contract.

    Raises
    ------
    Refusal
        400, if it is not JSON, or JSON that nobody means.
    BadInput
        With every fault that the contract finds.
    """
    try:
        value = exact_json(_checked_text(body))
        _refuse_odd_characters(body, value)
    except NotJson as error:
        where = "" if error.row is None else f" (line {error.row})"
        raise Refusal(MALFORMED, f"The body {error.right}{where}.") from None
    try:
        return contract.model_validate(value)
    except ValidationError as error:
        faults = contract_faults(error, None, field_names(contract), most=MOST_ERRORS_TOLD + 1)
        raise BadInput(faults) from None


_NO_BRACKETS = bytes(set(range(256)) - set(b"[]{}"))
_ONE_KIND = bytes.maketrans(b"{}", b"[]")
_ESCAPED = re.compile(rb"\\.", re.DOTALL)
_ODD = re.compile(rb"\\u(?:[dD][89a-fA-F]|0000)")


def _checked_text(body: bytes) -> str:
    """The body's text, after a look at what would be dear or wrong to read."""
    if not body.strip():
        raise NotJson("is empty; it should be JSON")
    if _too_deep(body):
        raise NotJson(f"is nested deeper than {MOST_DEPTH}, or has brackets that do not close")
    try:
        text = body.decode()
    except UnicodeDecodeError as error:
        raise NotJson(f"is not UTF-8 at byte {error.start}") from None
    if text.startswith("\ufeff"):
        raise NotJson("begins with a byte order mark; leave it out")
    return text


def _refuse_odd_characters(body: bytes, value: Any) -> None:
    """Refuse what no UTF-8 can hold and what not every database takes; looked for only where it could be."""
    if _ODD.search(body) is None:
        return
    for text in _texts(value):
        if "\0" in text:
            raise NotJson("has the character \\u0000, which no text needs")
        try:
            text.encode()
        except UnicodeEncodeError:
            raise NotJson("has half a character: a \\ud800 to \\udfff without its other half") from None


def _texts(value: Any) -> Iterator[str]:
    """All texts of a JSON value, names too."""
    match value:
        case str():
            yield value
        case dict():
            for name, item in value.items():
                yield name
                yield from _texts(item)
        case list():
            for item in value:
                yield from _texts(item)


def _too_deep(body: bytes) -> bool:
    """Whether brackets and braces stand in each other beyond `MOST_DEPTH`, or too many never close.

    Of what stands outside of strings only brackets are kept. Each pass takes away every innermost pair, so
    that a body of depth n is gone after n passes. What is malformed otherwise is left to the reading.
    """
    bare = _ESCAPED.sub(b"", body) if b"\\" in body else body
    left = b"".join(bare.split(b'"')[::2]).translate(_ONE_KIND, _NO_BRACKETS)
    for _ in range(MOST_DEPTH):
        if not left:
            return False
        left = left.replace(b"[]", b"")
    return b"[]" in left or left.count(b"[") > MOST_DEPTH


def _require_json(request: Request) -> None:
    sent = request.headers.get("content-type", "")
    kind, *parameters = (part.strip().lower() for part in sent.split(";"))
    charsets = [part for part in parameters if part.startswith("charset=")]
    if not (kind == JSON or (kind.startswith("application/") and kind.endswith("+json"))):
        found = f"not {sent}" if sent else "and say so"
        raise Refusal(MEDIA_TYPE, f"Send Content-Type: {JSON}, {found}.", {"Accept": JSON})
    if any(part.removeprefix("charset=").strip('"') not in ("utf-8", "utf8") for part in charsets):
        raise Refusal(MEDIA_TYPE, "Send JSON in UTF-8; it has no other charset.", {"Accept": JSON})


async def received(request: Request, most_bytes: int) -> bytes:
    """The body, decompressed, and no more of it than allowed."""
    encoding = request.headers.get("content-encoding", "identity").strip().lower()
    if encoding not in ("identity", "gzip", ""):
        raise Refusal(
            MEDIA_TYPE,
            f"Content-Encoding {encoding} is not taken; send gzip or none.",
            {"Accept-Encoding": "gzip, identity"},
        )
    length = request.headers.get("content-length", "")
    if length.isdecimal() and int(length) > most_bytes:
        raise _too_large(most_bytes)
    arriving = _Gzipped(most_bytes) if encoding == "gzip" else _Plain(most_bytes)
    try:
        async for chunk in request.stream():
            arriving.add(chunk)
    except ClientDisconnect:
        raise Refusal(MALFORMED, "The body broke off.") from None
    return arriving.whole()


def _too_large(most_bytes: int) -> Refusal:
    # The rest of the body is not read, so the connection is of no more use.
    return Refusal(
        TOO_LARGE,
        f"A body may have {most_bytes:,} bytes, also after decompression; send fewer items at a time.",
        {"Connection": "close"},
    )


class _Plain:
    """A body that arrives as it is."""

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._left = most_bytes
        self._parts: list[bytes] = []

    def add(self, chunk: bytes) -> None:
        self._left -= len(chunk)
        if self._left < 0:
            raise _too_large(self._most_bytes)
        self._parts.append(chunk)

    def whole(self) -> bytes:
        return b"".join(self._parts)


class _Gzipped(_Plain):
    """A body that arrives gzipped: never unpacked further than it may be long."""

    def __init__(self, most_bytes: int) -> None:
        super().__init__(most_bytes)
        self._unpacker = zlib.decompressobj(16 + zlib.MAX_WBITS)

    def add(self, chunk: bytes) -> None:
        if self._unpacker.eof and chunk:
            raise Refusal(MALFORMED, "The body goes on after its gzip ends.")
        try:
            super().add(self._unpacker.decompress(chunk, self._left + 1))
        except zlib.error:
            raise Refusal(MALFORMED, "The body is not gzip, though Content-Encoding says so.") from None

    def whole(self) -> bytes:
        if not self._unpacker.eof or self._unpacker.unused_data:
            raise Refusal(MALFORMED, "The body's gzip breaks off, or goes on after its end.")
        return super().whole()
