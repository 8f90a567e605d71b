"""What an order can change of the cost, by cause: a bar an order, to the same scale."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from markupsafe import Markup

from app.contracts.sequences import Cost
from app.drawings.fills import COST_FILLS, Palette, legend, mark
from app.drawings.labels import euros
from app.drawings.svg import drawing, line, text

WIDTH_MM = 180.0
NAME_MM = 30.0
VALUE_MM = 24.0
BAR_MM = WIDTH_MM - NAME_MM - VALUE_MM
ORDER_MM = 9.0
_BLOCK_MM = 6.0
MOVED_RUNS = "moved runs"
"""The cause that there is only while a sequence is in force."""
STUBS = "stubs"
"""The cause that there is only where rolls are chosen."""


def cost_causes(cost: Cost) -> dict[str, Decimal]:
    """The parts that an order can change, by cause."""
    return {
        "wasted web": cost.waste_eur,
        "changeovers": cost.changeover_eur,
        "waiting": cost.waiting_eur,
        "late jobs": cost.late_eur,
        MOVED_RUNS: cost.moved_eur,
        STUBS: cost.stubs_eur,
    }


def cost_bars(costs: Sequence[tuple[str, Cost]], prefix: str) -> Markup:
    """A bar for each named cost. `prefix` starts the ids inside; no other drawing may have it."""
    palette = Palette(prefix, COST_FILLS)
    largest_eur = max((cost.controllable_eur for _, cost in costs), default=Decimal(0))
    marks = [
        part
        for place, (name, cost) in enumerate(costs)
        for part in _bar(name, cost, largest_eur, place * ORDER_MM, palette)
    ]
    return drawing(
        "Controllable cost by cause, to scale",
        WIDTH_MM,
        len(costs) * ORDER_MM,
        palette.definitions(),
        *marks,
    )


def cost_legend(prefix: str, causes: Iterable[str] = tuple(COST_FILLS)) -> Markup:
    """The causes."""
    return legend(prefix, COST_FILLS, causes, WIDTH_MM)


def _bar(name: str, cost: Cost, largest_eur: Decimal, top_mm: float, palette: Palette) -> Iterator[Markup]:
    yield text(0, top_mm + 5, name)
    left_mm = NAME_MM
    for cause, amount_eur in cost_causes(cost).items():
        width_mm = float(amount_eur / largest_eur) * BAR_MM if largest_eur else 0.0
        if width_mm:
            title = f"{name}: {cause} {euros(amount_eur)}"
            yield mark(palette, cause, left_mm, top_mm + 1, width_mm, _BLOCK_MM, title)
        left_mm += width_mm
    yield line(NAME_MM, top_mm, NAME_MM, top_mm + ORDER_MM)
    yield text(left_mm + 1.5, top_mm + 5, euros(cost.controllable_eur), font_weight="bold")
