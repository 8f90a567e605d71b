"""Bytes as text: UTF-8, UTF-16 that says so, else Windows-1252, which is said."""

from __future__ import annotations

import codecs

from app.intake.findings import Findings

_WINDOWS = "cp1252"


def decoded_table(content: bytes, file: str, findings: Findings) -> str | None:
    """The text of a table, or None with a fault."""
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _utf16(content, file, findings)
    if b"\x00" in content:
        line = content[: content.index(b"\x00")].count(b"\n") + 1
        findings.fault(file, "should be plain text saved as UTF-8; it holds bytes that no text has", row=line)
        return None
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        return _windows(content, line, file, findings)


def _utf16(content: bytes, file: str, findings: Findings) -> str | None:
    try:
        return content.decode("utf-16")
    except UnicodeDecodeError:
        findings.fault(file, "begins as UTF-16 but is not; should be saved as UTF-8")
        return None


def _windows(content: bytes, line: int, file: str, findings: Findings) -> str | None:
    try:
        text = content.decode(_WINDOWS)
    except UnicodeDecodeError:
        findings.fault(file, "should be saved as UTF-8", row=line)
        return None
    findings.note(
        f"{file}: is not UTF-8 (line {line}), so it is read as Windows-1252; look at names with accents."
    )
    return text
