"""Times without an offset in what was sent: over a network nobody knows whose clock they are on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel

from app.contracts.base import OFFSET_RIGHT, at_site
from app.contracts.faults import json_path
from app.errors import Fault

Path = tuple[str | int, ...]
Read = TypeVar("Read", bound=BaseModel)


def offset_faults(contract: BaseModel) -> list[Fault]:
    """Every time in a contract that has no offset, at any depth."""
    return [
        Fault(OFFSET_RIGHT, field=json_path(path), value=moment.isoformat())
        for path, moment in _moments(contract, ())
        if moment.tzinfo is None
    ]


def _moments(value: object, path: Path) -> Iterator[tuple[Path, datetime]]:
    match value:
        case datetime():
            yield path, value
        case BaseModel():
            for name, field in type(value).model_fields.items():
                yield from _moments(getattr(value, name), (*path, field.alias or name))
        case tuple() | list():
            for idx, item in enumerate(value):
                yield from _moments(item, (*path, idx))
        case Mapping():
            for key, item in value.items():
                yield from _moments(item, (*path, str(key)))
        case _:
            return


def on_clock(contract: Read, zone: ZoneInfo) -> Read:
    """The contract with every time that has no offset read on a site's clock, at any depth."""
    told: Read = _told(contract, zone)
    return told


def _told(value: Any, zone: ZoneInfo) -> Any:
    match value:
        case datetime():
            return at_site(value, zone)
        case BaseModel():
            return value.model_copy(update={name: _told(field, zone) for name, field in value})
        case tuple():
            return tuple(_told(item, zone) for item in value)
        case dict():
            return {key: _told(item, zone) for key, item in value.items()}
        case _:
            return value
