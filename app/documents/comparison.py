"""The recommended order beside its alternatives and the baselines."""

from __future__ import annotations

from collections.abc import Sequence

from app.contracts.comparisons import ComparedOrder, Comparison
from app.contracts.sequences import Cost, CostedPlan, Totals
from app.contracts.sequences import Sequence as RunSequence
from app.documents.figures import cents

RECOMMENDED = "recommended"
MOST_NAMED = 6
"""Moved runs that a sentence names."""
NO_ALTERNATIVE = "No alternative worth a choice was found."
HEADINGS = (
    "order",
    "waste m",
    "set-up and stopped min",
    "late €",
    "late jobs",
    "controllable €",
    "total €",
)


def headings_of(orders: Sequence[ComparedOrder]) -> tuple[str, ...]:
    """The headings, moved runs among them while a sequence is in force."""
    if all(order.moved_runs is None for order in orders):
        return HEADINGS
    at = HEADINGS.index("controllable €")
    return (*HEADINGS[:at], "moved runs", *HEADINGS[at:])


def comparison(costed_plan: CostedPlan) -> Comparison:
    """All orders of a plan, the recommended one first."""
    sequence = costed_plan.sequence
    return Comparison(
        orders=(
            _compared(RECOMMENDED, sequence.totals, sequence.cost, file="sequence.json"),
            *(
                _compared(
                    alternative.name,
                    alternative.sequence.totals,
                    alternative.sequence.cost,
                    alternative.trade,
                    f"{file_stem(alternative.name)}.json",
                )
                for alternative in costed_plan.alternatives
            ),
            *(_compared(baseline.name, baseline.totals, baseline.cost) for baseline in costed_plan.baselines),
        )
    )


def told_moved(sequence: RunSequence) -> str | None:
    """How many runs of the sequence in force are moved, what that costs, and which; None where none is."""
    moved = sequence.totals.moved_runs
    if moved is None:
        return None
    if not moved:
        return "No run of the sequence in force is moved."
    names = [f"{run.name} ({line.line})" for line in sequence.lines for run in line.runs if run.moved]
    which = ", ".join(names[:MOST_NAMED])
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    runs = "1 run is" if moved == 1 else f"{moved} runs are"
    return f"Against the sequence in force {runs} moved, {cents(sequence.cost.moved_eur)} €: {which}{more}."


def file_stem(name: str) -> str:
    """The name of an alternative as that of its files."""
    return name.replace(" ", "-")


def _compared(
    name: str, totals: Totals, cost: Cost, trade: str | None = None, file: str | None = None
) -> ComparedOrder:
    return ComparedOrder(
        name=name,
        trade=trade,
        file=file,
        waste_m=totals.waste_m,
        stopped_min=totals.stopped_min,
        late_eur=cost.late_eur,
        late_jobs=totals.late_jobs,
        left_out=totals.left_out,
        moved_runs=totals.moved_runs,
        controllable_eur=cost.controllable_eur,
        total_eur=cost.total_eur,
    )
