"""Days of several lines run through: ours beside the peers, every order checked, the best ones kept."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import Any

import pytest

from solver.account import account
from solver.baselines import as_entered, by_due_time
from solver.locks import Started
from solver.problem import Problem
from tests.bench import day_solvers, days, days_best_known
from tests.bench.__main__ import main
from tests.bench.checked_sequences import WrongSequenceError
from tests.bench.day_search import WEIGHTS, DayEffort, DayFound
from tests.bench.day_solvers import CONSTRUCTED, CP_SAT, FIRST_ENGINE, ROUTING
from tests.bench.days_best_known import best_of, keep_if_better
from tests.bench.entry import OURS
from tests.bench.kept_orders import StaleReferenceError
from tests.bench.open_hours import OpenHours
from tests.bench.peers.day_model import DayModel
from tests.bench.peers.day_routes import DayRoutes
from tests.bench.peers.pair_prices import MS_PER_S
from tests.bench.peers.run_pairs import run_pairs
from tests.bench.peers.start_times import timed
from tests.bench.shop_days import DAYS, NoSuchDayError, ShopDay, shop_day

Rows = list[dict[str, Any]]
SMALL = "5/2 tight"
LOCKED = "10/2 tight"
QUICK = ["--seconds", "0.2", "--seeds", "1", "--threads", "1"]


@pytest.fixture(scope="module")
def locked() -> ShopDay:
    """A small day with a started run and locks."""
    return shop_day(LOCKED)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The rows of one small day with all peers."""
    rows = tmp_path_factory.mktemp("bench") / "days.json"
    main(["days", "--only", SMALL, "--peers", *QUICK, "--json", str(rows)])
    return rows


@pytest.fixture(scope="module")
def rows(file: Path) -> Rows:
    found: Rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return found


def test_ours_stands_beside_every_peer(rows: Rows) -> None:
    assert [row["solver"] for row in rows] == [OURS, CONSTRUCTED, FIRST_ENGINE, CP_SAT, ROUTING]
    by_solver = {row["solver"]: row for row in rows}
    for solver in (OURS, CONSTRUCTED, FIRST_ENGINE):
        assert by_solver[solver]["value"] > 0
        assert by_solver[solver]["left_out"] == by_solver[solver]["broken_locks"] == 0


