"""Numbers as people write them, where only one reading is possible.

Points, commas, blanks and apostrophes may part thousands or mark decimals. A cell is read only if what
it says cannot be another number: 12,5 and 1.200,50 and 1 200 can be one thing only, 1.200 may be two.
"""

from __future__ import annotations

import re
from decimal import Decimal

from app.intake.cell_error import CellError
from app.intake.lines import Separators

_LONGEST = 40
_THIN_GROUPS = re.compile(r"[0-9]{1,3}([ \u00a0\u2009\u202f'’])[0-9]{3}(?:\1[0-9]{3})*(?:[.,][0-9]+)?")
_ONE_MARK = re.compile(r"([0-9]+)([.,])([0-9]+)")
_GROUPS_AND_MARK = re.compile(r"[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+|[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]+")
_GROUPS = re.compile(r"[0-9]{1,3}(?:(?:,[0-9]{3}){2,}|(?:\.[0-9]{3}){2,})")
_DECIMAL_MARK = {Separators.POINT: ".", Separators.COMMA: ",", Separators.NONE: "."}


def number_in(text: str, separators: Separators) -> Decimal | None:
    """The number, or None where the text is none.

    Raises
    ------
    CellError
        Where it could be two numbers.
    """
    if len(text) > _LONGEST:
        return None
    if _THIN_GROUPS.fullmatch(text):
        return Decimal(re.sub(r"[^0-9.]", "", text.replace(",", ".")))
    if re.fullmatch(r"[0-9]+", text):
        return Decimal(text)
    one = _ONE_MARK.fullmatch(text)
    if one:
        return _with_one_mark(one[1], one[2], one[3], separators)
    if _GROUPS_AND_MARK.fullmatch(text):
        mark = max(text.rfind("."), text.rfind(","))
        return Decimal(f"{re.sub('[.,]', '', text[:mark])}.{text[mark + 1 :]}")
    if _GROUPS.fullmatch(text):
        return Decimal(re.sub("[.,]", "", text))
    return None


def _with_one_mark(whole: str, mark: str, rest: str, separators: Separators) -> Decimal:
    may_part_thousands = len(rest) == 3 and len(whole) <= 3 and not whole.startswith("0")
    if may_part_thousands and _DECIMAL_MARK.get(separators) != mark:
        decimal = unmistakable(Decimal(f"{whole}.{rest}"))
        raise CellError(
            f"could be {whole}{rest} or {decimal}: write {whole}{rest}, without separators, or {decimal}"
        )
    return Decimal(f"{whole}.{rest}")


def unmistakable(number: Decimal) -> str:
    """A number as text that can be read in one way only: three digits behind a point could part thousands."""
    text = f"{number.normalize():f}"
    return f"{text}0" if len(text.partition(".")[2]) == 3 else text
