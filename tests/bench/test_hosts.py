"""Two hosts in a short form: each is cut off once, and every request has one result all the same."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import pytest

from tests.app.databases import NEEDED, without_server
from tests.bench import hosts
from tests.bench.__main__ import main
from tests.bench.hosts_rounds import When
from tests.bench.namespaces import (
    ADDRESS,
    HOSTS,
    SERVER,
    Network,
    NoNamespacesError,
    NotAllowedError,
    network,
)
from tests.bench.service_databases import NoServerError

SHORT = (
    *("--rounds", "1", "--seconds", "4", "--lease-s", "2", "--search-s", "1", "--stopped"),
    *("--seed", "7"),
)

SHORT_S, LONG_S = 0.3, 30.0

Rows = list[dict[str, Any]]


def _without_namespaces(error: NoNamespacesError) -> None:
    """Skip with the reason; where a run without all that it needs is no run, only rights may be missing."""
    if os.environ.get(NEEDED) and not isinstance(error, NotAllowedError):
        pytest.fail(str(error), pytrace=False)
    pytest.skip(str(error))


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> Rows:
    """Rows of a short run; it ends with an error where a result is lost or doubled."""
    file = tmp_path_factory.mktemp("hosts") / "hosts.json"
    try:
        main(["hosts", *SHORT, "--json", str(file)])
    except NoNamespacesError as error:
        _without_namespaces(error)
    except NoServerError as error:
        without_server(error)
    found: Rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return found


@pytest.fixture
def cables() -> Iterator[Network]:
    """Hosts on cables, where they can be had."""
    try:
        with network() as made:
            yield made
    except NoNamespacesError as error:
        _without_namespaces(error)


def test_every_request_of_a_host_that_was_cut_off_has_one_result(rows: Rows) -> None:
    assert [row["when"] for row in rows] == [when.value for when in When]
    for row in rows:
        assert row["statuses"] == {"finished": row["requests"]}
        assert row["requests"] >= 2 * len(When)
        assert row["retried"] == len(When)
        assert row["attempts"] == row["requests"] + row["retried"]


def test_the_host_was_cut_off_while_the_other_took_over_and_came_back_after(rows: Rows) -> None:
    for row in rows:
        assert len(row["cut_off_s"]) == len(row["usable_s"]) == row["value"] == 1
        assert row["lease_s"] < row["cut_off_s"][0]
        assert 0 < row["retaken_s"][0] < row["cut_off_s"][0]
        assert row["usable_s"][0] > 0
    searching, writing = rows
    assert 0 < searching["child_ended_s"][0] < searching["cut_off_s"][0]
    assert writing["child_ended_s"] == []


def test_every_row_has_a_line_of_the_table(rows: Rows) -> None:
    (table,) = hosts.tables(rows)
    assert [line[0] for line in table.lines] == [when.value for when in When]
    assert {len(line) for line in table.lines} == {len(table.headings)}


def _reaches(cables: Network, host: str, within_s: float) -> bool:
    """Whether a host's packets come back from the server: nobody listens there, which it says."""
    tried = "import socket, sys; socket.create_connection((sys.argv[1], 9), timeout=float(sys.argv[2]))"
    command = (*cables.inside(host), sys.executable, "-c", tried, ADDRESS, f"{within_s}")
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    return "ConnectionRefusedError" in done.stderr


def test_a_host_reaches_the_server_unless_it_is_cut_off(cables: Network) -> None:
    left, right = HOSTS
    assert _reaches(cables, left, LONG_S)
    cables.cut(left)
    assert not _reaches(cables, left, SHORT_S)
    assert _reaches(cables, right, LONG_S)
    cables.mend(left)
    assert _reaches(cables, left, LONG_S)


def test_nothing_is_left_of_the_namespaces(cables: Network) -> None:
    names = [cables.inside(place)[-1] for place in (SERVER, *HOSTS)]
    listed = "ip", "netns", "list"
    before = subprocess.run(listed, check=True, capture_output=True, text=True).stdout
    cables.close()
    after = subprocess.run(listed, check=True, capture_output=True, text=True).stdout
    assert all(name in before and name not in after for name in names)


def test_who_is_not_root_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    with pytest.raises(NotAllowedError, match="only root may make network namespaces"):
        Network()


def test_a_program_that_is_missing_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(shutil, "which", lambda name: None if name == "ip" else name)
    with pytest.raises(NoNamespacesError, match="need the program ip, which is not there") as told:
        Network()
    assert not isinstance(told.value, NotAllowedError)


@pytest.mark.parametrize(
    ("says", "kind"),
    [
        ("mount --make-shared /run/netns failed: Operation not permitted", NotAllowedError),
        ('Cannot create namespace file "/run/netns/x": Read-only file system', NoNamespacesError),
    ],
)
def test_a_system_that_refuses_says_why(
    says: str, kind: type[NoNamespacesError], monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = subprocess.CompletedProcess((), 1, "", says)
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(shutil, "which", lambda name: name)
    monkeypatch.setattr(subprocess, "run", lambda *_words, **_how: refused)
    with pytest.raises(NoNamespacesError, match="ip netns add runwright-") as told:
        Network()
    assert type(told.value) is kind
