"""JSON with exact numbers, and faults with the path they stand at."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Iterator
from decimal import Decimal, InvalidOperation
from functools import cache
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from app.contracts.base import RIGHT_BY_PATTERN
from app.errors import Fault
from app.intake.files import read_text
from app.intake.findings import Findings, unknown


class _Refused(ValueError):
    """JSON that Python reads but nobody means."""


Read = TypeVar("Read", bound=BaseModel)

NOT_READ = object()
"""Stands for the value of a file that could not be read."""


def read_json(path: Path, findings: Findings) -> Any:
    """The value of a JSON file; `NOT_READ` with a fault."""
    text = read_text(path, findings)
    if text is None:
        return NOT_READ
    faults_before = len(findings.faults)
    value = _parse_json(text, str(path), findings)
    return NOT_READ if len(findings.faults) > faults_before else value


def _parse_json(text: str, file: str, findings: Findings) -> Any:
    """The value of a JSON text with `Decimal` for numbers with a point; None with a fault."""
    try:
        return json.loads(
            text, parse_float=Decimal, parse_constant=_no_constant, object_pairs_hook=_unique_pairs
        )
    except json.JSONDecodeError as error:
        findings.fault(file, f"is not JSON: {error.msg} in column {error.colno}", row=error.lineno)
    except _Refused as error:
        findings.fault(file, str(error))
    except RecursionError:
        findings.fault(file, "is nested too deep")
    except (ValueError, InvalidOperation):
        findings.fault(file, "holds a number with far too many digits")
    return None


def _no_constant(text: str) -> NoReturn:
    raise _Refused(f"holds {text}, which is no number")


def _unique_pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) < len(pairs):
        names = [name for name, _ in pairs]
        doubled = next(name for name in names if names.count(name) > 1)
        raise _Refused(f"gives “{doubled}” twice in one place")
    return value


@cache
def field_names(contract: type[BaseModel]) -> frozenset[str]:
    """Names of all fields that a contract may have, at any depth."""
    schema = contract.model_json_schema()
    models = [schema, *schema.get("$defs", {}).values()]
    return frozenset(name for model in models for name in model.get("properties", ()))


def read_contract(
    path: Path, contract: type[Read], findings: Findings, tags: Collection[str] = ()
) -> Read | None:
    """What a JSON file holds, as a contract; None with all that is wrong with it. `tags` as below."""
    value = read_json(path, findings)
    if value is NOT_READ:
        return None
    try:
        return contract.model_validate(value)
    except ValidationError as error:
        findings.faults += contract_faults(error, str(path), field_names(contract), tags=tags)
        return None


def contract_faults(
    error: ValidationError,
    file: str,
    known_fields: Iterable[str],
    row: int | None = None,
    tags: Collection[str] = (),
) -> list[Fault]:
    """What a contract refuses, as faults; a list that is short of nothing but refused items is not one.

    `tags` are the kinds of a list whose items are of several kinds: a place does not name them.
    """
    refused = error.errors(include_url=False)
    return [
        Fault(
            right=_right(details, known_fields),
            file=file,
            row=row,
            field=json_path(_without_tags(details["loc"], tags)),
            value=_found(details),
        )
        for details in refused
        if details["type"] != "too_short" or not _has_refused_items(details, refused)
    ]


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
