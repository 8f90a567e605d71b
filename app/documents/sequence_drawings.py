"""A sequence as drawings that stand by themselves: what its lines do when, their web, its cost."""

from __future__ import annotations

from markupsafe import Markup

from app.contracts.sequences import CostedPlan, LineRuns, Sequence
from app.documents.report import causes_of, named_orders
from app.documents.report_rolls import laid_rolls
from app.drawings.cost_bars import cost_bars, cost_legend
from app.drawings.stacked import stacked
from app.drawings.time_chart import time_chart, time_legend
from app.drawings.web_strip import web_legend, web_strip


def time_drawing(sequence: Sequence, line: LineRuns | None = None) -> Markup:
    """What all lines do when, or one of them."""
    shown = sequence if line is None else sequence.model_copy(update={"lines": (line,)})
    whose = "all lines" if line is None else f"line {line.line}"
    panels = time_chart(shown, "time")
    if not panels:
        return stacked(f"Nothing runs on {whose}", ())
    return stacked(f"Time chart of {whose}", (time_legend(shown, "time-legend"), *panels))


def web_drawing(sequence: Sequence, line: LineRuns) -> Markup:
    """Every metre of a line's web, with the stops and the rolls it is of."""
    pieces = [piece for piece in sequence.ledger if piece.line == line.line]
    if not pieces:
        return stacked(f"Nothing runs on line {line.line}", ())
    rolls = [each.on_web for each in laid_rolls(sequence, line.line)]
    sheets = web_strip(line, pieces, "web", rolls)
    return stacked(f"Web of line {line.line}", (web_legend(pieces, "web-legend"), *sheets))


def cost_drawing(costed_plan: CostedPlan) -> Markup:
    """What the order can change of the cost, beside the orders that nobody searched for."""
    costs = [(order.name, order.cost) for order in named_orders(costed_plan)]
    parts = (cost_legend("cost-legend", causes_of(costed_plan)), cost_bars(costs, "cost"))
    return stacked("Controllable cost by cause", parts)
