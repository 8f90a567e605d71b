"""The web ledger as people get it: the sample day by due time, and days on which something is amiss."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter, defaultdict
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from rich.console import Console

from app.contracts.web_ledger import RolledPiece, WebLedger
from app.documents.console_ledger import ledger_page
from app.documents.ledger_files import HEADING, write_ledger
from app.intake.queue import read_queue
from app.translation.solving import Question
from app.translation.times import PlanClock
from app.translation.units import rounded, um_from_m
from app.translation.web_ledger import web_ledger_contract
from solver.baselines import as_entered, by_due_time
from solver.jobs import Job, Version
from solver.ledger import web_ledger
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.roll_plan import RollPlan, with_rolls
from solver.rolls import Roll, StockRules
from solver.sequence import Order
from solver.weights import Weights
from tests.builders.plant_days import SAMPLE_DATA, sample_day
from tests.builders.worked import M_UM, WEB_UM, worked_job, worked_line, worked_problem

DAY = SAMPLE_DATA / "day"
CLOCK = PlanClock.at(datetime(2027, 3, 1, 6), ZoneInfo("Europe/Berlin"))


@pytest.fixture(scope="module")
def planned() -> tuple[Problem, RollPlan, PlanClock]:
    """The sample day by due time with the rolls of its stock list."""
    queue = read_queue(DAY / "plant.json", DAY / "jobs.csv", stock_path=DAY / "stock.csv")
    question = Question(queue.plant, queue.jobs, sample_day().start)
    problem, plan = with_rolls(question.problem, by_due_time(question.problem), Weights())
    return problem, plan, question.clock


@pytest.fixture(scope="module")
def ledger(planned: tuple[Problem, RollPlan, PlanClock]) -> WebLedger:
    return web_ledger_contract(*planned, "Sample site")


def worked_ledger(job: Job, *rolls: Roll, settled: bool = True) -> WebLedger:
    """A job on the worked line, its paper in these rolls."""
    problem = worked_problem(worked_line("H"), job)
    paper, *others = problem.plant.substrates
    paper = replace(paper, widths=(StockedWidth.by_roll(WEB_UM, rolls, 0),), thickness_um=140)
    problem = replace(problem, plant=replace(problem.plant, substrates=(paper, *others)))
    with_ends, plan = with_rolls(problem, as_entered(problem), Weights())
    return web_ledger_contract(with_ends, replace(plan, settled=settled and plan.settled), CLOCK, "Site")


def page_of(ledger: WebLedger) -> str:
    console = Console(file=io.StringIO(), width=200)
    for part in ledger_page(ledger):
        console.print(part)
    file = console.file
    assert isinstance(file, io.StringIO)
    return file.getvalue()


# The sample day


def test_the_parts_of_every_roll_are_as_long_as_it_to_the_micrometre(ledger: WebLedger) -> None:
    assert len(ledger.rolls) + len(ledger.unopened) == 82
    for roll in ledger.rolls:
        assert sum(part.length_m for part in roll.parts) == roll.length_m
        assert [part.from_m for part in roll.parts] == [0, *(part.to_m for part in roll.parts[:-1])]


def is_of_no_roll(piece: RolledPiece) -> bool:
    """What P1 holds when the plan begins: nobody has said which roll is on it."""
    return (piece.line, piece.run) == ("P1", 0)


def test_every_metre_that_ran_of_a_roll_is_a_metre_of_a_lines_web(ledger: WebLedger) -> None:
    ran: defaultdict[str | None, Decimal] = defaultdict(Decimal)
    for piece in ledger.pieces:
        ran[piece.roll] += piece.length_m
    assert ran.pop(None) == sum(piece.length_m for piece in ledger.pieces if is_of_no_roll(piece))
    assert ran == {roll.roll: roll.part_m("web") for roll in ledger.rolls}


def test_the_web_of_every_line_is_there_once(
    ledger: WebLedger, planned: tuple[Problem, RollPlan, PlanClock]
) -> None:
    problem, plan, _ = planned
    for line, web in zip(ledger.lines, web_ledger(problem, plan.sequence), strict=True):
        pieces = [piece for piece in ledger.pieces if piece.line == line.line]
        assert [piece.from_m for piece in pieces] == [0, *(piece.to_m for piece in pieces[:-1])]
        assert um_from_m(pieces[-1].to_m) == web[-1].to_um
        assert line.web_m == line.sellable_m + line.spoilage_m + line.waste_m == pieces[-1].to_m


def test_labels_of_pieces_reels_and_versions_are_the_same(ledger: WebLedger) -> None:
    pieces, reels = Counter[tuple[str, str | None]](), Counter[tuple[str, str | None]]()
    for piece in ledger.pieces:
        if piece.version is not None:
            pieces[piece.job, piece.version] += piece.labels
    for reel in ledger.reels:
        reels[reel.job, reel.version] += reel.labels
    made = {(version.job, version.version): version.made for version in ledger.versions}
    assert pieces == reels == made
    assert sum(made.values()) == sum(line.labels for line in ledger.lines)


def test_no_version_is_below_its_quantity(ledger: WebLedger) -> None:
    assert len(ledger.versions) == 212
    for version in ledger.versions:
        overs = version.overs_asked + version.overs_full_reels + version.overs_whole_repeats
        assert version.delivered == version.made == version.quantity + overs >= version.quantity
        assert not version.short


def test_waste_costs_what_the_account_says(
    ledger: WebLedger, planned: tuple[Problem, RollPlan, PlanClock]
) -> None:
    _, plan, _ = planned
    assert abs(ledger.waste_eur - rounded(plan.sequence.cost.waste_eur)) <= len(ledger.waste) * Decimal(
        "1e-6"
    )
    lost_m = sum(share.length_m for share in ledger.waste if share.cause == "roll")
    assert lost_m == sum(
        part.length_m for roll in ledger.rolls for part in roll.parts if part.part not in ("web", "stub")
    )


def test_a_sold_piece_lies_in_one_reel_of_every_lane(ledger: WebLedger) -> None:
    spans = {(reel.line, reel.run, reel.version, reel.number): reel for reel in ledger.reels}
    for piece in ledger.pieces:
        if piece.version is None:
            assert (piece.labels, piece.lanes, piece.first_reel) == (0, 0, None)
            continue
        assert piece.first_reel is not None
        assert piece.last_reel == piece.first_reel + piece.lanes - 1
        for number in (piece.first_reel, piece.last_reel):
            reel = spans[piece.line, piece.run, piece.version, number]
            assert reel.from_m <= piece.from_m < piece.to_m <= reel.to_m


def test_every_reel_has_a_diameter_and_none_is_too_large(ledger: WebLedger) -> None:
    assert {reel.diameter_mm is None for reel in ledger.reels} == {False}
    assert not any(reel.too_large for reel in ledger.reels)


# The files


def test_the_rows_of_a_roll_add_up_to_its_length(ledger: WebLedger, tmp_path: Path) -> None:
    _, csv_path = write_ledger(ledger, tmp_path / "new folder")
    with csv_path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert tuple(rows[0]) == HEADING
    lengths: defaultdict[str, Decimal] = defaultdict(Decimal)
    for row in rows:
        lengths[row["roll"]] += Decimal(row["length_m"])
    assert lengths.pop("") == sum(piece.length_m for piece in ledger.pieces if is_of_no_roll(piece))
    assert lengths == {roll.roll: roll.length_m for roll in ledger.rolls}
    assert sum(int(row["labels"]) for row in rows) == sum(line.labels for line in ledger.lines)
    assert csv_path.read_bytes().count(b"\r\n") == len(rows) + 1


def test_the_json_is_the_ledger(ledger: WebLedger, tmp_path: Path) -> None:
    json_path, _ = write_ledger(ledger, tmp_path)
    assert WebLedger.model_validate_json(json_path.read_text(encoding="utf-8")) == ledger
    told = json.loads(json_path.read_text(encoding="utf-8"), parse_float=Decimal)
    for roll in told["rolls"]:
        assert sum(part["length_m"] for part in roll["parts"]) == roll["length_m"]


# On a screen


def test_the_page_tells_lines_waste_and_rolls(ledger: WebLedger) -> None:
    page = page_of(ledger)
    for line in ledger.lines:
        assert f"{line.web_m:,.1f}" in page
    for roll in ledger.rolls:
        assert roll.roll in page
    assert "set-up strip" in page
    assert f"Not opened: {len(ledger.unopened)} rolls" in page
    assert "do not suffice" not in page


def test_a_shortage_tells_metres_job_and_hour() -> None:
    """1,000 m without a splice from rolls of 600 m: metres enough, but one roll of 1,000 m is missing."""
    job = replace(worked_job("J-1"), versions=(Version("v", 24_000),), splice_rule=SpliceRule.NEVER)
    ledger = worked_ledger(job, Roll("A", 600 * M_UM), Roll("B", 600 * M_UM))
    (short,) = ledger.missing
    assert (short.job, short.line, short.run, short.substrate) == ("J-1", "H", 1, "paper")
    assert short.missing_m >= 1000
    assert short.needed >= ledger.start
    assert {piece.roll for piece in ledger.pieces} == {None}
    assert [roll.roll for roll in ledger.unopened] == ["A", "B"]
    assert f"{short.missing_m:,.1f} m of paper 330 mm are missing for J-1" in page_of(ledger)


def test_a_roll_that_was_slit_tells_its_widths_and_the_strip_cut_off() -> None:
    """1,000 m without a splice, for which only a roll 20 mm wider is long enough."""
    job = replace(worked_job("J-1"), versions=(Version("v", 24_000),), splice_rule=SpliceRule.NEVER)
    problem = worked_problem(replace(worked_line("H"), web_width_um=350_000), job)
    paper, *others = problem.plant.substrates
    own = StockedWidth.by_roll(WEB_UM, (Roll("A", 600 * M_UM), Roll("B", 600 * M_UM)), 0)
    wider = StockedWidth.by_roll(350_000, (Roll("W", 1200 * M_UM),), 0)
    plant = replace(
        problem.plant,
        substrates=(replace(paper, widths=(own, wider)), *others),
        stock_rules=StockRules(most_trim_um=30_000),
    )
    with_ends, plan = with_rolls(replace(problem, plant=plant), as_entered(problem), Weights())
    ledger = web_ledger_contract(with_ends, plan, CLOCK, "Site")
    (roll,) = ledger.rolls
    widths_mm = (roll.width_mm, roll.slit_to_mm, roll.mounted_mm)
    assert (roll.roll, widths_mm) == ("W", (Decimal(350), Decimal(330), Decimal(330)))
    (trim,) = (share for share in ledger.waste if share.kind == "trim")
    sizes = (trim.width_mm, trim.length_m, trim.area_m2)
    assert (trim.cause, sizes) == ("roll", (Decimal(20), Decimal(1200), Decimal(24)))
    assert trim.eur == ledger.roll_waste_eur == 24 * Decimal("0.6")
    assert {piece.width_mm for piece in ledger.pieces} == {330}
    assert "paper 350 mm, slit to 330 mm" in page_of(ledger)


def test_reels_that_are_too_large_are_named() -> None:
    """1,000 m of 140 µm on a core of 76 mm: √(4 × 0.14 × 1,000,000 / π + 76²) = 428.987 mm."""
    job = replace(
        worked_job("J-1"), versions=(Version("v", 24_000),), core_um=76_000, largest_reel_um=300_000
    )
    ledger = worked_ledger(job, Roll("A", 1100 * M_UM))
    assert [reel.diameter_mm for reel in ledger.reels] == [Decimal("428.987")] * 3
    assert "3 reels larger than they may be: J-1 v doff 1 on H" in page_of(ledger)


def test_reels_with_more_splices_than_they_may_have_are_named() -> None:
    """Paper that is not followed by roll is taken to come in rolls of 1,000 m: one ends in a reel."""
    job = replace(
        worked_job("J-1", "long"),
        versions=(Version("v", 36_000),),
        labels_per_reel=5000,
        most_splices_a_reel=0,
    )
    problem, plan = with_rolls(*_entered(worked_problem(worked_line("H"), job)), Weights())
    ledger = web_ledger_contract(problem, plan, CLOCK, "Site")
    assert [reel.doff for reel in ledger.reels if reel.too_many_splices] == [2, 2, 2]
    (splice,) = ledger.reels[3].splices
    assert (splice.origin, splice.roll) == ("usual roll end", None)
    assert splice.wound_m == 125
    assert "3 reels with more splices than they may have: J-1 v doff 2 on H" in page_of(ledger)


def test_what_a_maximum_holds_back_is_told() -> None:
    version = Version("v", 20_000, max_quantity=20_500)
    job = replace(worked_job("J-1"), versions=(version,), labels_per_reel=1000, full_reels=True)
    page = page_of(worked_ledger(job, Roll("A", 1100 * M_UM)))
    assert "J-1, version v: held to its maximum, 500 labels fewer." in page
    assert "J-1, version v: the last repeat gives 2 labels that may not be sent." in page
    assert "20,502 labels of 1 version; beyond the quantities: 500 full reels, 2 whole repeats." in page


def _entered(problem: Problem) -> tuple[Problem, Order]:
    return problem, as_entered(problem)


def test_rolls_that_never_settled_are_not_told() -> None:
    job = replace(worked_job("J-1"), versions=(Version("v", 24_000),))
    ledger = worked_ledger(job, Roll("A", 1100 * M_UM), settled=False)
    assert (ledger.rolls, ledger.unopened, ledger.rolls_settled) == ((), (), False)
    assert "No rolls are told" in page_of(ledger)
