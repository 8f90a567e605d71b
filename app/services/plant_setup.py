"""The plant itself: its site and prices, its lines, and how they stand."""

from __future__ import annotations

from dataclasses import replace

from app.contracts.plant import Line, Plant, Site
from app.contracts.plant_setup import LineState, PlantLine, PlantSetup
from app.contracts.stored import Stored
from app.errors import BadInput, Conflict, Fault, NotStored
from app.intake.findings import Findings
from app.intake.references import check_present, check_references
from app.services.records import Condition
from app.services.workshop import Workshop
from app.store import lines, plants
from app.store.lines import LINES
from app.store.store import View, Work

UNKNOWN_ZONE = "UTC"
"""Zone of a plant of which nothing is known yet."""


def empty_plant(name: str) -> Plant:
    """A plant of which only the name is known: it has nothing, and nothing can be planned."""
    return Plant.model_construct(
        site=Site(name=name, zone=UNKNOWN_ZONE), station_kinds={}, lines=(), substrates=(), dies=()
    )


def create(work: Work, name: str) -> bool:
    """Make an empty plant, in which the transaction works from here on; False where there is one of that
    name.
    """
    if name in plants.names(work):
        return False
    plants.create(work, name, empty_plant(name))
    return True


def put_setup(shop: Workshop, work: Work, setup: PlantSetup, only_if: Condition) -> Stored[PlantSetup]:
    """Set up what the plant has besides lines, stock and tools.

    Raises
    ------
    BadInput
        With everything of the plant that would not fit it any more.
    """
    plant = shop.plants.of(work).plant
    changed = plant.model_copy(update={name: getattr(setup, name) for name in PlantSetup.model_fields})
    _refuse_faulty(changed)
    version = plants.read_setup(work).version
    only_if(version)
    return plants.replace_setup(work, setup, version)


def read_line(view: View, line: str) -> Stored[PlantLine]:
    """A line as it is set up.

    Raises
    ------
    NotStored
        Where there is none.
    """
    found = lines.read(view, line)
    if found is None:
        raise NotStored(LINES, line)
    return found


def put_line(shop: Workshop, work: Work, line: PlantLine, only_if: Condition) -> Stored[PlantLine]:
    """Set a line up, or add it at the plant's end. One that is there goes on standing as it does.

    Raises
    ------
    BadInput
        With everything of it that contradicts itself or the plant.
    """
    plant = shop.plants.of(work).plant
    stored = lines.read(work, line.id)
    version = only_if(None if stored is None else stored.version)
    if stored is not None:
        line = line.model_copy(update={"present": stored.item.present})
    _refuse_faulty(_with_line(plant, line), line.id)
    return lines.replace(work, line, version)


def remove_line(shop: Workshop, work: Work, line: str, only_if: Condition) -> None:
    """Remove a line on which no roll is.

    Raises
    ------
    NotStored
        Where there is none.
    Conflict
        Where a roll is on its unwind.
    """
    version = only_if(read_line(work, line).version)
    plant = shop.plants.of(work).plant
    rolls = [
        roll.id
        for substrate in plant.substrates
        for stocked in substrate.widths
        for roll in stocked.rolls
        if roll.on_unwind == line
    ]
    if rolls:
        raise Conflict(f"Roll {rolls[0]} is on its unwind: say where it lies first.")
    lines.remove(work, line, version)


def read_state(view: View, line: str) -> Stored[LineState]:
    """How a line stands.

    Raises
    ------
    NotStored
        Where there is no such line.
    """
    found = lines.read_state(view, line)
    if found is None:
        raise NotStored(LINES, line)
    return found


def put_state(shop: Workshop, work: Work, state: LineState, only_if: Condition) -> Stored[LineState]:
    """Say how a line stands.

    Raises
    ------
    NotStored
        Where there is no such line.
    BadInput
        With everything that it names and the plant does not have.
    """
    version = only_if(read_state(work, state.line).version)
    plant = shop.plants.of(work).plant
    standing = read_line(work, state.line).item.model_copy(update={"present": state.present})
    findings = Findings()
    check_present(plant, standing, "present", "", findings)
    _raise(findings)
    return lines.replace_state(work, state, version)


def _with_line(plant: Plant, line: Line) -> Plant:
    others = [other for other in plant.lines if other.id != line.id]
    place = next((idx for idx, other in enumerate(plant.lines) if other.id == line.id), len(others))
    return plant.model_copy(update={"lines": (*others[:place], line, *others[place:])})


def _refuse_faulty(plant: Plant, line: str | None = None) -> None:
    """Refuse a plant that contradicts itself; a line's own faults are told by its own fields."""
    findings = Findings()
    check_references(plant, "", findings)
    if line is not None:
        place = next(idx for idx, other in enumerate(plant.lines) if other.id == line)
        findings.faults = [_of_line(fault, f"lines[{place}].") for fault in findings.faults]
    _raise(findings)


def _of_line(fault: Fault, place: str) -> Fault:
    return replace(fault, field=fault.field.removeprefix(place)) if fault.field else fault


def _raise(findings: Findings) -> None:
    if findings.faults:
        raise BadInput(replace(fault, file=None) for fault in findings.faults)
