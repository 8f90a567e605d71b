"""Slots packed into words: the kernel's comparison of whole words is that of slot by slot."""

from __future__ import annotations

import random

import pytest

from solver.changeover import SPLICE_TABLE
from solver.plant import Aspect, AspectRule
from solver.search.compile import compiled_line
from solver.search.kernels.changeovers import changed_slots
from solver.search.kernels.compiled import compiled
from solver.search.kernels.tables import SLOT_BITS, Ints, Rows
from solver.search.packing import Packing
from solver.search.slots import Slot
from solver.weights import Weights
from tests.builders.days import one_line_day


def drawn_slots(rng: random.Random, count: int) -> list[Slot]:
    slots = []
    for station_idx in range(count):
        rule = AspectRule.WASH_UP if rng.random() < 0.2 else AspectRule.DIFFERS
        aspect = Aspect("plate", rule, 60_000, 0)
        slot = Slot(SPLICE_TABLE if station_idx == 0 else station_idx, 0, aspect)
        slot.numbers.update({str(number): number for number in range(rng.choice((1, 2, 5, 9, 300)))})
        slots.append(slot)
    return slots


@compiled
def changed(words: Rows, held: Ints, mask: int, value: int, word_idx: int) -> int:
    word = words[word_idx]
    return int(changed_slots(held[word_idx], mask, value, word["low"], word["top"], word["always"]))


@pytest.mark.parametrize("seed", range(20))
def test_a_slot_changes_where_it_is_needed_and_holds_something_else(seed: int) -> None:
    rng = random.Random(seed)
    slots = drawn_slots(rng, 4 + seed)
    packing = Packing(slots)
    words = packing.word_rows()
    for _ in range(50):
        holds = [rng.randrange(len(slot.numbers)) for slot in slots]
        needs = [rng.choice((None, rng.randrange(len(slot.numbers)))) for slot in slots]
        held = packing.state(holds)
        for word_idx in range(packing.words):
            mask = value = expected = 0
            for field, slot, number, need in zip(packing.fields, slots, holds, needs, strict=True):
                if field.column == word_idx and need is not None:
                    mask |= field.mask
                    value |= need << field.shift
                    threads_empty = slot.station_idx == SPLICE_TABLE and number == 0
                    expected |= field.top if number != need and not threads_empty else 0
            assert changed(words, held, mask, value, word_idx) == expected


@pytest.mark.parametrize("seed", range(20))
def test_no_bit_of_the_state_belongs_to_two_slots(seed: int) -> None:
    packing = Packing(drawn_slots(random.Random(seed), 4 + seed))
    taken: dict[int, int] = {}
    for slot_idx, field in enumerate(packing.fields):
        bits = field.mask | field.top
        assert taken.get(field.column, 0) & bits == 0
        taken[field.column] = taken.get(field.column, 0) | bits
        assert packing.packs(slot_idx) == (field.column < packing.words)
        assert field.top < 1 << SLOT_BITS
    assert packing.empty_column not in taken
    assert packing.waste_column not in taken


def test_many_stations_take_more_than_one_word() -> None:
    assert Packing(drawn_slots(random.Random(3), 30)).words > 1


def test_a_line_of_every_feature_has_words_and_columns() -> None:
    packing = compiled_line(one_line_day(5, 60), Weights()).packing
    assert packing.words > 0
    assert packing.empty_column > packing.words
