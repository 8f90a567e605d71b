"""What a search proves: the gap between its order and its bound, and whether that bound holds."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from statistics import median

from rich.console import Console

from solver.account import account
from tests.bench.checked_sequences import CLOSE, refuse_wrong
from tests.bench.day_search import DayEffort, DayFound, compile_for, searched
from tests.bench.entry import OURS
from tests.bench.gap_cases import GapCase, Known, cases, every_order_of, of_shop, setups_alone
from tests.bench.results import by_effort, effort_title
from tests.bench.results import gap as gap_above
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.tables import FigureTable, percent, seconds
from tests.bench.versions import circumstances
from tests.builders.days import one_line_day

NAME = "gap"
HELP = "The gap a search reports: set-ups alone, kept tooling, several lines; bounds held against optima."


class WrongBoundError(RuntimeError):
    """A bound above what an order costs, or an order below what is proved."""


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=10.0, help="Of each search, by the wall clock.")
    parser.add_argument("--seeds", type=int, default=3, help="Searches of each problem.")
    parser.add_argument("--threads", type=int, default=2, help="Of each search.")
    parser.add_argument(
        "--only", nargs="+", metavar="NAME", help="These problems alone, by the table's names."
    )
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every problem with every seed; the rows of this effort."""
    file = RowFile(asked.json, asked.command)
    for case in _chosen(asked.only):
        efforts = [DayEffort(asked.seconds, seed, asked.threads) for seed in range(asked.seeds)]
        missing = [effort for effort in efforts if not file.has(**_key(case, effort))]
        if not missing:
            continue
        known = case.known(asked.seconds, asked.threads)
        for effort in missing:
            file.add(_key(case, effort) | _measured(case, effort, known) | circumstances())
            console.print(_told(file.rows[-1]))
    return file.of_effort(NAME, asked.seconds, asked.threads)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Gaps by problem."""
    for alike in by_effort(rows):
        names = dict.fromkeys(row["instance"] for row in alike)
        yield FigureTable(
            effort_title("gap to the search's own bound", alike),
            ("problem", "jobs", "median", "bound", "gap", "worst gap", "known", "bound below it", "wall s"),
            tuple(_line(name, [row for row in alike if row["instance"] == name]) for name in names),
            (
                "Weighed cost: € on days of a shop, minutes where set-ups count alone. A bound above a known "
                "optimum or above any order that is known ends the benchmark.",
            ),
        )


def refuse_wrong_bound(name: str, found: DayFound, eur: float, known: Known | None) -> None:
    """Let nothing pass but a bound below every cost known, and a cost not below what is proved.

    Raises
    ------
    WrongBoundError
        With what contradicts what.
    """
    least_eur = eur if known is None else min(eur, known.eur)
    if found.bound_eur is not None and found.bound_eur > least_eur * (1 + CLOSE) + CLOSE:
        raise WrongBoundError(
            f"{name}: no order is said to undercut {found.bound_eur}, but one costs {least_eur}"
        )
    if known is not None and known.least and eur < known.eur * (1 - CLOSE) - CLOSE:
        raise WrongBoundError(f"{name}: an order costs {eur}, but {known.eur} is the least ({known.by})")


def _chosen(only: Sequence[str] | None) -> list[GapCase]:
    by_name = {case.name: case for case in (*cases(), *_smallest())}
    if only is None:
        return list(cases())
    unknown = set(only) - set(by_name)
    if unknown:
        raise ValueError(f"no such problem: {', '.join(sorted(unknown))}")
    return [by_name[name] for name in only]


def _smallest() -> Iterator[GapCase]:
    """Problems that take no time: not measured unless they are named."""
    yield setups_alone("8/2/3/1")
    yield of_shop("4/2 tight")
    yield every_order_of("every order of 3 jobs, one line", lambda: one_line_day(5, 3))


def _key(case: GapCase, effort: DayEffort) -> JsonRow:
    limits = {"seconds": effort.seconds, "threads": effort.threads}
    return {"bench": NAME, "instance": case.name, "solver": OURS, "seed": effort.seed, **limits}


def _measured(case: GapCase, effort: DayEffort, known: Known | None) -> JsonRow:
    problem = case.problem()
    compile_for(problem)
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    found = searched(problem, case.weights, effort)
    times = {"wall_s": time.perf_counter() - wall_s, "cpu_s": time.process_time() - cpu_s}
    sequence = account(problem, found.order, case.weights)
    refuse_wrong(case.name, problem, sequence, case.weights, found.eur)
    eur, faults = float(sequence.weighed_eur), len(sequence.left_out) + len(sequence.broken_locks)
    if not faults:
        refuse_wrong_bound(case.name, found, eur, known)
    return {
        "value": eur,
        "jobs": len(problem.jobs),
        "lines": len(problem.plant.lines),
        "faults": faults,
        "bound_eur": found.bound_eur,
        "gap": None if found.bound_eur is None else gap_above(eur, found.bound_eur),
        "known_eur": None if known is None else known.eur,
        "known_by": None if known is None else known.by,
        "work": found.work,
        **{key: round(time_s, 3) for key, time_s in times.items()},
    }


def _told(row: JsonRow) -> str:
    told = "no bound" if row["gap"] is None else f"gap {percent(row['gap'])}"
    return f"{row['instance']}, seed {row['seed']}: {row['value']:,.2f}, {told}, {row['wall_s']:.1f} s"


def _line(name: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    bounds = [row["bound_eur"] for row in rows if row["bound_eur"] is not None]
    gaps = [row["gap"] for row in rows if row["gap"] is not None]
    every = len(bounds) == len(rows)
    known_eur, known_by = rows[0]["known_eur"], rows[0]["known_by"]
    return (
        name,
        str(rows[0]["jobs"]),
        f"{median(row['value'] for row in rows):,.2f}",
        f"{median(bounds):,.2f}" if every else "",
        percent(median(gaps)) if every else "no bound",
        percent(max(gaps)) if every else "",
        "" if known_eur is None else f"{known_eur:,.2f} ({known_by})",
        percent(gap_above(known_eur, max(bounds))) if every and known_eur is not None else "",
        seconds(median(row["wall_s"] for row in rows)),
    )
