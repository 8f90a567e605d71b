"""Orders costed by the kernels, for whoever asks for thousands of them."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Sequence as SequenceOf

from solver.costing import Outcome, ScheduledCosting
from solver.lock_keeping import PlacedJob, broken_locks
from solver.problem import Problem
from solver.search.compile import CompiledPlant
from solver.search.decode import DecodedPlant, PlantDecoder
from solver.sequence import Order
from solver.weights import Weights

MOST_PLACED = 8_000_000
"""Runs that may be placed in all: what they are handed over in takes longer than placing them."""
START_MS, END_MS = 0, 2
"""Columns of a trace."""

Ends = tuple[tuple[int | None, ...], ...]


class DecodedCosting:
    """Costs orders that differ little from one, with the kernels.

    An order with a placement that the search does not look at (a lot, stations beyond the first dozens,
    another line than a lock says) is costed by the scheduler. For one thread.
    """

    def __init__(self, problem: Problem, weights: Weights, order: Order) -> None:
        self._compiled = CompiledPlant(problem, weights)
        self._decoder = PlantDecoder(self._compiled) if self._compiled.runs else None
        self._order = order
        self._scheduled: ScheduledCosting | None = None
        self._started = {event.plan.line_idx: event for event in self._compiled.begun.events}

    @property
    def most_orders(self) -> int:
        return MOST_PLACED // max(1, sum(map(len, self._order)))

    def outcomes(self, orders: SequenceOf[Order]) -> list[Outcome]:
        return [self._outcome(order) for order in orders]

    def _outcome(self, order: Order) -> Outcome:
        numbers = self._numbers(order)
        if numbers is None or self._decoder is None:
            return self._by_schedule(order)
        decoded = self._decoder.decode(self._compiled.numbered(numbers))
        ends_ms = self._ends_ms(decoded)
        faults = sum(map(len, decoded.left_out))
        locks = self._compiled.problem.locks
        if locks:
            faults += len(broken_locks(locks, self._placed_jobs(order, decoded, ends_ms)))
        return Outcome(faults, decoded.eur, ends_ms)

    def _by_schedule(self, order: Order) -> Outcome:
        if self._scheduled is None:
            self._scheduled = ScheduledCosting(self._compiled.scheduler, self._order)
        return self._scheduled.outcomes([order])[0]

    def _numbers(self, order: Order) -> list[list[int]] | None:
        """The order's plans by number, started runs not among them; None where one has no number."""
        found: list[list[int]] = []
        for line, placements in zip(self._compiled.lines, order, strict=True):
            numbers = [line.numbers_of.get(placement, -1) for placement in placements]
            if -1 in numbers or numbers[: len(line.started)] != list(line.started):
                return None
            found.append(numbers[len(line.started) :])
        return found

    def _ends_ms(self, decoded: DecodedPlant) -> Ends:
        """When every run of the order ends, started ones first."""
        found: list[tuple[int | None, ...]] = []
        for line_idx, (trace, left_out) in enumerate(zip(decoded.traces, decoded.left_out, strict=True)):
            ends_ms: list[int | None] = trace[:, END_MS].tolist()
            for position in left_out:
                ends_ms[position] = None
            started = self._started.get(line_idx)
            found.append((*([started.end_ms] if started else []), *ends_ms))
        return tuple(found)

    def _placed_jobs(self, order: Order, decoded: DecodedPlant, ends_ms: Ends) -> Iterator[PlacedJob]:
        """Where and when every placed job runs."""
        problem = self._compiled.problem
        for line_idx, placements in enumerate(order):
            started = self._started.get(line_idx)
            traced_ms = decoded.traces[line_idx][:, START_MS].tolist()
            starts_ms = [*([started.start_ms] if started else []), *traced_ms]
            position = -1 if started else 0
            for placement, start_ms, end_ms in zip(placements, starts_ms, ends_ms[line_idx], strict=True):
                if end_ms is not None:
                    position += 1
                    yield PlacedJob(
                        job=problem.jobs[placement.job_idx].id,
                        line=problem.plant.lines[line_idx].id,
                        position=position,
                        start_ms=start_ms,
                        end_ms=end_ms,
                    )
