"""How an order was found and how far from the best possible it may be, in a sentence."""

from __future__ import annotations

from app.contracts.sequences import Search
from app.documents.figures import percent


def search_text(search: Search) -> str:
    """Orders tried, seed, and what is known of better ones."""
    found = f"{search.work:,} orders tried, seed {search.seed}"
    rolls = "by usual rolls, before its own were chosen, " if search.by_usual_rolls else ""
    if search.gap is None:
        return f"{found}; no bound: how far it may be from the best possible is not known."
    if search.is_proved:
        return f"{found}; {rolls}proved: no order costs less."
    return f"{found}; {rolls}at most {percent(search.gap)} above the best possible."
