"""Orders made by hand, costed and compared while somebody waits."""

from __future__ import annotations

import json
import threading
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from pydantic import ValidationError

from app.contracts.costings import ComparedOrders, CostedOrder, OrdersToCompare, OrderToCost
from app.contracts.jobs import Job
from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import Goal
from app.errors import BadInput
from app.intake.queue import read_queue
from app.services import planning
from app.services.costing import MOST_UNKNOWN, Costings, CostingSource
from app.translation import known_plant
from app.translation.solving import Question
from tests.app.queues import SAMPLE
from tests.builders.plant_days import SAMPLE_DATA, Day, drawn_day

QUEUE = read_queue(SAMPLE / "plant.json", SAMPLE / "jobs.csv")
NOW = datetime(2027, 3, 1, 4, 30, tzinfo=UTC)
DAY = drawn_day(11, jobs=24, lines=3)


@dataclass
class Shelf:
    """A plant and jobs as a store has them, counting what is loaded."""

    plant: Plant
    jobs: dict[str, Job]
    setup_version: int = 1
    versions: dict[str, int] = field(default_factory=dict)
    in_force: RunOrder | None = None
    loaded: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, plant: Plant, jobs: Iterable[Job]) -> Shelf:
        by_id = {job.job: job for job in jobs}
        return cls(plant, by_id, versions=dict.fromkeys(by_id, 1))

    @property
    def source(self) -> CostingSource:
        def load_plant() -> Plant:
            self.loaded.append("plant")
            return self.plant

        def load_jobs(names: Collection[str]) -> Iterable[Job]:
            self.loaded.extend(names)
            return [self.jobs[name] for name in names]

        return CostingSource(
            "site", self.setup_version, load_plant, self.versions, load_jobs, NOW, self.in_force
        )


@pytest.fixture
def shelf() -> Shelf:
    return Shelf.of(DAY.plant, DAY.jobs)


def first_that_can(day: Day) -> dict[str, list[str]]:
    """Every job on the first line that can run it, by line."""
    lines: dict[str, list[str]] = {line.id: [] for line in day.plant.lines}
    for number, job in enumerate(planning.check(Question(day.plant, day.jobs, day.start)).jobs):
        able = [fit.line for fit in job.lines if not fit.reasons]
        lines[able[number % len(able)]].append(job.job)
    return lines


LINES = first_that_can(DAY)


def asked(lines: dict[str, list[str]] = LINES, **more: Any) -> OrderToCost:
    ordered = [{"line": line, "runs": [{"job": job} for job in jobs]} for line, jobs in lines.items()]
    return OrderToCost.model_validate({"lines": ordered, "start": DAY.start, **more})


def costed(source: CostingSource, order: OrderToCost, costings: Costings | None = None) -> CostedOrder:
    return CostedOrder.model_validate_json((costings or Costings()).cost(source, order))


def in_full(day: Day, lines: dict[str, list[str]], goal: Goal, **more: Any) -> Any:
    order = RunOrder(
        lines=tuple(
            LineOrder(line=line, runs=tuple(OrderedRun(job=job) for job in jobs))
            for line, jobs in lines.items()
        )
    )
    return planning.cost(Question(day.plant, day.jobs, day.start, **more), order, goal).sequence


def turned(lines: dict[str, list[str]]) -> dict[str, list[str]]:
    return {line: jobs[::-1] for line, jobs in lines.items()}


@pytest.mark.parametrize("goal", Goal)
def test_an_order_comes_to_what_the_account_says_however_often_it_is_asked(shelf: Shelf, goal: Goal) -> None:
    costings = Costings()
    for lines in (LINES, turned(LINES), LINES):
        brief = costed(shelf.source, asked(lines, goal=goal), costings)
        full = in_full(DAY, lines, goal)
        assert brief.cost == full.cost
        assert [(run.job, run.end) for run in brief.runs] == [
            (run.job, run.end) for line in full.lines for run in line.runs
        ]
        assert brief.totals.waste_m == full.totals.waste_m
        assert brief.by_usual_rolls


