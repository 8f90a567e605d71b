"""Instance br17 of TSPLIB95 (asymmetric travelling salesman, 17 cities; published optimum 39)."""

from __future__ import annotations

_ROWS = """
    -  3  5 48 48  8  8  5  5  3  3  0  3  5  8  8  5
    3  -  3 48 48  8  8  5  5  0  0  3  0  3  8  8  5
    5  3  - 72 72 48 48 24 24  3  3  5  3  0 48 48 24
   48 48 74  -  0  6  6 12 12 48 48 48 48 74  6  6 12
   48 48 74  0  -  6  6 12 12 48 48 48 48 74  6  6 12
    8  8 50  6  6  -  0  8  8  8  8  8  8 50  0  0  8
    8  8 50  6  6  0  -  8  8  8  8  8  8 50  0  0  8
    5  5 26 12 12  8  8  -  0  5  5  5  5 26  8  8  0
    5  5 26 12 12  8  8  0  -  5  5  5  5 26  8  8  0
    3  0  3 48 48  8  8  5  5  -  0  3  0  3  8  8  5
    3  0  3 48 48  8  8  5  5  0  -  3  0  3  8  8  5
    0  3  5 48 48  8  8  5  5  3  3  -  3  5  8  8  5
    3  0  3 48 48  8  8  5  5  0  0  3  -  3  8  8  5
    5  3  0 72 72 48 48 24 24  3  3  5  3  - 48 48 24
    8  8 50  6  6  0  0  8  8  8  8  8  8 50  -  0  8
    8  8 50  6  6  0  0  8  8  8  8  8  8 50  0  -  8
    5  5 26 12 12  8  8  0  0  5  5  5  5 26  8  8  -
"""

MATRIX: tuple[tuple[int | None, ...], ...] = tuple(
    tuple(None if entry == "-" else int(entry) for entry in row.split()) for row in _ROWS.strip().splitlines()
)
