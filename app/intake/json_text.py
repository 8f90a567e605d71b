"""JSON files with exact numbers, and faults with the path they stand at."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from app.contracts.exact_json import NotJson, exact_json
from app.contracts.faults import contract_faults, field_names
from app.intake.files import read_text
from app.intake.findings import Findings

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
        return exact_json(text)
    except NotJson as error:
        findings.fault(file, error.right, row=error.row)
        return None


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
