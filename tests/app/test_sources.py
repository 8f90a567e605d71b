"""Queues from a plant file or from a preset with a shop's lists, and the demo of both."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from app.cli import commands
from app.contracts.assumptions import Origin, PlanAssumptions
from app.errors import BadInput
from app.intake.sources import QueueSource, read_source

SAMPLES = Path("sample_data")
BARE = QueueSource(
    SAMPLES / "bare/jobs.csv",
    preset="buffered-hybrid",
    dies=SAMPLES / "bare/dies.csv",
    stock=SAMPLES / "bare/stock.csv",
)


def refused(source: QueueSource) -> list[str]:
    with pytest.raises(BadInput) as error:
        read_source(source)
    return [str(fault) for fault in error.value.faults]


def test_a_plant_file_or_a_preset_must_be_named() -> None:
    (fault,) = refused(QueueSource(SAMPLES / "small/jobs.csv"))
    assert "name a plant file, or a preset with dies and stock" in fault


def test_a_preset_needs_the_shops_dies_and_stock() -> None:
    faults = refused(QueueSource(SAMPLES / "bare/jobs.csv", preset="hybrid"))
    assert [("--dies" in fault, "--stock" in fault) for fault in faults] == [(True, False), (False, True)]


def test_a_plant_file_does_not_take_what_belongs_to_a_preset() -> None:
    source = QueueSource(
        SAMPLES / "small/jobs.csv", SAMPLES / "small/plant.json", preset="hybrid", zone="UTC"
    )
    assert len(refused(source)) == 2


def test_an_unknown_preset_names_the_nearest_and_the_lists_faults_beside_it(tmp_path: Path) -> None:
    (fault,) = refused(QueueSource(BARE.jobs, preset="hybird", dies=BARE.dies, stock=BARE.stock))
    assert "hybrid" in fault
    overrides = tmp_path / "overrides.json"
    overrides.write_text(json.dumps({"lines[0].eur_per_our": 1, "lines[7].hands": 2}))
    stock = tmp_path / "stock.csv"
    stock.write_text("code,width_mm,metres\nPAPER,330,-1\n")
    faults = refused(
        QueueSource(BARE.jobs, preset="hybrid", overrides=overrides, dies=BARE.dies, stock=stock)
    )
    assert any("overrides.json" in fault for fault in faults)
    assert any("stock.csv" in fault for fault in faults)


def test_a_presets_values_are_assumed_until_a_site_gives_them(tmp_path: Path) -> None:
    overrides = tmp_path / "overrides.json"
    overrides.write_text(json.dumps({"lines[0].eur_per_h": 150}))
    plain = {assumption.path for assumption in read_source(BARE).assumptions}
    source = QueueSource(BARE.jobs, preset=BARE.preset, overrides=overrides, dies=BARE.dies, stock=BARE.stock)
    given = {assumption.path for assumption in read_source(source).assumptions}
    assert plain - given == {"lines[0].eur_per_h"}


@pytest.fixture(scope="module")
def demonstrated(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """What the demo says, and the folder that it writes to."""
    folder = tmp_path_factory.mktemp("demo")
    result = CliRunner().invoke(commands, ["demo", "--seconds=0", f"--out={folder}"])
    assert result.exit_code == 0, result.output
    return result.output, folder


def test_the_demo_orders_the_samples_and_says_where_the_reports_lie(demonstrated: tuple[str, Path]) -> None:
    told, folder = demonstrated
    for sample in ("small", "day", "bare"):
        assert (folder / sample / "report.html").stat().st_size > 10_000
        assert (folder / sample / "report.pdf").read_bytes().startswith(b"%PDF")
    for said in ("one minute is worth", "as entered", "by due time", "assumed values"):
        assert said in told


def test_a_plan_from_a_preset_says_what_was_assumed(demonstrated: tuple[str, Path]) -> None:
    _, folder = demonstrated
    written = PlanAssumptions.model_validate_json((folder / "bare" / "assumptions.json").read_bytes())
    assert {assumption.origin for assumption in written.assumptions} == {Origin.ASSUMED}
    assert all(assumption.reason for assumption in written.assumptions)
    assert written.report.assumed > 50
