"""Rolls of drawn days: those chosen beside the oldest first, and what it is worth to search once more."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass

from rich.console import Console

from solver.baselines import by_due_time
from solver.cheapest_rolls import cheapest_rolls, oldest_first_rolls
from solver.ledger import web_ledger
from solver.problem import Problem
from solver.roll_choice import Place, RestKind, RollChoice, Use
from solver.roll_ledger import RollPart, roll_ledger
from solver.roll_plan import RollPlan
from solver.search.rolled import solve_with_rolls
from solver.search.solve import solve
from solver.search.stop import Stop
from solver.sequence import PieceKind
from solver.sequence import Sequence as RunSequence
from solver.stretches import SegmentKind, Stretch
from tests.bench.checked_sequences import refuse_wrong
from tests.bench.day_search import WEIGHTS, compile_for
from tests.bench.entry import OURS
from tests.bench.rolled_days import rolled_day
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.tables import FigureTable
from tests.bench.versions import circumstances

NAME = "rolls"
HELP = "Ten days whose stock lies in rolls: chosen rolls beside the oldest first; a search with them known."
DAYS = (
    *("30/2 tight", "30/2 loose", "40/2 tight", "40/2 tight 2", "40/2 loose"),
    *("40/3 tight", "40/3 tight 2", "40/3 loose", "60/3 tight", "60/3 loose"),
)
M_UM = 1_000_000
LOST = (RollPart.CUT_OUT, RollPart.CORE_TAIL, RollPart.SCRAP)
CENT = 0.005


class ShortDayError(RuntimeError):
    """A day whose rolls do not suffice: then there is nothing to compare."""


@dataclass(frozen=True)
class RollFigures:
    """A sequence with its rolls.

    Parameters
    ----------
    eur
        Controllable cost, stubs, opened rolls and rests taken back included.
    waste_m
        All web that is not sold but the spoilage allowance, and what was cut out, left at cores or scrapped.
    splices, in_runs, in_reels
        Splices made, those of them inside runs, and splices in customers' reels, where those that were in a
        roll count too.
    scrapped
        Stubs too short to be kept.
    """

    eur: float
    late_eur: float
    stubs_eur: float
    waste_m: float
    splices: int
    in_runs: int
    in_reels: int
    scrapped: int


@dataclass(frozen=True)
class RollsEffort:
    """What a search may spend: seconds or, without them, changes; no changes: the order by due time."""

    seconds: float | None
    work: int | None
    seed: int
    threads: int

    @property
    def searches(self) -> bool:
        return self.work != 0

    def stop(self) -> Stop:
        """The limits of one search, from now on."""
        return Stop(time_s=self.seconds, work=self.work)


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, help="Of each search, in place of changes.")
    parser.add_argument(
        "--work", type=int, default=400_000, help="Changes tried by each search; 0: the order by due time."
    )
    parser.add_argument("--seeds", type=int, default=1, help="Searches of each day.")
    parser.add_argument("--threads", type=int, default=2, help="Of each search.")
    parser.add_argument("--only", nargs="+", metavar="NAME", help="These days alone, such as '60/3 tight 2'.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every day with every seed; the rows of these limits."""
    file = RowFile(asked.json, asked.command)
    limits = {
        "seconds": asked.seconds,
        "work_limit": None if asked.seconds else asked.work,
        "threads": asked.threads,
    }
    for name in asked.only or DAYS:
        for seed in range(asked.seeds):
            key = {"bench": NAME, "instance": name, "solver": OURS, "seed": seed, **limits}
            if not file.has(**key):
                effort = RollsEffort(asked.seconds, limits["work_limit"], seed, asked.threads)
                file.add(key | _measured(name, effort) | circumstances())
                console.print(_told(file.rows[-1]))
    return [
        row for row in file.rows if row["bench"] == NAME and all(row[each] == limits[each] for each in limits)
    ]


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Both ways to choose rolls by day, and what the second search is worth."""
    yield _choice_table(rows)
    looped = [row for row in rows if row["loop"] is not None]
    if looped:
        yield _loop_table(looped)


def figures_of(problem: Problem, plan: RollPlan) -> RollFigures:
    """What is told of a sequence and its rolls.

    Raises
    ------
    ShortDayError
        Where rolls are missing.
    ValueError
        Where the plan has not settled, or its rolls do not add up to their lengths.
    """
    if plan.shortages:
        raise ShortDayError(f"rolls do not suffice: {plan.shortages[0]}")
    lost_um = sum(
        piece.length_um
        for pieces in roll_ledger(problem, plan).values()
        for piece in pieces
        if piece.part in LOST
    )
    sequence = plan.sequence
    return RollFigures(
        eur=float(sequence.cost.controllable_eur),
        late_eur=float(sequence.cost.late_eur),
        stubs_eur=float(sequence.cost.stubs_eur),
        waste_m=(_waste_um(problem, sequence) + lost_um) / M_UM,
        splices=sum(choice.roll_ends for _, choice in _choices(plan)),
        in_runs=sum(not end.is_on_strip for run in sequence.runs for end in run.roll_ends),
        in_reels=sum(splices_in_reels(stretch, choice) for stretch, choice in _choices(plan)),
        scrapped=sum(rest.kind is RestKind.SCRAP for _, choice in _choices(plan) for rest in choice.rests),
    )


def _waste_um(problem: Problem, sequence: RunSequence) -> int:
    return sum(
        piece.length_um
        for pieces in web_ledger(problem, sequence)
        for piece in pieces
        if piece.kind not in (PieceKind.SELLABLE, PieceKind.SPOILAGE)
    )


def _choices(plan: RollPlan) -> Iterator[tuple[Stretch, RollChoice]]:
    for each in plan.stretches:
        if isinstance(each.choice, RollChoice):
            yield each.stretch.stretch, each.choice


def splices_in_reels(stretch: Stretch, choice: RollChoice) -> int:
    """Splices that come to a customer: made inside a reel's web, or left in it."""
    made = (use.begins for use in choice.uses if use.wasted_um)
    left = (place for use in choice.uses for place in _left_in(stretch, use))
    return sum(_is_in_reel(stretch, place) for place in (*made, *left))


