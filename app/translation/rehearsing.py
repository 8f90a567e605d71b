"""Making a process ready to search at once."""

from __future__ import annotations

from solver.search.rehearsal import is_rehearsed, rehearse

__all__ = ["is_rehearsed", "rehearse"]
