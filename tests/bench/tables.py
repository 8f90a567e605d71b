"""A table of figures, for a screen and for a page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import rich.table


@dataclass(frozen=True)
class FigureTable:
    """Lines of text under headings; the first column is words, the rest are figures.

    Parameters
    ----------
    notes
        What the figures come to, a sentence each.
    """

    title: str
    headings: tuple[str, ...]
    lines: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = field(default=())

    def rich(self) -> rich.table.Table:
        """As a screen shows it."""
        table = rich.table.Table(title=self.title, title_justify="left")
        for heading_idx, heading in enumerate(self.headings):
            table.add_column(heading, justify="right" if heading_idx else "left")
        for line in self.lines:
            table.add_row(*line)
        return table

    def markdown(self) -> str:
        """As a page has it: the title in bold, the table, the notes."""
        ruler = ("---", *("---:" for _ in self.headings[1:]))
        table = "\n".join(_markdown_line(line) for line in (self.headings, ruler, *self.lines))
        return "\n\n".join((f"**{self.title}**", table, *self.notes))


def _markdown_line(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def percent(share: float) -> str:
    """A share in percent, to a hundredth of one."""
    return f"{100 * share:.2f} %"


def seconds(time_s: float) -> str:
    """Seconds to a tenth of one, below one to a thousandth."""
    return f"{time_s:.1f}" if time_s >= 1 else f"{time_s:.3f}"
