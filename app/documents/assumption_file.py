"""What a plan assumes, as a file."""

from __future__ import annotations

from pathlib import Path

from app.contracts.assumptions import PlanAssumptions

FILE_NAME = "assumptions.json"


def write_assumptions(assumptions: PlanAssumptions, folder: Path) -> Path:
    """Write assumptions.json into a folder, made if need be; it replaces an older one.

    Raises
    ------
    OSError
        Where the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / FILE_NAME
    path.write_text(assumptions.model_dump_json(indent=2) + "\n", encoding="utf-8")
    return path
