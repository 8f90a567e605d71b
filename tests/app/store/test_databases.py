"""A run that was to try PostgreSQL cannot pass without it."""

from __future__ import annotations

import pytest

from tests.app.databases import NEEDED, without_server

TOLD = "PostgreSQL could not be started here: no such user"


def test_without_a_server_tests_are_skipped_with_the_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(NEEDED, raising=False)
    with pytest.raises(pytest.skip.Exception, match=TOLD):
        without_server(OSError("no such user"))


def test_where_a_server_is_needed_its_absence_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(NEEDED, "1")
    with pytest.raises(pytest.fail.Exception, match=TOLD):
        without_server(OSError("no such user"))
