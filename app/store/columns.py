"""Types of columns: exact on SQLite and PostgreSQL, and the same to whoever reads and writes them.

What goes in and comes out is what contracts hold: `Decimal`, aware moments, contracts. Lengths are kept as
whole µm; money and other decimals as NUMERIC on PostgreSQL and as whole millionths on SQLite, which knows no
exact decimals; moments as timestamptz, or as whole µs since 1970 in UTC.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter
from sqlalchemy import (
    BigInteger,
    DateTime,
    Dialect,
    Integer,
    Numeric,
    String,
    Text,
    TypeDecorator,
    cast,
    type_coerce,
)
from sqlalchemy.sql.elements import ColumnElement
from sqlalchemy.types import TypeEngine, UserDefinedType

from app.store.engine import POSTGRESQL, SQLITE

Of = TypeVar("Of")

PrimaryKey = BigInteger().with_variant(Integer(), SQLITE)
"""A number that never leaves the store; SQLite counts up an INTEGER alone."""

BY_CODE_POINT = "C"
"""PostgreSQL's name for an order that knows no language, as SQLite's is."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
MILLIONTHS, MICROMETRES_OF_A_MILLIMETRE = 6, 3


def whole_units(value: Decimal, places: int) -> int:
    """A decimal as a whole number of its last place.

    Raises
    ------
    ValueError
        If it has more places.
    """
    scaled = value.scaleb(places)
    units = int(scaled)
    if units != scaled:
        raise ValueError(f"{value} has more than {places} decimal places")
    return units


def decimal_of(units: int, places: int) -> Decimal:
    """The decimal of a whole number of its last place, without noughts at its end."""
    whole, rest = divmod(units, 10**places)
    return Decimal(units).scaleb(-places).normalize() if rest else Decimal(whole)


class _Length(TypeDecorator[Decimal]):
    """A length, kept as whole µm."""

    impl = BigInteger
    cache_ok = True
    places: int

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> int | None:
        return None if value is None else whole_units(value, self.places)

    def process_result_value(self, value: int | None, dialect: Dialect) -> Decimal | None:
        return None if value is None else decimal_of(value, self.places)


class LengthM(_Length):
    """A length in m, kept as whole µm."""

    cache_ok = True
    places = MILLIONTHS


class LengthMm(_Length):
    """A length in mm, kept as whole µm."""

    cache_ok = True
    places = MICROMETRES_OF_A_MILLIMETRE


class Quantity6(TypeDecorator[Decimal]):
    """Any number of up to six decimal places: minutes, speeds, percentages."""

    impl = Numeric(18, MILLIONTHS)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        return dialect.type_descriptor(
            BigInteger() if dialect.name == SQLITE else Numeric(18, MILLIONTHS, asdecimal=True)
        )

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> Decimal | int | None:
        if value is None:
            return None
        units = whole_units(value, MILLIONTHS)
        return units if dialect.name == SQLITE else value

    def process_result_value(self, value: Any, dialect: Dialect) -> Decimal | None:
        if value is None:
            return None
        return decimal_of(value if dialect.name == SQLITE else whole_units(value, MILLIONTHS), MILLIONTHS)


class Money(Quantity6):
    """An amount or a price in €, to the millionth."""

    cache_ok = True


class UtcTime(TypeDecorator[datetime]):
    """A moment with an offset; it comes back in UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        return dialect.type_descriptor(BigInteger() if dialect.name == SQLITE else DateTime(timezone=True))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | int | None:
        if value is None:
            return None
        if value.utcoffset() is None:
            raise ValueError(f"{value} has no offset: whose clock is it on?")
        return (value - EPOCH) // _MICROSECOND if dialect.name == SQLITE else value

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        moment: datetime = value if isinstance(value, datetime) else EPOCH + value * _MICROSECOND
        return moment.astimezone(UTC)


class _PostgresqlJson(UserDefinedType[str]):
    """PostgreSQL's json, handed over as the text it is. Unlike jsonb it keeps names in their order."""

    cache_ok = True
    render_bind_cast = True

    def get_col_spec(self, **_: Any) -> str:
        return "JSON"


class _JsonText(TypeDecorator[Of], Generic[Of]):
    """A JSON text: of type json on PostgreSQL. It is read as text, since the driver's numbers are floats."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        return dialect.type_descriptor(_PostgresqlJson() if dialect.name == POSTGRESQL else Text())

    def column_expression(self, column: ColumnElement[Any]) -> ColumnElement[Any]:
        return type_coerce(cast(column, Text), self)


class Json(_JsonText[str]):
    """JSON as a text that is already there."""

    cache_ok = True


class Document(_JsonText[Of]):
    """A part of a contract that nobody searches by, as the JSON that pydantic dumps: numbers exact, moments
    as they were given.
    """

    cache_ok = True

    def __init__(self, contract: Any) -> None:
        super().__init__()
        self.contract = contract
        self._adapter: TypeAdapter[Of] = TypeAdapter(contract)

    def text(self, value: Of) -> str:
        """The JSON of a part."""
        return self._adapter.dump_json(value, by_alias=True).decode()

    def value(self, text: str) -> Of:
        """The part that a JSON tells."""
        return self._adapter.validate_json(text)

    def process_bind_param(self, value: Of | None, dialect: Dialect) -> str | None:
        return None if value is None else self.text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Of | None:
        return None if value is None else self.value(value)


ChoiceT = TypeVar("ChoiceT", bound=StrEnum)


class Choice(TypeDecorator[ChoiceT], Generic[ChoiceT]):
    """One of a few words."""

    impl = String(40)
    cache_ok = True

    def __init__(self, words: type[ChoiceT]) -> None:
        super().__init__()
        self.words = words
        self._by_value = {word.value: word for word in words}

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        collation = BY_CODE_POINT if dialect.name == POSTGRESQL else None
        return dialect.type_descriptor(String(40, collation=collation))

    def process_bind_param(self, value: ChoiceT | None, dialect: Dialect) -> str | None:
        return None if value is None else value.value

    def process_result_value(self, value: str | None, dialect: Dialect) -> ChoiceT | None:
        return None if value is None else self._by_value[value]


def key_text(length: int = 80) -> TypeEngine[str]:
    """Text that is compared code point by code point on both databases, so that a prefix is a range."""
    return String(length).with_variant(String(length, collation=BY_CODE_POINT), POSTGRESQL)
