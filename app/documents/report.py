"""A costed plan as one page that needs nothing else, and the same page as a PDF.

The page holds no script and asks for nothing outside itself; every text of the plan is escaped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from app.contracts.reasons import Reasons
from app.contracts.sequences import Cost, CostedPlan, LineRuns, Totals
from app.documents import figures
from app.documents.comparison import (
    NO_ALTERNATIVE,
    comparison,
    has_stubs,
    headings_of,
    told_moved,
    told_stubs,
)
from app.documents.page import environment, style_of
from app.documents.pdf import pdf_from_html
from app.documents.report_changeovers import ToldChangeover, told_changeovers
from app.documents.report_reasons import told_reasons
from app.documents.report_rolls import LaidRoll, laid_rolls
from app.documents.report_waste import waste_table
from app.documents.report_web import Stretch, stretches
from app.documents.told_missing import missing_text
from app.documents.told_search import search_text
from app.drawings.cost_bars import MOVED_RUNS, STUBS, cost_bars, cost_legend
from app.drawings.fills import COST_FILLS
from app.drawings.time_chart import time_chart, time_legend
from app.drawings.web_strip import StopMark, stop_marks, web_legend, web_strip

HTML_NAME = "report.html"
PDF_NAME = "report.pdf"

CAUTIONS = (
    "This page says when the web is to stop; it does not make a press safe.",
    "Stop the line and lock it out before you reach in.",
    "There are moving webs, blades, nips, UV light and solvents at these stations, also at those set while "
    "the line runs.",
    "The maker's manual, site rules, local codes and trained staff come first, whatever a plan says.",
)


@dataclass(frozen=True, slots=True)
class NamedOrder:
    """An order with its money and its totals."""

    name: str
    cost: Cost
    totals: Totals


@dataclass(frozen=True, slots=True)
class LinePart:
    """What the page says of one line."""

    runs: LineRuns
    changeovers: tuple[ToldChangeover, ...]
    legend: Markup
    strip: tuple[Markup, ...]
    stretches: tuple[Stretch, ...]
    stops: tuple[StopMark, ...]
    rolls: tuple[LaidRoll, ...]


def report_html(
    costed_plan: CostedPlan, assumption_lines: Sequence[str] = (), reasons: Reasons | None = None
) -> str:
    """The report as one HTML page.

    Parameters
    ----------
    assumption_lines
        What was assumed, a sentence each.
    reasons
        Why the plan is as it is; None where nobody asked.
    """
    sequence = costed_plan.sequence
    orders = named_orders(costed_plan)
    costs = [(order.name, order.cost) for order in orders]
    compared = comparison(costed_plan)
    causes = causes_of(costed_plan)
    page = environment().get_template("report.html.j2")
    return page.render(
        style=Markup(style_of("report.css")),
        sequence=sequence,
        missing=[missing_text(short) for short in sequence.missing],
        search=costed_plan.search,
        told_search=None if costed_plan.search is None else search_text(costed_plan.search),
        orders=orders,
        alternatives=costed_plan.alternatives,
        comparison=compared,
        comparison_headings=headings_of(compared.orders),
        comparison_has_stubs=has_stubs(compared.orders),
        no_alternative=NO_ALTERNATIVE,
        savings=[_saving(orders[0], other) for other in orders[1:]],
        waste=waste_table(sequence.totals.waste),
        cautions=CAUTIONS,
        cost_bars=cost_bars(costs, "cost"),
        cost_legend=cost_legend("cost-legend", causes),
        cost_causes=causes,
        moved=told_moved(sequence),
        stubs=told_stubs(sequence.cost),
        time_chart=time_chart(sequence, "time"),
        time_legend=time_legend(sequence, "time-legend"),
        lines=[_line_part(costed_plan, place) for place in range(len(sequence.lines))],
        assumption_lines=assumption_lines,
        told=None if reasons is None else told_reasons(reasons),
    )


def write_report(
    costed_plan: CostedPlan,
    folder: Path,
    assumption_lines: Sequence[str] = (),
    reasons: Reasons | None = None,
) -> tuple[Path, ...]:
    """Write report.html and report.pdf into a folder, made if need be; they replace older ones.

    Raises
    ------
    OSError
        Where the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    html = report_html(costed_plan, assumption_lines, reasons)
    html_path, pdf_path = folder / HTML_NAME, folder / PDF_NAME
    html_path.write_text(html, encoding="utf-8", errors="replace")
    pdf_path.write_bytes(pdf_from_html(html))
    return html_path, pdf_path


def causes_of(costed_plan: CostedPlan) -> list[str]:
    """The causes of cost that a plan and its baselines can have."""
    in_force = costed_plan.sequence.totals.moved_runs is not None
    has_rolls = any(order.cost.stubs is not None for order in named_orders(costed_plan))
    left_out = {cause for cause, is_there in ((MOVED_RUNS, in_force), (STUBS, has_rolls)) if not is_there}
    return [cause for cause in COST_FILLS if cause not in left_out]


def named_orders(costed_plan: CostedPlan) -> list[NamedOrder]:
    """The order of a plan, and its baselines."""
    sequence = costed_plan.sequence
    name = "this order" if costed_plan.search is None else "this plan"
    return [
        NamedOrder(name, sequence.cost, sequence.totals),
        *(NamedOrder(baseline.name, baseline.cost, baseline.totals) for baseline in costed_plan.baselines),
    ]


def _saving(order: NamedOrder, other: NamedOrder) -> str:
    """What an order saves beside another, in controllable cost."""
    difference_eur = other.cost.controllable_eur - order.cost.controllable_eur
    if not difference_eur:
        return f"as much as {other.name}"
    whole_eur = other.cost.controllable_eur
    share = f" ({abs(difference_eur / whole_eur):.0%})" if whole_eur else ""
    side = "less" if difference_eur > 0 else "more"
    return f"{figures.cents(abs(difference_eur))} €{share} {side} than {other.name}"


def _line_part(costed_plan: CostedPlan, place: int) -> LinePart:
    line = costed_plan.sequence.lines[place]
    pieces = [piece for piece in costed_plan.sequence.ledger if piece.line == line.line]
    rolls = laid_rolls(costed_plan.sequence, line.line)
    return LinePart(
        runs=line,
        changeovers=told_changeovers(line),
        legend=web_legend(pieces, f"web-legend-{place}"),
        strip=web_strip(line, pieces, f"web-{place}", [each.on_web for each in rolls]),
        stretches=stretches(pieces),
        stops=stop_marks(line, pieces),
        rolls=rolls,
    )
