"""Closed asymmetric tours drawn from a seed, whose optima nobody has proved.

Two kinds, both far from a matrix of noise, which would be easy:

- `crane`: every job moves something from one point of a square to another; the set-up is the way from
  where one move ends to where the next begins.
- `wind`: points of a square; against the wind the speed is less, with it more. A toll on every way against
  the wind would not do: it comes to the same for a round trip and its reverse.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator

from tests.bench.instances import Instance

SIZES = (30, 70, 150)
"""Jobs of the instances of each kind."""
SIDE = 1000.0
WIND = 0.6
"""Share of the speed that a straight headwind takes off, and a straight tailwind adds."""

Point = tuple[float, float]


def drawn_tours() -> list[Instance]:
    """Both kinds in every size; the same on every machine."""
    return [drawn(f"{kind} {jobs}") for jobs in SIZES for kind in ("crane", "wind")]


def drawn(name: str) -> Instance:
    """The tour of a name, a kind and a number of jobs: `crane 30`.

    Raises
    ------
    KeyError
        Where there is no such kind.
    """
    kind, jobs = name.split()
    rng = random.Random(name)
    rows = {"crane": _crane, "wind": _wind}[kind](rng, int(jobs))
    return Instance(name, tuple(rows), closed=True)


def _crane(rng: random.Random, jobs: int) -> Iterator[tuple[int, ...]]:
    moves = [(_point(rng), _point(rng)) for _ in range(jobs)]
    for _, (end_x, end_y) in moves:
        yield tuple(round(math.hypot(begin_x - end_x, begin_y - end_y)) for (begin_x, begin_y), _ in moves)


def _wind(rng: random.Random, jobs: int) -> Iterator[tuple[int, ...]]:
    points = [_point(rng) for _ in range(jobs)]
    for x, y in points:
        yield tuple(round(_sailed(other_x - x, other_y - y)) for other_x, other_y in points)


def _sailed(east: float, north: float) -> float:
    """Time of a way at speed 1 in a wind from the east."""
    way = math.hypot(east, north)
    return way / (1 - WIND * east / way) if way else 0.0


def _point(rng: random.Random) -> Point:
    return SIDE * rng.random(), SIDE * rng.random()
