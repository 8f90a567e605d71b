"""Reasons of a plan as people get them: on the site's clock, in words, as a file."""

from __future__ import annotations

import json
import re
from datetime import datetime
from decimal import Decimal

import pytest

from app.contracts.locks import FixedStartLock, LineLock, Lock, PositionLock
from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.reasons import (
    Alone,
    Awaited,
    CostPart,
    Difference,
    Elsewhere,
    Hold,
    LateReasons,
    Reasons,
    RunReasons,
    SpentBefore,
)
from app.contracts.sequences import CostedPlan, Goal, Run
from app.documents.report import report_html
from app.documents.told_reasons import (
    difference_sentences,
    extra_text,
    hold_text,
    late_sentences,
    part_text,
    reasons_sentences,
    signed,
    told_runs,
)
from app.intake.queue import read_queue
from app.services import planning
from app.services.reasons import compare, explain
from app.translation.solving import Question
from tests.app.pages import Page
from tests.app.queues import SAMPLE, Files

QUEUE = read_queue(SAMPLE / "plant.json", SAMPLE / "jobs.csv")
START = datetime(2027, 3, 1, 6)
QUESTION = Question(QUEUE.plant, QUEUE.jobs, START)
LATE_START = datetime(2027, 3, 1, 8)
GOOD = ("J-2101", "J-2103", "J-2104", "J-2102")
BAD = ("J-2104", "J-2101", "J-2103", "J-2102")


def order_of(jobs: tuple[str, ...]) -> RunOrder:
    return RunOrder(lines=(LineOrder(line="H1", runs=tuple(OrderedRun(job=job) for job in jobs)),))


def costed(
    jobs: tuple[str, ...],
    goal: Goal = Goal.BALANCED,
    start: datetime = START,
    locks: tuple[Lock, ...] = (),
) -> CostedPlan:
    return planning.cost(Question(QUEUE.plant, QUEUE.jobs, start, locks=locks), order_of(jobs), goal)


def reasons_of(
    jobs: tuple[str, ...],
    goal: Goal = Goal.BALANCED,
    start: datetime = START,
    locks: tuple[Lock, ...] = (),
) -> Reasons:
    return explain(Question(QUEUE.plant, QUEUE.jobs, start, locks=locks), costed(jobs, goal, start, locks))


def run_reasons(reasons: Reasons, job: str) -> RunReasons:
    return next(run for run in reasons.runs if run.job == job)


# What is told is what costing gives


def with_elsewhere(place: Elsewhere) -> CostedPlan:
    """The bad order with a run at the place told."""
    rest = [OrderedRun(job=job) for job in BAD if job != place.job]
    lines = {"H1": rest, "P1": []}
    lines[place.line].insert(place.number - 1, OrderedRun(job=place.job, stations=place.stations))
    order = RunOrder(lines=tuple(LineOrder(line=line, runs=tuple(runs)) for line, runs in lines.items()))
    return planning.cost(QUESTION, order, Goal.BALANCED)


def runs_of(plan: CostedPlan) -> dict[str, Run]:
    return {run.job: run for line in plan.sequence.lines for run in line.runs}


def test_places_that_are_told_cost_what_costing_those_orders_gives() -> None:
    now = costed(BAD).sequence.cost
    for run in reasons_of(BAD).runs:
        for place in (run.cheapest, run.earlier):
            if place is None:
                continue
            then = with_elsewhere(place)
            extra_eur = then.sequence.cost.controllable_eur - now.controllable_eur
            assert place.extra_controllable_eur == pytest.approx(extra_eur, abs=Decimal("0.00001"))
            assert place.end == runs_of(then)[run.job].end
    assert run_reasons(reasons_of(BAD), "J-2104").cheapest is not None


def test_remedies_that_are_told_make_the_job_on_time() -> None:
    late = reasons_of(BAD).late
    assert [one.job for one in late] == ["J-2103", "J-2102"]
    for one in late:
        assert one.remedy is not None
        then = runs_of(with_elsewhere(one.remedy))
        assert then[one.job].late_min == 0
        assert {job for job, run in then.items() if run.late_min} == {
            *one.remedy.late,
            *(other.job for other in late if other.job not in one.remedy.on_time),
        }


