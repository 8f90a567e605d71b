"""The service on both databases."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import URL

from app.store.engine import POSTGRESQL
from tests.app.service.served import Served, send_sample, served


@pytest.fixture
def service(database: URL) -> Iterator[Served]:
    """The service with two empty plants."""
    with served(database) as running:
        yield running


@pytest.fixture
def small(service: Served) -> Served:
    """The service with the small sample in its first plant."""
    send_sample(service.asking())
    return service


ALSO_ON_POSTGRESQL = ("jobs", "rolls")
"""Of what all resources have in common these two are tried there too: one with parts, one without."""


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What the store does is tested on both databases by its own tests; here most run on SQLite alone."""
    left_out = [item for item in items if _is_left_out(item)]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


def _is_left_out(item: pytest.Item) -> bool:
    values = getattr(getattr(item, "callspec", None), "params", {})
    return (
        item.path.parent == Path(__file__).parent
        and values.get("database") == POSTGRESQL
        and values.get("name", "jobs") not in ALSO_ON_POSTGRESQL
    )
