"""A line's web as table rows: the pieces of the ledger, versions of a run joined."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby

from app.contracts.base import ZERO
from app.contracts.sequences import Piece

IN_RUN = {"sellable", "spoilage allowance"}


@dataclass(frozen=True, slots=True)
class Stretch:
    """Web without a break of kind, job or cause; a run's web counts as one kind."""

    from_m: Decimal
    to_m: Decimal
    kind: str
    allowance_m: Decimal
    """Spoilage allowance inside; the rest of a run's web is sellable."""
    job: str
    stock: str
    cause: str
    run: int
    """The job's run on the line, counted from 1."""

    @property
    def length_m(self) -> Decimal:
        return self.to_m - self.from_m


def stretches(pieces: Iterable[Piece]) -> tuple[Stretch, ...]:
    """A line's pieces joined where only the version differs."""
    return tuple(_joined(list(alike)) for _, alike in groupby(pieces, _sort))


def _sort(piece: Piece) -> tuple[str, str, str, str, Decimal, int]:
    kind = "sellable" if piece.kind in IN_RUN else piece.kind
    return kind, piece.job, piece.cause, piece.substrate, piece.width_mm, piece.run


def _joined(pieces: list[Piece]) -> Stretch:
    first = pieces[0]
    allowance_m = sum((piece.length_m for piece in pieces if piece.kind == "spoilage allowance"), ZERO)
    kind, job, cause, substrate, width_mm, run = _sort(first)
    stock = f"{substrate} {width_mm:f} mm"
    return Stretch(first.from_m, pieces[-1].to_m, kind, allowance_m, job, stock, cause, run)
