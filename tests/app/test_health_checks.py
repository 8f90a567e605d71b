"""What keeps a machine from running the service."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from app.services import health_checks
from app.services.health_checks import Found, Verdict, all_found, compiled_search, disk, pdf_letters


def test_this_machine_is_good_or_has_notes() -> None:
    found = list(all_found(health_checks.MACHINE))
    assert [one.what for one in found] == ["versions", "time zones", "PDF", "search"]
    assert all(one.verdict is not Verdict.BAD for one in found), found


def test_a_pdf_without_letters_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health_checks, "pdf_from_html", lambda html: b"%PDF-1.7 nothing")
    (found,) = pdf_letters()
    assert found.verdict is Verdict.BAD


@pytest.mark.parametrize(("compiled", "verdict"), [(True, Verdict.GOOD), (False, Verdict.NOTE)])
def test_a_search_that_is_not_compiled_yet_is_worth_knowing(
    monkeypatch: pytest.MonkeyPatch, compiled: bool, verdict: Verdict
) -> None:
    monkeypatch.setattr(health_checks, "kernels_are_compiled", lambda: compiled)
    (found,) = compiled_search()
    assert found.verdict is verdict


class Usage(NamedTuple):
    """Of a disk, in bytes."""

    free: int


@pytest.mark.parametrize(("free_mb", "verdict"), [(499, Verdict.BAD), (500, Verdict.GOOD)])
def test_a_full_disk_is_found(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, free_mb: int, verdict: Verdict
) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda folder: Usage(free_mb * 1024**2))
    (found,) = disk(tmp_path)
    assert found.verdict is verdict
    assert f"{free_mb} MB free" in found.told


def test_a_check_that_breaks_is_a_find_and_the_others_go_on() -> None:
    def broken_check() -> Iterator[Found]:
        yield Found("first", Verdict.GOOD, "so far")
        raise OSError("no such device")

    found = list(all_found([broken_check, health_checks.time_zones]))
    assert [one.what for one in found] == ["first", "broken check", "time zones"]
    assert found[1].verdict is Verdict.BAD
    assert "no such device" in found[1].told