def test_a_plant_and_its_jobs_are_loaded_once(shelf: Shelf) -> None:
    costings = Costings()
    costed(shelf.source, asked(), costings)
    assert sorted(shelf.loaded) == sorted(["plant", *shelf.jobs])
    shelf.loaded.clear()
    costed(shelf.source, asked(turned(LINES)), costings)
    assert shelf.loaded == []


def test_a_job_that_has_changed_is_loaded_again_and_costed_anew(shelf: Shelf) -> None:
    costings = Costings()
    before = costed(shelf.source, asked(), costings)
    job = DAY.jobs[3]
    more = job.versions[0].model_copy(update={"quantity": job.versions[0].quantity * 3})
    shelf.jobs[job.job] = job.model_copy(update={"versions": (more, *job.versions[1:])})
    shelf.versions[job.job] = 2
    shelf.loaded.clear()
    after = costed(shelf.source, asked(), costings)
    assert shelf.loaded == [job.job]
    assert after.cost.running_eur > before.cost.running_eur
    assert after == costed(shelf.source, asked())


@pytest.mark.parametrize(
    "change",
    [
        {"late_eur": Decimal(999)},
        {"overs_pct": Decimal(30)},
        {
            "substrates": tuple(
                each.model_copy(update={"eur_per_m2": Decimal(3)}) for each in DAY.plant.substrates
            )
        },
        {"lines": tuple(each.model_copy(update={"stop_min": Decimal(9)}) for each in DAY.plant.lines)},
        {
            "substrates": tuple(
                each.model_copy(
                    update={
                        "widths": tuple(
                            stocked.model_copy(update={"on_hand_m": Decimal(700)}) for stocked in each.widths
                        )
                    }
                )
                for each in DAY.plant.substrates
            )
        },
    ],
    ids=["prices", "overs", "substrates", "lines", "stock"],
)
def test_another_version_of_the_plant_counts_from_then_on(shelf: Shelf, change: dict[str, Any]) -> None:
    costings = Costings()
    before = costed(shelf.source, asked(), costings)
    shelf.plant, shelf.setup_version = DAY.plant.model_copy(update=change), 2
    after = costed(shelf.source, asked(), costings)
    assert after != before
    assert after == costed(shelf.source, asked())
    shelf.plant, shelf.setup_version = DAY.plant, 3
    assert costed(shelf.source, asked(), costings) == before


def test_another_start_another_clock(shelf: Shelf) -> None:
    costings = Costings()
    for hours in (0, 3, 0):
        start = DAY.start + timedelta(hours=hours)
        brief = costed(shelf.source, asked(start=start.isoformat()), costings)
        full = in_full(DAY, LINES, Goal.BALANCED)
        assert brief.start == start.replace(tzinfo=brief.start.tzinfo)
        assert (brief.cost == full.cost) == (hours == 0)
        assert brief == costed(shelf.source, asked(start=start.isoformat()))


def test_without_a_start_it_is_the_plants_or_the_next_minute(shelf: Shelf) -> None:
    assert (
        costed(shelf.source, asked(start=None)).start.isoformat()
        == costed(shelf.source, asked()).start.isoformat()
    )
    site = DAY.plant.site.model_copy(update={"plan_from": None})
    shelf.plant = DAY.plant.model_copy(update={"site": site})
    source = replace(shelf.source, now=NOW + timedelta(seconds=1))
    assert costed(source, asked(start=None)).start == NOW + timedelta(minutes=1)


def test_locks_and_the_sequence_in_force_count(shelf: Shelf) -> None:
    line, (first, then, *_) = next((line, jobs) for line, jobs in LINES.items() if len(jobs) > 2)
    locks = [{"lock": "before", "job": then, "then": first}, {"lock": "on-line", "job": first, "line": line}]
    shelf.in_force = asked(turned(LINES)).run_order
    brief = costed(shelf.source, asked(locks=locks))
    assert brief.totals.moved_runs
    full = in_full(DAY, LINES, Goal.BALANCED, locks=asked(locks=locks).locks, in_force=shelf.in_force)
    assert brief.cost == full.cost
    assert brief.totals.moved_runs == full.totals.moved_runs
    assert len(brief.broken_locks) == 1
    assert brief.broken_locks == full.broken_locks


