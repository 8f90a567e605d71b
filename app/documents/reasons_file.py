"""Reasons, as a file."""

from __future__ import annotations

from pathlib import Path

from app.contracts.reasons import Reasons

FILE_NAME = "reasons.json"


def write_reasons(reasons: Reasons, folder: Path) -> Path:
    """Write reasons.json into a folder, made if need be; it replaces an older one.

    Raises
    ------
    OSError
        Where the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / FILE_NAME
    path.write_text(reasons.model_dump_json(indent=2) + "\n", encoding="utf-8")
    return path