def test_differences_from_the_baselines_add_up_to_what_the_totals_show() -> None:
    plan = costed(BAD)
    reasons = explain(QUESTION, plan)
    for told, baseline in zip(reasons.differences, plan.baselines, strict=True):
        assert told.other == baseline.name
        assert sum(part.more_eur for part in told.parts) == told.total_eur
        shown = plan.sequence.cost.controllable_eur - baseline.cost.controllable_eur
        assert told.controllable_eur == pytest.approx(shown, abs=Decimal("0.0001"))


def test_comparing_two_orders_gives_the_difference_of_their_costs() -> None:
    orders = (("bad", order_of(BAD)), ("good", order_of(GOOD)))
    told = compare(QUESTION, orders, Goal.BALANCED)
    dearer_eur = costed(BAD).sequence.cost.total_eur - costed(GOOD).sequence.cost.total_eur
    assert told.total_eur == pytest.approx(dearer_eur, abs=Decimal("0.0001"))
    assert (told.order, told.other, told.only_here, told.only_there) == ("bad", "good", (), ())


def test_times_are_on_the_sites_clock() -> None:
    hold = run_reasons(reasons_of(GOOD), "J-2103").hold
    first = costed(GOOD).sequence.lines[0].runs[0]
    assert (hold.awaited, hold.job, hold.until) == (Awaited.LINE, "J-2101", first.end)
    assert hold.until.utcoffset() == first.end.utcoffset() is not None


def test_a_lock_is_named_in_words_where_it_holds_a_run_and_where_it_forbids_a_place() -> None:
    fixed = FixedStartLock(lock="fixed-start", job="J-2102", at=datetime(2027, 3, 1, 9))
    third = PositionLock(lock="at-position", job="J-2104", position=3)
    reasons = reasons_of(GOOD, locks=(fixed, third))
    hold = run_reasons(reasons, "J-2102").hold
    assert hold_text(hold) == "lock: J-2102 starts at 2027-03-01T09:00+01:00"
    told = {run.job: run for run in told_runs(reasons, "H1")}
    assert told["J-2104"].elsewhere == "none: every other breaks a lock or leaves a job out"
    assert told["J-2104"].earlier == "no: lock: J-2104 is number 3 on its line"


def test_a_place_that_keeps_a_lock_which_the_order_breaks_is_told_first_and_so() -> None:
    locks = (
        PositionLock(lock="at-position", job="J-2104", position=1),
        LineLock(lock="on-line", job="J-2104", line="H1"),
    )
    reasons = reasons_of(("J-2101", "J-2104", "J-2103", "J-2102"), locks=locks)
    (told,) = (run for run in told_runs(reasons, "H1") if run.job == "J-2104")
    assert told.elsewhere == ("+223.58 € first (keeps: J-2104 is number 1 on its line; late then: J-2102)")


def test_a_place_that_breaks_a_lock_instead_of_another_is_told_so() -> None:
    locks = (
        PositionLock(lock="at-position", job="J-2104", position=1),
        PositionLock(lock="at-position", job="J-2101", position=1),
        LineLock(lock="on-line", job="J-2104", line="H1"),
        LineLock(lock="on-line", job="J-2101", line="H1"),
    )
    reasons = reasons_of(("J-2101", "J-2104", "J-2103", "J-2102"), locks=locks)
    (told,) = (run for run in told_runs(reasons, "H1") if run.job == "J-2104")
    assert "on P1 first (keeps: J-2104 is number 1 on its line; breaks: J-2104 runs on H1;" in told.earlier


# Words

MOMENT = datetime(2027, 3, 2, 14, 20)


@pytest.mark.parametrize(
    ("hold", "text"),
    [
        (Hold(awaited=Awaited.LINE, until=MOMENT), "line free Tue 2 Mar 14:20"),
        (Hold(awaited=Awaited.LINE, until=MOMENT, job="A"), "line free Tue 2 Mar 14:20, behind A"),
        (Hold(awaited=Awaited.READY, until=MOMENT), "artwork, plates, die ready Tue 2 Mar 14:20"),
        (
            Hold(awaited=Awaited.STOCK, until=MOMENT, substrate="PP", width_mm=Decimal(330)),
            "enough PP 330 mm from Tue 2 Mar 14:20",
        ),
        (
            Hold(awaited=Awaited.TOOL, until=MOMENT, tool="die D-1", job="B"),
            "die D-1 in use by B until Tue 2 Mar 14:20",
        ),
        (Hold(awaited=Awaited.TOOL, until=MOMENT, tool="die D-1"), "die D-1 in use until Tue 2 Mar 14:20"),
        (
            Hold(awaited=Awaited.LOCK, until=MOMENT, lock="A ends before B starts", job="A"),
            "lock: A ends before B starts (until Tue 2 Mar 14:20)",
        ),
        (Hold(awaited=Awaited.OPENING, until=MOMENT), "line opens Tue 2 Mar 14:20"),
        (Hold(awaited=Awaited.STARTED, until=MOMENT), "had started before the plan"),
    ],
)
def test_what_a_start_waits_for_in_words(hold: Hold, text: str) -> None:
    assert hold_text(hold) == text


