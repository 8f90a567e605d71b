"""Cost against the length of the queue as SVG: a line a solver, its values beside it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.svg import INK, drawing, element, line, text, titled

WIDTH_MM, HEIGHT_MM = 160.0, 90.0
LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 20.0, 34.0, 6.0, 14.0
FEWEST_TICKS = 4
COLOURS = ("#0b5d8a", "#a14a00", "#4a4a4a")
"""Dark enough for lines on white; dashes tell them apart too."""
DASHES = ("none", "3 1.5", "1 1.5")


@dataclass(frozen=True)
class Series:
    """What queues cost by one solver: pairs of jobs and €, shortest queue first."""

    name: str
    points: tuple[tuple[int, float], ...]


@dataclass(frozen=True)
class _Scale:
    """From jobs and € to places on paper, both axes from 0."""

    most_jobs: int
    most_eur: float

    def x_mm(self, jobs: float) -> float:
        return LEFT_MM + jobs / self.most_jobs * (WIDTH_MM - LEFT_MM - RIGHT_MM)

    def y_mm(self, eur: float) -> float:
        return HEIGHT_MM - BOTTOM_MM - eur / self.most_eur * (HEIGHT_MM - TOP_MM - BOTTOM_MM)


def growth_plot(series: Sequence[Series]) -> Markup:
    """The plot.

    Raises
    ------
    ValueError
        Where there is no point to be drawn.
    """
    points = [point for each in series for point in each.points]
    if not points:
        raise ValueError("nothing to plot: no queue was measured")
    scale = _Scale(max(jobs for jobs, _ in points), max(eur for _, eur in points) or 1.0)
    return drawing(
        "Controllable cost against jobs",
        WIDTH_MM,
        HEIGHT_MM,
        *_axes(scale, sorted({jobs for jobs, _ in points})),
        *(part for place, each in enumerate(series) for part in _series(place, each, scale)),
    )


def tick_step(most: float) -> float:
    """The largest of 1, 2, 5, 10, 20 … that goes into a value as often as there are ticks at least."""
    power = 10.0 ** math.floor(math.log10(most / FEWEST_TICKS))
    return max(step * power for step in (1, 2, 5) if step * power <= most / FEWEST_TICKS)


def _axes(scale: _Scale, jobs: Sequence[int]) -> Iterator[Markup]:
    left_mm, bottom_mm = scale.x_mm(0), scale.y_mm(0)
    yield line(left_mm, bottom_mm, scale.x_mm(scale.most_jobs), bottom_mm)
    yield line(left_mm, bottom_mm, left_mm, scale.y_mm(scale.most_eur))
    for count in jobs:
        yield text(scale.x_mm(count), bottom_mm + 4.5, f"{count}", text_anchor="middle")
    yield text(scale.x_mm(scale.most_jobs / 2), bottom_mm + 10, "jobs", text_anchor="middle")
    step_eur = tick_step(scale.most_eur)
    for tick in range(math.floor(scale.most_eur / step_eur) + 1):
        eur = step_eur * tick
        y_mm = scale.y_mm(eur)
        yield line(left_mm, y_mm, scale.x_mm(scale.most_jobs), y_mm, stroke="#d0d0d0", stroke_width=0.1)
        yield text(left_mm - 1.5, y_mm + 1, f"{eur:,.0f} €", text_anchor="end")


def _series(place: int, series: Series, scale: _Scale) -> Iterator[Markup]:
    colour, dash = COLOURS[place % len(COLOURS)], DASHES[place % len(DASHES)]
    places = [(scale.x_mm(jobs), scale.y_mm(eur)) for jobs, eur in series.points]
    corners = " ".join(f"{x_mm:.2f},{y_mm:.2f}" for x_mm, y_mm in places)
    stroke: dict[str, str | float] = {"stroke": colour, "stroke_width": 0.5, "stroke_dasharray": dash}
    yield element("polyline", points=corners, fill="none", **stroke)
    for (x_mm, y_mm), (jobs, eur) in zip(places, series.points, strict=True):
        told = titled(f"{series.name}: {jobs} jobs, {eur:,.0f} €")
        yield element("circle", told, cx=x_mm, cy=y_mm, r=0.9, fill=colour, stroke=INK, stroke_width=0.1)
    if places:
        yield text(places[-1][0] + 2, places[-1][1] + 1, series.name, fill=colour)
