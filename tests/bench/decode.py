"""Whole orders of one line placed in time: how many a second, in one thread, with every feature on."""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Iterator, Sequence
from statistics import median
from typing import Any

import numpy as np
from rich.console import Console

from solver.account import account_with
from solver.search.compile import CompiledLine, compiled_line
from solver.search.decode import Decoder
from solver.search.kernels.address_book import AT_STATE, AT_TRIAL, ints
from solver.search.kernels.compiled import compiled
from solver.search.kernels.tables import DONE, Ints
from solver.search.kernels.timeline import clean_down_eur, place_runs
from solver.weights import Weights
from tests.bench.checked_sequences import refuse_wrong
from tests.bench.entry import OURS
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.tables import FigureTable
from tests.bench.versions import circumstances
from tests.builders.days import one_line_day
from tests.builders.decoded import drawn_numbers

NAME = "decode"
HELP = "Whole orders of one line placed in time a second, in one thread, every feature on."
TARGETS = {60: 400_000, 200: 120_000, 1000: 20_000}
"""Decodes a second, by runs."""
SEED = 5
ORDERS = 50
"""Different orders that take turns: as in a search, each is the one before with a block moved."""
ROUNDS = 40
"""Short ones, of which the best counts: what runs beside a benchmark slows down some of them."""
NO_LIMIT = float("inf")


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument(
        "--seconds", type=float, default=0.25, help=f"Of each round, of which there are {ROUNDS}."
    )
    parser.add_argument("--seeds", type=int, default=3, help="Sets of orders of each queue.")
    parser.add_argument("--runs", type=int, nargs="+", default=list(TARGETS), help="In the queues.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every queue with every set of orders."""
    file = RowFile(asked.json, asked.command)
    for runs in asked.runs:
        for seed in range(asked.seeds):
            key = _key(runs, seed, asked)
            if not file.has(**key):
                row = key | _measured(runs, seed, asked.seconds) | circumstances()
                file.add(row)
                console.print(f"{runs} runs, seed {seed}: {row['value']:,.0f} decodes a second")
    return [row for row in file.rows if row["bench"] == NAME]


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Decodes a second by length of queue."""
    queues = dict.fromkeys((row["instance"], row["runs"]) for row in rows)
    yield FigureTable(
        "decode: whole orders of one line placed in time a second, one thread, every feature on",
        ("queue", "sets of orders", "decodes a second", "least", "ns a run", "target"),
        tuple(_line(name, runs, [row for row in rows if row["instance"] == name]) for name, runs in queues),
        (f"Best of {ROUNDS} rounds of each set; median and least over the sets.",),
    )


def _line(name: str, runs: int, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    values = [row["value"] for row in rows]
    target = f"{TARGETS[runs]:,}" if runs in TARGETS else ""
    return (
        name,
        str(len(rows)),
        f"{median(values):,.0f}",
        f"{min(values):,.0f}",
        f"{1e9 / median(values) / runs:.0f}",
        target,
    )


def _key(runs: int, seed: int, asked: argparse.Namespace) -> JsonRow:
    return {
        "bench": NAME,
        "instance": f"{runs} runs",
        "solver": OURS,
        "seed": seed,
        "seconds": asked.seconds,
        "threads": 1,
    }


def _measured(runs: int, seed: int, seconds: float) -> dict[str, Any]:
    line = compiled_line(one_line_day(SEED, runs), Weights())
    decoder = Decoder(line)
    rng = random.Random(seed)
    orders = _walk(drawn_numbers(line, rng), rng)
    _check(line, decoder, orders[0])
    expected_eur = sum(decoder.decode(order).eur for order in orders)
    begun_s, begun_cpu_s = time.perf_counter(), time.process_time()
    fastest = max(_a_second(line, decoder, orders, expected_eur, seconds) for _ in range(ROUNDS))
    return {
        "value": fastest,
        "runs": runs,
        "wall_s": round(time.perf_counter() - begun_s, 3),
        "cpu_s": round(time.process_time() - begun_cpu_s, 3),
    }


def _check(line: CompiledLine, decoder: Decoder, order: Ints) -> None:
    """Have an order costed by the account, and that checked."""
    sequence = account_with(line.scheduler, line.order(order))
    name = f"an order of {len(order)} runs"
    refuse_wrong(name, line.problem, sequence, line.scheduler.weights, decoder.decode(order).eur)


def _walk(order: Ints, rng: random.Random) -> Ints:
    orders = [order]
    while len(orders) < ORDERS:
        start, middle, end = sorted(rng.sample(range(len(order) + 1), 3))
        before = orders[-1]
        moved = (before[:start], before[middle:end], before[start:middle], before[end:])
        orders.append(np.concatenate(moved))
    return np.array(orders)


def _a_second(
    line: CompiledLine, decoder: Decoder, orders: Ints, expected_eur: float, seconds: float
) -> float:
    """Decodes a second of one round; every turn of the orders must cost what it should."""
    arguments = (decoder.room.book.rows, line.state, line.eur)
    turns, begun_s = 0, time.perf_counter()
    while turns == 0 or time.perf_counter() - begun_s < seconds:
        eur = decode_orders(*arguments, orders)
        if abs(eur - expected_eur) > 1e-9 * abs(expected_eur):
            raise RuntimeError(f"the orders cost {eur} €, not {expected_eur} €")
        turns += 1
    return turns * len(orders) / (time.perf_counter() - begun_s)


@compiled
def decode_orders(book: Ints, start: Ints, start_eur: float, orders: Ints) -> float:
    """What orders cost together; -1 where one could not be placed."""
    state, trial, runs = ints(book, AT_STATE), ints(book, AT_TRIAL), orders.shape[1]
    total_eur = 0.0
    for idx in range(orders.shape[0]):
        for at in range(state.shape[0]):
            state[at] = start[at]
        for at in range(runs):
            trial[at] = orders[idx, at]
        code, _, eur = place_runs(book, start_eur, 0, runs, NO_LIMIT, False, False, 0, -1)
        if code != DONE:
            return -1.0
        total_eur += eur + clean_down_eur(book)
    return total_eur