def elsewhere(**changes: object) -> Elsewhere:
    place = Elsewhere(
        job="A",
        line="H1",
        number=2,
        behind="B",
        ahead_of=None,
        stations=("inkjet", "die"),
        end=MOMENT,
        extra_weighed_eur=Decimal("12.345"),
        extra_controllable_eur=Decimal("12.345"),
        late=(),
        on_time=(),
        left_out=(),
        broken_locks=(),
        mended_locks=(),
    )
    return place.model_copy(update=changes)


@pytest.mark.parametrize(
    ("weighed", "plain", "goal", "text"),
    [
        ("12.345", "12.345", Goal.BALANCED, "+12.35 €"),
        ("-3.5", "-3.5", Goal.BALANCED, "−3.50 €"),
        ("0.001", "0.001", Goal.BALANCED, "±0.00 €"),
        ("12.345", "-1", Goal.BALANCED, "+12.35 € (−1.00 without running)"),
        ("-24480.3", "25.96", Goal.LEAST_WASTE, "+25.96 € (−24,480.30 weighed)"),
    ],
)
def test_what_a_place_costs_is_told_with_its_sign(weighed: str, plain: str, goal: Goal, text: str) -> None:
    place = elsewhere(extra_weighed_eur=Decimal(weighed), extra_controllable_eur=Decimal(plain))
    assert extra_text(place, goal) == text


def late_run(**changes: object) -> LateReasons:
    late = LateReasons(
        job="C",
        line="H1",
        number=3,
        press_due=datetime(2027, 3, 2, 13),
        end=MOMENT,
        late_min=Decimal(80),
        late_even_alone=False,
        alone=Alone(
            line="H1",
            start=datetime(2027, 3, 2, 9),
            setup_min=Decimal(20),
            run_min=Decimal(40),
            end=datetime(2027, 3, 2, 10),
            hold=Hold(awaited=Awaited.READY, until=datetime(2027, 3, 2, 9)),
        ),
        before=(
            SpentBefore(job="A", setup_min=Decimal(10), run_min=Decimal(100)),
            SpentBefore(job="B", setup_min=Decimal(12), run_min=Decimal(30)),
        ),
        setup_min=Decimal(15),
        run_min=Decimal(40),
        waiting_min=Decimal(0),
        closed_min=Decimal(0),
        chain=("A", "B", "C"),
        chain_hold=Hold(awaited=Awaited.LINE, until=MOMENT),
        remedy=None,
        harmless=None,
        soonest=None,
        soonest_end=MOMENT,
        moves=1200,
    )
    return late.model_copy(update=changes)


def said(late: LateReasons) -> str:
    return " ".join(late_sentences(late, Goal.BALANCED))


def test_a_late_job_is_told_with_the_runs_and_changeovers_before_it() -> None:
    assert said(late_run()) == (
        "C, number 3 on H1, ends Tue 2 Mar 14:20, 80.0 min after Tue 2 Mar 13:00. First and alone it would "
        "end Tue 2 Mar 10:00 on H1 (artwork, plates, die ready Tue 2 Mar 09:00). Directly before it 2 runs "
        "with 130.0 min of running (longest A 100.0 and B 30.0) and 22.0 min of changeovers; its own take "
        "40.0 and 15.0 min. None of 1,200 single moves costed makes it on time or lets it end earlier."
    )


def test_a_job_that_is_late_even_alone_is_told_so_and_what_it_waits_for() -> None:
    text = said(late_run(late_even_alone=True))
    assert "It would be late even first and alone: on H1 it would end Tue 2 Mar 10:00" in text
    assert "(artwork, plates, die ready Tue 2 Mar 09:00; 20.0 min changeover and 40.0 min running)" in text
    assert "Directly before it" not in text


