"""The rule of thumb: the oldest roll first, the next one spliced to it where it ends.

Where its end may not lie, it is left at the last place before that may have one. Wider rolls, which would
have to be slit, come behind all that are as wide as the stretch.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence

from solver.roll_candidates import Piece, Usable
from solver.roll_choice import Taken
from solver.roll_ends import counted_segments, roll_end_spots, spot_at, start_spot
from solver.stretches import Stretch


def oldest_first(stretch: Stretch, rolls: Sequence[Usable]) -> tuple[Taken, ...] | None:
    """Pieces in web order; None where the rule leads to no end. Rolls of one age come as they are listed."""
    return _Laying(stretch, rolls).laid()


class _Laying:
    """The stretch as far as rolls are laid on it."""

    def __init__(self, stretch: Stretch, rolls: Sequence[Usable]) -> None:
        self._stretch = stretch
        self._rolls = rolls
        self._spots = roll_end_spots(stretch, counted_segments(stretch))
        self._at_um = 0
        self._splices: Counter[int] = Counter()
        self._taken: list[Taken] = []

    def laid(self) -> tuple[Taken, ...] | None:
        waiting = sorted(
            range(len(self._rolls)),
            key=lambda idx: (
                not self._rolls[idx].roll.mounted,
                self._rolls[idx].roll.slit_from_um is not None,
                -self._rolls[idx].roll.age_days,
            ),
        )
        while self._at_um < self._stretch.length_um:
            taken = next((idx for idx in waiting if self._lay_roll(idx)), None)
            if taken is None:
                return None
            waiting.remove(taken)
        return tuple(self._taken)

    def _lay_roll(self, idx: int) -> bool:
        """Use of it what can be used here; whether that is anything."""
        began_um = self._at_um
        usable = self._rolls[idx]
        until_um = usable.until_um(began_um)
        ran_out = False
        for piece_idx, piece in enumerate(usable.pieces):
            ran_out = self._lay_piece(idx, piece_idx, piece, until_um, ran_out and piece.flagged)
        return self._at_um > began_um

    def _lay_piece(self, idx: int, piece_idx: int, piece: Piece, until_um: int, runs_through: bool) -> bool:
        """Use what can be used here of a piece; whether it was used to its end."""
        begins_um = self._at_um
        waste_um = 0 if runs_through else self._waste_um(piece)
        reach_um = begins_um + piece.length_um - waste_um
        ends_um = self._latest_end(min(reach_um, until_um))
        if ends_um is None or ends_um <= begins_um:
            return False
        self._taken.append(Taken(idx, piece_idx, begins_um, ends_um, runs_through))
        self._at_um = ends_um
        spot_idx = spot_at(self._spots, ends_um)
        if spot_idx is not None:
            self._splices[spot_idx] += 1
        return ends_um == reach_um

    def _waste_um(self, piece: Piece) -> int:
        if self._at_um > 0:
            idx = spot_at(self._spots, self._at_um)
            return self._spots[idx].waste_um if idx is not None else 0
        return 0 if piece.begins_free else start_spot(self._stretch).waste_um

    def _latest_end(self, limit_um: int) -> int | None:
        """The latest place for a roll end, passing over reels that have all the splices they may."""
        if limit_um >= self._stretch.length_um:
            return self._stretch.length_um
        for idx in range(bisect_right(self._spots, limit_um, key=lambda spot: spot.first_um) - 1, -1, -1):
            spot = self._spots[idx]
            if spot.most is None or self._splices[idx] < spot.most:
                return min(limit_um, spot.last_um)
        return None
