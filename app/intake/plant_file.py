"""A plant from its JSON file."""

from __future__ import annotations

from pathlib import Path

from app.contracts.base import PlainSchema
from app.contracts.plant import Plant
from app.intake.findings import Findings
from app.intake.json_text import read_contract
from app.intake.references import check_references


def read_plant(path: Path, findings: Findings) -> Plant | None:
    """A plant, or None with all that is wrong with its file."""
    plant = read_contract(path, Plant, findings)
    if plant is not None:
        check_references(plant, str(path), findings)
    return plant


def plant_schema() -> dict[str, object]:
    """The JSON Schema of a plant file."""
    schema = Plant.model_json_schema(schema_generator=PlainSchema)
    return {"$schema": PlainSchema.schema_dialect, "title": "Runwright plant", **schema}
