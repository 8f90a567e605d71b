"""Plans, costings and checks as the service gives them, on the sample."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from app.contracts.jobs import Job
from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import Changeover, CostedPlan, Goal, Progress, Sequence
from app.documents.sequence_files import write_sequence
from app.errors import BadInput, NothingCanRun
from app.intake.queue import read_queue, read_queue_and_order
from app.services import planning
from app.translation.solving import Question
from solver.account import account
from solver.ledger import web_ledger
from solver.search.solve import solve
from solver.search.stop import Stop
from solver.weights import GOALS
from tests.app.queues import SAMPLE, put, sample_plant
from tests.checker.check import check_sequence

WORK = 400
QUEUE = read_queue(SAMPLE / "plant.json", SAMPLE / "jobs.csv")
START = planning.plan_start(QUEUE.plant, None, datetime.now(UTC))
QUESTION = Question(QUEUE.plant, QUEUE.jobs, START)
JOBS = tuple(job.job for job in QUEUE.jobs)


def planned(goal: Goal = Goal.BALANCED, plant: Plant = QUEUE.plant, start: datetime = START) -> CostedPlan:
    return planning.plan(Question(plant, QUEUE.jobs, start), goal, work=WORK)


def changed_plant(**changes: object) -> Plant:
    plant = sample_plant()
    for place, new in changes.items():
        put(plant, place.replace("__", "."), new)
    return Plant.model_validate(plant)


def on_the_hybrid_line(*jobs: str, left_out: tuple[str, ...] = ()) -> RunOrder:
    runs = tuple(OrderedRun(job=job) for job in jobs)
    return RunOrder(lines=(LineOrder(line="H1", runs=runs),), left_out=left_out)


def changeovers(sequence: Sequence, line: str = "H1") -> list[Changeover]:
    (line_runs,) = (runs for runs in sequence.lines if runs.line == line)
    return [run.changeover for run in line_runs.runs if run.changeover is not None]


def aspects(changeover: Changeover) -> set[str]:
    tasks = [task for stop in changeover.stops for task in stop.tasks] + list(changeover.hidden)
    return {change.aspect for task in tasks for change in task.changes}


@pytest.mark.parametrize("goal", list(Goal))
def test_every_plan_of_the_sample_passes_the_independent_checker(goal: Goal) -> None:
    problem = QUESTION.problem
    for sequence in solve(problem, GOALS[goal], Stop(work=WORK)).sequences:
        assert check_sequence(problem, sequence, GOALS[goal], web_ledger(problem, sequence)) == []
        assert account(problem, sequence.order, GOALS[goal]) == sequence


@pytest.mark.parametrize("goal", list(Goal))
def test_totals_are_the_sums_of_the_parts_shown(goal: Goal) -> None:
    sequence = planned(goal).sequence
    runs = [run for line in sequence.lines for run in line.runs]
    cost, totals = sequence.cost, sequence.totals
    parts = (cost.waste_eur, cost.changeover_eur, cost.waiting_eur, cost.late_eur)
    assert cost.controllable_eur == sum(parts)
    assert cost.total_eur == cost.controllable_eur + cost.running_eur
    assert totals.waste_m == sum(run.waste_m for run in runs)
    assert totals.running_min == sum(run.run_min for run in runs)
    assert totals.waiting_min == sum(line.waiting_min for line in sequence.lines)
    assert totals.lateness_min == sum(run.late_min for run in runs)
    wasted = sum(share.length_m for share in totals.waste if share.kind != "spoilage allowance")
    assert totals.waste_m == wasted
    for changeover in changeovers(sequence):
        assert changeover.waste_m == (
            changeover.strip_m
            + changeover.spoil_outgoing_m
            + changeover.spoil_incoming_m
            + changeover.splice_m
            + changeover.start_up_m
        )


def test_the_ledger_gives_every_metre_of_a_line_without_a_gap() -> None:
    sequence = planned().sequence
    for line in sequence.lines:
        pieces = [piece for piece in sequence.ledger if piece.line == line.line]
        at_m = Decimal(0)
        for piece in pieces:
            assert piece.from_m == at_m
            assert piece.to_m - piece.from_m == piece.length_m
            at_m = piece.to_m
        assert at_m == sum(run.web_m + run.waste_m for run in line.runs)


def test_times_carry_the_sites_offset_and_follow_each_other() -> None:
    for line in planned().sequence.lines:
        before = START
        for run in line.runs:
            assert run.end.utcoffset() == timedelta(hours=1)
            assert before <= run.changeover_start <= run.print_start <= run.end
            before = run.end


def test_the_plan_is_never_dearer_than_its_baselines() -> None:
    costed_plan = planned()
    assert [baseline.name for baseline in costed_plan.baselines] == ["as entered", "by due time"]
    for baseline in costed_plan.baselines:
        assert costed_plan.sequence.cost.total_eur <= baseline.cost.total_eur


def test_the_same_seed_and_work_give_the_same_plan() -> None:
    assert planned() == planned()


def test_progress_is_told_and_a_cancelled_search_keeps_what_it_has() -> None:
    told: list[Progress] = []
    costed_plan = planning.plan(
        QUESTION,
        Goal.BALANCED,
        seconds=60,
        cancelled=lambda: bool(told),
        on_progress=told.append,
    )
    assert told
    assert costed_plan.sequence.totals.jobs == len(JOBS)


@pytest.mark.parametrize("suffix", ["json", "csv"])
def test_a_written_plan_costs_the_same_when_it_is_read_again(tmp_path: Path, suffix: str) -> None:
    sequence = planned(Goal.LEAST_WASTE).sequence
    write_sequence(sequence, tmp_path)
    queue, order = read_queue_and_order(
        SAMPLE / "plant.json", SAMPLE / "jobs.csv", tmp_path / f"sequence.{suffix}"
    )
    assert (
        planning.cost(Question(queue.plant, queue.jobs, START), order, Goal.LEAST_WASTE).sequence == sequence
    )


def test_a_written_plan_with_a_job_left_out_is_costed_again(tmp_path: Path) -> None:
    plant = changed_plant(substrates__1__widths__0__on_hand_m=1000)
    sequence = planned(plant=plant).sequence
    assert [left_out.job for left_out in sequence.left_out] == ["J-2102"]
    write_sequence(sequence, tmp_path)
    for name in ("sequence.csv", "sequence.json"):
        _, order = read_queue_and_order(SAMPLE / "plant.json", SAMPLE / "jobs.csv", tmp_path / name)
        again = planning.cost(Question(plant, QUEUE.jobs, START), order, Goal.BALANCED).sequence
        assert again.lines == sequence.lines


def test_a_set_up_on_the_hybrid_line_costs_about_7_m_whatever_the_order() -> None:
    """Common practice on buffered lines, no published source: 6 to 9 m each, 18 to 24 m for three."""
    for jobs in itertools.permutations(JOBS):
        order = on_the_hybrid_line(*jobs)
        sequence = planning.cost(QUESTION, order, Goal.LEAST_WASTE).sequence
        _, *set_ups = changeovers(sequence)
        assert all(6 <= set_up.waste_m <= 9 for set_up in set_ups)
        assert 18 <= sum(set_up.waste_m for set_up in set_ups) <= 24


@pytest.mark.parametrize(
    ("changed", "changes"),
    [
        ({"substrate": "PP-W60"}, {"roll", "settings"}),
        ({"die": "D-103"}, {"die"}),
        (
            {"finishes": [[{"kind": "inkjet"}], [{"kind": "varnish", "consumable": "varnish-matt"}]]},
            {"consumable"},
        ),
    ],
)
def test_one_change_alone_costs_between_6_and_9_m_under_least_waste(
    changed: dict[str, object], changes: set[str]
) -> None:
    plant = sample_plant()
    plant["dies"].append(plant["dies"][0] | {"id": "D-103"})
    plant["consumables"].append({"id": "varnish-matt", "anilox": "A-140"})
    first = QUEUE.jobs[0]
    second = Job.model_validate(first.model_dump() | {"job": "J-2"} | changed)
    sequence = planning.cost(
        Question(Plant.model_validate(plant), [first, second], START),
        on_the_hybrid_line("J-2101", "J-2"),
        Goal.LEAST_WASTE,
    ).sequence
    change = changeovers(sequence)[1]
    assert aspects(change) == changes
    assert 6 <= change.waste_m <= 9


def test_the_sample_changes_substrate_die_and_flexo() -> None:
    seen = set().union(*(aspects(changeover) for changeover in changeovers(planned().sequence)))
    assert {"roll", "die", "plate", "consumable"} <= seen


def test_a_job_that_no_line_can_run_is_left_out_with_the_reason_of_each_line() -> None:
    plant = changed_plant(lines__0__stations__4__kind="flexo")
    (left_out,) = planned(plant=plant).sequence.left_out
    assert left_out.job == "J-2103"
    assert left_out.reasons == (
        "H1: no station can do cold-foil",
        "P1: it has no inkjet; no station can do cold-foil",
    )


def test_a_queue_of_which_nothing_can_run_is_refused_with_reasons() -> None:
    plant = changed_plant(lines__0__web_width_mm=300, lines__1__web_width_mm=300)
    with pytest.raises(NothingCanRun) as refused:
        planned(plant=plant)
    assert [reason.partition(":")[0] for reason in refused.value.reasons] == list(JOBS)


def test_overdue_jobs_are_late_not_wrong() -> None:
    a_year_on = planned(start=datetime(2028, 3, 1, 6)).sequence
    assert a_year_on.totals.jobs == len(JOBS)
    assert a_year_on.totals.late_jobs == len(JOBS)


def test_an_order_without_a_job_that_could_run_is_refused() -> None:
    with pytest.raises(BadInput, match=r"J-2104”: must be in the order"):
        planning.cost(QUESTION, on_the_hybrid_line(*JOBS[:3]), Goal.BALANCED)


def test_an_order_may_leave_a_job_out_on_purpose() -> None:
    order = on_the_hybrid_line(*JOBS[:3], left_out=("J-2104",))
    sequence = planning.cost(QUESTION, order, Goal.BALANCED).sequence
    assert [(left_out.job, left_out.reasons) for left_out in sequence.left_out] == [
        ("J-2104", ("the order does not place it",))
    ]


@pytest.mark.parametrize(
    ("line", "stations", "right"),
    [
        ("P1", None, "it has no inkjet"),
        ("H1", ("inkjet", "flexo-1", "die"), "cannot be done at inkjet, flexo-1, die"),
        ("H1", ("flexo-2", "flexo-3", "die"), "cannot be done at"),
    ],
)
def test_a_job_where_it_cannot_run_is_refused_with_the_reason(
    line: str, stations: tuple[str, ...] | None, right: str
) -> None:
    run = OrderedRun(job="J-2101", stations=stations, row=2)
    order = RunOrder(lines=(LineOrder(line=line, runs=(run,)),), left_out=JOBS[1:])
    with pytest.raises(BadInput) as refused:
        planning.cost(QUESTION, order, Goal.BALANCED)
    (fault,) = refused.value.faults
    assert fault.row == 2
    assert right in fault.right


def test_stations_named_in_an_order_are_used() -> None:
    stations = ("inkjet", "flexo-2", "die")
    run = OrderedRun(job="J-2101", stations=stations)
    order = RunOrder(lines=(LineOrder(line="H1", runs=(run,)),), left_out=JOBS[1:])
    sequence = planning.cost(QUESTION, order, Goal.BALANCED).sequence
    assert sequence.lines[0].runs[0].stations == stations


def test_a_check_names_what_is_not_ready_overdue_or_short_of_stock() -> None:
    jobs = [
        QUEUE.jobs[0].model_copy(update={"ready": datetime(2027, 3, 1, 9)}),
        QUEUE.jobs[1],
        QUEUE.jobs[2].model_copy(update={"due": datetime(2027, 3, 1, 6, 30)}),
        QUEUE.jobs[3],
    ]
    plant = changed_plant(substrates__1__widths__0__on_hand_m=1000)
    readiness = planning.check(Question(plant, jobs, START))
    by_job = {job.job: job for job in readiness.jobs}
    ready = by_job["J-2101"].not_ready_until
    overdue = by_job["J-2103"].overdue_since
    assert ready is not None
    assert ready.isoformat() == "2027-03-01T09:00:00+01:00"
    assert overdue is not None
    assert overdue.isoformat() == "2027-03-01T05:30:00+01:00"
    assert not by_job["J-2102"].can_run
    assert "PP-W60" in by_job["J-2102"].left_out[0]
    assert by_job["J-2104"].can_run
    assert [(fit.line, bool(fit.reasons)) for fit in by_job["J-2103"].lines] == [("H1", False), ("P1", True)]
    (film,) = (stock for stock in readiness.stocks if stock.substrate == "PP-W60")
    assert film.on_hand_m == 1000
    assert film.needed_m < 1000


def test_a_check_counts_deliveries_by_whether_they_have_come() -> None:
    before = planning.check(QUESTION).stocks
    after = planning.check(Question(QUEUE.plant, QUEUE.jobs, datetime(2027, 3, 2, 9))).stocks
    (paper_before,) = (stock for stock in before if stock.substrate == "PAPER-80")
    (paper_after,) = (stock for stock in after if stock.substrate == "PAPER-80")
    assert paper_before.on_hand_m == 3600
    assert paper_before.to_come_m == 4000
    assert paper_after.on_hand_m == 7600
    assert paper_after.to_come_m == 0


def test_a_plan_starts_as_asked_else_as_the_plant_says_else_at_the_next_full_minute() -> None:
    asked = datetime(2027, 5, 1, 6)
    now = datetime(2027, 4, 1, 10, 0, 30, tzinfo=UTC)
    without = changed_plant(site__plan_from=None)
    assert planning.plan_start(QUEUE.plant, asked, now) == asked
    assert planning.plan_start(QUEUE.plant, None, now) == datetime.fromisoformat("2027-03-01T06:00+01:00")
    assert planning.plan_start(without, None, now) == datetime(2027, 4, 1, 10, 1, tzinfo=UTC)
    assert planning.plan_start(without, None, now.replace(second=0)) == now.replace(second=0)
