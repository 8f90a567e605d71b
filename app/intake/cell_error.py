"""What a reader of a single cell raises."""

from __future__ import annotations


class CellError(ValueError):
    """A cell that cannot be read; its text says what would be right."""
