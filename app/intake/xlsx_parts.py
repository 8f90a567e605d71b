"""Which part of an XLSX archive holds which sheet."""

from __future__ import annotations

import re
import zipfile
from html import unescape

INDEX_PARTS = ("xl/workbook.xml", "xl/_rels/workbook.xml.rels")
"""The sheets by name, and where each of them lies."""

_SHEET = re.compile(r"<(?:\w+:)?sheet\s([^<>]*)>")
_RELATION = re.compile(r"<(?:\w+:)?Relationship\s([^<>]*)>")
_ATTRIBUTE = re.compile(r"""([\w:]+)\s*=\s*(?:"([^"]*)"|'([^']*)')""")


def part_by_sheet(archive: zipfile.ZipFile) -> dict[str, str]:
    """Names of parts, in small letters, by name of sheet."""
    book, relations = (_text(archive, part) for part in INDEX_PARTS)
    target_by_id = {
        relation.get("Id", ""): relation.get("Target", "")
        for relation in map(_attributes, _RELATION.findall(relations))
    }
    return {
        sheet.get("name", ""): _part(target_by_id.get(sheet.get("id", ""), ""))
        for sheet in map(_attributes, _SHEET.findall(book))
    }


def _part(target: str) -> str:
    return f"xl/{target.removeprefix('/').removeprefix('xl/')}".lower()


def _text(archive: zipfile.ZipFile, part: str) -> str:
    try:
        return archive.read(part).decode("utf-8", errors="replace")
    except KeyError:
        return ""


def _attributes(text: str) -> dict[str, str]:
    """Attributes by name, without the prefix of a namespace."""
    return {
        name.rpartition(":")[2]: unescape(double or single)
        for name, double, single in _ATTRIBUTE.findall(text)
    }
