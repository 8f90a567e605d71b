"""What a file of present states may hold, and what a plan makes of it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from app.contracts.plant import Plant
from app.errors import BadInput, Fault
from app.intake.sources import QueueSource, read_source
from tests.app.queues import Files, sample_plant

STANDS = {"loaded": {"die": {"die": "D-101"}}, "substrate": "PP-W60", "width_mm": 330, "cold": True}


def read(files: Files, lines: object) -> Plant:
    path = files.folder / "state.json"
    path.write_text(json.dumps({"lines": lines}), encoding="utf-8")
    return read_source(QueueSource(files.jobs, files.plant, state=path)).plant


def faults_of(files: Files, lines: object) -> tuple[Fault, ...]:
    with pytest.raises(BadInput) as refused:
        read(files, lines)
    return refused.value.faults


def first_die() -> str:
    die: str = sample_plant()["dies"][0]["id"]
    return die


def test_a_line_stands_as_the_file_says_and_the_others_as_the_plant_says(files: Files) -> None:
    plant = read(files, {"H1": STANDS | {"loaded": {"die": {"die": first_die()}}}})
    named, *others = plant.lines
    assert (named.present.substrate, named.present.cold) == ("PP-W60", True)
    assert set(named.present.loaded) == {"die"}
    assert [line.present for line in others] == [line.present for line in files_plant(files).lines[1:]]


def files_plant(files: Files) -> Plant:
    return read_source(QueueSource(files.jobs, files.plant)).plant


@pytest.mark.parametrize(
    ("lines", "field", "right"),
    [
        ({"H9": {}}, "lines.H9", "unknown line"),
        ({"H1": {"substrate": "PP-W60"}}, "lines.H1.width_mm", "must be given together"),
        ({"H1": {"substrate": "PP-W61", "width_mm": 330}}, "lines.H1.substrate", "nearest known one"),
        ({"H1": {"loaded": {"dye": {}}}}, "lines.H1.loaded.dye", "nearest known one is “die”"),
        ({"H1": {"loaded": {"die": {"plate": "p"}}}}, "lines.H1.loaded.die.plate", "nothing of the kind"),
        ({"H1": {"warm": True}}, "lines.H1.warm", "unknown field"),
    ],
)
def test_a_wrong_state_is_named_with_what_would_be_right(
    files: Files, lines: dict[str, Any], field: str, right: str
) -> None:
    (fault,) = faults_of(files, lines)
    assert (fault.field, right in fault.right) == (field, True), fault
    assert fault.file == str(files.folder / "state.json")


def test_the_first_changeover_of_a_plan_begins_from_that_state(files: Files) -> None:
    warm, cold = files.folder / "warm.json", files.folder / "cold.json"
    metres = {}
    for path, is_cold in ((warm, False), (cold, True)):
        path.write_text(json.dumps({"lines": {"H1": {"cold": is_cold}}}), encoding="utf-8")
        out = files.folder / path.stem
        assert files.run("plan", "--work", "60", "--state", str(path), "--out", str(out)).exit_code == 0
        value = json.loads((out / "sequence.json").read_text(encoding="utf-8"))
        metres[path.stem] = value["lines"][0]["runs"][0]["changeover"]["start_up_m"]
    start_up_m = sample_plant()["lines"][0].get("start_up_m", 0)
    assert start_up_m > 0
    assert metres == {"warm": 0, "cold": start_up_m}
