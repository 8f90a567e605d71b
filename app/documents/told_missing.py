"""What the rolls in the store do not suffice for, in a sentence."""

from __future__ import annotations

from app.contracts.roll_use import MissingStock
from app.documents.figures import tenths
from app.drawings.labels import day_and_clock


def missing_text(short: MissingStock) -> str:
    """How many metres of which stock are missing, for which job, from when on."""
    least = "" if short.proven else "at most "
    stock = f"{short.substrate} {short.width_mm:f} mm"
    whom = short.job or "what is threaded"
    return (
        f"Rolls do not suffice on {short.line}: {least}{tenths(short.missing_m)} m of {stock} are missing "
        f"for {whom} from {day_and_clock(short.needed)} on."
    )
