"""When the runs of the starting order start as the libraries see time: open seconds, pair by pair."""

from __future__ import annotations

from dataclasses import dataclass

from solver.locks import Before
from tests.bench.peers.run_pairs import RunPairs


@dataclass(frozen=True)
class TimedRun:
    """A run at a time, in open seconds."""

    line_idx: int
    job: int
    start_s: int
    end_s: int


def timed(pairs: RunPairs) -> list[TimedRun]:
    """The starting order, run by run as they start.

    A run starts when line and tools are free, job and web are there, and what must end before has ended.
    """
    clock = _Clock(pairs)
    left = [list(reversed(queue)) for queue in pairs.start_queues]
    runs: list[TimedRun] = []
    while any(left):
        waiting = {job for queue in left for job in queue}
        _, _, line_idx = min(
            # Where all lines wait for each other a lock is broken.
            (clock.waits_for(queue[-1], waiting), clock.earliest_s(line_idx, queue[-1]), line_idx)
            for line_idx, queue in enumerate(left)
            if queue
        )
        runs.append(clock.placed(line_idx, left[line_idx].pop()))
    return runs


class _Clock:
    """Lines and shared tools after some runs."""

    def __init__(self, pairs: RunPairs) -> None:
        self._pairs = pairs
        self._free_s, self._before = list(pairs.free_s), [pairs.jobs] * pairs.lines
        self._ended_s: dict[int, int] = {}
        self._tools_s = {key: [0] * copies for key, copies in pairs.shared_tools.items()}
        for key, count, end_s in pairs.started_tools:
            self._hold(key, count, end_s)
        self._earlier: dict[int, set[int]] = {}
        for lock in pairs.day.problem.locks:
            if isinstance(lock, Before) and {lock.job, lock.then} <= pairs.number.keys():
                self._earlier.setdefault(pairs.number[lock.then], set()).add(pairs.number[lock.job])

    def waits_for(self, job: int, waiting: set[int]) -> bool:
        """Whether something must end before a job that has not even started."""
        return bool(self._earlier.get(job, set()) & waiting)

    def earliest_s(self, line_idx: int, job: int) -> int:
        """When a job could start on a line."""
        pairs = self._pairs
        needed = pairs.needed_tools(line_idx, job)
        tools_s = (sorted(self._tools_s[key])[count - 1] for key, count in needed.items())
        earlier_s = (self._ended_s.get(other, 0) for other in self._earlier.get(job, ()))
        own_s = (self._free_s[line_idx], pairs.ready_s[job], pairs.stocked_s[job])
        return max(*own_s, *tools_s, *earlier_s)

    def placed(self, line_idx: int, job: int) -> TimedRun:
        """Start a job on a line as soon as it can."""
        start_s = self.earliest_s(line_idx, job)
        end_s = start_s + int(self._pairs.seconds[line_idx, self._before[line_idx], job])
        self._free_s[line_idx], self._before[line_idx], self._ended_s[job] = end_s, job, end_s
        for key, count in self._pairs.needed_tools(line_idx, job).items():
            self._hold(key, count, end_s)
        return TimedRun(line_idx, job, start_s, end_s)

    def _hold(self, key: str, count: int, end_s: int) -> None:
        """Take the copies that are free first until then."""
        self._tools_s[key] = [*sorted(self._tools_s[key])[count:], *[end_s] * count]