def test_detail_tells_every_changeover(shelf: Shelf) -> None:
    brief = costed(shelf.source, asked(detail=True))
    full = in_full(DAY, LINES, Goal.BALANCED)
    assert [run.changeover for run in brief.runs] == [
        run.changeover for line in full.lines for run in line.runs
    ]
    assert all(run.changeover is None for run in costed(shelf.source, asked()).runs)


def test_rolls_are_chosen_when_asked_for() -> None:
    queue = read_queue(
        SAMPLE_DATA / "day/plant.json", SAMPLE_DATA / "day/jobs.csv", stock_path=SAMPLE_DATA / "day/stock.csv"
    )
    question = Question(queue.plant, queue.jobs[:6], DAY.start)
    lines = first_that_can(Day(queue.plant, queue.jobs[:6]))
    source = Shelf.of(queue.plant, queue.jobs[:6]).source
    usual, rolled = (costed(source, asked(lines, rolls=rolls)) for rolls in (False, True))
    assert (usual.by_usual_rolls, usual.cost.stubs) == (True, None)
    assert not rolled.by_usual_rolls
    assert rolled.cost == planning.cost(question, asked(lines).run_order, Goal.BALANCED).sequence.cost


def faults(source: CostingSource, order: OrderToCost) -> list[tuple[str | None, int | None, str | None, str]]:
    with pytest.raises(BadInput) as refused:
        Costings().cost(source, order)
    return [(fault.field, fault.row, fault.value, fault.right) for fault in refused.value.faults]


def test_every_fault_of_an_order_is_told_with_the_run_it_is_of(shelf: Shelf) -> None:
    line, jobs = next((line, jobs) for line, jobs in LINES.items() if len(jobs) > 2)
    others = [job for of_line in LINES.values() for job in of_line if job not in jobs]
    order = asked({line: [jobs[0], jobs[1], jobs[0]], "H9": [jobs[2]]}, left_out=[*jobs[3:], *others])
    told = faults(shelf.source, order)
    assert ("job", 3, jobs[0], "should be there once only") in told
    assert [fault[:3] for fault in told if fault[0] == "line"] == [("line", 4, "H9")]


def test_stations_that_cannot_do_it_are_refused(shelf: Shelf) -> None:
    line, (job, *others) = next((line, jobs) for line, jobs in LINES.items() if jobs)
    left_out = [*others, *(job for name, jobs in LINES.items() if name != line for job in jobs)]
    runs = [{"job": job, "stations": ["nowhere"]}]
    order = OrderToCost.model_validate({"lines": [{"line": line, "runs": runs}], "left_out": left_out})
    assert {(field, row) for field, row, *_ in faults(shelf.source, order)} == {("stations", 1)}


def test_jobs_that_the_order_forgets_are_named(shelf: Shelf) -> None:
    line, (forgotten, *kept) = next((line, jobs) for line, jobs in LINES.items() if jobs)
    told = faults(shelf.source, asked({**LINES, line: kept}))
    assert told == [("job", None, forgotten, "must be in the order: a line can run it")]


def test_a_crowd_of_unknown_jobs_is_not_told_one_by_one(shelf: Shelf) -> None:
    told = faults(shelf.source, asked({**LINES, "P1": [f"X-{number}" for number in range(300)]}))
    assert len(told) == MOST_UNKNOWN + 1
    assert told[-1][3] == "250 more jobs are unknown"
    assert not shelf.loaded


def test_what_contradicts_itself_in_the_store_is_told_not_raised(shelf: Shelf) -> None:
    job = DAY.jobs[0]
    shelf.jobs[job.job] = job.model_copy(update={"die": "D-0"})
    assert any("unknown die 'D-0'" in right for *_, right in faults(shelf.source, asked()))


