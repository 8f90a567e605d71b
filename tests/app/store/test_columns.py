"""Every type of column gives back what was put in, on both databases, and sorts as the values do."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from pydantic import TypeAdapter
from sqlalchemy import URL, Column, Engine, Integer, MetaData, Table, insert, select, text
from sqlalchemy.exc import StatementError
from sqlalchemy.types import TypeEngine

from app.contracts.base import Word
from app.contracts.plant import Calendar, StockRules
from app.store.columns import Document, Json, LengthM, LengthMm, Money, Quantity6, UtcTime, key_text
from app.store.engine import connect_to, is_sqlite


@pytest.fixture
def engine(empty_database: URL) -> Iterator[Engine]:
    engine = connect_to(empty_database)
    yield engine
    engine.dispose()


def put(engine: Engine, kind: TypeEngine[Any], values: list[Any]) -> Table:
    """A table with one column of values."""
    table = Table("kept", MetaData(), Column("pk", Integer, primary_key=True), Column("value", kind))
    with engine.begin() as connection:
        table.create(connection)
        connection.execute(insert(table), [{"pk": n, "value": value} for n, value in enumerate(values)])
    return table


def back(engine: Engine, table: Table, *, ordered: bool = False) -> list[Any]:
    with engine.connect() as connection:
        rows = select(table.c.value).order_by(table.c.value if ordered else table.c.pk)
        return list(connection.execute(rows).scalars())


EXACT = ["0", "0.1", "0.2", "0.3", "1.5", "7", "100", "150.25", "0.000001", "999999999.999999", "1000000000"]


@pytest.mark.parametrize("kind", [Money(), Quantity6(), LengthM()], ids=["money", "quantity", "length"])
def test_decimals_come_back_to_the_last_place_and_in_order(engine: Engine, kind: TypeEngine[Any]) -> None:
    values = [Decimal(text) for text in reversed(EXACT)]
    table = put(engine, kind, [*values, None])
    assert back(engine, table) == [*values, None]
    assert [str(value) for value in back(engine, table)[:-1]] == list(reversed(EXACT))
    found = [value for value in back(engine, table, ordered=True) if value is not None]
    assert found == sorted(values)


def test_lengths_are_kept_as_whole_micrometres(engine: Engine) -> None:
    table = put(engine, LengthMm(), [Decimal("304.8"), Decimal("0.001")])
    assert back(engine, table) == [Decimal("304.8"), Decimal("0.001")]
    with engine.connect() as connection:
        assert connection.execute(text("SELECT value FROM kept ORDER BY pk")).scalars().all() == [304_800, 1]


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (LengthM(), "0.0000001"),
        (LengthMm(), "0.0005"),
        (Money(), "0.1234567"),
        (Quantity6(), "1.0000001"),
    ],
)
def test_a_decimal_with_too_many_places_is_refused_and_not_rounded(
    engine: Engine, kind: TypeEngine[Any], value: str
) -> None:
    with pytest.raises(StatementError, match="decimal places"):
        put(engine, kind, [Decimal(value)])


SUMMER = timezone(timedelta(hours=2))


def test_moments_come_back_in_utc_to_the_microsecond_and_in_order(engine: Engine) -> None:
    values = [
        datetime(2027, 7, 1, 1, 30, 0, 123456, tzinfo=SUMMER),
        datetime(2000, 1, 1, tzinfo=UTC),
        datetime(2100, 12, 31, 23, 59, 59, 999999, tzinfo=UTC),
        datetime(2027, 6, 30, 23, 45, tzinfo=UTC),
    ]
    table = put(engine, UtcTime(), [*values, None])
    assert back(engine, table) == [*values, None]
    assert {value.tzinfo for value in back(engine, table)[:-1]} == {UTC}
    assert [value for value in back(engine, table, ordered=True) if value is not None] == sorted(values)


def test_a_moment_without_an_offset_is_refused(engine: Engine) -> None:
    with pytest.raises(StatementError, match="has no offset"):
        put(engine, UtcTime(), [datetime(2027, 3, 1, 6, 0)])


CALENDAR = {
    "shifts": [{"days": ["mon"], "from": "06:00", "to": "14:00"}],
    "closures": [{"from": "2027-03-26T00:00", "to": "2027-03-30T06:00+02:00", "reason": "Easter “é” 🙂"}],
}


def test_documents_come_back_as_the_contract_they_were(engine: Engine) -> None:
    calendars = [Calendar.model_validate(CALENDAR), Calendar(), None]
    table = put(engine, Document(Calendar), calendars)
    assert back(engine, table) == calendars


def test_numbers_of_documents_are_exact(engine: Engine) -> None:
    rules = StockRules(age_eur_per_day=Decimal("0.000001"), least_stub_m=Decimal("9999999.999999"))
    assert back(engine, put(engine, Document(StockRules), [rules])) == [rules]


def test_documents_of_several_parts_keep_their_names_and_order(engine: Engine) -> None:
    kinds: dict[str, tuple[str, ...]] = {"b": ("2", "1"), "a": ()}
    found = back(engine, put(engine, Document(dict[Word, tuple[Word, ...]]), [kinds]))
    assert found == [kinds]
    assert list(found[0]) == ["b", "a"]


def test_json_is_kept_as_it_is(engine: Engine) -> None:
    found = back(engine, put(engine, Json(), ['{"late_eur": 0.1, "note": "é"}', None]))
    assert TypeAdapter(dict[str, Any]).validate_json(found[0]) == {"late_eur": 0.1, "note": "é"}
    assert found[1] is None


def test_documents_are_json_on_postgresql(engine: Engine) -> None:
    put(engine, Document(Calendar), [Calendar()])
    if not is_sqlite(engine):
        with engine.connect() as connection:
            assert connection.execute(text("SELECT json_typeof(value) FROM kept")).scalar_one() == "object"


def test_keys_sort_by_code_point_on_both_databases(engine: Engine) -> None:
    keys = ["a", "B", "é", "Z", "_", "%", "10", "9", "🙂", "\ufffd", "ä", "a b"]
    assert back(engine, put(engine, key_text(), keys), ordered=True) == sorted(keys)
