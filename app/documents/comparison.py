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
    """The headings, moved runs among them while a sequence is in force, stubs where rolls are chosen."""
    moved = () if all(order.moved_runs is None for order in orders) else ("moved runs",)
    stubs = ("stubs €",) if has_stubs(orders) else ()
    at = HEADINGS.index("controllable €")
    return (*HEADINGS[:at], *moved, *stubs, *HEADINGS[at:])


def has_stubs(orders: Sequence[ComparedOrder]) -> bool:
    """Whether rolls are chosen for any of them."""
    return any(order.stubs_eur is not None for order in orders)


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


def told_stubs(cost: Cost) -> str | None:
    """What chosen rolls cost besides their splices, part by part; None where none are chosen."""
    if cost.stubs is None:
        return None
    parts = [f"{name} {cents(eur)} €" for name, eur in cost.stubs.parts if eur]
    return f"Stubs {cents(cost.stubs_eur)} €" + (f": {', '.join(parts)}." if parts else ".")


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
        stubs_eur=None if cost.stubs is None else cost.stubs_eur,
        controllable_eur=cost.controllable_eur,
        total_eur=cost.total_eur,
    )
