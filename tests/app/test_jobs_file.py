"""What a jobs file may hold, and what is said when it does not."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from decimal import Decimal

import pytest

from app.contracts.jobs import MOST_LAYERS, Job, Layer, LeadingEdge, SpliceRule, Winding
from app.errors import Fault
from app.intake.findings import MOST_FAULTS, Findings
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


def test_what_the_customer_asks_of_reels_is_taken(files: Files) -> None:
    job = one_job(
        files, splice_rule="Between versions", max_splices="2", largest_reel="300", winding="Out, left first"
    )
    assert (job.splice_rule, job.most_splices_a_reel) == (SpliceRule.BETWEEN_VERSIONS, 2)
    assert job.largest_reel_mm == 300
    assert job.winding == Winding(outwards=True, leading_edge=LeadingEdge.LEFT)
    plain = one_job(files)
    assert (plain.splice_rule, plain.most_splices_a_reel, plain.winding) == (SpliceRule.ANYWHERE, None, None)


@pytest.mark.parametrize(
    ("text", "rule"), [("never", SpliceRule.NEVER), ("None", SpliceRule.NEVER), ("yes", SpliceRule.ANYWHERE)]
)
def test_where_splices_may_lie_has_several_words(files: Files, text: str, rule: SpliceRule) -> None:
    assert one_job(files, splices=text, most_splices_a_reel="0").splice_rule is rule


@pytest.mark.parametrize(
    ("text", "outwards", "edge"),
    [
        ("in/foot", False, "foot"),
        ("wound in-top edge first", False, "head"),
        ("right out", True, "right"),
    ],
)
def test_winding_is_a_side_and_an_edge(files: Files, text: str, outwards: bool, edge: str) -> None:
    winding = one_job(files, wound=text).winding
    assert winding is not None
    assert (winding.outwards, winding.leading_edge) == (outwards, edge)


@pytest.mark.parametrize(
    ("cells", "column", "right"),
    [
        ({"winding": "3"}, "winding", "another edge on another chart"),
        ({"winding": "out"}, "winding", "should say out or in"),
        ({"winding": "out in left"}, "winding", "should say out or in"),
        ({"splice_rule": "2"}, "splice_rule", "should be anywhere, between versions or never"),
        ({"most_splices_a_reel": "-1"}, "most_splices_a_reel", "whole number"),
        ({"splice_rule": "no", "most_splices_a_reel": "1"}, "most_splices_a_reel", "never lie"),
        ({"largest_reel_mm": "76", "core_mm": "76"}, "largest_reel_mm", "larger than the core, 76 mm"),
        ({"largest_reel_mm": "0"}, "largest_reel_mm", "greater than 0"),
    ],
)
def test_reels_that_cannot_be_are_refused(
    files: Files, cells: dict[str, str], column: str, right: str
) -> None:
    row = sample_rows()[8] | {"core_mm": ""} | cells
    files.write_jobs([row])
    (fault,) = read(files)[1].faults
    assert (fault.row, fault.field, fault.value) == (2, column, cells[column])
    assert right in fault.right


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


def test_dates_without_a_time_of_day_are_said(files: Files) -> None:
    rows = sample_rows()
    rows[8] |= {"due": "02.03.2027", "ready": "2027-03-01"}
    files.write_jobs(rows)
    notes = read(files)[1].notes
    assert any("due as a date alone is the end of that day: J-2104" in note for note in notes)
    assert any("ready as a date alone is the beginning of that day: J-2104" in note for note in notes)
    assert not any("that day" in note and "J-2101" in note for note in notes)


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
        ("due", "01/03/2027", "could be 2027-03-01 or 2027-01-03: write a date and time such as 2027-03-01T"),
        ("due", "01-03-2027 13:00", "could be 2027-03-01 or 2027-01-03"),
        ("due", "1.3.27", "year in four digits"),
        ("due", "30.02.2027", "there is no such day, February 2027 has 28"),
        ("due", "2027-02-30T10:00", "there is no such day, February 2027 has 28"),
        ("due", "2027-02-30", "a date and time such as"),
        ("due", "2027-13-01", "there is no month 13"),
        ("due", "01.03.2027 25:00", "time of day from 00:00 to 23:59"),
        ("due", "Monday", "a date and time such as"),
        ("due", "0001-01-01T10:00", "years 2000 to 2100"),
        ("overs_pct", "2,500", "could be 2500 or 2.5"),
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
        ("job|version|quantity\n", 1, "this column must be there"),
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


def test_a_heading_that_is_nearly_a_missing_column_is_refused(files: Files) -> None:
    text = files.jobs.read_text(encoding="utf-8").replace("labels_per_reel", "labels_per_rell", 1)
    files.jobs.write_text(text, encoding="utf-8")
    (fault,) = faults_of(files)
    assert (fault.row, fault.value) == (1, "labels_per_rell")
    assert "nearest known one is “labels_per_reel”" in fault.right


def test_a_heading_nobody_knows_is_noted_and_not_read(files: Files) -> None:
    files.write_jobs([row | {"salesperson": "Somebody"} for row in sample_rows()])
    jobs, findings = read(files)
    assert (len(jobs), findings.faults) == (4, [])
    assert f"{files.jobs}: the column “salesperson” is not known and not read." in findings.notes


def test_a_column_under_two_headings_is_refused_with_both(files: Files) -> None:
    files.write_jobs([row | {"Qty": "1"} for row in sample_rows()])
    (fault,) = faults_of(files)
    assert (fault.row, fault.field) == (1, "quantity")
    assert "“quantity” and “Qty”" in fault.right


@pytest.mark.parametrize(
    ("column", "text", "value"),
    [
        ("due", "01.03.2027", datetime(2027, 3, 2)),
        ("due", "1.3.2027 13:00", datetime(2027, 3, 1, 13)),
        ("due", "13/03/2027 13:30", datetime(2027, 3, 13, 13, 30)),
        ("due", "03/13/2027, 13:30", datetime(2027, 3, 13, 13, 30)),
        ("due", "2027/03/01 13:00", datetime(2027, 3, 1, 13)),
        ("due", "2027-03-01 13:00", datetime(2027, 3, 1, 13)),
        ("ready", "01.03.2027", datetime(2027, 3, 1)),
        ("late_eur", "12,5", Decimal("12.5")),
        ("late_eur", "1.200,50", Decimal("1200.5")),
        ("late_eur", "1,200.50", Decimal("1200.5")),
        ("late_eur", "1 200", Decimal(1200)),
        ("late_eur", "1\u00a0200,5", Decimal("1200.5")),
        ("late_eur", "1,200,000", Decimal(1_200_000)),
        ("late_eur", "0,125", Decimal("0.125")),
        ("late_eur", "168.275", Decimal("168.275")),
    ],
)
def test_dates_and_numbers_that_can_be_read_one_way_only_are_read(
    files: Files, column: str, text: str, value: object
) -> None:
    assert getattr(one_job(files, **{column: text}), column) == value


@pytest.mark.parametrize(
    ("text", "quantity"), [("12 500", 12500), ("1'250'000", 1_250_000), ("12500.00", 12500)]
)
def test_quantities_may_have_blanks_between_thousands(files: Files, text: str, quantity: int) -> None:
    assert one_job(files, quantity=text).versions[0].quantity == quantity


def test_percent_may_carry_their_sign(files: Files) -> None:
    assert one_job(files, overs_pct="2,5 %").versions[0].overs_pct == Decimal("2.5")


@pytest.mark.parametrize(
    ("text", "channels"), [("4c+W", "CMYKW"), ("4-colour", "CMYK"), ("white + black", "KW"), ("none", "")]
)
def test_words_for_colours_are_read_and_said(files: Files, text: str, channels: str) -> None:
    files.write_jobs([sample_rows()[8] | {"colours": text, "finishes": ""}])
    (job,), findings = read(files)
    assert findings.faults == []
    assert set(job.colours) == set(channels)
    assert any(f"the colours “{text}” are read as" in note for note in findings.notes)


@pytest.mark.parametrize(
    ("text", "layer"),
    [
        ("varnish-gloss", Layer(kind="varnish", consumable="varnish-gloss")),
        ("foil-gold", Layer(kind="cold-foil", consumable="foil-gold")),
        ("white", Layer(kind="white", consumable="white-opaque")),
    ],
)
def test_a_finish_that_only_one_layer_can_be_meant_by_is_read_and_said(
    files: Files, text: str, layer: Layer
) -> None:
    files.write_jobs([sample_rows()[8] | {"finishes": text}])
    (job,), findings = read(files)
    assert findings.faults == []
    assert job.finishes == ((layer,),)
    assert any(f"“{text}” is read as {layer.kind}:{layer.consumable}" in note for note in findings.notes)


def test_a_finish_whose_kind_nothing_tells_is_refused(files: Files) -> None:
    files.write_jobs([sample_rows()[8] | {"finishes": "deep-blue"}])
    (fault,) = faults_of(files)
    assert (fault.row, fault.field, fault.value) == (2, "finishes", "deep-blue")
    assert "kind:consumable" in fault.right


def test_rows_beyond_very_many_faults_are_not_looked_at_and_that_is_said(files: Files) -> None:
    row = sample_rows()[8]
    files.write_jobs(row | {"version": str(idx), "quantity": "0"} for idx in range(MOST_FAULTS + 10))
    *faults, last = faults_of(files)
    assert len(faults) == MOST_FAULTS
    assert (last.row, last.right) == (
        MOST_FAULTS + 2,
        "from here on rows were not looked at: mend those before",
    )


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
