"""Days of a shop with several lines: the search beside general libraries and the first engine."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from statistics import median

from rich.console import Console

from solver.account import account
from tests.bench import days_best_known
from tests.bench.checked_sequences import refuse_wrong
from tests.bench.day_search import WEIGHTS, DayEffort
from tests.bench.day_solvers import CP_SAT, SOLVERS, DaySolver
from tests.bench.days_best_known import BestDay, best_of
from tests.bench.entry import OURS
from tests.bench.results import by_effort, effort_title, gap
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.shop_days import DAYS, ShopDay, shop_day
from tests.bench.tables import FigureTable, percent, seconds
from tests.bench.versions import circumstances

NAME = "days"
HELP = "Days of several lines with every feature on, beside general libraries and the first engine."
PEER_SEED = 0


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=30.0, help="Of each search, by the wall clock.")
    parser.add_argument("--seeds", type=int, default=3, help="Searches of each day.")
    parser.add_argument("--threads", type=int, default=2, help="Of each search.")
    parser.add_argument(
        "--only", nargs="+", metavar="NAME", help="These days alone, such as '40/3 tight'; other sizes too."
    )
    parser.add_argument(
        "--peers", action="store_true", help="General libraries and the first engine beside it."
    )
    parser.add_argument(
        "--reference",
        action="store_true",
        help=f"Write orders better than all before into {days_best_known.FILE.name}.",
    )
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every day with every seed, and the peers where they are asked for; the rows of this effort."""
    file = RowFile(asked.json, asked.command)
    names = asked.only or DAYS
    known = days_best_known.read(names, days_best_known.FILE)
    for name in names:
        day = shop_day(name)
        for solver, seed in _trials(asked):
            effort = DayEffort(asked.seconds, seed, asked.threads)
            key = _key(name, solver.name, effort)
            if file.has(**key):
                continue
            found, measured = _measured(day, solver, effort)
            if found is not None and asked.reference:
                _keep(name, found, console)
            file.add(key | measured | _reference(known.get(name)) | circumstances())
            console.print(_told(file.rows[-1]))
    return file.of_effort(NAME, asked.seconds, asked.threads)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Controllable cost by day, beside the peers and the best known; how orders are faulty and late."""
    for alike in by_effort(rows):
        names = list(dict.fromkeys(row["instance"] for row in alike))
        by_name = {name: [row for row in alike if row["instance"] == name] for name in names}
        peers = list(dict.fromkeys(row["solver"] for row in alike if row["solver"] != OURS))
        yield FigureTable(
            effort_title("days of several lines, controllable €", alike),
            ("day", "median", "worst", *peers, "ratio to best peer", "best known", "above it", "gap"),
            tuple(_line(name, by_name[name], peers) for name in names),
            tuple(_notes(by_name)),
        )
        yield FigureTable(
            effort_title("the same days", alike),
            ("day", "jobs", "late €", "left out", "locks broken", "orders or changes", "wall s", "CPU s"),
            tuple(_effort_line(name, ours) for name in names if (ours := _ours(by_name[name]))),
            ("Of the median seed.",),
        )


def _trials(asked: argparse.Namespace) -> Iterator[tuple[DaySolver, int]]:
    for solver in SOLVERS:
        if not solver.is_peer:
            yield from ((solver, seed) for seed in range(asked.seeds))
        elif asked.peers:
            yield solver, PEER_SEED


def _key(name: str, solver: str, effort: DayEffort) -> JsonRow:
    return {
        "bench": NAME,
        "instance": name,
        "solver": solver,
        "seed": effort.seed,
        "seconds": effort.seconds,
        "threads": effort.threads,
    }


def _measured(day: ShopDay, solver: DaySolver, effort: DayEffort) -> tuple[BestDay | None, JsonRow]:
    """One solver on one day: its order, costed by the account and checked, and the figures of its row."""
    answer = solver.prepared(day, effort)
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    found = answer()
    times = {"wall_s": time.perf_counter() - wall_s, "cpu_s": time.process_time() - cpu_s}
    row: JsonRow = {"jobs": day.jobs, "lines": day.lines, "value": None}
    row |= {key: round(time_s, 3) for key, time_s in times.items()}
    if found is None:
        return None, row
    sequence = account(day.problem, found.order, WEIGHTS)
    refuse_wrong(f"{day.name}, {solver.name}", day.problem, sequence, WEIGHTS, found.eur)
    best = best_of(sequence, f"{solver.name}, {effort.seconds:g} s")
    return best, row | {
        "value": best.controllable_eur,
        "weighed_eur": best.weighed_eur,
        "late_eur": float(sequence.cost.late_eur),
        "left_out": len(sequence.left_out),
        "broken_locks": len(sequence.broken_locks),
        "work": found.work,
        "bound_eur": found.bound_eur,
        "proved": found.proved,
    }


def _keep(name: str, found: BestDay, console: Console) -> None:
    if days_best_known.keep_if_better(name, found, days_best_known.FILE):
        console.print(f"{name}: {found.controllable_eur:,.0f} € is the best known now")


def _reference(known: BestDay | None) -> JsonRow:
    if known is None:
        return {}
    return {
        "best_known_score": list(known.score),
        "best_known_eur": known.controllable_eur,
    }


def _told(row: JsonRow) -> str:
    trial = f"{row['instance']}, {row['solver']}, seed {row['seed']}"
    return f"{trial}: {_cell(row)}, {row['wall_s']:.1f} s, {row['cpu_s']:.1f} s of processor"


def _score(row: JsonRow) -> tuple[float, float]:
    """What orders are compared by: jobs left out and locks broken, then weighed cost."""
    if row["value"] is None:
        return float("inf"), float("inf")
    return row["left_out"] + row["broken_locks"], row["weighed_eur"]


def _ours(rows: Sequence[JsonRow]) -> list[JsonRow]:
    """This project's rows of a day, best first."""
    return sorted((row for row in rows if row["solver"] == OURS), key=_score)


