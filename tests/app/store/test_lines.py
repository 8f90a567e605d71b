"""A line's set-up and how it stands are read and written each by itself."""

from __future__ import annotations

from decimal import Decimal

import pytest

from app.contracts.plant import PresentState
from app.contracts.plant_setup import LineState, PlantLine
from app.errors import NotStored, VersionConflict
from app.store import audit, lines, plants
from app.store.listing import Query
from app.store.store import Store
from tests.app.store.things import ANN, MIS, sample_plant

NEW = PlantLine.model_validate({**dict(sample_plant().lines[1]), "id": "P2"})
WARM = LineState(line="H1", present=PresentState(cold=False, awake=("C", "K")))


def test_a_line_is_read_with_how_it_stands(store: Store) -> None:
    with store.reading("here") as view:
        found = lines.read(view, "H1")
        assert lines.read(view, "H9") is None
        assert lines.read_state(view, "H9") is None
    assert found is not None
    assert dict(found.item) == dict(sample_plant().lines[0])
    assert found.version == 1


def test_another_state_leaves_the_set_up_as_it_is(store: Store) -> None:
    with store.writing(MIS) as work:
        before = plants.setup_version(work)
        changed = lines.replace_state(work, WARM, 1)
        assert (changed.item, changed.version) == (WARM, 2)
        line = lines.read(work, "H1")
        assert line is not None
        assert (line.version, line.item.present) == (1, WARM.present)
        assert plants.setup_version(work) == before + 1
        with pytest.raises(VersionConflict):
            lines.replace_state(work, WARM, 1)
        assert lines.replace_state(work, WARM, None).version == 2


def test_another_set_up_leaves_the_state_as_it_is(store: Store) -> None:
    with store.writing(ANN) as work:
        line = lines.read(work, "H1")
        assert line is not None
        slower = line.item.model_copy(update={"max_speed_m_min": Decimal(50), "present": PresentState()})
        changed = lines.replace(work, slower, 1)
        assert (changed.version, changed.item.max_speed_m_min) == (2, Decimal(50))
        assert changed.item.present == sample_plant().lines[0].present
        with pytest.raises(VersionConflict):
            lines.replace(work, slower, 1)
        assert lines.replace(work, changed.item, 2).version == 2


def test_a_new_line_comes_last_and_goes_again(store: Store) -> None:
    with store.writing(ANN) as work:
        lines.replace(work, NEW, None)
        assert [found.item.id for found in lines.read_all(work)] == ["H1", "P1", "P2"]
        with pytest.raises(VersionConflict):
            lines.replace(work, NEW, None)
        with pytest.raises(VersionConflict):
            lines.remove(work, "P2", 5)
        lines.remove(work, "P2", 1)
        assert len(lines.read_all(work)) == 2
        with pytest.raises(NotStored):
            lines.remove(work, "P2")
        with pytest.raises(NotStored):
            lines.replace_state(work, LineState(line="P2", present=PresentState()), None)


def test_the_audit_tells_set_up_and_state_apart(store: Store) -> None:
    with store.writing(ANN) as work:
        lines.replace_state(work, WARM, 1)
        (entry, _) = audit.entries(work, Query(filters={"resource": "line states", "key": "H1"})).items
    assert entry.before is not None
    assert entry.after is not None
    assert entry.before["cold"] is True
    assert entry.after["awake"] == ["C", "K"]