def _left_in(stretch: Stretch, use: Use) -> Iterator[Place]:
    """Where on the stretch the flagged splices lie that a use runs through."""
    begin_um = stretch.bounds_um[use.begins.segment] + use.begins.offset_um
    for at_um in use.run_through_um:
        on_web_um = begin_um + at_um - use.from_um - use.wasted_um
        segment = max(
            idx for idx, start_um in enumerate(stretch.bounds_um[:-1]) if start_um <= max(0, on_web_um)
        )
        yield Place(segment, on_web_um - stretch.bounds_um[segment])


def _is_in_reel(stretch: Stretch, place: Place) -> bool:
    segment = stretch.segments[place.segment]
    inside = segment.kind is SegmentKind.PRINT and 0 < place.offset_um < segment.length_um
    return inside and place.offset_um % (segment.reel_um or segment.length_um) > 0


def _measured(name: str, effort: RollsEffort) -> JsonRow:
    problem = rolled_day(name).problem
    searched = _searched(problem, effort)
    order = by_due_time(problem) if searched is None else searched.order
    begun_s = time.process_time()
    ours = cheapest_rolls(problem, order, WEIGHTS)
    cpu_s = time.process_time() - begun_s
    oldest = oldest_first_rolls(problem, order, WEIGHTS)
    for with_ends, plan in (ours, oldest):
        refuse_wrong(name, with_ends, plan.sequence, WEIGHTS)
    figures = figures_of(*ours)
    return {
        "value": figures.eur,
        "jobs": len(problem.jobs),
        "lines": len(problem.plant.lines),
        "rolls": sum(1 for _ in problem.plant.rolls),
        "faults": ours[1].rank[0],
        "ours": asdict(figures),
        "oldest": asdict(figures_of(*oldest)),
        "searched": None if searched is None else _said(searched),
        "loop": None if searched is None else _looped(name, problem, effort),
        "cpu_s": round(cpu_s, 3),
    }


def _searched(problem: Problem, effort: RollsEffort) -> RunSequence | None:
    """What the search finds by usual rolls; None where none is asked for."""
    if not effort.searches:
        return None
    compile_for(problem)
    result = solve(problem, WEIGHTS, effort.stop(), effort.seed, threads=effort.threads)
    return result.sequences[0]


def _said(sequence: RunSequence) -> JsonRow:
    return {"eur": float(sequence.cost.controllable_eur), "late_eur": float(sequence.cost.late_eur)}


