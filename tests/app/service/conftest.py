"""The service on both databases."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sqlalchemy import URL

from tests.app.databases import database, migrated_postgresql, migrated_sqlite, postgresql
from tests.app.service.served import Served, send_sample, served

__all__ = ["database", "migrated_postgresql", "migrated_sqlite", "postgresql"]


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
