"""Whatever is in the files, it is either taken or refused: no other error ever comes out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from app.contracts.sequences import Goal
from app.errors import BadInput, NothingCanRun
from app.intake.queue import read_queue
from app.services import planning
from tests.app.queues import sample_files, sample_plant, sample_rows

START = datetime(2027, 3, 1, 6)
ODD_VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([0, 1, -1, 1e-6, 1e9, 24, "", "+", "inkjet", "24:00", "2027-03-01T06:00", [], {}]),
    st.text(max_size=12),
)
ODD_CELLS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["0", "1", "-1", "1e9", "999999999", "CMYK", "inkjet", "a:b+c:d", "=1+1", '"', "\x00", ";"]
    ),
)


def places(value: Any, way: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place inside a JSON value."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in inside:
        yield (*way, key)
        yield from places(part, (*way, key))


PLACES = list(places(sample_plant()))
COLUMNS = list(sample_rows()[0])


def plan_or_refuse(folder: Path) -> None:
    """Plan what a folder holds as the command line would."""
    try:
        queue = read_queue(folder / "plant.json", folder / "jobs.csv")
        planning.check(queue.plant, queue.jobs, START)
        planning.plan(queue.plant, queue.jobs, START, Goal.BALANCED, work=2)
    except (BadInput, NothingCanRun):
        return


@settings(max_examples=150)
@given(st.lists(st.tuples(st.sampled_from(PLACES), ODD_VALUES), min_size=1, max_size=2))
def test_a_plant_with_odd_values_is_planned_or_refused(
    changes: list[tuple[tuple[str | int, ...], Any]],
) -> None:
    plant: Any = sample_plant()
    for way, new in changes:
        inside = plant
        try:
            for part in way[:-1]:
                inside = inside[part]
            inside[way[-1]] = new
        except (KeyError, IndexError, TypeError):
            continue
    with TemporaryDirectory() as folder:
        sample_files(Path(folder)).write_plant(plant)
        plan_or_refuse(Path(folder))


@settings(max_examples=150)
@given(st.lists(st.tuples(st.integers(0, 8), st.sampled_from(COLUMNS), ODD_CELLS), min_size=1, max_size=3))
def test_jobs_with_odd_cells_are_planned_or_refused(changes: list[tuple[int, str, str]]) -> None:
    rows = sample_rows()
    for row_idx, column, new in changes:
        rows[row_idx][column] = new
    with TemporaryDirectory() as folder:
        sample_files(Path(folder)).write_jobs(rows)
        plan_or_refuse(Path(folder))


@settings(max_examples=100)
@given(st.binary(max_size=200), st.sampled_from(["plant.json", "jobs.csv"]), st.integers(0, 2000))
def test_files_with_odd_bytes_are_planned_or_refused(odd: bytes, name: str, at: int) -> None:
    with TemporaryDirectory() as folder:
        sample_files(Path(folder))
        path = Path(folder) / name
        content = path.read_bytes()
        path.write_bytes(content[:at] + odd + content[at + len(odd) :])
        plan_or_refuse(Path(folder))
