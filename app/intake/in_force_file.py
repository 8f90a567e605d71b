"""The sequence in force, from the same files as an order to be costed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

from app.contracts.jobs import Job
from app.contracts.known_names import unknown
from app.contracts.orders import OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.intake.findings import Findings
from app.intake.order_file import read_order

NAMED = 5
"""Jobs that a note names."""


def read_in_force(
    path: Path, plant: Plant | None, jobs: Sequence[Job], findings: Findings
) -> RunOrder | None:
    """The sequence in force, or None with faults.

    Its jobs may be done by now: those that are not in the queue are told in a note. Whether its stations can
    still be had is not looked at.
    """
    order = read_order(path, None, (), findings)
    if order is None:
        return None
    _check_lines(order, plant, str(path), findings)
    _check_jobs(order, str(path), findings)
    if plant is not None and not findings.faults:
        _note_done(order, jobs, path.name, findings)
        if "moved_run_eur" not in plant.model_fields_set:
            findings.note(
                f"moved_run_eur is not in the plant: a moved run is priced at {plant.moved_run_eur:.2f} €, a "
                "round figure of ours without a source."
            )
    return order


def _check_lines(order: RunOrder, plant: Plant | None, file: str, findings: Findings) -> None:
    lines = {line.id for line in plant.lines} if plant else set()
    entries = Counter(line_order.line for line_order in order.lines)
    for line_order in order.lines:
        line = line_order.line
        row = line_order.runs[0].row if line_order.runs else None
        if plant is not None and line not in lines:
            findings.fault(file, unknown("line", line, lines), row=row, field="line", value=line)
        if entries[line] > 1:
            findings.fault(file, "should be there once only", row=row, field="line", value=line)


def _check_jobs(order: RunOrder, file: str, findings: Findings) -> None:
    """No job is there twice, but in lots of other labels."""
    placed: dict[str, list[OrderedRun]] = {}
    for run in (run for line_order in order.lines for run in line_order.runs):
        before = placed.setdefault(run.job, [])
        if before and (run.lot is None or before[0].lot is None):
            right = "should be there once only, or with first_label and last_label in each row"
            findings.fault(file, right, row=run.row, field="job", value=run.job)
        elif any(_overlap(run, other) for other in before):
            right = f"labels of {run.job} should be in one of its lots only"
            value = str(run.lot.first_label) if run.lot else None
            findings.fault(file, right, row=run.row, field="first_label", value=value)
        before.append(run)


def _overlap(one: OrderedRun, other: OrderedRun) -> bool:
    if one.lot is None or other.lot is None:
        return False
    return one.lot.first_label <= other.lot.last_label and other.lot.first_label <= one.lot.last_label


def _note_done(order: RunOrder, jobs: Iterable[Job], file: str, findings: Findings) -> None:
    queue = {job.job for job in jobs}
    in_force = dict.fromkeys(run.job for line_order in order.lines for run in line_order.runs)
    done = [job for job in in_force if job not in queue]
    if not done:
        return
    named = ", ".join(done[:NAMED]) + (f" and {len(done) - NAMED} more" if len(done) > NAMED else "")
    which = "1 job is" if len(done) == 1 else f"{len(done)} jobs are"
    findings.note(f"{file}: {which} not in the queue and left out of the sequence in force: {named}.")
