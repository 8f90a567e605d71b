"""Where a line's state keeps what slots hold: many in a word, so that kernels compare them at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solver.changeover import SPLICE_TABLE
from solver.plant import AspectRule
from solver.search.kernels.tables import FIELD, SLOT_BITS, WORD, Ints, Rows
from solver.search.slots import Slot, scattered

WHOLE_COLUMN = -1
"""The mask of a slot that has a column of its own."""


@dataclass(frozen=True, slots=True)
class Field:
    """The bits of a column that a slot has; `top` is the spare one above them, 0 without one."""

    column: int
    shift: int = 0
    mask: int = WHOLE_COLUMN
    top: int = 0

    @property
    def bit(self) -> int:
        """The bit that stands for the slot among all slots; others may share it."""
        return self.top or 1 << self.column % SLOT_BITS


class Packing:
    """The columns of the state: words of slots that change where values differ, then the other slots, a
    column each, then two for lists that are filled up: one that stays empty, one that nobody reads.
    """

    def __init__(self, slots: Sequence[Slot]) -> None:
        self._slots = slots
        found: dict[int, Field] = {}
        self.words, taken = 0, SLOT_BITS
        for slot_idx, slot in enumerate(slots):
            if slot.aspect.rule is AspectRule.DIFFERS:
                bits = max(1, (len(slot.numbers) - 1).bit_length())
                if taken + bits >= SLOT_BITS:
                    self.words, taken = self.words + 1, 0
                mask = ((1 << bits) - 1) << taken
                found[slot_idx] = Field(self.words - 1, taken, mask, 1 << taken + bits)
                taken += bits + 1
        others = [slot_idx for slot_idx in range(len(slots)) if slot_idx not in found]
        found |= {slot_idx: Field(self.words + at) for at, slot_idx in enumerate(others)}
        self.fields = [found[slot_idx] for slot_idx in range(len(slots))]
        self.empty_column = self.words + len(others)
        self.waste_column = self.empty_column + 1
        self.columns = self.waste_column + 1

    def packs(self, slot_idx: int) -> bool:
        """Whether a slot is one of many in its word."""
        return self.fields[slot_idx].top > 0

    def state(self, numbers: Sequence[int]) -> Ints:
        """The columns, for the numbers of what all slots hold."""
        state = np.zeros(self.columns, np.int64)
        for field, number in zip(self.fields, numbers, strict=True):
            state[field.column] |= number << field.shift
        return state

    def field_rows(self) -> Rows:
        """(slots,) where every slot is."""
        return np.array([(field.column, field.shift, field.mask, field.top) for field in self.fields], FIELD)

    def word_rows(self) -> Rows:
        """The words."""
        rows = np.zeros(self.words, WORD)
        rows["scatter"] = [scattered(word) if word else 1 for word in range(self.words)]
        for slot, field in zip(self._slots, self.fields, strict=True):
            if field.top:
                row = rows[field.column]
                row["low"] |= field.mask
                row["top"] |= field.top
                # The splice table is threaded anew where it is empty: nothing is changed then.
                row["always"] |= 0 if slot.station_idx == SPLICE_TABLE else field.top
        return rows
