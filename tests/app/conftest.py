"""What most tests of the application start from: the sample's files, and databases."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.app.databases import (
    database,
    empty_database,
    lent_postgresql,
    migrated_postgresql,
    migrated_sqlite,
    postgresql,
)
from tests.app.queues import Files, sample_files

# Named here and nowhere below: every file that names them would have a server of its own.
__all__ = [
    "database",
    "empty_database",
    "lent_postgresql",
    "migrated_postgresql",
    "migrated_sqlite",
    "postgresql",
]


@pytest.fixture
def files(tmp_path: Path) -> Files:
    """The sample's plant and jobs in a folder of the test's own."""
    return sample_files(tmp_path)
