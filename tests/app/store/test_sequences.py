"""Sequences are kept whole, and jobs know where they are planned and where they run."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache

import pytest
from sqlalchemy import text

from app.contracts.actuals import PostedActual
from app.contracts.base import at_site
from app.contracts.sequences import CostedPlan
from app.contracts.stored import Stored
from app.contracts.stored_sequences import SequenceHead, SequenceInput
from app.errors import NotStored, VersionConflict
from app.intake.queue import read_queue
from app.store import audit, job_places, records, sequences
from app.store.kinds import ACTUALS
from app.store.listing import Query
from app.store.store import Store, Work
from tests.app.costed_plans import IN_ORDER, costed_order
from tests.app.queues import SAMPLE
from tests.app.store.things import ANN, ELSEWHERE, MIS, NOON


@cache
def plan() -> CostedPlan:
    """The sample's jobs on its hybrid line."""
    return costed_order()


@cache
def worked_from() -> SequenceInput:
    """What that was worked out from."""
    queue = read_queue(SAMPLE / "plant.json", SAMPLE / "jobs.csv")
    start = at_site(datetime(2027, 3, 1, 6), queue.plant.site.zone_info)
    return SequenceInput(plant=queue.plant, jobs=queue.jobs, start=start, locks=())


def keep(work: Work, number: str, name: str = "Monday") -> Stored[SequenceHead]:
    """Keep it under an id."""
    return sequences.keep(work, number, name, plan(), worked_from(), "as it was")


def actual(number: str = "A-1", **other: object) -> PostedActual:
    fields = {"id": number, "line": "H1", "job": "J-2101", "started": NOON.isoformat()}
    return PostedActual.model_validate({**fields, **other})


def test_a_sequence_comes_back_whole(store: Store) -> None:
    with store.writing(ANN) as work:
        kept = keep(work, "S-1")
    with store.reading("here") as view:
        found = sequences.read(view, "S-1")
        with pytest.raises(NotStored):
            sequences.read(view, "S-2")
    assert (found.plan, found.input, found.state) == (plan(), worked_from(), "as it was")
    assert (found.head.item, found.head.version) == (kept.item, 1)
    assert kept.item.total_eur == plan().sequence.cost.total_eur
    assert kept.item.waste_m == plan().sequence.totals.waste_m
    assert kept.item.start == plan().sequence.start


def test_a_list_of_sequences_shows_their_heads(store: Store) -> None:
    with store.writing(ANN) as work:
        for number in ("S-2", "s-1", "T-1"):
            keep(work, number)
        page = sequences.listed(work, Query(prefix="s"))
        latest = sequences.listed(work, Query(sort="-updated_at", limit=1))
    assert [stored.item.id for stored in page.items] == ["s-1", "S-2"]
    assert latest.next_cursor is not None


def test_a_number_is_given_once_and_a_removed_sequence_is_gone(store: Store) -> None:
    with store.writing(ANN) as work:
        keep(work, "S-1")
        with pytest.raises(VersionConflict):
            keep(work, "S-1")
        sequences.remove(work, "S-1", 1)
        with pytest.raises(NotStored):
            sequences.read(work, "S-1")
        assert work.connection.execute(text("SELECT count(*) FROM sequence_runs")).scalar_one() == 0
        with pytest.raises(NotStored):
            sequences.remove(work, "S-1")
        found = audit.entries(work, Query(filters={"resource": "sequences"})).items
    assert [entry.action for entry in found] == ["removed", "created"]


def test_a_job_knows_where_it_is_planned_the_latest_sequence_first(store: Store) -> None:
    with store.writing(ANN) as work:
        keep(work, "S-1")
        keep(work, "S-2", "Monday again")
        found = job_places.planned(work, [IN_ORDER[1], "J-9"])
    planned = found.pop(IN_ORDER[1])
    assert found == {}
    run = plan().sequence.lines[0].runs[1]
    assert [(each.sequence, each.line, each.position) for each in planned] == [
        ("S-2", "H1", 2),
        ("S-1", "H1", 2),
    ]
    assert (planned[0].print_start, planned[0].end) == (run.print_start, run.end)
    with store.reading("elsewhere") as view:
        assert job_places.planned(view, [IN_ORDER[1]]) == {}


def test_a_job_runs_where_it_has_begun_and_not_ended(store: Store) -> None:
    ended = (NOON + timedelta(hours=1)).isoformat()
    first = actual(
        revision=1, versions=[{"version": "A", "labels": 5}], lot={"first_label": 1, "last_label": 9}
    )
    with store.writing(MIS) as work:
        records.upsert(work, ACTUALS, [first, actual("A-2", line="P1"), actual("A-3", job="J-2")])
        assert job_places.running(work, ["J-2101", "J-9"]) == {"J-2101": ("H1", "P1")}
        assert records.require(work, ACTUALS, "A-1").item == first
        records.upsert(work, ACTUALS, [actual(revision=2, ended=ended, good_m=1500.5)])
        assert job_places.running(work, ["J-2101"]) == {"J-2101": ("P1",)}
    with store.writing(ELSEWHERE) as work:
        assert job_places.running(work, ["J-2101"]) == {}


def test_actuals_of_a_line_are_listed_by_their_time(store: Store) -> None:
    with store.writing(MIS) as work:
        later = (NOON + timedelta(hours=1)).isoformat()
        records.upsert(work, ACTUALS, [actual("A-1", started=later), actual("A-2"), actual("A-3", line="P1")])
        page = records.listed(work, ACTUALS, Query(filters={"line": "H1"}, sort="started"))
    assert [stored.item.id for stored in page.items] == ["A-2", "A-1"]
