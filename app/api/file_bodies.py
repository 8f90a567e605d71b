"""Bodies that are files: lists as CSV or XLSX, plants as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import Depends
from starlette.requests import Request

from app.api.bodies import JSON, ReadsBody, received
from app.api.problems import MEDIA_TYPE, Refusal

CSV, XLSX = "text/csv", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
LIST_TYPES = {CSV: "csv", XLSX: "xlsx"}
PLANT_TYPES = {JSON: "json"}
MOST_FILE_BYTES = 8 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file that was sent: a name with the ending of its kind, and what is in it."""

    name: str
    content: bytes


class FileBody(ReadsBody):
    """Reads a request's body as a file.

    Parameters
    ----------
    stem
        What it is called in errors, without its ending.
    endings
        Ending by media type.
    """

    def __init__(self, stem: str, endings: Mapping[str, str]) -> None:
        self.stem = stem
        self.endings = endings

    async def __call__(self, request: Request) -> SentFile:
        media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if media_type not in self.endings:
            kinds = " or ".join(self.endings)
            raise Refusal(MEDIA_TYPE, f"Send Content-Type: {kinds}.", {"Accept": ", ".join(self.endings)})
        content = await received(request, MOST_FILE_BYTES)
        return SentFile(f"{self.stem}.{self.endings[media_type]}", content)


def file_body(stem: str, endings: Mapping[str, str]) -> Any:
    """Declare that a route takes a file; parameters as for `FileBody`."""
    return Depends(FileBody(stem, endings))


def file_description(endings: Mapping[str, str]) -> dict[str, Any]:
    """How OpenAPI describes such a body."""
    content = {media_type: {"schema": {"type": "string", "format": "binary"}} for media_type in endings}
    return {"requestBody": {"required": True, "content": content}}
