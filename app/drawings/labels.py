"""Figures and times as drawings show them."""

from __future__ import annotations

from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal


def metres(length_m: Decimal) -> str:
    """A length to a tenth: 1,234.5 m."""
    return f"{length_m.quantize(Decimal('0.1'), ROUND_HALF_UP):,} m"


def euros(amount_eur: Decimal) -> str:
    """Money to the euro: 1,235 €."""
    return f"{amount_eur.quantize(Decimal(1), ROUND_HALF_UP):,} €"


def day_and_clock(moment: datetime) -> str:
    """Mon 1 Mar 06:00."""
    return f"{moment:%a} {moment.day} {moment:%b %H:%M}"
