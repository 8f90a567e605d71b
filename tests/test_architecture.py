"""The rooms hold: imports go where the design lets them, and every package imported is declared."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
OURS = {"app", "solver", "migrations", "sample_data", "tests"}
COME_WITH = {"pydantic_core": "pydantic", "click": "typer", "starlette": "fastapi"}
"""Packages that a declared one brings along and hands through."""
FOUND_BY_OTHERS = {"tzdata", "httptools", "uvloop"}
"""Packages that the standard library or uvicorn look for, and are slower or poorer without."""


def imported(folder: str) -> Iterator[str]:
    """Top-level packages that a folder's modules import, the standard library and our own apart."""
    for path in (ROOT / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                names = [node.module]
            for name in names:
                package = name.partition(".")[0]
                if package not in sys.stdlib_module_names and package not in OURS:
                    yield COME_WITH.get(package, package)


WHERE_INSTALLED = {"psycopg"}
"""Packages of extras: imported where they are needed alone, and done without where they are not there."""


def declared(requirements: list[str]) -> set[str]:
    """Names of requirements, as modules are called."""
    return {re.split(r"[\[<>=]", requirement)[0].replace("-", "_") for requirement in requirements}


def test_the_import_contracts_are_kept(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    status = lint_imports(no_cache=True)
    assert status == EXIT_STATUS_SUCCESS, capsys.readouterr().out


def test_what_the_program_imports_is_declared_and_what_is_declared_is_imported() -> None:
    imports = {*imported("app"), *imported("solver"), *imported("migrations")}
    assert (imports | FOUND_BY_OTHERS) - WHERE_INSTALLED == declared(PROJECT["dependencies"])
    assert declared(PROJECT["optional-dependencies"]["postgres"]) >= WHERE_INSTALLED


def test_what_the_tests_import_is_declared() -> None:
    extra = {
        "importlinter" if name == "import_linter" else name
        for name in declared(PROJECT["optional-dependencies"]["test"])
    }
    assert set(imported("tests")) <= extra | declared(PROJECT["dependencies"])
