"""Whole orders of a plant placed in time: how many a second, in one thread, with every feature on.

`decoders` holds what is measured. A decoder takes an order in a form of its own, which it makes of the
solver's once, and says what the order costs, weighed.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Callable, Iterator, Sequence
from statistics import median
from typing import Any, Protocol

from rich.console import Console

from solver.account import account
from solver.baselines import started_order
from solver.feasibility import station_choices
from solver.locks import OnLine
from solver.problem import Problem
from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.search.compile import CompiledPlant
from solver.search.decode import PlantDecoder as KernelDecoder
from solver.search.kernels.tables import Ints
from solver.sequence import Order, Placement
from solver.weights import Weights
from tests.bench.checked_sequences import refuse_wrong
from tests.bench.entry import OURS
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.shop_days import shop_day
from tests.bench.tables import FigureTable
from tests.bench.versions import circumstances

NAME = "plant-decode"
HELP = "Whole orders of three lines placed in time a second, in one thread, every feature on."
RUNS, LINES = 200, 3
ORDERS = 50
"""Different orders that take turns: each is the one before with a block moved, at times to another line."""
MOST_BLOCK = 8
ROUNDS = 20
"""Short ones, of which the best counts: what runs beside a benchmark slows down some of them."""


class PlantDecoder(Protocol):
    """Places whole orders of one problem in time."""

    def encoded(self, order: Order, /) -> Any:
        """An order as `decode` takes it; not timed."""
        ...

    def decode(self, encoded: Any, /) -> float:
        """What the order costs, weighed."""
        ...


class ByScheduler:
    """The scheduler as a decoder: what every other one must agree with."""

    def __init__(self, problem: Problem, weights: Weights) -> None:
        self._scheduler = Scheduler(problem, weights)

    def encoded(self, order: Order) -> list[list[RunPlan]]:
        """The run plans of an order."""
        return [
            [self._scheduler.plan(line_idx, placement) for placement in placements]
            for line_idx, placements in enumerate(order)
        ]

    def decode(self, encoded: list[list[RunPlan]]) -> float:
        """What the order costs, weighed."""
        state = self._scheduler.run(encoded)
        if state is None:
            raise RuntimeError("a schedule without a limit always comes out")
        return state.eur


class ByKernels:
    """The compiled kernels as a decoder."""

    def __init__(self, problem: Problem, weights: Weights) -> None:
        self._compiled = CompiledPlant(problem, weights)
        self._decoder = KernelDecoder(self._compiled)

    def encoded(self, order: Order) -> Ints:
        """The plans of an order by number."""
        return self._compiled.numbers(order)

    def decode(self, encoded: Ints) -> float:
        """What the order costs, weighed."""
        return self._decoder.eur(encoded)


decoders: dict[str, Callable[[Problem, Weights], PlantDecoder]] = {OURS: ByKernels, "scheduler": ByScheduler}
"""What is measured, by name."""


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument(
        "--seconds", type=float, default=0.5, help=f"Of each round, of which there are {ROUNDS}."
    )
    parser.add_argument("--seeds", type=int, default=3, help="Sets of orders of each plant.")
    parser.add_argument("--runs", type=int, nargs="+", default=[RUNS], help="In the queues.")
    parser.add_argument("--lines", type=int, default=LINES, help="Of the plant, 1 to 8.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every queue and decoder with every set of orders."""
    file = RowFile(asked.json, asked.command)
    for runs in asked.runs:
        problem = plant_day(runs, asked.lines)
        for name, decoder_of in decoders.items():
            for seed in range(asked.seeds):
                key = _key(f"{runs} runs, {asked.lines} lines", name, seed, asked.seconds)
                if file.has(**key):
                    continue
                measured = _measured(problem, decoder_of(problem, Weights()), seed, asked.seconds)
                file.add(key | measured | circumstances())
                console.print(_told(file.rows[-1]))
    return [row for row in file.rows if row["bench"] == NAME]


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Decodes a second by queue and decoder."""
    measured = dict.fromkeys((row["instance"], row["solver"]) for row in rows)
    yield FigureTable(
        "plant-decode: whole orders of a plant placed in time a second, one thread, every feature on",
        ("queue", "decoder", "sets of orders", "decodes a second", "least", "ns a run"),
        tuple(_line([row for row in rows if (row["instance"], row["solver"]) == each]) for each in measured),
        (f"Best of {ROUNDS} rounds of each set; median and least over the sets.",),
    )


def plant_day(runs: int = RUNS, lines: int = LINES) -> Problem:
    """The day whose orders are placed: shared tools, closures, stock, ready times, low migration, locks."""
    return shop_day(f"{runs}/{lines} tight").problem


def drawn_orders(problem: Problem, seed: int, count: int = ORDERS) -> list[Order]:
    """Orders as a search tries them: a drawn one, then each the one before with a block moved."""
    walk = _Walk(problem, random.Random(seed))
    orders = [walk.order]
    while len(orders) < count:
        walk.move_block()
        orders.append(walk.order)
    return orders


def decodes_a_second(
    decoder: PlantDecoder, encoded: Sequence[Any], expected_eur: float, seconds: float
) -> float:
    """Decodes a second of one round; every turn of the orders must cost what it should.

    Raises
    ------
    RuntimeError
        Where the orders cost something else.
    """
    turns, begun_s = 0, time.perf_counter()
    while turns == 0 or time.perf_counter() - begun_s < seconds:
        eur = 0.0
        for order in encoded:
            eur += decoder.decode(order)
        if abs(eur - expected_eur) > 1e-9 * abs(expected_eur):
            raise RuntimeError(f"the orders cost {eur} €, not {expected_eur} €")
        turns += 1
    return turns * len(encoded) / (time.perf_counter() - begun_s)


class _Walk:
    """An order that changes block by block; started runs stay where they are, jobs on the lines they must be
    on.
    """

    def __init__(self, problem: Problem, rng: random.Random) -> None:
        self._rng = rng
        self._started = started_order(problem)
        lines, jobs = range(len(self._started)), range(len(problem.jobs))
        self._choices = [
            [station_choices(problem, line_idx, job_idx) for job_idx in jobs] for line_idx in lines
        ]
        for lock in problem.locks:
            if isinstance(lock, OnLine):
                for line_idx in set(lines) - {problem.line_idx[lock.line]}:
                    self._choices[line_idx][problem.job_idx[lock.job]] = ()
        started = {placement.job_idx for placements in self._started for placement in placements}
        self._queues: list[list[Placement]] = [[] for _ in lines]
        for job_idx in rng.sample(jobs, len(jobs)):
            able = [line_idx for line_idx in lines if self._choices[line_idx][job_idx]]
            if able and job_idx not in started:
                line_idx = rng.choice(able)
                self._queues[line_idx].append(self._placed(line_idx, job_idx))

    @property
    def order(self) -> Order:
        """The order as it is now."""
        both = zip(self._started, self._queues, strict=True)
        return tuple((*started, *queue) for started, queue in both)

    def move_block(self) -> None:
        """Move some adjacent runs to another place of a line that can run them all."""
        rng = self._rng
        source = rng.choice([queue for queue in self._queues if queue])
        start = rng.randrange(len(source))
        block = source[start : start + rng.randint(1, MOST_BLOCK)]
        job_idxs = [placement.job_idx for placement in block]
        able = [
            line_idx
            for line_idx, by_job in enumerate(self._choices)
            if all(by_job[job_idx] for job_idx in job_idxs)
        ]
        line_idx = rng.choice(able)
        target = self._queues[line_idx]
        if target is not source:
            block = [self._placed(line_idx, job_idx) for job_idx in job_idxs]
        del source[start : start + len(block)]
        at = rng.randint(0, len(target))
        target[at:at] = block

    def _placed(self, line_idx: int, job_idx: int) -> Placement:
        return Placement(job_idx, self._rng.choice(self._choices[line_idx][job_idx]))


def _key(instance: str, solver: str, seed: int, seconds: float) -> JsonRow:
    effort = {"seconds": seconds, "threads": 1}
    return {"bench": NAME, "instance": instance, "solver": solver, "seed": seed, **effort}


def _measured(problem: Problem, decoder: PlantDecoder, seed: int, seconds: float) -> JsonRow:
    orders = drawn_orders(problem, seed)
    encoded = [decoder.encoded(order) for order in orders]
    expected = [decoder.decode(order) for order in encoded]
    refuse_wrong_decodes(problem, orders, expected)
    begun_s, begun_cpu_s = time.perf_counter(), time.process_time()
    fastest = max(decodes_a_second(decoder, encoded, sum(expected), seconds) for _ in range(ROUNDS))
    return {
        "value": fastest,
        "runs": len(problem.jobs),
        "wall_s": round(time.perf_counter() - begun_s, 3),
        "cpu_s": round(time.process_time() - begun_cpu_s, 3),
    }


def refuse_wrong_decodes(problem: Problem, orders: Sequence[Order], costs_eur: Sequence[float]) -> None:
    """Have the first order costed by the account and checked, and every one costed by the scheduler.

    Raises
    ------
    RuntimeError
        Where an order was said to cost something else.
    """
    sequence = account(problem, orders[0], Weights())
    refuse_wrong(f"an order of {len(problem.jobs)} runs", problem, sequence, Weights(), costs_eur[0])
    scheduler = ByScheduler(problem, Weights())
    for number, (order, said_eur) in enumerate(zip(orders, costs_eur, strict=True)):
        eur = scheduler.decode(scheduler.encoded(order))
        if abs(eur - said_eur) > 1e-9 * abs(eur):
            raise RuntimeError(f"order {number} costs {eur} €, not {said_eur} € as was said")


def _told(row: JsonRow) -> str:
    return f"{row['instance']}, {row['solver']}, seed {row['seed']}: {row['value']:,.0f} decodes a second"


def _line(rows: Sequence[JsonRow]) -> tuple[str, ...]:
    values = [row["value"] for row in rows]
    return (
        rows[0]["instance"],
        rows[0]["solver"],
        str(len(rows)),
        f"{median(values):,.0f}",
        f"{min(values):,.0f}",
        f"{1e9 / median(values) / rows[0]['runs']:,.0f}",
    )
