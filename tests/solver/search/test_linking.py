"""Parts of kernels: handed on as text, also from disk, and compiled within the entries that call them."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

NAME = "kernels_of_a_test"
SOURCE = """
from solver.search.kernels.compiled import compiled, inlined, part


@part
def twice(number):
    if number < 0:
        raise ValueError("not below zero")
    return 2 * number


@inlined
def twice_and_one(number):
    return twice(number) + 1


@compiled
def first(number):
    return twice_and_one(number)


@compiled
def second(number):
    return 3 * twice(number)
"""


@pytest.fixture(name="source")
def written_source(tmp_path: Path) -> Iterator[Path]:
    """A file of kernels, kept compiled beside it."""
    path = tmp_path / f"{NAME}.py"
    path.write_text(SOURCE, encoding="ascii")
    yield path
    sys.modules.pop(NAME, None)


def test_an_entry_does_what_its_parts_say(source: Path) -> None:
    assert fresh(source).first(5) == 11


def test_a_part_is_no_machine_code_of_its_own(source: Path) -> None:
    kernels = fresh(source)
    kernels.first(5)
    assert names_in(kernels.twice) == []
    assert names_in(kernels.twice_and_one) == []
    assert names_in(kernels.first) != []


def test_an_entry_takes_the_parts_that_another_left_on_disk(source: Path) -> None:
    fresh(source).first(5)
    kernels = fresh(source)
    assert kernels.second(5) == 30
    assert loaded(kernels.twice) == 1


def test_an_entry_is_taken_from_disk_without_its_parts(source: Path) -> None:
    fresh(source).first(5)
    kernels = fresh(source)
    assert kernels.first(5) == 11
    assert (loaded(kernels.first), loaded(kernels.twice)) == (1, 0)


@pytest.mark.parametrize("entry", ["first", "second"])
def test_what_a_part_refuses_reaches_python(source: Path, entry: str) -> None:
    fresh(source).first(5)
    with pytest.raises(ValueError, match="not below zero"):
        getattr(fresh(source), entry)(-1)


def fresh(source: Path) -> ModuleType:
    """The kernels of a file as a new process has them: with nothing compiled but what is on disk."""
    spec = importlib.util.spec_from_file_location(NAME, source)
    assert spec is not None
    assert spec.loader is not None
    kernels = importlib.util.module_from_spec(spec)
    sys.modules[NAME] = kernels
    spec.loader.exec_module(kernels)
    return kernels


def names_in(kernel: Any) -> list[str]:
    """The functions of which a kernel, compiled once, has machine code."""
    (made,) = kernel.overloads.values()
    return [function.name for function in made.library.get_defined_functions()]


def loaded(kernel: Any) -> int:
    """How often a kernel was taken from disk."""
    return sum(kernel.stats.cache_hits.values())
