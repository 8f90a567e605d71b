"""Reads asymmetric instances of TSPLIB: the keywords, and set-ups given as a full matrix.

The format: Reinelt, TSPLIB 95 (Universität Heidelberg, 1995).
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from tests.bench.instances import Instance

ENDING = ".atsp"
MATRIX_FOLLOWS = "EDGE_WEIGHT_SECTION"


class NotTsplibError(ValueError):
    """A text that is not an asymmetric instance with a full matrix."""


def tour_instances(path: Path) -> list[Instance]:
    """All instances of a folder, of a zip or wheel, or of one file; the smallest first.

    Raises
    ------
    NotTsplibError
        Where one of them cannot be read, or there is none.
    """
    found = [instance_of(text) for text in _texts(path)]
    if not found:
        raise NotTsplibError(f"{path.name}: holds no file that ends in {ENDING}")
    return sorted(found, key=lambda instance: (instance.jobs, instance.name))


def instance_of(text: str) -> Instance:
    """The closed tour that a TSPLIB text describes.

    Raises
    ------
    NotTsplibError
        Where the text is of another type or format, or the matrix is not complete.
    """
    head, found, tail = text.partition(MATRIX_FOLLOWS)
    fields = dict(_fields(head))
    name = fields.get("NAME", "unnamed")
    for field, expected in (
        ("TYPE", "ATSP"),
        ("EDGE_WEIGHT_TYPE", "EXPLICIT"),
        ("EDGE_WEIGHT_FORMAT", "FULL_MATRIX"),
    ):
        if fields.get(field) != expected:
            raise NotTsplibError(f"{name}: {field} must be {expected}, is {fields.get(field, 'missing')}")
    size = int(fields.get("DIMENSION", "0"))
    # Rows may be wrapped anywhere, so that only the count of the numbers says where the next begins.
    numbers = [int(word) for word in tail.partition("EOF")[0].split()]
    if not found or size < 1 or len(numbers) != size * size:
        raise NotTsplibError(f"{name}: a matrix of {size} rows is {size * size} numbers, not {len(numbers)}")
    rows = (tuple(numbers[row * size : (row + 1) * size]) for row in range(size))
    return Instance(name, tuple(rows), closed=True)


def _texts(path: Path) -> Iterator[str]:
    if path.is_dir():
        for file in sorted(path.rglob(f"*{ENDING}")):
            yield file.read_text(encoding="ascii")
    elif zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            for member in sorted(archive.namelist()):
                if PurePosixPath(member).suffix == ENDING:
                    yield archive.read(member).decode("ascii")
    elif path.suffix == ENDING:
        yield path.read_text(encoding="ascii")


def _fields(head: str) -> Iterator[tuple[str, str]]:
    for line in head.splitlines():
        field, colon, value = line.partition(":")
        if colon:
            yield field.strip(), value.strip()
