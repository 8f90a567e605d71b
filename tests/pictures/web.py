"""The web of the small sample's hybrid line, drawn as the report draws it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from app.contracts.sequences import Goal
from app.drawings.web_strip import web_strip
from app.intake.queue import read_queue
from app.services import planning
from app.translation.solving import Question

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "sample_data" / "small"
PICTURE = SMALL / "web.svg"
WORK = 2000
"""Orders costed: enough for four jobs, and the same picture anywhere."""


def picture() -> str:
    """The picture as SVG."""
    queue = read_queue(SMALL / "plant.json", SMALL / "jobs.csv")
    start = planning.plan_start(queue.plant, None, datetime.now(UTC))
    costed_plan = planning.plan(Question(queue.plant, queue.jobs, start), Goal.BALANCED, work=WORK)
    sequence = costed_plan.sequence
    line_runs = sequence.lines[0]
    pieces = [piece for piece in sequence.ledger if piece.line == line_runs.line]
    return f"{web_strip(line_runs, pieces, 'web')[0]}\n"
