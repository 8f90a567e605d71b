"""How kernels are compiled: without the interpreter's lock, by one process at a time, and kept on disk."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from functools import cache, partial
from pathlib import Path
from threading import RLock
from typing import Any, TypeVar, cast

import numba
from numba import types

from solver.search.kernels.linking import PartCompiler

if sys.platform != "win32":
    import fcntl

_njit: Any = numba.njit
"""Its stubs do not know all of its options."""
_here: Any = partial(_njit, nogil=True, cache=True, no_cfunc_wrapper=True, forceinline=False)
"""Not written out where it is called: unless a kernel says so, it does as the first one that called it."""
_without_doors: Any = partial(_here, no_cpython_wrapper=True, pipeline_class=PartCompiler)
_unliteral: Any = types.unliteral

Kernel = TypeVar("Kernel", bound=Callable[..., object])

SOURCES = Path(__file__).parent
MARK = "kernels.sha256"
"""File beside compiled kernels that says which sources they were compiled from."""
TURNS = "kernels.turns"
"""File beside compiled kernels that a process holds while it compiles."""


def compiled(function: Kernel) -> Kernel:
    """Compile a function on its first call; later processes take the machine code from disk."""
    return _kept(function, _for_numbers(_here()(function)))


def part(function: Kernel) -> Kernel:
    """The same for what only kernels call: without a door to Python, and turned into machine code only within
    the kernels that are called from there (`linking`).
    """
    return _kept(function, _for_numbers(_without_doors()(function)))


def inlined(function: Kernel) -> Kernel:
    """The same, written out wherever it is called: for what is called with many arrays a million times
    a second, where handing them over costs more than the work. It is done when the entry is optimised:
    written out before, it would be copied and lowered with everything around it.
    """
    return _kept(function, _for_numbers(_without_doors(forceinline=True)(function)))


def is_on_disk(kernel: Callable[..., object]) -> bool:
    """Whether a kernel was compiled before, for some arguments, and will not have to be again."""
    folder = _folder(kernel)
    name = getattr(kernel, "__name__", "")
    return folder is None or any(folder.glob(f"*.{name}-*.nbi"))


def _kept(function: Kernel, made: Any) -> Kernel:
    """What was made of a function, with its type, once nothing stale is kept of it."""
    folder = _folder(made)
    if folder is not None:
        _forget_stale(folder)
        _take_turns(made, folder)
    return cast("Kernel", made)


def _take_turns(made: Any, folder: Path) -> None:
    """Let whoever would compile at the same time wait, and take from disk what has been compiled by then:
    several processes that begin together would otherwise all take half a minute for the same.
    """
    compile_now = made.compile

    def compile_in_turn(signature: Any) -> Any:
        with _turn(folder):
            return compile_now(signature)

    made.compile = compile_in_turn


_turns_of_threads = RLock()
_turns_taken: list[Path] = []


@contextmanager
def _turn(folder: Path) -> Iterator[None]:
    """This thread's and this process's turn; what a kernel calls is compiled in the turn of that kernel."""
    with _turns_of_threads:
        if _turns_taken:
            yield
            return
        _turns_taken.append(folder)
        try:
            with _held(folder / TURNS):
                yield
        finally:
            _turns_taken.pop()


@contextmanager
def _held(path: Path) -> Iterator[None]:
    """Hold a file, once nobody else does; where files cannot be held, go on at once."""
    file = None
    if sys.platform != "win32":
        with suppress(OSError):
            file = path.open("ab")
            fcntl.flock(file, fcntl.LOCK_EX)
    try:
        yield
    finally:
        if file is not None:
            file.close()


def _for_numbers(made: Any) -> Any:
    """Let a kernel that is called with a constant be the one that is called with any number: otherwise it is
    compiled once for each of them.
    """
    template = getattr(made, "get_call_template", None)
    if template is None:
        return made

    def for_numbers(arguments: Sequence[Any], named: Mapping[str, Any]) -> Any:
        return template(
            tuple(_unliteral(each) for each in arguments),
            {name: _unliteral(each) for name, each in named.items()},
        )

    made.get_call_template = for_numbers
    return made


def _folder(kernel: Any) -> Path | None:
    """Where a kernel is kept; None where nothing is compiled."""
    stats = getattr(kernel, "stats", None)
    return None if stats is None or stats.cache_path is None else Path(stats.cache_path)


@cache
def _forget_stale(folder: Path) -> None:
    """Delete compiled kernels that any of today's sources did not make.

    The compiler looks only at the file of the kernel itself, but a kernel holds those it calls and the
    numbers of other modules.
    """
    mark = folder / MARK
    digest = _digest()
    with suppress(OSError):
        if mark.exists() and mark.read_text(encoding="ascii") == digest:
            return
    with suppress(OSError):
        for index in folder.glob("*.nbi"):
            index.unlink(missing_ok=True)
        written = folder / f"{MARK}.{os.getpid()}"
        written.write_text(digest, encoding="ascii")
        written.replace(mark)


@cache
def _digest() -> str:
    digest = hashlib.sha256()
    for source in sorted(SOURCES.glob("*.py")):
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()
