"""Wasted web as a table: a row a stock, a column a kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.contracts.base import ZERO
from app.contracts.sequences import WasteShare

ALLOWANCE = "spoilage allowance"
"""What inspection will reject: no order changes it, and no total of waste holds it."""


@dataclass(frozen=True, slots=True)
class StockWaste:
    """What is wasted of a stock."""

    stock: str
    by_kind_m: tuple[Decimal, ...]
    waste_m: Decimal
    waste_m2: Decimal
    allowance_m: Decimal


@dataclass(frozen=True, slots=True)
class WasteTable:
    """Kinds that occur, without the allowance, and a row a stock with all of them."""

    kinds: tuple[str, ...]
    stocks: tuple[StockWaste, ...]


def waste_table(shares: Sequence[WasteShare]) -> WasteTable:
    """Shares by kind and stock as a table; kinds in the order in which they come, stocks by name."""
    kinds = tuple(dict.fromkeys(share.kind for share in shares if share.kind != ALLOWANCE))
    stocks = sorted({_stock(share) for share in shares})
    return WasteTable(kinds, tuple(_stock_waste(stock, kinds, shares) for stock in stocks))


def _stock(share: WasteShare) -> str:
    return f"{share.substrate} {share.width_mm:f} mm"


def _stock_waste(stock: str, kinds: tuple[str, ...], shares: Sequence[WasteShare]) -> StockWaste:
    own = [share for share in shares if _stock(share) == stock]
    wasted = [share for share in own if share.kind != ALLOWANCE]
    return StockWaste(
        stock,
        tuple(sum((share.length_m for share in own if share.kind == kind), ZERO) for kind in kinds),
        sum((share.length_m for share in wasted), ZERO),
        sum((share.area_m2 for share in wasted), ZERO),
        sum((share.length_m for share in own if share.kind == ALLOWANCE), ZERO),
    )