def test_the_report_has_the_days_table(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    main(["report", str(file)])
    page = capsys.readouterr().out
    assert "### days" in page
    assert "| ratio to best peer | best known | above it | gap |" in page
    assert f"| {SMALL} |" in page


def test_a_day_that_was_measured_is_not_searched_again(file: Path, rows: Rows) -> None:
    main(["days", "--only", SMALL, "--peers", *QUICK, "--json", str(file)])
    assert json.loads(file.read_text(encoding="utf-8"))["rows"] == rows


def test_an_order_that_costs_something_else_than_was_said_ends_the_benchmark(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def bragging(*asked: Any) -> DayFound:
        return DayFound(as_entered(asked[0]), eur=1.0)

    monkeypatch.setattr(day_solvers, "searched", bragging)
    with pytest.raises(WrongSequenceError, match=f"{SMALL}, {OURS}: it costs .* as was said"):
        main(["days", "--only", SMALL, *QUICK])


def _row(solver: str, eur: float, *, broken: int = 0, **more: Any) -> dict[str, Any]:
    costs = {"value": eur, "weighed_eur": eur + 100, "left_out": 0, "broken_locks": broken}
    effort = {"bench": "days", "instance": SMALL, "seed": 0, "seconds": 1.0, "threads": 1}
    times = {
        "wall_s": 1.0,
        "cpu_s": 1.0,
        "late_eur": 0.0,
        "work": 1,
        "jobs": 5,
        "lines": 2,
        "bound_eur": None,
    }
    return {"solver": solver} | costs | effort | times | more


def _cells(*rows: dict[str, Any]) -> dict[str, str]:
    table = next(days.tables(rows))
    (line,) = table.lines
    return dict(zip(table.headings, line, strict=True))


def test_the_median_and_the_worst_seed_are_told_beside_the_cheapest_peer() -> None:
    ours = (_row(OURS, eur, seed=seed) for seed, eur in enumerate((210.0, 190.0, 200.0)))
    cells = _cells(*ours, _row(CP_SAT, 250.0), _row(ROUTING, 400.0))
    assert (cells["median"], cells["worst"]) == ("200", "210")
    assert cells["ratio to best peer"] == "0.800"
    assert (cells["best known"], cells["above it"]) == ("190", "5.26 %")
    assert cells["gap"] == "no bound"


def test_a_cheaper_peer_that_breaks_a_lock_is_not_the_better_one() -> None:
    cells = _cells(_row(OURS, 200.0), _row(CP_SAT, 100.0, broken=1))
    assert cells["ratio to best peer"] == "fewer faults"
    assert cells[CP_SAT] == "100 (1 fault)"
    assert cells["best known"] == "200"


def test_a_kept_order_counts_as_the_best_known() -> None:
    cells = _cells(_row(OURS, 200.0, best_known_score=[0, 260.0], best_known_eur=160.0))
    assert (cells["best known"], cells["above it"]) == ("160", "25.00 %")


def test_a_bound_gives_a_gap_of_the_weighed_cost() -> None:
    assert _cells(_row(OURS, 200.0, bound_eur=240.0))["gap"] == "25.00 %"


def test_only_a_better_order_replaces_the_best_known(tmp_path: Path) -> None:
    kept = tmp_path / "best.json"
    problem = shop_day(SMALL).problem
    found = {name: account(problem, order(problem), WEIGHTS) for name, order in _plain_orders()}
    worse, better = sorted(found, key=lambda name: found[name].weighed_eur, reverse=True)
    assert found[better].weighed_eur < found[worse].weighed_eur
    for name, is_kept in ((worse, True), (worse, False), (better, True), (worse, False)):
        assert keep_if_better(SMALL, best_of(found[name], name), kept) is is_kept
    assert days_best_known.read([SMALL], kept) == {SMALL: best_of(found[better], better)}
    assert days_best_known.read(["6/2 tight"], kept) == {}


def _plain_orders() -> Iterator[tuple[str, Any]]:
    yield "as entered", as_entered
    yield "by due time", by_due_time


def test_a_reference_run_keeps_its_order_and_the_next_run_stands_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept, rows = tmp_path / "best.json", tmp_path / "days.json"
    monkeypatch.setattr(days_best_known, "FILE", kept)
    main(["days", "--only", SMALL, *QUICK, "--reference"])
    best = days_best_known.read([SMALL], kept)[SMALL]
    assert best.found_by == f"{OURS}, 0.2 s"
    main(["days", "--only", SMALL, *QUICK, "--json", str(rows)])
    (row,) = json.loads(rows.read_text(encoding="utf-8"))["rows"]
    assert row["best_known_eur"] == best.controllable_eur
    assert days_best_known.read([SMALL], kept)[SMALL] == best


def test_a_kept_order_that_no_longer_costs_its_value_is_refused(tmp_path: Path) -> None:
    kept = tmp_path / "best.json"
    problem = shop_day(SMALL).problem
    best = best_of(account(problem, as_entered(problem), WEIGHTS), "a test")
    keep_if_better(SMALL, replace(best, weighed_eur=best.weighed_eur - 1), kept)
    with pytest.raises(StaleReferenceError, match=f"best.json: {SMALL} costs"):
        days_best_known.read([SMALL], kept)


@pytest.mark.parametrize("name", ["40/3", "40 tight", "0/3 tight", "40/9 tight", "40/3 late", "40/3 tight 1"])
def test_a_name_of_no_day_is_refused(name: str) -> None:
    with pytest.raises(NoSuchDayError, match=f"{name}: a day is named by"):
        shop_day(name)


def test_a_day_is_the_same_again_and_has_every_feature_on(locked: ShopDay) -> None:
    problem = locked.problem
    assert shop_day(LOCKED).problem.jobs == problem.jobs
    assert shop_day(LOCKED).problem.locks == problem.locks
    assert {type(lock).__name__ for lock in problem.locks} == {"Started", "OnLine", "Together", "Before"}
    assert all(line.calendar.closures and line.clean_down_in_ms for line in problem.plant.lines)
    assert any(die.copies for die in problem.plant.dies)
    assert problem.followed_stocks
    whole = shop_day("80/3 tight").problem
    assert any(job.ready_ms for job in whole.jobs)
    assert any(job.low_migration for job in whole.jobs)
    assert any(stocked.deliveries for stocked in whole.followed_stocks.values())


def test_loose_days_have_the_same_work_and_later_vans() -> None:
    tight, loose = shop_day("20/2 tight").problem, shop_day("20/2 loose").problem
    assert [job.versions for job in tight.jobs] == [job.versions for job in loose.jobs]
    pairs = list(zip(_dues(tight), _dues(loose), strict=True))
    assert all(soon < late for soon, late in pairs)


def _dues(problem: Problem) -> list[int]:
    return [job.due_ms for job in problem.jobs if job.due_ms is not None]


def test_a_number_behind_the_name_gives_another_day_of_the_kind() -> None:
    one, two = shop_day("20/2 tight").problem, shop_day("20/2 tight 2").problem
    assert len(one.jobs) == len(two.jobs)
    assert [job.die for job in one.jobs] != [job.die for job in two.jobs]


def test_every_day_of_the_benchmark_has_a_name_that_is_read() -> None:
    assert len(DAYS) == 12
    assert (shop_day(DAYS[0]).jobs, shop_day(DAYS[0]).lines) == (20, 1)


def test_open_time_leads_back_to_its_moment(locked: ShopDay) -> None:
    hours = OpenHours(locked.problem.plant.lines[0].calendar)
    start_ms, end_ms = locked.problem.plant.lines[0].calendar.closures[0]
    assert hours.open_ms(start_ms) == hours.open_ms(end_ms)
    for at_ms in (0, start_ms, end_ms + 1, 90_000_000):
        open_ms = hours.open_ms(at_ms)
        assert hours.open_ms(hours.moment_ms(open_ms)) == open_ms
        assert hours.moment_ms(open_ms) <= at_ms


def test_a_pair_costs_what_the_account_says_of_two_runs(locked: ShopDay) -> None:
    """Behind the present state the account of an order of two runs is the row of the line and the pair."""
    plain = ShopDay("plain", Problem(locked.problem.plant, tuple(_never_due(locked.problem))))
    pairs = run_pairs(plain, WEIGHTS)
    line_idx = 1
    able = (job for job in range(pairs.jobs) if pairs.can_run(line_idx, job) and not pairs.stocked_s[job])
    one, other = islice(able, 2)
    queues = [[one, other] if line == line_idx else [] for line in range(pairs.lines)]
    sequence = account(plain.problem, pairs.order_of(queues), WEIGHTS)
    first_eur, then_eur = pairs.eur[line_idx, pairs.jobs, one], pairs.eur[line_idx, one, other]
    assert float(sequence.weighed_eur) == pytest.approx(first_eur + then_eur, rel=1e-6)


def _never_due(problem: Problem) -> Iterator[Any]:
    for job in problem.jobs:
        yield replace(job, due_ms=None, ready_ms=0)


def test_the_model_takes_the_starting_order_and_gives_back_every_job(locked: ShopDay) -> None:
    pairs = run_pairs(locked, WEIGHTS)
    solved = DayModel(pairs).solve(1.0, 1, 0)
    assert solved is not None
    assert sorted(job for queue in solved.queues for job in queue) == list(range(pairs.jobs))
    sequence = account(locked.problem, pairs.order_of(solved.queues), WEIGHTS)
    assert not sequence.left_out
    assert not sequence.broken_locks


def test_routes_hold_every_job_and_keep_the_locks(locked: ShopDay) -> None:
    pairs = run_pairs(locked, WEIGHTS)
    queues = DayRoutes(pairs).solve(0.3)
    assert queues is not None
    assert sorted(job for queue in queues for job in queue) == list(range(pairs.jobs))
    assert not account(locked.problem, pairs.order_of(queues), WEIGHTS).broken_locks


def test_the_starting_order_is_timed_as_the_account_times_it_but_for_what_libraries_cannot_say(
    locked: ShopDay,
) -> None:
    pairs = run_pairs(locked, WEIGHTS)
    starts = {run.job: run for run in timed(pairs)}
    assert sorted(starts) == list(range(pairs.jobs))
    for run in starts.values():
        assert run.start_s >= max(pairs.ready_s[run.job], pairs.free_s[run.line_idx])
    sequence = account(locked.problem, pairs.start, WEIGHTS)
    last_s = max(pairs.hours.open_ms(run.end_ms) for run in sequence.runs) / MS_PER_S
    assert max(run.end_s for run in starts.values()) == pytest.approx(last_s, rel=0.15)


def test_the_first_engine_leaves_a_started_run_where_it_is(locked: ShopDay) -> None:
    solver = next(solver for solver in day_solvers.SOLVERS if solver.name == FIRST_ENGINE)
    found = solver.prepared(locked, DayEffort(0.3, 0, 1))()
    assert found is not None
    (started,) = (lock for lock in locked.problem.locks if isinstance(lock, Started))
    first = found.order[locked.problem.line_idx[started.line]][0]
    assert locked.problem.jobs[first.job_idx].id == started.job
    assert not account(locked.problem, found.order, WEIGHTS).broken_locks
