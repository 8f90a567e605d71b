"""How lines stand now, from a JSON file, in place of what a plant file says of it."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field

from app.contracts.base import Code, Contract
from app.contracts.known_names import unknown
from app.contracts.plant import Plant, PresentState
from app.intake.findings import Findings
from app.intake.json_text import read_contract
from app.intake.references import check_present


class PresentStates(Contract):
    """The present state of some lines, whole: what is not named is not loaded."""

    lines: dict[Code, PresentState] = Field(description="By the line's name.")


def read_states(path: Path, findings: Findings) -> PresentStates | None:
    """The states of a file, or None with all that is wrong with it."""
    return read_contract(path, PresentStates, findings)


def with_states(plant: Plant, states: PresentStates, path: Path, findings: Findings) -> Plant:
    """The plant with its lines as they stand; names that it does not know are faults."""
    known = {line.id for line in plant.lines}
    for name in states.lines:
        if name not in known:
            findings.fault(str(path), unknown("line", name, known), field=f"lines.{name}", value=name)
    lines = []
    for line in plant.lines:
        present = states.lines.get(line.id)
        lines.append(line if present is None else line.model_copy(update={"present": present}))
    standing = plant.model_copy(update={"lines": tuple(lines)})
    for line in standing.lines:
        if line.id in states.lines:
            check_present(standing, line, f"lines.{line.id}", str(path), findings)
    return standing
