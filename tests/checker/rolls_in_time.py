"""Rolls are there when they are used: arrived, in date, for this job, and on no other line."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from solver.roll_choice import RollChoice
from solver.rolls import Roll
from tests.checker.rolls_store import RollStore
from tests.checker.rolls_web import Laid, StretchWeb, laid_uses

Chosen = tuple[tuple[StretchWeb, RollChoice], ...]
"""The stretches for which rolls were chosen, in the order in which they begin."""


@dataclass(frozen=True)
class Held:
    """A roll on a line's unwind, from its first use in a stretch to the stretch's end."""

    stretch: StretchWeb
    laid: tuple[Laid, ...]
    from_ms: int
    to_ms: int

    @property
    def from_um(self) -> int:
        return self.laid[0].use.from_um

    @property
    def to_um(self) -> int:
        return self.laid[-1].use.to_um


def time_complaints(stretch: StretchWeb, choice: RollChoice, store: RollStore) -> list[str]:
    """Arrival, best-before and reservation of every use."""
    complaints = []
    for laid in laid_uses(stretch, choice):
        roll = store.rolls[laid.use.roll]
        where = f"{stretch.name}, roll {roll.id}"
        pieces = stretch.under(laid.from_um, laid.to_um)
        for piece in pieces:
            if stretch.needed_ms(piece) < roll.arrives_ms:
                complaints.append(f"{where}: is used by run {piece.run} before it arrives")
            if roll.reserved_for not in (None, piece.job):
                complaints.append(
                    f"{where}: is used by {piece.job or 'no job'}, it is reserved for {roll.reserved_for}"
                )
        last_ms = max(stretch.passes_ms(piece, min(piece.to_um, laid.to_um)) for piece in pieces)
        if roll.best_before_ms is not None and last_ms > roll.best_before_ms:
            complaints.append(f"{where}: is used at {int(last_ms)} ms, best before {roll.best_before_ms} ms")
    return list(dict.fromkeys(complaints))


def holding_complaints(chosen: Chosen, store: RollStore, first_of_line: dict[str, StretchWeb]) -> list[str]:
    """A roll is on one line at a time, and is taken up again behind what was used of it."""
    held: dict[str, list[Held]] = {}
    for stretch, choice in chosen:
        of_roll: dict[str, list[Laid]] = {}
        for laid in laid_uses(stretch, choice):
            of_roll.setdefault(laid.use.roll, []).append(laid)
        for roll_id, uses in of_roll.items():
            (first, *_) = stretch.under(uses[0].from_um, uses[0].to_um)
            held.setdefault(roll_id, []).append(
                Held(stretch, tuple(uses), stretch.needed_ms(first), stretch.end_ms)
            )
    complaints = []
    for roll_id, stays in held.items():
        roll = store.rolls[roll_id]
        stays.sort(key=lambda stay: (stay.from_um, stay.from_ms))
        complaints += _turn_complaints(roll, stays, store)
        complaints += _unwind_complaints(roll, stays, first_of_line)
    return complaints


def _turn_complaints(roll: Roll, stays: list[Held], store: RollStore) -> list[str]:
    complaints = []
    for before, behind in pairwise(stays):
        where = f"roll {roll.id} on {behind.stretch.line}"
        if behind.from_ms < before.to_ms:
            complaints.append(
                f"{where}: is taken at {behind.from_ms} ms, "
                f"on {before.stretch.line} it stays until {before.to_ms} ms"
            )
        if behind.from_um < before.to_um:
            complaints.append(f"{where}: is used from {behind.from_um} µm, {before.to_um} µm are gone")
        if roll.length_um - before.to_um < store.rules.least_stub_um:
            complaints.append(f"{where}: was scrap already, its rest is {roll.length_um - before.to_um} µm")
    return complaints


def _unwind_complaints(roll: Roll, stays: list[Held], first_of_line: dict[str, StretchWeb]) -> list[str]:
    """A mounted roll begins its line's web, or is taken off before that begins."""
    if roll.on_unwind is None:
        return []
    where = f"roll {roll.id}, on the unwind of {roll.on_unwind}"
    first = first_of_line.get(roll.on_unwind)
    complaints = []
    for stay in stays:
        if stay.stretch is first and stay.laid[0].from_um != first.from_um:
            complaints.append(f"{where}: is used in its line's first stretch, but not first")
        taken_off_ms = None if first is None else first.first_ms
        if stay.stretch is not first and (taken_off_ms is None or stay.from_ms < taken_off_ms):
            complaints.append(f"{where}: is used on {stay.stretch.line} before it is taken off")
    return complaints
