"""The nearest places of each place."""

from __future__ import annotations

import numpy as np
import pytest

from solver.search.nearest import nearest_columns


@pytest.mark.parametrize("seed", range(5))
def test_the_nearest_are_those_that_sorting_puts_first(seed: int) -> None:
    distance = np.random.default_rng(seed).integers(0, 6, (9, 9)).astype(np.float64)
    nearest = nearest_columns(distance, 4)
    for place, found in enumerate(nearest.tolist()):
        others = sorted((other for other in range(9) if other != place), key=lambda at: distance[place, at])
        assert found == others[:4]


def test_the_distances_stay_as_they_are() -> None:
    distance = np.zeros((3, 3))
    assert nearest_columns(distance, 2).tolist() == [[1, 2], [0, 2], [0, 1]]
    assert not distance.any()