def test_a_wait_further_up_is_told_with_the_run_that_waits() -> None:
    wait = Hold(awaited=Awaited.TOOL, until=MOMENT, tool="die D-1", job="X")
    text = said(late_run(chain=("B", "C"), chain_hold=wait))
    assert "B, the first of the 2 runs up to it, waits: die D-1 in use by X until Tue 2 Mar 14:20." in text
    assert "Directly before it one run with 30.0 min of running and 12.0 min of changeovers" in text
    assert "It waits: die D-1 in use by X" in said(late_run(chain=("C",), chain_hold=wait))


def test_closed_time_on_the_way_is_told() -> None:
    assert "H1 is closed for 45.0 min until then." in said(late_run(closed_min=Decimal(45)))


def test_a_remedy_is_told_with_its_cost_and_who_is_late_instead() -> None:
    place = elsewhere(job="C", line="P1", behind=None, on_time=("C", "D"), late=("E",))
    assert said(late_run(remedy=place)).endswith(
        "The cheapest single move that makes it on time: put it on P1 first, +12.35 €; D too; "
        "late instead: E. None does without making another late."
    )
    other = elsewhere(job="A", on_time=("C",))
    assert said(late_run(remedy=place, harmless=other)).endswith(
        "late instead: E. Without making another late: put A behind B, +12.35 €."
    )
    assert said(late_run(remedy=other, harmless=other)).endswith(
        "put A behind B, +12.35 €; nobody is late instead."
    )


def test_without_a_remedy_the_earliest_end_is_told() -> None:
    soonest = elsewhere(job="A")
    assert said(late_run(soonest=soonest, soonest_end=datetime(2027, 3, 2, 13, 30))).endswith(
        "None of 1,200 single moves costed makes it on time; the one after which it ends soonest, Tue 2 Mar "
        "13:30: put A behind B, +12.35 €."
    )


def part(cause: str, more_eur: int, **changes: object) -> CostPart:
    told = CostPart(cause=cause, more_eur=Decimal(more_eur), more_weighed_eur=Decimal(more_eur))
    return told.model_copy(update=changes)


DIFFERENCE = Difference(
    order="this plan",
    other="by due time",
    parts=(
        part("running", -90, line="H1", more_min=Decimal(-30)),
        part("lateness", -60, job="A", more_min=Decimal(-12)),
        part("make-ready", -20, line="H1", station="flexo-2", more_min=Decimal("-6.66")),
        part(
            "wasted web",
            5,
            kind="splice",
            substrate="PP",
            width_mm=Decimal(330),
            more_m=Decimal(25),
        ),
        part("lateness", 4, job="B", more_min=Decimal(1)),
    ),
    total_eur=Decimal(-161),
    controllable_eur=Decimal(-71),
    weighed_eur=Decimal(-161),
    only_here=(),
    only_there=(),
)


def test_a_difference_is_told_by_cause_and_by_its_biggest_parts() -> None:
    assert " ".join(difference_sentences(DIFFERENCE)) == (
        "This plan costs 71.00 € less than by due time, without running: lateness −56.00 € (−11.0 min), "
        "make-ready −20.00 € (−6.7 min) and wasted web +5.00 € (+25.0 m). Biggest single parts: lateness of "
        "A −60.00 € (−12.0 min), make-ready at flexo-2 of H1 −20.00 € (−6.7 min) and splice of PP 330 mm "
        "+5.00 € (+25.0 m)."
    )


def test_orders_that_do_not_run_the_same_jobs_are_told_so() -> None:
    told = DIFFERENCE.model_copy(update={"only_there": ("X", "Y")})
    assert list(difference_sentences(told))[-1] == (
        "Only by due time runs X and Y: the two do not compare like with like."
    )


def test_the_same_order_costs_the_same() -> None:
    orders = (("one", order_of(GOOD)), ("two", order_of(GOOD)))
    told = compare(QUESTION, orders, Goal.BALANCED)
    assert list(difference_sentences(told)) == ["one costs the same as two, part by part."]


@pytest.mark.parametrize(
    ("told", "text"),
    [
        (part("waiting", 7, line="P1", more_min=Decimal(3)), "waiting on P1 +7.00 € (+3.0 min)"),
        (part("running", -7, line="P1"), "running on P1 −7.00 €"),
    ],
)
def test_a_part_is_named_by_where_it_belongs(told: CostPart, text: str) -> None:
    assert part_text(told) == text


