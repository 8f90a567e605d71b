"""What a jobs file may hold, and what is said when it does not."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from decimal import Decimal

import pytest

from app.contracts.jobs import MOST_LAYERS, Job, Layer
from app.errors import Fault
from app.intake.findings import Findings
from app.intake.jobs_file import read_jobs
from app.intake.plant_file import read_plant
from solver import jobs as solver_jobs
from tests.app.queues import Files, sample_rows


def read(files: Files) -> tuple[tuple[Job, ...], Findings]:
    findings = Findings()
    plant = read_plant(files.plant, findings)
    return read_jobs(files.jobs, plant, findings), findings


def faults_of(files: Files) -> list[Fault]:
    return read(files)[1].faults


def one_job(files: Files, **cells: str) -> Job:
    """The plain-line job of the sample with other cells."""
    files.write_jobs([sample_rows()[8] | cells])
    jobs, findings = read(files)
    assert findings.faults == []
    return jobs[0]


def test_the_sample_is_four_jobs_of_nine_versions_in_the_order_of_their_first_rows(files: Files) -> None:
    jobs, findings = read(files)
    assert findings.faults == []
    assert [(job.job, len(job.versions)) for job in jobs] == [
        ("J-2101", 3),
        ("J-2102", 2),
        ("J-2103", 3),
        ("J-2104", 1),
    ]


@pytest.mark.parametrize(
    ("text", "channels"),
    [
        ("", ""),
        ("CMYK", "CMYK"),
        ("CMYK+W", "CMYKW"),
        ("CMYK+OV", "CMYKOV"),
        ("CMYK + O+V", "CMYKOV"),
        ("cmyk", "CMYK"),
        ("V", "V"),
    ],
)
def test_colours_are_a_set_of_letters_and_plus_only_parts_them(
    files: Files, text: str, channels: str
) -> None:
    assert set(one_job(files, colours=text).colours) == set(channels)


def test_the_inkjet_comes_first_unless_its_place_is_marked(files: Files) -> None:
    first = one_job(files, colours="CMYK", finishes="spot:warm-red;varnish:varnish-gloss")
    marked = one_job(files, colours="CMYK", finishes="white:white-opaque;inkjet;varnish:varnish-gloss")
    assert [layer.kind for group in first.finishes for layer in group] == ["inkjet", "spot", "varnish"]
    assert [layer.kind for group in marked.finishes for layer in group] == ["white", "inkjet", "varnish"]


def test_layers_joined_by_plus_are_one_group_of_free_order(files: Files) -> None:
    job = one_job(files, finishes="white:white-opaque ; spot:warm-red + spot:deep-blue")
    assert job.finishes == (
        (Layer(kind="white", consumable="white-opaque"),),
        (Layer(kind="spot", consumable="warm-red"), Layer(kind="spot", consumable="deep-blue")),
    )


def test_the_inkjet_may_stand_in_a_group_of_free_order(files: Files) -> None:
    job = one_job(files, colours="CMYK", finishes="inkjet+white:white-opaque")
    assert [len(group) for group in job.finishes] == [2]


def test_optional_columns_are_taken_in_any_order(files: Files) -> None:
    cells = {
        "late_eur_per_h": "12.5",
        "ready": "2027-03-01T07:00",
        "overs_pct": "5",
        "max_quantity": "42000",
        "full_reels": "yes",
        "core_mm": "76",
        "roll_width_mm": "330",
        "late_eur": "80",
    }
    row = cells | sample_rows()[8] | cells
    files.write_jobs([row])
    (job,), findings = read(files)
    assert findings.faults == []
    assert job.late_eur_per_h == Decimal("12.5")
    assert job.ready == datetime(2027, 3, 1, 7)
    assert (job.versions[0].overs_pct, job.versions[0].max_quantity) == (Decimal(5), 42000)
    assert job.full_reels
    assert [job.core_mm, job.roll_width_mm, job.late_eur] == [Decimal(76), Decimal(330), Decimal(80)]


def test_a_date_alone_is_the_end_of_a_due_day_and_the_beginning_of_a_ready_day(files: Files) -> None:
    job = one_job(files, due="2027-03-01", ready="2027-03-01")
    assert job.due == datetime(2027, 3, 2)
    assert job.ready == datetime(2027, 3, 1)


def test_a_time_keeps_its_own_offset(files: Files) -> None:
    job = one_job(files, due="2027-03-01T15:00:00-05:00")
    assert job.due == datetime(2027, 3, 1, 15, tzinfo=timezone(timedelta(hours=-5)))


def test_times_on_the_sites_clock_and_jobs_without_due_time_are_said(files: Files) -> None:
    rows = sample_rows()
    rows[8]["due"] = ""
    for row in rows[:3]:
        row["due"] = "2027-03-01T13:00"
    files.write_jobs(rows)
    notes = read(files)[1].notes
    assert any(
        "due without an offset" in note and "Europe/Berlin" in note and "J-2101" in note for note in notes
    )
    assert any("never late: J-2104" in note for note in notes)


def test_rows_of_a_job_need_not_follow_each_other(files: Files) -> None:
    rows = sample_rows()
    files.write_jobs([rows[0], rows[8], *rows[1:8]])
    jobs, findings = read(files)
    assert findings.faults == []
    assert [job.job for job in jobs] == ["J-2101", "J-2104", "J-2102", "J-2103"]


@pytest.mark.parametrize(
    ("column", "value", "right"),
    [
        ("job", "", "must not be empty"),
        ("version", "", "must not be empty"),
        ("quantity", "", "must not be empty"),
        ("quantity", "0", "whole number above 0"),
        ("quantity", "-5", "whole number above 0"),
        ("quantity", "12,500", "without separators"),
        ("quantity", "12.5", "whole number above 0"),
        ("quantity", "9999999999", "at most 1,000,000,000"),
        ("quantity", "many", "whole number above 0"),
        ("substrate", "", "must not be empty"),
        ("substrate", "PP-W06", "nearest known one is “PP-W60”"),
        ("die", "D102", "nearest known one is “D-102”"),
        ("colours", "4/0", "inkjet channels, one letter each"),
        ("colours", "CMYK++W", "inkjet channels, one letter each"),
        ("finishes", "spot", "kind:consumable"),
        ("finishes", "spot:", "kind:consumable"),
        ("finishes", "spot:warm-red;", "kind:consumable"),
        ("finishes", "spot:warm-red:2", "kind:consumable"),
        ("finishes", "die-cut:D-102", "should not name the die"),
        ("finishes", ";".join(["spot:warm-red"] * (MOST_LAYERS + 1)), "should hold at most 8 layers"),
        ("finishes", "inkjet", "should not mark the inkjet's place where colours is empty"),
        ("due", "01/03/2027", "a date and time such as"),
        ("due", "2027-02-30T10:00", "a date and time such as"),
        ("due", "2027-02-30", "a date and time such as"),
        ("due", "0001-01-01T10:00", "years 2000 to 2100"),
        ("overs_pct", "2,5", "with a point"),
        ("overs_pct", "-1", "number of at least 0"),
        ("max_quantity", "39999", "at least the quantity, 40000"),
        ("full_reels", "perhaps", "yes or no"),
        ("labels_per_reel", "0", "whole number above 0"),
        ("core_mm", "0", "greater than 0"),
        ("roll_width_mm", "330 mm", "number of at least 0"),
        ("late_eur", "€ 5", "number of at least 0"),
    ],
)
def test_a_cell_that_is_wrong_is_refused_by_row_column_and_value(
    files: Files, column: str, value: str, right: str
) -> None:
    rows = sample_rows()
    rows[8][column] = value
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert (fault.file, fault.row, fault.field, fault.value or "") == (str(files.jobs), 10, column, value)
    assert right in fault.right


def test_a_due_time_before_the_jobs_own_ready_time_is_refused(files: Files) -> None:
    rows = sample_rows()
    rows[8]["ready"] = "2027-03-01T12:00:01"
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert (fault.row, fault.field, fault.value) == (10, "due", rows[8]["due"])
    assert "before the job's own ready time" in fault.right
    rows[8]["ready"] = "2027-03-01T12:00"
    files.write_jobs(rows)
    assert faults_of(files) == []


@pytest.mark.parametrize(
    ("finishes", "value", "right"),
    [
        ("white:white-opqaue", "white-opqaue", "nearest known one is “white-opaque”"),
        ("varnsh:varnish-gloss", "varnsh", "nearest known one is “varnish”"),
    ],
)
def test_an_unknown_layer_or_consumable_is_named_by_itself(
    files: Files, finishes: str, value: str, right: str
) -> None:
    rows = sample_rows()
    rows[8]["finishes"] = finishes
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert (fault.row, fault.field, fault.value) == (10, "finishes", value)
    assert right in fault.right


def test_full_reels_need_to_know_the_labels_on_a_reel(files: Files) -> None:
    rows = sample_rows()
    rows[8] |= {"full_reels": "yes", "labels_per_reel": ""}
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert (fault.row, fault.field) == (10, "labels_per_reel")


def test_the_inkjets_place_is_marked_once(files: Files) -> None:
    rows = sample_rows()
    rows[8] |= {"colours": "CMYK", "finishes": "inkjet;inkjet"}
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert fault.right == "should mark the inkjet's place once"


@pytest.mark.parametrize(
    ("column", "other"),
    [
        ("substrate", "PP-W60"),
        ("die", "D-102"),
        ("colours", "CMYK+W"),
        ("finishes", ""),
        ("due", "2027-03-01T14:00:00+01:00"),
        ("customer", "Somebody Else"),
        ("core_mm", "40"),
    ],
)
def test_what_belongs_to_the_job_must_agree_over_its_rows(files: Files, column: str, other: str) -> None:
    rows = sample_rows()
    said = rows[0][column]
    rows[2][column] = other
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert (fault.row, fault.field, fault.value or "") == (4, column, other)
    assert fault.right == f"should be “{said}” as in row 2 of the same job J-2101"


def test_the_same_channels_in_another_order_agree(files: Files) -> None:
    rows = sample_rows()
    rows[2]["colours"] = "KYMC"
    files.write_jobs(rows)
    assert faults_of(files) == []


def test_a_version_given_twice_is_refused_with_both_rows(files: Files) -> None:
    rows = sample_rows()
    rows[2]["version"] = rows[0]["version"]
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert (fault.row, fault.field) == (4, "version")
    assert "row 2" in fault.right


def test_all_faults_of_all_rows_are_told_at_once(files: Files) -> None:
    rows = sample_rows()
    rows[0]["quantity"] = "x"
    rows[3]["due"] = "soon"
    rows[8] |= {"die": "D-9", "substrate": "S-9"}
    files.write_jobs(rows)
    assert {(fault.row, fault.field) for fault in faults_of(files)} == {
        (2, "quantity"),
        (5, "due"),
        (10, "die"),
        (10, "substrate"),
    }


@pytest.mark.parametrize(
    ("text", "row", "right"),
    [
        ("", None, "should begin with a heading"),
        ("job;version;quantity\n", 1, "parted by commas"),
        ("job,version\n1,2\n", 1, "this column must be there"),
        ('job,version\n"open', 2, "cannot be read as CSV"),
    ],
)
def test_a_file_that_is_no_table_of_jobs_is_refused(
    files: Files, text: str, row: int | None, right: str
) -> None:
    files.jobs.write_text(text, encoding="utf-8")
    faults = faults_of(files)
    assert any(fault.row == row and right in fault.right for fault in faults)


def test_an_unknown_column_is_refused_with_the_nearest_known_one(files: Files) -> None:
    rows = [row | {"labels_per_rell": ""} for row in sample_rows()]
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert (fault.row, fault.value) == (1, "labels_per_rell")
    assert "labels_per_reel" in fault.right


def test_a_column_given_twice_is_refused(files: Files) -> None:
    text = files.jobs.read_text(encoding="utf-8").replace("core_mm", "job", 1)
    files.jobs.write_text(text, encoding="utf-8")
    (fault,) = faults_of(files)
    assert (fault.row, fault.field) == (1, "job")


def test_a_row_of_another_length_is_refused(files: Files) -> None:
    text = files.jobs.read_text(encoding="utf-8").rstrip("\n")
    files.jobs.write_text(f"{text},more\n", encoding="utf-8")
    (fault,) = faults_of(files)
    assert (fault.row, fault.right) == (10, "should have 11 cells like the heading, has 12")


def test_blank_lines_are_passed_over_and_rows_keep_their_numbers(files: Files) -> None:
    lines = files.jobs.read_text(encoding="utf-8").splitlines()
    lines.insert(3, ",,,,,,,,,,")
    lines.insert(3, "")
    text = "\n".join(lines).replace("40000", "forty thousand")
    files.jobs.write_text(text, encoding="utf-8")
    (fault,) = faults_of(files)
    assert fault.row == 12


def test_headings_are_matched_whatever_their_case_and_blanks(files: Files) -> None:
    heading, *rows = files.jobs.read_text(encoding="utf-8").splitlines()
    spaced = ", ".join(name.title() for name in heading.split(","))
    files.jobs.write_text("\n".join([spaced, *rows]), encoding="utf-8-sig")
    assert faults_of(files) == []


def test_control_characters_are_refused(files: Files) -> None:
    rows = sample_rows()
    rows[8]["customer"] = "two\nlines"
    files.write_jobs(rows)
    (fault,) = faults_of(files)
    assert (fault.row, fault.field) == (10, "customer")


def test_a_heading_alone_is_refused(files: Files) -> None:
    heading = files.jobs.read_text(encoding="utf-8").splitlines()[0]
    files.jobs.write_text(heading, encoding="utf-8")
    (fault,) = faults_of(files)
    assert fault.right == "should have at least one row below its heading"


def test_rows_are_still_looked_at_when_the_plant_file_is_refused(files: Files) -> None:
    files.plant.write_text("{", encoding="utf-8")
    rows = sample_rows()
    rows[8] |= {"quantity": "0", "substrate": "not known, but nobody can say"}
    files.write_jobs(rows)
    assert [(fault.file, fault.field) for fault in faults_of(files)] == [
        (str(files.plant), None),
        (str(files.jobs), "quantity"),
    ]


def test_a_job_may_have_as_many_layers_as_the_solver_takes() -> None:
    assert MOST_LAYERS == solver_jobs.MOST_LAYERS
