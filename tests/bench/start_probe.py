"""How long a fresh process takes to improve its first order; prints seconds as JSON.

`python -m tests.bench.start_probe` is run by the benchmark `start`, a process a measurement.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass

SHOP_SEED = 1


@dataclass(frozen=True)
class FirstImprovement:
    """Seconds since the probe began; None where no order better than the first was found in time.

    Parameters
    ----------
    import_s
        Until the solver was imported.
    first_s
        Until the first order was told.
    improved_s
        Until a better one was told.
    cpu_s
        Processor seconds of all threads of the process, at the end.
    """

    import_s: float
    first_s: float | None
    improved_s: float | None
    cpu_s: float


def first_improvement(jobs: int, seed: int, limit_s: float) -> FirstImprovement:
    """Import the solver, draw a queue for one line, search until an order is better than the first told."""
    started_s = time.perf_counter()
    # Imported here because importing is part of what is measured.
    from solver.search.solve import Progress, solve
    from solver.search.stop import Stop
    from solver.weights import GOALS
    from tests.builders.days import DayShape, drawn_day

    import_s = time.perf_counter() - started_s
    first: list[tuple[float, int, float]] = []
    improved: list[float] = []

    def told(progress: Progress) -> None:
        now_s = time.perf_counter() - started_s
        if not first:
            first.append((now_s, progress.left_out, progress.best_eur))
        elif not improved and (progress.left_out, progress.best_eur) < first[0][1:]:
            improved.append(now_s)

    problem = drawn_day(SHOP_SEED, DayShape(jobs=jobs, lines=1))
    stop = Stop(time_s=limit_s, cancelled=lambda: bool(improved))
    result = solve(problem, GOALS["balanced"], stop, seed, told)
    measured = FirstImprovement(
        import_s=import_s,
        first_s=first[0][0] if first else None,
        improved_s=improved[0] if improved else None,
        cpu_s=time.process_time(),
    )
    # Imported behind what is measured, of which it is no part.
    from tests.bench.checked_sequences import refuse_wrong

    refuse_wrong(f"{jobs} jobs, seed {seed}", problem, result.sequences[0], GOALS["balanced"])
    return measured


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure once and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.start_probe")
    parser.add_argument("--jobs", type=int, default=60)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=60.0)
    asked = parser.parse_args(arguments)
    measured = first_improvement(asked.jobs, asked.seed, asked.seconds)
    sys.stdout.write(json.dumps(asdict(measured)) + "\n")


if __name__ == "__main__":
    main()
