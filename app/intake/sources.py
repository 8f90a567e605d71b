"""Where a queue comes from: a plant file, or a preset with a shop's own lists."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from app.contracts.orders import RunOrder
from app.errors import BadInput, Fault
from app.intake.at_start import Beginning
from app.intake.findings import Findings
from app.intake.in_force_file import read_in_force
from app.intake.locks_file import read_locks
from app.intake.order_file import read_order
from app.intake.preset_plant import preset_plant, read_overrides
from app.intake.presets.usual_values import UsualValues
from app.intake.queue import BarePaths, Queue, read_bare_queue, read_queue, read_queue_and_order
from app.intake.state_file import read_states, with_states


@dataclass(frozen=True, slots=True)
class QueueSource:
    """The files of a queue, as somebody named them.

    Parameters
    ----------
    plant
        A plant file; without it a preset is needed.
    preset, overrides, zone
        A kind of line that ships as data, a file of values a site knows better, and its time zone.
    dies, stock, consumables
        A shop's lists, for a preset; that of consumables may be left out. Beside a plant file that of stock
        says what is in the store now.
    mapping
        A file that says what a shop's headings mean.
    state, locks, in_force
        Files that say how lines stand now, what is fixed about the order, and which sequence is in force.
    start, now
        When the plan is to begin, and what time it is, where they are known: rolls must not be out of date
        then.
    """

    jobs: Path
    plant: Path | None = None
    preset: str | None = None
    overrides: Path | None = None
    zone: str | None = None
    dies: Path | None = None
    stock: Path | None = None
    mapping: Path | None = None
    consumables: Path | None = None
    state: Path | None = None
    locks: Path | None = None
    in_force: Path | None = None
    start: datetime | None = None
    now: datetime | None = None


def read_source(source: QueueSource) -> Queue:
    """The queue of a source.

    Raises
    ------
    BadInput
        With every fault of all files, or of what was named.
    """
    faults = list(_naming_faults(source))
    if faults:
        raise BadInput(faults)
    try:
        queue = (
            _read_preset(source)
            if source.plant is None
            else read_queue(source.plant, source.jobs, source.mapping, source.stock, _beginning(source))
        )
    except BadInput as error:
        raise BadInput([*error.faults, *_faults_beside(source)]) from None
    return _as_it_stands(queue, source)


def _beginning(source: QueueSource) -> Beginning:
    """What is said of the plan's start; faults of a file of present state are told where it is taken."""
    states = None if source.state is None else read_states(source.state, Findings())
    return Beginning(source.start, source.now, {} if states is None else states.lines)


def _as_it_stands(queue: Queue, source: QueueSource) -> Queue:
    """The queue with the present state, the locks and the sequence in force of the files named for them."""
    findings = Findings()
    states = None if source.state is None else read_states(source.state, findings)
    if states is not None and source.state is not None:
        queue = replace(queue, plant=with_states(queue.plant, states, source.state, findings))
    if source.locks is not None:
        queue = replace(queue, locks=read_locks(source.locks, queue.plant, queue.jobs, findings))
    if source.in_force is not None:
        queue = replace(queue, in_force=read_in_force(source.in_force, queue.plant, queue.jobs, findings))
    if findings.faults:
        raise BadInput(findings.faults)
    return replace(queue, notes=(*queue.notes, *findings.notes))


def _faults_beside(source: QueueSource) -> list[Fault]:
    """Faults of the files of present state, locks and sequence in force alone, where plant or jobs are at
    fault too.
    """
    findings = Findings()
    if source.state is not None:
        read_states(source.state, findings)
    if source.locks is not None:
        read_locks(source.locks, None, (), findings)
    if source.in_force is not None:
        read_in_force(source.in_force, None, (), findings)
    return findings.faults


def read_source_and_order(source: QueueSource, order_path: Path) -> tuple[Queue, RunOrder]:
    """The queue of a source, and an order of it.

    Raises
    ------
    BadInput
        With every fault of all files, or of what was named.
    """
    is_plain = not any((source.mapping, source.stock, source.state, source.locks, source.in_force))
    if source.plant is not None and is_plain and not list(_naming_faults(source)):
        return read_queue_and_order(source.plant, source.jobs, order_path, _beginning(source))
    queue = read_source(source)
    findings = Findings()
    order = read_order(order_path, queue.plant, queue.jobs, findings)
    if findings.faults or order is None:
        raise BadInput(findings.faults)
    return queue, order


def _naming_faults(source: QueueSource) -> Iterable[Fault]:
    if source.plant is None and source.preset is None:
        yield Fault("name a plant file, or a preset with dies and stock", field="--plant")
    if source.plant is None:
        if source.preset is not None:
            for field, path in (("--dies", source.dies), ("--stock", source.stock)):
                if path is None:
                    yield Fault("a preset needs the shop's own list", field=field)
        return
    of_preset = {
        "--preset": source.preset,
        "--overrides": source.overrides,
        "--zone": source.zone,
        "--dies": source.dies,
        "--consumables": source.consumables,
    }
    for field, value in of_preset.items():
        if value is not None:
            yield Fault("goes with a preset; a plant file says it itself", field=field, value=str(value))


def _read_preset(source: QueueSource) -> Queue:
    if source.preset is None or source.dies is None or source.stock is None:
        raise ValueError("a preset needs dies and stock")
    paths = BarePaths(source.jobs, source.dies, source.stock, source.mapping, source.consumables)
    findings = Findings()
    overrides = None if source.overrides is None else read_overrides(source.overrides, findings)
    file = None if source.overrides is None else str(source.overrides)
    made = preset_plant(source.preset, overrides, findings, zone=source.zone, file=file)
    if made is None or findings.faults:
        raise BadInput([*findings.faults, *_list_faults(source.preset, paths, _beginning(source))])
    plant, assumptions = made
    queue = read_bare_queue(plant, paths, UsualValues(), _beginning(source))
    return replace(queue, assumptions=(*assumptions, *queue.assumptions))


def _list_faults(preset: str, paths: BarePaths, beginning: Beginning) -> list[Fault]:
    """Faults of the lists, read against the preset as it ships."""
    made = preset_plant(preset, None, Findings())
    if made is None:
        return []
    try:
        read_bare_queue(made[0], paths, UsualValues(), beginning)
    except BadInput as error:
        return list(error.faults)
    return []
