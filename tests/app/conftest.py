"""What most tests of the application start from."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.app.queues import Files, sample_files


@pytest.fixture
def files(tmp_path: Path) -> Files:
    """The sample's plant and jobs in a folder of the test's own."""
    return sample_files(tmp_path)
