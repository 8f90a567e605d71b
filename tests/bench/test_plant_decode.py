"""Decodes of whole plants are counted, and only of decoders that cost orders as the scheduler does."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import pytest

from solver.account import account
from solver.weights import Weights
from tests.bench import plant_decode
from tests.bench.__main__ import main
from tests.bench.plant_decode import ByScheduler, decodes_a_second, drawn_orders, plant_day

QUICK = ["--runs", "10", "--lines", "2", "--seconds", "0.0001", "--seeds", "2"]


def test_decodes_are_counted_and_a_plant_that_was_measured_is_not_measured_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plant_decode, "ROUNDS", 1)
    rows = tmp_path / "plant.json"
    main(["plant-decode", *QUICK, "--json", str(rows)])
    found = json.loads(rows.read_text(encoding="utf-8"))["rows"]
    assert [(row["solver"], row["runs"], row["seed"]) for row in found] == [
        (name, 10, seed) for name in plant_decode.decoders for seed in (0, 1)
    ]
    assert all(row["value"] > 0 for row in found)
    monkeypatch.setattr(plant_decode, "_measured", lambda *asked: pytest.fail("measured again"))
    main(["plant-decode", *QUICK, "--json", str(rows)])


def test_a_decoder_that_costs_an_order_otherwise_ends_the_benchmark(monkeypatch: pytest.MonkeyPatch) -> None:
    class Cheaper(ByScheduler):
        def decode(self, encoded: object) -> float:
            return super().decode(encoded) - 1  # type: ignore[arg-type]

    monkeypatch.setattr(plant_decode, "decoders", {"cheaper": Cheaper})
    with pytest.raises(RuntimeError, match=r"it costs .* € as was said"):
        main(["plant-decode", *QUICK])


def test_a_decoder_that_costs_otherwise_on_the_way_ends_the_round() -> None:
    problem = plant_day(10, 2)
    decoder = ByScheduler(problem, Weights())
    encoded = [decoder.encoded(order) for order in drawn_orders(problem, 0, 3)]
    expected_eur = sum(decoder.decode(order) for order in encoded)
    assert decodes_a_second(decoder, encoded, expected_eur, 0.0001) > 0
    with pytest.raises(RuntimeError, match="the orders cost"):
        decodes_a_second(decoder, encoded, expected_eur + 1, 0.0001)


def test_drawn_orders_hold_every_job_once_differ_and_can_be_costed() -> None:
    problem = plant_day(20, 2)
    orders = drawn_orders(problem, 3, 12)
    assert orders == drawn_orders(problem, 3, 12)
    for order in orders:
        assert sorted(placement.job_idx for line in order for placement in line) == list(range(20))
        assert not account(problem, order, Weights()).left_out
    assert any(order != following for order, following in pairwise(orders))
    sizes = {tuple(map(len, order)) for order in orders}
    assert len(sizes) > 1


def test_the_plant_has_what_makes_placing_hard() -> None:
    problem = plant_day()
    assert (len(problem.jobs), len(problem.plant.lines)) == (200, 3)
    assert {type(lock).__name__ for lock in problem.locks} == {"Started", "OnLine", "Together", "Before"}
    assert any(job.low_migration for job in problem.jobs)
    assert any(job.ready_ms for job in problem.jobs)
    assert any(stocked.deliveries for stocked in problem.followed_stocks.values())
    assert all(line.calendar.closures for line in problem.plant.lines)