def _looped(name: str, problem: Problem, effort: RollsEffort) -> JsonRow:
    """Both searches with limits that together are those of one."""
    result = solve_with_rolls(problem, WEIGHTS, effort.stop(), effort.seed, threads=effort.threads)
    best, repair = result.sequences[0], result.repair
    refuse_wrong(f"{name}, with the second search", best.problem, best.sequence, WEIGHTS)
    before = best if repair is None else repair.before
    return {
        "before": asdict(figures_of(before.problem, before.plan)),
        "after": asdict(figures_of(best.problem, best.plan)),
        "again": repair is not None,
        "kept": repair is not None and repair.is_better,
        "faults": best.plan.rank[0],
    }


def _told(row: JsonRow) -> str:
    saved_eur = row["oldest"]["eur"] - row["ours"]["eur"]
    told = (
        f"{row['instance']}, seed {row['seed']}: {row['value']:,.0f} €, oldest first {saved_eur:,.0f} € more"
    )
    if row["loop"] is None:
        return told
    return f"{told}; the second search {row['loop']['before']['eur'] - row['loop']['after']['eur']:,.0f} €"


def _choice_table(rows: Sequence[JsonRow]) -> FigureTable:
    dearer = [row for row in rows if row["ours"]["eur"] > row["oldest"]["eur"] + CENT]
    cheaper = [row for row in rows if row["ours"]["eur"] < row["oldest"]["eur"] - CENT]
    return FigureTable(
        f"chosen rolls and the oldest first, {_limits(rows[0])}",
        (
            *("day", "rolls", "€", "oldest first", "saved", "late €", "waste m"),
            *("splices", "inside runs", "in reels", "stubs scrapped"),
        ),
        tuple(_choice_line(row) for row in rows),
        (
            "The same order with both; € are controllable cost with cores, stubs, rolls opened and taken "
            "back. Behind a stroke what the oldest first come to, each spliced where the one before ends or "
            "may end. Splices in reels are those that reach a customer, made here or flagged in a roll.",
            f"Cheaper on {len(cheaper)} of {len(rows)}, dearer on {len(dearer)}.",
        ),
    )


def _choice_line(row: JsonRow) -> tuple[str, ...]:
    ours, oldest = row["ours"], row["oldest"]
    return (
        _day(row),
        str(row["rolls"]),
        f"{ours['eur']:,.2f}",
        f"{oldest['eur']:,.2f}",
        f"{oldest['eur'] - ours['eur']:,.2f}",
        *(f"{ours[each]:,.0f} / {oldest[each]:,.0f}" for each in ("late_eur", "waste_m")),
        *(f"{ours[each]} / {oldest[each]}" for each in ("splices", "in_runs", "in_reels", "scrapped")),
    )


def _loop_table(rows: Sequence[JsonRow]) -> FigureTable:
    kept = sum(row["loop"]["kept"] for row in rows)
    saved = [row["loop"]["before"]["eur"] - row["loop"]["after"]["eur"] for row in rows]
    one = [row["ours"]["eur"] - row["loop"]["after"]["eur"] for row in rows]
    return FigureTable(
        f"what the loop is worth, {_limits(rows[0])}",
        (
            *("day", "searched €", "late", "with rolls €", "late", "first search, rolls €", "late"),
            *("second search €", "late", "worth €"),
        ),
        tuple(_loop_line(row) for row in rows),
        (
            "Searched: by usual rolls; with rolls: the same order with those chosen. Then the same limits "
            "for two searches: rolls chosen after the first, and after the second, which knows their ends.",
            f"The second search was kept on {kept} of {len(rows)}; on all: {sum(saved):,.0f} € less than "
            f"after the first, {sum(one):,.0f} € less than after one search with all of the limits.",
        ),
    )


def _loop_line(row: JsonRow) -> tuple[str, ...]:
    loop = row["loop"]
    columns = (row["searched"], row["ours"], loop["before"], loop["after"])
    return (
        _day(row),
        *(f"{figures[each]:,.2f}" for figures in columns for each in ("eur", "late_eur")),
        f"{loop['before']['eur'] - loop['after']['eur']:,.2f}",
    )


def _day(row: JsonRow) -> str:
    return row["instance"] if row["seed"] == 0 else f"{row['instance']}, seed {row['seed']}"


def _limits(row: JsonRow) -> str:
    if row["work_limit"] == 0:
        return "orders by due time"
    return f"{row['seconds']:g} s" if row["seconds"] else f"{row['work_limit']:,} changes"
