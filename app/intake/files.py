"""Text of files, from disk or from the sample data that ships with the program."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from app.intake.findings import Findings

LARGEST_BYTES = 20_000_000
LARGEST_TABLE_BYTES = 10_000_000
SAMPLES = "sample_data"


def read_text(path: Path, findings: Findings) -> str | None:
    """A file's text in UTF-8, or None with a fault.

    A path below `sample_data` that is not there is read from the sample data of the package.
    """
    content = read_bytes(path, LARGEST_BYTES, findings)
    if content is None:
        return None
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        findings.fault(str(path), "should be saved as UTF-8", row=line)
        return None


def read_bytes(path: Path, most: int, findings: Findings) -> bytes | None:
    """A file's content, or None with a fault where it cannot be read or has more bytes than `most`."""
    content = _bytes(path, most, findings)
    if content is not None and len(content) > most:
        right = f"should have at most {most // 10**6} MB, has more"
        findings.fault(str(path), right)
        return None
    return content


def _bytes(path: Path, most: int, findings: Findings) -> bytes | None:
    try:
        if not path.exists() and not path.is_absolute() and path.parts[:1] == (SAMPLES,):
            return _packaged(path, findings)
        if path.is_dir():
            findings.fault(str(path), "should be a file, is a folder")
            return None
        with path.open("rb") as stream:
            return stream.read(most + 1)
    except FileNotFoundError:
        findings.fault(str(path), "no such file")
    except (OSError, ValueError) as error:
        findings.fault(str(path), f"cannot be read: {error}")
    return None


def _packaged(path: Path, findings: Findings) -> bytes:
    content = files(SAMPLES).joinpath(*path.parts[1:]).read_bytes()
    findings.note(f"{path.as_posix()} is not in this folder: the sample that ships with the program is used.")
    return content