def test_a_line_named_twice_is_refused() -> None:
    lines = [{"line": "H1", "runs": []}, {"line": "H1", "runs": []}]
    with pytest.raises(ValidationError, match="each line should be there once, not H1 again"):
        OrderToCost.model_validate({"lines": lines})


def test_orders_are_compared_with_the_first(shelf: Shelf) -> None:
    orders = [
        {"name": name, "lines": json.loads(asked(lines).model_dump_json())["lines"]}
        for name, lines in (("as it is", LINES), ("turned", turned(LINES)))
    ]
    compared = OrdersToCompare.model_validate({"orders": orders, "start": DAY.start, "goal": "least-waste"})
    told = ComparedOrders.model_validate_json(Costings().compare(shelf.source, compared))
    first, other = told.orders
    assert [order.name for order in told.orders] == ["as it is", "turned"]
    for order, lines in ((first, LINES), (other, turned(LINES))):
        assert order.cost == costed(shelf.source, asked(lines, goal="least-waste")).cost
        assert order.totals == costed(shelf.source, asked(lines, goal="least-waste")).totals
    assert not any(first.more.model_dump().values())
    assert float(other.more.controllable_eur) == pytest.approx(
        float(other.cost.controllable_eur - first.cost.controllable_eur), abs=1e-6
    )
    assert other.more.late_eur == other.cost.late_eur - first.cost.late_eur


def test_orders_of_one_name_are_not_compared() -> None:
    one = {"name": "a", "lines": []}
    with pytest.raises(ValidationError, match="each name should be there once, not a again"):
        OrdersToCompare.model_validate({"orders": [one, one]})


def test_many_threads_get_the_same_answers(shelf: Shelf) -> None:
    costings = Costings()
    orders = [asked(LINES), asked(turned(LINES)), asked(LINES, goal="least-waste")]
    wanted = [Costings().cost(shelf.source, order) for order in orders]
    wrong: list[int] = []

    def ask(first: int) -> None:
        for number in range(first, first + 6):
            if costings.cost(shelf.source, orders[number % 3]) != wanted[number % 3]:
                wrong.append(number)

    threads = [threading.Thread(target=ask, args=(first,)) for first in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_plants_are_remembered_apart_and_only_so_many(shelf: Shelf) -> None:
    costings = Costings(most_plants=2)
    other = Shelf.of(QUEUE.plant, QUEUE.jobs)
    dearer = Shelf.of(DAY.plant.model_copy(update={"late_eur": Decimal(999)}), DAY.jobs)
    for number, each in enumerate((shelf, dearer, shelf, dearer)):
        brief = costings.cost(replace(each.source, plant_key=number % 2), asked())
        assert brief == Costings().cost(each.source, asked())
    shelf.loaded.clear()
    nothing = OrderToCost.model_validate({"lines": [], "left_out": list(other.jobs)})
    costings.cost(replace(other.source, plant_key="third"), nothing)
    costings.cost(replace(shelf.source, plant_key=0), asked())
    assert "plant" in shelf.loaded


def test_jobs_need_not_be_loaded_again_for_another_version_of_the_plant(shelf: Shelf) -> None:
    costings = Costings()
    costed(shelf.source, asked(), costings)
    shelf.plant, shelf.setup_version = DAY.plant.model_copy(update={"overs_pct": Decimal(40)}), 2
    shelf.loaded.clear()
    assert costed(shelf.source, asked(), costings) == costed(Shelf.of(shelf.plant, DAY.jobs).source, asked())
    assert shelf.loaded == ["plant"]


def test_what_is_remembered_does_not_grow_for_ever(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known_plant, "MOST_KNOWN", 50)
    monkeypatch.setattr(known_plant, "MOST_QUESTIONS", 2)
    monkeypatch.setattr(known_plant, "MOST_JOBS", 5)
    costings = Costings()
    for hours in (0, 1, 2, 0):
        order = asked(turned(LINES), start=(DAY.start + timedelta(hours=hours)).isoformat())
        assert costed(shelf.source, order, costings) == costed(shelf.source, order)
