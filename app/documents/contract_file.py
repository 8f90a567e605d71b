"""A contract as a JSON file."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel


def write_contract(contract: BaseModel, path: Path) -> Path:
    """Write a contract as indented JSON, its folder made if need be; it replaces an older file.

    Raises
    ------
    OSError
        Where the folder cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(contract.model_dump_json(indent=2) + "\n", encoding="utf-8")
    return path
