"""JSON with exact numbers: what has a point is a `Decimal`, and what nobody means is refused."""

from __future__ import annotations

import json
from collections import Counter
from decimal import Decimal, InvalidOperation
from typing import Any, NoReturn


class NotJson(ValueError):
    """A text that is not JSON, or JSON that nobody means.

    Parameters
    ----------
    right
        What is wrong with it, in words.
    row
        The line it stands in, from 1; None where no line is to blame.
    """

    def __init__(self, right: str, row: int | None = None) -> None:
        self.right = right
        self.row = row
        super().__init__(right if row is None else f"{right} (line {row})")


def exact_json(text: str) -> Any:
    """The value of a JSON text.

    Raises
    ------
    NotJson
        If it is malformed, nested too deep, holds NaN or Infinity, a number with thousands of digits,
        or gives a name twice in one place.
    """
    try:
        return json.loads(
            text, parse_float=Decimal, parse_constant=_no_constant, object_pairs_hook=_unique_pairs
        )
    except json.JSONDecodeError as error:
        raise NotJson(f"is not JSON: {error.msg} in column {error.colno}", error.lineno) from None
    except RecursionError:
        raise NotJson("is nested too deep") from None
    except NotJson:
        raise
    except (ValueError, InvalidOperation):
        raise NotJson("holds a number with far too many digits") from None


def _no_constant(text: str) -> NoReturn:
    raise NotJson(f"holds {text}, which is no number")


def _unique_pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) < len(pairs):
        counts = Counter(name for name, _ in pairs)
        raise NotJson(f"gives “{counts.most_common(1)[0][0]}” twice in one place")
    return value
