"""Random numbers for kernels: the state is an array of the caller's, so a seed repeats every draw.

xorshift64* (Vigna, ACM Transactions on Mathematical Software 42, 2016), seeded through splitmix64 (Steele,
Lea and Flood, OOPSLA 2014).
"""

from __future__ import annotations

import numpy as np

from solver.search.kernels.compiled import compiled
from solver.search.kernels.tables import Randomness

_64_BITS = (1 << 64) - 1
_SHIFT_12, _SHIFT_25, _SHIFT_27, _SHIFT_11, _SHIFT_32 = (np.uint64(bits) for bits in (12, 25, 27, 11, 32))
_FACTOR = np.uint64(2685821657736338717)
_PER_UNIT = 1.0 / (1 << 53)


def seeded(seed: int, stream: int = 0) -> Randomness:
    """A generator for a seed; streams of the same seed have nothing to do with each other."""
    mixed = 0
    for part in (seed, stream):
        mixed = _splitmix((mixed ^ part) & _64_BITS)
    return np.array([mixed or 1], dtype=np.uint64)


def _splitmix(value: int) -> int:
    value = (value + 0x9E3779B97F4A7C15) & _64_BITS
    value = ((value ^ (value >> 30)) * 0xBF58476D1CE4E5B9) & _64_BITS
    value = ((value ^ (value >> 27)) * 0x94D049BB133111EB) & _64_BITS
    return value ^ (value >> 31)


@compiled
def draw(randomness: Randomness) -> np.uint64:
    """64 random bits."""
    bits = randomness[0]
    bits ^= bits >> _SHIFT_12
    bits ^= bits << _SHIFT_25
    bits ^= bits >> _SHIFT_27
    randomness[0] = bits
    return np.uint64(bits * _FACTOR)


@compiled
def draw_below(randomness: Randomness, limit: int) -> int:
    """A whole number from 0 to below a limit of at most 2^31; the bias is below limit / 2^32."""
    return np.int64(((draw(randomness) >> _SHIFT_32) * np.uint64(limit)) >> _SHIFT_32)  # type: ignore[return-value]


@compiled
def draw_unit(randomness: Randomness) -> float:
    """A number from 0 to below 1."""
    return np.float64(draw(randomness) >> _SHIFT_11) * _PER_UNIT
