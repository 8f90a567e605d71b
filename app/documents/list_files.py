"""Jobs, dies and stock as CSV lists that can be read back."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from io import StringIO

from app.contracts.jobs import INKJET, Job, Layer, Version, Winding
from app.contracts.plant import Cylinder, Die, Roll, StockedWidth, Substrate
from app.intake.numbers import unmistakable
from app.intake.roll_checks import flaw_text

Row = Mapping[str, object]

JOB_COLUMNS = (
    *("job", "version", "quantity", "overs_pct", "max_quantity", "substrate", "die", "colours", "finishes"),
    *("due", "customer", "ready", "full_reels", "labels_per_reel", "core_mm", "roll_width_mm", "late_eur"),
    *("late_eur_per_h", "least_lot", "may_join", "splice_rule", "most_splices_a_reel", "largest_reel_mm"),
    "winding",
)
DIE_COLUMNS = (
    *("number", "across", "around", "label_width_mm", "teeth", "repeat_mm", "pitch", "gap_across_mm"),
    *("cylinder", "print_cylinder", "copies", "min_liner_um", "max_liner_um"),
)
STOCK_COLUMNS = (
    *("code", "width_mm", "metres", "roll", "name", "thickness_um", "liner_thickness_um", "eur_per_m2"),
    *("usual_roll_m", "print_settings", "delivery_at", "delivery_m", "received", "best_before", "location"),
    *("defects", "reserved_for", "on_unwind"),
)
PROCESS = "CMYK"


def jobs_list(jobs: Iterable[Job]) -> str:
    """One row a version."""
    return _table(JOB_COLUMNS, (_job_row(job, version) for job in jobs for version in job.versions))


def dies_list(dies: Iterable[Die], cylinders: Iterable[Cylinder]) -> str:
    """One row a die; one without a repeat of its own has that of its cylinder."""
    by_id = {cylinder.id: cylinder for cylinder in cylinders}
    return _table(DIE_COLUMNS, (_die_row(die, by_id) for die in dies))


def stock_list(substrates: Iterable[Substrate]) -> str:
    """One row a width, a roll or a delivery. A width whose amount is not followed has no row: nothing could
    be said of it.
    """
    return _table(
        STOCK_COLUMNS,
        (
            {**_stock_row(substrate, stocked), **row}
            for substrate in substrates
            for stocked in substrate.widths
            for row in _amounts(stocked)
        ),
    )


def _table(columns: Sequence[str], rows: Iterable[Row]) -> str:
    stream = StringIO()
    writer = csv.DictWriter(stream, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: _cell(value) for name, value in row.items()} for row in rows)
    return stream.getvalue()


def _cell(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case Decimal():
            return unmistakable(value)
        case datetime():
            return value.isoformat()
        case _:
            return str(value)


def _job_row(job: Job, version: Version) -> Row:
    of_job = {name: getattr(job, name) for name in JOB_COLUMNS if name in Job.model_fields}
    of_version = {name: getattr(version, name) for name in JOB_COLUMNS if name in Version.model_fields}
    return (
        of_job
        | of_version
        | {
            "colours": colours_text(job),
            "finishes": finishes_text(job.finishes),
            "winding": None if job.winding is None else _winding(job.winding),
        }
    )


def colours_text(job: Job) -> str:
    """Process colours first, what comes beside them behind a +."""
    process = "".join(channel for channel in PROCESS if channel in job.colours)
    beside = "".join(sorted(set(job.colours) - set(PROCESS)))
    return "+".join(filter(None, (process, beside)))


def finishes_text(groups: tuple[tuple[Layer, ...], ...]) -> str:
    """Layers in laying order; an inkjet that comes first goes without saying."""
    said = groups[1:] if groups[:1] == ((Layer(kind=INKJET),),) else groups
    return ";".join("+".join(map(_layer, group)) for group in said)


def _layer(layer: Layer) -> str:
    return layer.kind if layer.consumable is None else f"{layer.kind}:{layer.consumable}"


def _winding(winding: Winding) -> str:
    return f"{'out' if winding.outwards else 'in'} {winding.leading_edge}"


def _die_row(die: Die, cylinders: Mapping[str, Cylinder]) -> Row:
    row = {name: getattr(die, name) for name in DIE_COLUMNS if name in Die.model_fields}
    own = die.repeat_mm is not None or die.teeth is not None
    cut_by = die if own or die.cylinder is None else cylinders[die.cylinder]
    repeat = {"repeat_mm": cut_by.repeat_mm, "teeth": cut_by.teeth, "pitch": cut_by.pitch}
    return row | repeat | {"number": die.id}


def _stock_row(substrate: Substrate, stocked: StockedWidth) -> Row:
    row = {name: getattr(substrate, name) for name in STOCK_COLUMNS if name in Substrate.model_fields}
    return row | {"width_mm": stocked.width_mm}


def _amounts(stocked: StockedWidth) -> Iterator[dict[str, object]]:
    if stocked.on_hand_m is not None:
        yield {"metres": stocked.on_hand_m}
    for roll in stocked.rolls:
        yield _roll_row(roll)
    for delivery in stocked.deliveries:
        yield {"delivery_at": delivery.at, "delivery_m": delivery.length_m}


def _roll_row(roll: Roll) -> dict[str, object]:
    row = {name: getattr(roll, name) for name in STOCK_COLUMNS if name in Roll.model_fields}
    return row | {
        "roll": roll.id,
        "metres": roll.length_m,
        "defects": "; ".join(map(flaw_text, roll.flaws)),
        "delivery_at": roll.arrives,
    }
