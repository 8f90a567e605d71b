"""Rolls are as wide as the stretch they are put on, or are slit down to that, whole and once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import groupby

from solver.roll_choice import RollChoice, Shortage, Use
from solver.roll_ledger import RollPiece
from solver.roll_plan import RollPlan
from solver.rolls import Roll
from solver.sequence import Stock
from tests.checker.complaints import differs
from tests.checker.rolls_store import RollStore, uses_by_roll
from tests.checker.rolls_web import RollLedger, StretchWeb


def stock_complaints(stretch: StretchWeb, choice: RollChoice, store: RollStore) -> list[str]:
    """Rolls are of the stretch's stock, or may become it, and each is put on its unwind once."""
    complaints = []
    for roll_id, uses in uses_by_roll(choice.uses).items():
        roll, where = store.rolls.get(roll_id), f"{stretch.name}, roll {roll_id}"
        if roll is None:
            complaints.append(f"{stretch.name}: there is no roll {roll_id}")
            continue
        against = list(against_slitting(stretch, roll, store))
        if store.stock_of(roll) != stretch.stock and against:
            complaints += differs(where, "stock", store.stock_of(roll), stretch.stock)
            complaints += [f"{where}: is slit, but {reason}" for reason in against]
        complaints += _said_complaints(where, stretch, roll, uses, store)
    order = [roll_id for roll_id, _ in groupby(choice.uses, key=lambda use: use.roll)]
    twice = [roll_id for roll_id, count in Counter(order).items() if count > 1]
    return complaints + [f"{stretch.name}: roll {roll_id} is put on twice" for roll_id in twice]


def against_slitting(stretch: StretchWeb, roll: Roll, store: RollStore) -> Iterator[str]:
    """Why a roll may not be slit down to a stretch's stock before it is mounted."""
    stock, line = store.stock_of(roll), store.problem.plant.lines[stretch.line_idx]
    trim_um = stock.width_um - stretch.stock.width_um
    if stock.substrate != stretch.stock.substrate:
        yield f"it is {stock.substrate}"
    if roll.id in store.slit_to:
        yield "it was slit already"
    if roll.id in store.used_um:
        yield "something of it is used"
    if roll.on_unwind is not None:
        yield f"it is on the unwind of {roll.on_unwind}"
    if trim_um <= 0:
        yield "it is not wider"
    if trim_um > store.rules.most_trim_um:
        yield f"{trim_um} µm would be cut off, at most {store.rules.most_trim_um} µm may"
    if stock.width_um > line.web_width_um:
        yield f"it is wider than the web of {line.id}"


def _said_complaints(
    where: str, stretch: StretchWeb, roll: Roll, uses: list[Use], store: RollStore
) -> list[str]:
    """Every use says how wide its roll was, if it was slit for this stretch or before."""
    before = store.in_store_as[roll.id]
    right = before.width_um if before != stretch.stock else None
    return [
        complaint
        for use in uses
        for complaint in differs(where, "µm it is slit from", use.slit_from_um, right)
    ]


def width_complaints(store: RollStore, rolls: RollLedger) -> list[str]:
    """The ledger's pieces are as wide as their rolls, and so is the web that they are."""
    return [
        complaint
        for roll_id, pieces in rolls.items()
        if roll_id in store.rolls
        for piece in pieces
        for complaint in _piece_complaints(store, store.rolls[roll_id], piece)
    ]


def _piece_complaints(store: RollStore, roll: Roll, piece: RollPiece) -> list[str]:
    where = f"roll {roll.id}, {piece.part} from {piece.from_um} µm"
    stock, before = store.stock_of(roll), store.in_store_as[roll.id]
    complaints = differs(where, "width in µm", piece.width_um, stock.width_um)
    right = before.width_um if stock != before else None
    complaints += differs(where, "µm it is slit from", piece.slit_from_um, right)
    right_um2 = (before.width_um - stock.width_um) * piece.length_um
    complaints += differs(where, "µm² cut off along it", piece.trim_um2, right_um2)
    return complaints + ([] if piece.web is None else differs(where, "stock", piece.web.stock, stock))


def lacking_complaints(store: RollStore, plan: RollPlan) -> list[str]:
    """No roll is slit of a width that lacks web itself."""
    short: set[Stock] = {each.stretch.stock for each in plan.stretches if isinstance(each.choice, Shortage)}
    return [
        f"roll {roll_id}: is slit, but {before.substrate} of {before.width_um} µm is missing itself"
        for roll_id in store.slit_to
        if (before := store.in_store_as[roll_id]) in short
    ]
