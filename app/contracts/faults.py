"""What a contract refuses, as faults in our words with the path they stand at."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from functools import cache

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from app.contracts.base import RIGHT_BY_PATTERN
from app.contracts.known_names import unknown
from app.errors import Fault


@cache
def field_names(contract: type[BaseModel]) -> frozenset[str]:
    """Names of all fields that a contract may have, at any depth."""
    schema = contract.model_json_schema()
    models = [schema, *schema.get("$defs", {}).values()]
    return frozenset(name for model in models for name in model.get("properties", ()))


def contract_faults(
    error: ValidationError,
    file: str | None,
    known_fields: Iterable[str],
    row: int | None = None,
    tags: Collection[str] = (),
    most: int | None = None,
) -> list[Fault]:
    """What a contract refuses, as faults; a list that is short of nothing but refused items is not one.

    `tags` are the kinds of a list whose items are of several kinds: a place does not name them. With
    `most` no more faults are looked at than that.
    """
    refused = error.errors(include_url=False)[:most]
    return [
        fault_of(details, file, known_fields, row, tags)
        for details in refused
        if details["type"] != "too_short" or not _has_refused_items(details, refused)
    ]


def fault_of(
    details: ErrorDetails,
    file: str | None = None,
    known_fields: Iterable[str] = (),
    row: int | None = None,
    tags: Collection[str] = (),
) -> Fault:
    """One thing that pydantic refuses, in our words."""
    return Fault(
        right=_right(details, known_fields),
        file=file,
        row=row,
        field=json_path(_without_tags(details["loc"], tags)),
        value=_found(details),
    )


def _has_refused_items(details: ErrorDetails, refused: Iterable[ErrorDetails]) -> bool:
    place = details["loc"]
    return any(other["loc"][: len(place)] == place and other["loc"] != place for other in refused)


def _without_tags(loc: tuple[str | int, ...], tags: Collection[str]) -> Iterator[str | int]:
    for idx, part in enumerate(loc):
        if idx == 0 or not isinstance(loc[idx - 1], int) or part not in tags:
            yield part


def json_path(loc: Iterable[str | int]) -> str:
    """A place in a JSON value: lines[0].stations[2].position_m."""
    path = ""
    for part in loc:
        if isinstance(part, int):
            path += f"[{part}]"
        elif part == "[key]":
            path += " (name)"
        else:
            path += f".{part}" if path else part
    return path


_SUBJECT = re.compile(
    r"^(Decimal input|Input|String|Value|Value error,|Tuple|List|Dictionary) (?=should|must)"
)


def _right(details: ErrorDetails, known_fields: Iterable[str]) -> str:
    match details["type"]:
        case "missing":
            return "must be given"
        case "extra_forbidden":
            return unknown("field", str(details["loc"][-1]), known_fields)
        case "string_pattern_mismatch":
            return RIGHT_BY_PATTERN.get(details["ctx"]["pattern"], details["msg"])
        case "union_tag_not_found":
            return f"must be given: {details['ctx']['discriminator'].strip(chr(39))}"
        case "union_tag_invalid":
            kinds = [kind.strip("' ") for kind in details["ctx"]["expected_tags"].split(",")]
            return unknown(details["ctx"]["discriminator"].strip("'"), details["ctx"]["tag"], kinds)
        case "model_type" | "model_attributes_type":
            return "should be an object in braces {}"
        case _:
            return _SUBJECT.sub("", details["msg"])


def _found(details: ErrorDetails) -> str | None:
    value = details["input"]
    if details["type"] in ("missing", "extra_forbidden") or isinstance(value, dict | list | tuple):
        return None
    return {True: "true", False: "false", None: "null"}.get(value) if _is_word(value) else str(value)


def _is_word(value: object) -> bool:
    return value is None or isinstance(value, bool)