def test_money_is_signed() -> None:
    assert [signed(Decimal(value)) for value in ("1234.5", "-0.004", "-0.006")] == [
        "+1,234.50",
        "±0.00",
        "−0.01",
    ]


def test_an_order_that_single_moves_would_better_is_told_so_and_a_good_one_is_not() -> None:
    assert next(iter(reasons_sentences(reasons_of(BAD)))).startswith("4 runs would be cheaper elsewhere")
    assert next(iter(reasons_sentences(reasons_of(GOOD)))) == (
        "No single run would be cheaper at a place that was costed."
    )


def test_every_station_is_named_with_its_line() -> None:
    sentences = [sentence for told in reasons_of(BAD).differences for sentence in difference_sentences(told)]
    stations = [text for text in re.findall(r"make-ready at ([\w-]+ of \w+)", " ".join(sentences))]
    assert stations
    assert all(re.fullmatch(r"[\w-]+ of (H1|P1)", text) for text in stations)


# Where it is shown


def test_a_costing_explains_itself_when_asked_and_writes_all_of_it(files: Files) -> None:
    order = files.folder / "order.csv"
    order.write_text("line,job\n" + "".join(f"H1,{job}\n" for job in BAD), encoding="utf-8")
    out = files.folder / "out"
    asked = files.run("cost", "--sequence", str(order), "--explain", "--out", str(out))
    page = " ".join(asked.stdout.split())
    assert asked.exit_code == 0
    for words in ("Why line H1 runs so", "4 runs would be cheaper elsewhere", "Late: J-2103, number 3 on H1"):
        assert words in page
    written = Reasons.model_validate_json((out / "reasons.json").read_text(encoding="utf-8"))
    assert [run.job for run in written.runs] == list(BAD)
    assert "Why this order" in (out / "report.html").read_text(encoding="utf-8")


def test_nothing_is_explained_unasked(files: Files) -> None:
    out = files.folder / "out"
    plain = files.run("plan", "--work", "60", "--out", str(out))
    assert "Why line" not in plain.stdout
    assert not (out / "reasons.json").exists()
    assert "Why this order" not in (out / "report.html").read_text(encoding="utf-8")


def test_a_plan_explains_itself_when_asked(files: Files) -> None:
    page = " ".join(files.run("plan", "--work", "60", "--explain").stdout.split())
    assert "Why line H1 runs so" in page
    assert "This plan costs" in page


def test_two_orders_are_compared_on_the_screen(files: Files) -> None:
    paths = []
    for name, jobs in (("bad.csv", BAD), ("good.csv", GOOD)):
        path = files.folder / name
        path.write_text("line,job\n" + "".join(f"H1,{job}\n" for job in jobs), encoding="utf-8")
        paths.append(str(path))
    told = files.run("compare", *paths)
    page = " ".join(told.stdout.split())
    assert told.exit_code == 0
    assert "bad.csv costs 408.68 € more than good.csv, without running: lateness +" in page
    assert "What bad.csv has more than good.csv" in page
    assert "all, running included" in page


def test_an_order_that_cannot_be_read_is_refused_by_name(files: Files) -> None:
    good = files.folder / "good.csv"
    good.write_text("line,job\n" + "".join(f"H1,{job}\n" for job in GOOD), encoding="utf-8")
    bad = files.folder / "bad.csv"
    bad.write_text("line,job\nH1,J-9999\n", encoding="utf-8")
    refused = files.run("compare", str(good), str(bad))
    assert refused.exit_code == 2
    assert "bad.csv" in refused.stderr
    assert "J-9999" in refused.stderr


def test_the_report_escapes_what_it_tells() -> None:
    reasons = reasons_of(BAD)
    hostile = "J<b>&\"'</table><script>alert(1)</script>"
    first = reasons.runs[0].model_copy(update={"job": hostile})
    told = reasons.model_copy(update={"runs": (first, *reasons.runs[1:])})
    page = Page(report_html(costed(BAD), reasons=told))
    assert page.all("script") == []
    assert any(hostile in text for text in page.texts("th"))


def test_the_reasons_are_whole_in_json() -> None:
    reasons = reasons_of(BAD)
    assert Reasons.model_validate(json.loads(reasons.model_dump_json())).runs[0].job == reasons.runs[0].job