def _median(rows: Sequence[JsonRow]) -> JsonRow:
    return rows[len(rows) // 2]


def _best_peer(rows: Sequence[JsonRow]) -> JsonRow | None:
    found = (row for row in rows if row["solver"] != OURS and row["value"] is not None)
    return min(found, key=_score, default=None)


def _cell(row: JsonRow) -> str:
    if row["value"] is None:
        return "no order"
    faults = row["left_out"] + row["broken_locks"]
    told = f" ({faults} fault{'s' if faults > 1 else ''})" if faults else ""
    return f"{row['value']:,.0f}{told}"


def _line(name: str, rows: Sequence[JsonRow], peers: Sequence[str]) -> tuple[str, ...]:
    ours = _ours(rows)
    by_solver = {row["solver"]: row for row in rows}
    peer_cells = (_cell(by_solver[peer]) if peer in by_solver else "" for peer in peers)
    if not ours:
        return (name, "", "", *peer_cells, "", *_best_known_cells(rows, None), "")
    middle = _median(ours)
    return (
        name,
        _cell(middle),
        _cell(ours[-1]),
        *peer_cells,
        _ratio_cell(middle, _best_peer(rows)),
        *_best_known_cells(rows, middle),
        _gap_cell(middle),
    )


def _ratio_cell(ours: JsonRow, peer: JsonRow | None) -> str:
    if peer is None or ours["value"] is None:
        return ""
    own_faults, peer_faults = _score(ours)[0], _score(peer)[0]
    if own_faults != peer_faults:
        return "fewer faults" if own_faults < peer_faults else "more faults"
    return f"{ours['value'] / peer['value']:.3f}" if peer["value"] > 0 else ""


def _best_known_cells(rows: Sequence[JsonRow], ours: JsonRow | None) -> tuple[str, str]:
    """The best of all rows and of the file, and how far above it we are, in controllable cost of it."""
    seen = [(_score(row), row["value"]) for row in rows if row["value"] is not None]
    seen += [
        (tuple(row["best_known_score"]), row["best_known_eur"]) for row in rows if "best_known_eur" in row
    ]
    if not seen:
        return "", ""
    (faults, weighed_eur), eur = min(seen)
    if ours is None or ours["value"] is None:
        return f"{eur:,.0f}", ""
    if _score(ours)[0] != faults:
        return f"{eur:,.0f}", "more faults"
    return f"{eur:,.0f}", percent((ours["weighed_eur"] - weighed_eur) / eur) if eur > 0 else ""


def _gap_cell(row: JsonRow) -> str:
    bound_eur = row.get("bound_eur")
    return "no bound" if bound_eur is None else percent(gap(row["weighed_eur"], bound_eur))


def _notes(by_name: dict[str, list[JsonRow]]) -> Iterator[str]:
    yield (
        "Controllable cost, by the account and accepted by the checker. Orders are compared by jobs left out "
        "and locks broken (faults), then by weighed cost, which counts running time too. Peers: one seed, "
        "from the order of the construction heuristics. Gap: of the weighed cost to the search's own bound."
    )
    cells = (
        _ratio_cell(_median(ours), _best_peer(rows)) for rows in by_name.values() if (ours := _ours(rows))
    )
    both = ((ours, rows) for rows in by_name.values() if (ours := _ours(rows)))
    cells = (_ratio_cell(_median(ours), _best_peer(rows)) for ours, rows in both)
    ratios = [float(cell) for cell in cells if cell[:1].isdigit()]
    if ratios:
        yield f"Ratio to the best peer: {median(ratios):.3f} in the median, {max(ratios):.3f} at most."
    proved = [
        name
        for name, rows in by_name.items()
        if any(row["solver"] == CP_SAT and row.get("proved") for row in rows)
    ]
    if proved:
        yield f"{CP_SAT} proved its own model, which is no proof for the day, on: {', '.join(proved)}."


def _effort_line(name: str, ours: Sequence[JsonRow]) -> tuple[str, ...]:
    row = _median(ours)
    counts = (row["jobs"], row["late_eur"], row["left_out"], row["broken_locks"], row["work"])
    return (name, *(f"{count:,.0f}" for count in counts), seconds(row["wall_s"]), seconds(row["cpu_s"]))
