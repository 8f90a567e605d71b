"""Sequences are kept whole, and jobs know where they are planned and where they run."""

from __future__ import annotations

from datetime import timedelta
from functools import cache

import pytest
from sqlalchemy import text

from app.contracts.actuals import PostedActual
from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.sequences import Sequence
from app.errors import NotStored, VersionConflict
from app.store import actuals, audit, records, sequences
from app.store.kinds import ACTUALS
from app.store.listing import Query
from app.store.store import Store
from tests.app.costed_plans import IN_ORDER, costed_order
from tests.app.store.things import ANN, ELSEWHERE, MIS, NOON

ORDER = RunOrder(lines=(LineOrder(line="H1", runs=tuple(OrderedRun(job=job) for job in IN_ORDER)),))


@cache
def sequence() -> Sequence:
    """The sample's jobs on its hybrid line."""
    return costed_order().sequence


def actual(number: str = "A-1", **other: object) -> PostedActual:
    fields = {"id": number, "line": "H1", "job": "J-2101", "started": NOON.isoformat()}
    return PostedActual.model_validate({**fields, **other})


def test_a_sequence_comes_back_whole(store: Store) -> None:
    with store.writing(ANN) as work:
        kept = sequences.keep(work, "S-1", "Monday", ORDER, sequence())
    with store.reading("here") as view:
        found = sequences.read(view, "S-1")
        assert sequences.read(view, "S-2") is None
    assert found is not None
    assert (found.order, found.sequence) == (ORDER, sequence())
    assert (found.item, found.version) == (kept.item, 1)
    assert found.item.total_eur == sequence().cost.total_eur
    assert found.item.waste_m == sequence().totals.waste_m
    assert found.item.start == sequence().start
    assert found.item.setup_version >= 1


def test_a_list_of_sequences_shows_their_heads(store: Store) -> None:
    with store.writing(ANN) as work:
        for number in ("S-2", "s-1", "T-1"):
            sequences.keep(work, number, "Monday", ORDER, sequence())
        page = sequences.listed(work, Query(prefix="s"))
        latest = sequences.listed(work, Query(sort="-updated_at", limit=1))
    assert [stored.item.id for stored in page.items] == ["s-1", "S-2"]
    assert latest.next_cursor is not None


def test_a_number_is_given_once_and_a_removed_sequence_is_gone(store: Store) -> None:
    with store.writing(ANN) as work:
        sequences.keep(work, "S-1", "Monday", ORDER, sequence())
        with pytest.raises(VersionConflict):
            sequences.keep(work, "S-1", "Monday", ORDER, sequence())
        sequences.remove(work, "S-1", 1)
        assert sequences.read(work, "S-1") is None
        assert work.connection.execute(text("SELECT count(*) FROM sequence_runs")).scalar_one() == 0
        with pytest.raises(NotStored):
            sequences.remove(work, "S-1")
        found = audit.entries(work, Query(filters={"resource": "sequences"})).items
    assert [entry.action for entry in found] == ["removed", "created"]


def test_a_job_knows_where_it_is_planned_the_latest_sequence_first(store: Store) -> None:
    with store.writing(ANN) as work:
        sequences.keep(work, "S-1", "Monday", ORDER, sequence())
        sequences.keep(work, "S-2", "Monday again", ORDER, sequence())
        planned = sequences.planned(work, IN_ORDER[1])
        assert sequences.planned(work, "J-9") == ()
    run = sequence().lines[0].runs[1]
    assert [(found.sequence, found.line, found.position) for found in planned] == [
        ("S-2", "H1", 2),
        ("S-1", "H1", 2),
    ]
    assert (planned[0].print_start, planned[0].end) == (run.print_start, run.end)
    with store.reading("elsewhere") as view:
        assert sequences.planned(view, IN_ORDER[1]) == ()


def test_a_job_runs_where_it_has_begun_and_not_ended(store: Store) -> None:
    ended = (NOON + timedelta(hours=1)).isoformat()
    first = actual(
        revision=1, versions=[{"version": "A", "labels": 5}], lot={"first_label": 1, "last_label": 9}
    )
    with store.writing(MIS) as work:
        records.upsert(work, ACTUALS, [first, actual("A-2", line="P1"), actual("A-3", job="J-2")])
        assert actuals.running_on(work, "J-2101") == ("H1", "P1")
        assert records.require(work, ACTUALS, "A-1").item == first
        records.upsert(work, ACTUALS, [actual(revision=2, ended=ended, good_m=1500.5)])
        assert actuals.running_on(work, "J-2101") == ("P1",)
    with store.writing(ELSEWHERE) as work:
        assert actuals.running_on(work, "J-2101") == ()


def test_actuals_of_a_line_are_listed_by_their_time(store: Store) -> None:
    with store.writing(MIS) as work:
        later = (NOON + timedelta(hours=1)).isoformat()
        records.upsert(work, ACTUALS, [actual("A-1", started=later), actual("A-2"), actual("A-3", line="P1")])
        page = records.listed(work, ACTUALS, Query(filters={"line": "H1"}, sort="started"))
    assert [stored.item.id for stored in page.items] == ["A-2", "A-1"]
