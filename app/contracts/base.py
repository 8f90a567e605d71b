"""The base of all contracts, and their numbers, codes and moments.

Numbers are `Decimal` inside, so that 0.1 m is 0.1 m, and plain JSON numbers outside.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    PlainSerializer,
    StringConstraints,
    WithJsonSchema,
)
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError

ZERO = Decimal(0)


class Contract(BaseModel):
    """A value that crosses an edge: frozen, and without fields nobody knows."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class _JsonNumber:
    """Shows a `Decimal` in a JSON Schema as the number it is."""

    def __get_pydantic_json_schema__(
        self, core_schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        schema = handler(core_schema)
        for branch in schema.pop("anyOf", ()):
            if branch.get("type") == "number":
                schema |= branch
        return schema


class PlainSchema(GenerateJsonSchema):
    """Writes defaults as numbers too, and leaves out titles that only repeat the names."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def encode_default(self, dft: Any) -> Any:
        return plain_number(dft) if isinstance(dft, Decimal) else super().encode_default(dft)


def plain_number(value: Decimal) -> int | float:
    """A `Decimal` as JSON writes it: 7 or 7.5."""
    return int(value) if value == value.to_integral_value() else float(value)


def _unquoted(value: object) -> object:
    if isinstance(value, str):
        raise PydanticCustomError("quoted_number", "should be a number, without quotes")
    return value


Number = Annotated[Decimal, _JsonNumber(), PlainSerializer(plain_number, when_used="json")]
"""A number of any size and sign, as results hold it."""

_UNQUOTED = BeforeValidator(_unquoted)

Metres = Annotated[Number, Field(ge=0, le=10**7, decimal_places=6), _UNQUOTED]
"""A length in m, to the µm."""

Millimetres = Annotated[Number, Field(gt=0, le=10**6, decimal_places=3), _UNQUOTED]
"""A length above 0 in mm, to the µm."""

MillimetresOrZero = Annotated[Number, Field(ge=0, le=10**6, decimal_places=3), _UNQUOTED]
"""A length in mm, to the µm."""

Minutes = Annotated[Number, Field(ge=0, le=10**6, decimal_places=6), _UNQUOTED]
"""A time in minutes; it is kept to the ms."""

RollMetres = Annotated[Number, Field(ge=10, le=10**6, decimal_places=6), _UNQUOTED]
"""Length of a roll or reel in m: every one of its ends inside a run is worked out by itself."""

MetresPerMinute = Annotated[Number, Field(gt=0, le=1000, decimal_places=6), _UNQUOTED]
"""A speed in m/min."""

MetresPerSecondSquared = Annotated[Number, Field(gt=0, le=100, decimal_places=6), _UNQUOTED]
"""A deceleration in m/s²."""

StrokesPerMinute = Annotated[Number, Field(gt=0, le=10**5, decimal_places=6), _UNQUOTED]

Euro = Annotated[Number, Field(ge=0, le=10**9, decimal_places=6), _UNQUOTED]
"""Money in €; prices and rates are € per the unit in the field's name."""

Percent = Annotated[Number, Field(ge=0, lt=100, decimal_places=6), _UNQUOTED]
"""At least 0 and below 100."""

OversPercent = Annotated[Number, Field(ge=0, le=1000, decimal_places=6), _UNQUOTED]
"""Percent that may exceed the whole."""

Darkness = Annotated[Number, Field(ge=0, le=1, decimal_places=6), _UNQUOTED]
"""0 is clear, 1 the darkest."""

LARGEST_COUNT = 10**9
Count = Annotated[int, Field(ge=1, le=LARGEST_COUNT, strict=True)]
CountOrZero = Annotated[int, Field(ge=0, le=LARGEST_COUNT, strict=True)]
Micrometres = Annotated[int, Field(ge=1, le=10**7, strict=True)]

CODE_PATTERN = r"^[^\s\x00-\x1f]([^\x00-\x1f]*[^\s\x00-\x1f])?$"
WORD_PATTERN = r"^[^\s;:+\x00-\x1f]([^;:+\x00-\x1f]*[^\s;:+\x00-\x1f])?$"
CHANNEL_PATTERN = r"^[A-Z]$"
CLOCK_PATTERN = r"^(([01][0-9]|2[0-3]):[0-5][0-9]|24:00)$"
PITCH_PATTERN = r"^(1/8 in|1/4 in|module [0-9]{1,3}(\.[0-9]{1,4})?|DP [0-9]{1,3}(\.[0-9]{1,4})?)$"

RIGHT_BY_PATTERN = {
    CODE_PATTERN: "should be one line of text, without blanks around it",
    WORD_PATTERN: "should be one line of text without ; : and +, without blanks around it",
    CHANNEL_PATTERN: "should be one capital letter",
    CLOCK_PATTERN: "should be a time of day such as 06:00",
    PITCH_PATTERN: "should be 1/8 in, 1/4 in, module m (such as module 1.5) or DP n (such as DP 24)",
}
"""What a text that does not fit a pattern should be, in words."""

Code = Annotated[str, StringConstraints(pattern=CODE_PATTERN, max_length=80)]
"""What people call a job, a stock, a die: any line of text without blanks around it."""

Word = Annotated[str, StringConstraints(pattern=WORD_PATTERN, max_length=80)]
"""A code that a list in one cell can hold: without ; : and +."""

Channel = Annotated[str, StringConstraints(pattern=CHANNEL_PATTERN)]
"""An inkjet channel: one letter."""

FIRST_YEAR, LAST_YEAR = 2000, 2100
_MOMENT_RIGHT = "should be a date and time such as 2027-03-01T06:00 or 2027-03-01T06:00+01:00"


def parse_moment(text: object) -> datetime:
    """A date and time in ISO 8601; without an offset it is left so.

    Raises
    ------
    ValueError
        If it is anything else, a date alone included.
    """
    if isinstance(text, datetime):
        return text
    if not isinstance(text, str) or len(text.strip()) <= len("2027-03-01"):
        raise PydanticCustomError("moment", _MOMENT_RIGHT)
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise PydanticCustomError("moment", _MOMENT_RIGHT) from None
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise PydanticCustomError("moment", f"should lie in the years {FIRST_YEAR} to {LAST_YEAR}")
    return moment


Moment = Annotated[datetime, BeforeValidator(parse_moment), WithJsonSchema({"type": "string"})]
"""A date and time; without an offset it means the site's own clock."""

OFFSET_RIGHT = "should have an offset, such as 2027-03-01T06:00+01:00"


def _with_offset(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise PydanticCustomError("offset", OFFSET_RIGHT)
    return moment


OffsetMoment = Annotated[
    datetime,
    BeforeValidator(parse_moment),
    AfterValidator(_with_offset),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
"""A date and time with its offset: what comes over a network may be read anywhere."""


def at_site(moment: datetime, zone: ZoneInfo) -> datetime:
    """The moment with an offset: its own, or the site's.

    A time that the site's clock shows twice is the first of the two; one that it skips is read with
    the offset before the gap (RFC 5545, 3.3.5).
    """
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone, fold=0)
