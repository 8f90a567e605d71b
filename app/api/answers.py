"""Answers: a contract as JSON with its headers, kept or sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pydantic import BaseModel
from starlette.responses import Response

from app.api.conditions import etag


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer as it is sent, and as it is kept for an `Idempotency-Key`."""

    status: int
    body: bytes
    headers: Mapping[str, str] = field(default_factory=dict)

    def response(self) -> Response:
        """The answer for the wire."""
        media_type = "application/json" if self.body else None
        return Response(self.body, self.status, headers=dict(self.headers), media_type=media_type)


def answer(
    contract: BaseModel | None = None,
    status: int = 200,
    *,
    version: int | None = None,
    location: str | None = None,
    headers: Mapping[str, str] | None = None,
) -> Answer:
    """A contract as an answer; with the `ETag` of a version and the address of what was made."""
    all_headers = dict(headers or {})
    if version is not None:
        all_headers["ETag"] = etag(version)
    if location is not None:
        all_headers["Location"] = location
    body = b"" if contract is None else contract.model_dump_json(by_alias=True).encode()
    return Answer(status, body, all_headers)


def not_modified(version: int) -> Answer:
    """The answer to who has this version already."""
    return answer(status=304, version=version)
