"""Presets: what ships, what a site may say otherwise, what lists leave out."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts.assumptions import Assumption, Origin, unit_of
from app.contracts.faults import json_path
from app.contracts.plant import Plant
from app.errors import Fault
from app.intake.defaults import Defaults
from app.intake.findings import Findings
from app.intake.preset_plant import leaves, preset_plant, read_overrides
from app.intake.presets import PRESETS, preset_value, reason_for, reasons_of, table_reasons, usual_tables
from app.intake.presets.usual_values import UsualValues
from app.intake.references import check_references
from tests.examples import examples

NUMBERS_WITHOUT_UNIT = ("hands", "hands_while_running")
USUAL: Defaults = UsualValues()


def made(
    name: str, overrides: dict[str, Any] | None = None, zone: str | None = None
) -> tuple[Plant, dict[str, Assumption]]:
    findings = Findings()
    preset = preset_plant(name, overrides, findings, zone=zone)
    assert preset is not None, findings.faults
    assert not findings.faults
    return preset[0], {assumption.path: assumption for assumption in preset[1]}


def refused(overrides: dict[str, Any], name: str = "plain") -> list[Fault]:
    findings = Findings()
    assert preset_plant(name, overrides, findings, file="site.json") is None
    return findings.faults


@pytest.mark.parametrize("name", PRESETS)
def test_a_preset_is_a_plant_in_the_format_of_plant_files(name: str) -> None:
    findings = Findings()
    check_references(Plant.model_validate(preset_value(name)), name, findings)
    assert not findings.faults


@pytest.mark.parametrize("name", PRESETS)
def test_every_value_of_a_preset_is_assumed_and_has_a_reason_and_a_unit(name: str) -> None:
    _, assumptions = made(name)
    places = dict(leaves(preset_value(name)))
    assert set(assumptions) == {json_path(place) for place in places}
    for place, value in places.items():
        assumption = assumptions[json_path(place)]
        assert assumption.origin is Origin.ASSUMED
        assert assumption.reason
        if isinstance(value, Decimal | int) and not isinstance(value, bool):
            assert assumption.unit or place[-1] in NUMBERS_WITHOUT_UNIT, assumption.path


def test_every_reason_speaks_of_a_value_that_is_there() -> None:
    spoken = {
        reason
        for name in PRESETS
        for place, _ in leaves(preset_value(name))
        for reason in reasons_of(name)
        if reason.covers(json_path(place))
    }
    assert {reason for name in PRESETS for reason in reasons_of(name)} == spoken


def test_the_reason_nearest_to_a_preset_counts() -> None:
    settle = "lines[0].settle_m"
    texts = [reason_for(name, settle) for name in PRESETS]
    assert len(set(texts)) == len(PRESETS)
    assert reason_for("plain", "lines[0].no_such_field") is None


def test_only_the_buffered_hybrid_pulls_back_and_only_the_hybrids_have_an_inkjet() -> None:
    lines = {name: made(name)[0].lines[0] for name in PRESETS}
    assert [name for name, line in lines.items() if line.pull_back_m > 0] == ["buffered-hybrid"]
    inkjets = [name for name, line in lines.items() if any(place.kind == "inkjet" for place in line.stations)]
    assert inkjets == ["hybrid", "buffered-hybrid"]


def test_a_value_a_site_gives_replaces_the_presets_and_is_no_assumption() -> None:
    plant, assumptions = made(
        "plain",
        {
            "late_eur": 80,
            "lines": [{"id": "Plain", "eur_per_h": 95.5, "stations": [{"id": "die", "position_m": 13.5}]}],
            "station_kinds": {"flexo": {"aspects": [{"name": "plate", "minutes": 4}]}},
        },
    )
    line = plant.lines[0]
    assert plant.late_eur == 80
    assert line.eur_per_h == Decimal("95.5")
    assert [station.position_m for station in line.stations if station.id == "die"] == [Decimal("13.5")]
    assert [aspect.minutes for aspect in plant.station_kinds["flexo"].aspects or ()][1] == 4
    given = {"late_eur", "lines[0].eur_per_h", "lines[0].stations[6].position_m"}
    given.add("station_kinds.flexo.aspects[1].minutes")
    assert not given & set(assumptions)
    assert {"lines[0].stop_min", "station_kinds.flexo.aspects[1].register_m"} <= set(assumptions)


def test_what_names_an_item_stays_an_assumption_of_the_preset() -> None:
    _, assumptions = made("plain", {"lines": [{"id": "Plain", "eur_per_h": 95}]})
    plain, _ = made("plain")
    assert "lines[0].stations[0].id" in assumptions
    assert plain.lines[0].eur_per_h != 95


def test_a_path_sets_the_value_at_its_place_as_a_whole() -> None:
    calendar = [{"days": ["mon"], "from": "07:00", "to": "15:00"}]
    plant, assumptions = made(
        "hybrid", {"lines[0].id": "L7", "calendar.shifts": calendar, "lines[0].min_repeat_mm": 200}
    )
    assert plant.lines[0].id == "L7"
    assert [shift.start for shift in plant.calendar.shifts] == ["07:00"]
    assert not any(path.startswith("calendar") for path in assumptions)
    assert plant.lines[0].min_repeat_mm == 200


def test_a_path_may_name_a_field_the_preset_leaves_out() -> None:
    plant, _ = made("plain", {"lines[0].job_change_m": 4})
    assert plant.lines[0].job_change_m == 4


def test_null_takes_a_value_away() -> None:
    plant, assumptions = made("plain", {"lines": [{"cold_after_min": None}], "lines[0].max_repeat_mm": None})
    assert plant.lines[0].cold_after_min is None
    assert plant.lines[0].max_repeat_mm is None
    assert not {"lines[0].cold_after_min", "lines[0].max_repeat_mm"} & set(assumptions)


def test_items_a_preset_does_not_have_are_added_as_given() -> None:
    plant, assumptions = made(
        "plain", {"consumables": [{"id": "red"}], "station_kinds": {"screen": {"does": ["screen"]}}}
    )
    assert [consumable.id for consumable in plant.consumables] == ["red"]
    assert "screen" in plant.station_kinds
    assert not any(path.startswith(("consumables", "station_kinds.screen")) for path in assumptions)


def test_the_zone_is_given_where_it_is_known() -> None:
    plant, assumptions = made("plain", zone="Europe/Lisbon")
    assert plant.site.zone == "Europe/Lisbon"
    assert "site.zone" not in assumptions
    assert "UTC" in made("plain")[1]["site.zone"].reason


def test_a_preset_is_read_anew_each_time() -> None:
    made("plain", {"lines[0].eur_per_h": 1})
    assert made("plain")[0].lines[0].eur_per_h != 1


def test_an_unknown_preset_is_refused_with_the_nearest_known_one() -> None:
    (fault,) = refused({}, name="bufered-hybrid")
    assert (fault.field, fault.value) == ("preset", "bufered-hybrid")
    assert "“buffered-hybrid”" in fault.right


def test_every_fault_of_the_overrides_is_told_with_its_path() -> None:
    faults = refused({"lines": [{"id": "Plain", "eur_per_h": -1, "stop_mins": 2}], "overs_pct": "2"})
    assert {fault.field for fault in faults} == {"lines[0].eur_per_h", "lines[0].stop_mins", "overs_pct"}
    assert {fault.file for fault in faults} == {"site.json"}
    assert "“stop_min”" in next(fault.right for fault in faults if fault.field == "lines[0].stop_mins")


def test_an_unknown_path_is_refused_with_the_nearest_known_one() -> None:
    (fault,) = refused({"lines[1].eur_per_h": 100})
    assert fault.field == "lines[1].eur_per_h"
    assert "“lines[0].eur_per_h”" in fault.right


def test_overrides_that_contradict_the_preset_are_refused() -> None:
    (fault,) = refused({"lines": [{"stations": [{"id": "flexo-2", "position_m": 1}]}]})
    assert fault.field == "lines[0].stations[2].position_m"


def test_an_empty_list_is_not_passed_over() -> None:
    plant, _ = made("plain", {"calendar": {"shifts": []}})
    assert plant.calendar.shifts == ()
    (fault,) = refused({"lines": []})
    assert fault.field == "lines"


KEYS = st.sampled_from(
    [
        "lines",
        "id",
        "stations",
        "eur_per_h",
        "site",
        "zone",
        "lines[0].stations[1]",
        "note.x",
        ".",
        "station_kinds",
    ]
)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-3, 500) | st.sampled_from(["Plain", "die", "UTC", ""]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=6,
)


@examples(150)
@given(overrides=st.dictionaries(KEYS, VALUES, max_size=3))
def test_any_overrides_make_a_plant_or_name_a_fault(overrides: dict[str, Any]) -> None:
    findings = Findings()
    preset = preset_plant("plain", overrides, findings)
    assert (preset is None) == bool(findings.faults)
    if preset is not None:
        paths = {json_path(place) for place, _ in leaves(preset[0].model_dump(by_alias=True))}
        assert {assumption.path for assumption in preset[1]} <= paths


def test_overrides_are_read_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "site.json"
    file.write_text('{"lines": [{"eur_per_h": 99.5}]}', encoding="utf-8")
    findings = Findings()
    assert read_overrides(file, findings) == {"lines": [{"eur_per_h": Decimal("99.5")}]}
    assert not findings.faults


@pytest.mark.parametrize(
    ("text", "right"), [("[1]", "should be an object"), ("{", "is not JSON"), ('{"a": 1, "a": 2}', "twice")]
)
def test_a_file_that_holds_no_overrides_is_refused(tmp_path: Path, text: str, right: str) -> None:
    file = tmp_path / "site.json"
    file.write_text(text, encoding="utf-8")
    findings = Findings()
    assert read_overrides(file, findings) is None
    (fault,) = findings.faults
    assert right in fault.right
    assert fault.file == str(file)


@pytest.mark.parametrize("value", ["text", 3, [1], {"x": 1}])
def test_an_override_of_another_shape_is_refused(value: object) -> None:
    assert any((fault.field or "").startswith("lines") for fault in refused({"lines": value}))


@pytest.mark.parametrize(
    ("path", "unit"),
    [
        ("lines[0].setup_speed_m_min", "m/min"),
        ("lines[0].settle_m", "m"),
        ("station_kinds.inkjet.channel_speed_m_min.C", "m/min"),
        ("lines[0].spoilage_pct.film", "%"),
        ("substrates[0].eur_per_m2", "€/m²"),
        ("lines[0].eur_per_h", "€/h"),
        ("late_eur", "€"),
        ("substrates[0].thickness_um", "µm"),
        ("station_kinds.flexo.aspects[0].minutes", "min"),
        ("lines[0].hands", ""),
    ],
)
def test_a_unit_follows_from_the_fields_name(path: str, unit: str) -> None:
    assert unit_of(path) == unit


@pytest.mark.parametrize(
    ("material", "material_class", "thinnest_um", "thickest_um"),
    [
        ("Gloss coated paper, 80 g/m², glassine liner", "paper", 130, 150),
        ("White polypropylene, 60 µm, PET liner", "film", 100, 130),
        ("PP-C50", "film", 100, 130),
        ("PAPER-WINE", "paper", 170, 220),
        ("Silver polyester, 50 µm", "film", 100, 130),
        ("nobody knows", "", 100, 220),
    ],
)
def test_a_material_has_a_usual_thickness_and_class_by_its_words(
    material: str, material_class: str, thinnest_um: int, thickest_um: int
) -> None:
    assert USUAL.material_class(material).value == material_class
    assert thinnest_um <= USUAL.thickness_um(material).value <= thickest_um
    assert USUAL.eur_per_m2(material).value > 0
    assert USUAL.roll_m(material).value >= 500


def test_the_liners_own_word_decides_its_thickness() -> None:
    usual = UsualValues()
    on_glassine = usual.liner_thickness_um("White polypropylene, glassine liner").value
    assert on_glassine > usual.liner_thickness_um("White polypropylene").value
    assert USUAL.material_class("Coated paper, PET liner").value == "paper"


def test_colour_words_tell_how_dark_an_ink_is() -> None:
    inks = ("white-opaque", "sun-yellow", "signal-red", "navy", "dense-black")
    darkness = [USUAL.consumable("spot", ink).value.darkness for ink in inks]
    assert darkness == sorted(darkness)
    assert darkness[-1] == 1
    assert len(set(darkness)) == len(inks)


def test_kinds_of_layer_tell_plates_and_reels() -> None:
    assert USUAL.consumable("spot", "house colour").value.plate
    assert not USUAL.consumable("varnish", "varnish-black-tie").value.plate
    assert USUAL.consumable("varnish", "varnish-black-tie").value.darkness == 0
    assert USUAL.consumable("cold-foil", "foil-gold").value.reel_m == 2000
    assert USUAL.consumable("never heard of", "x").value.id == "x"


def test_every_usual_value_has_a_reason() -> None:
    tables = usual_tables()
    rows = [*tables["materials"], *tables["liners"], *tables["darkness"], *tables["consumables"].values()]
    fields = {field for row in rows for field in row} - {"words"}
    assert fields == set(table_reasons())
    told = [
        USUAL.thickness_um("paper").reason,
        USUAL.eur_per_m2("paper").reason,
        USUAL.roll_m("paper").reason,
        USUAL.material_class("paper").reason,
        USUAL.consumable("spot", "red").reason,
        USUAL.gear_pitch().reason,
    ]
    assert all(told)
