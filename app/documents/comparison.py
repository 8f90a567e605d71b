"""The recommended order beside its alternatives and the baselines."""

from __future__ import annotations

from app.contracts.comparisons import ComparedOrder, Comparison
from app.contracts.sequences import Cost, CostedPlan, Totals

RECOMMENDED = "recommended"
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
        controllable_eur=cost.controllable_eur,
        total_eur=cost.total_eur,
    )
