"""The room in which one island walks over orders of a plant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from solver.locks import AtPosition, Before, FixedStart, Lock, Started, Together
from solver.problem import Problem
from solver.search.book import (
    Book,
    Choices,
    Dispatching,
    Drawing,
    LineWalk,
    LockTables,
    Moments,
    Placing,
    Scratch,
    Sharing,
    Walk,
    entries_of,
)
from solver.search.changeover_memo import doubled, room_for_changeovers
from solver.search.compile import CompiledLine, CompiledPlant
from solver.search.islands import Halt
from solver.search.kernels.lock_faults import AT_POSITION, BEFORE_ANOTHER, FIXED_START, TOGETHER
from solver.search.kernels.tables import LOCK, NEVER_MS, SPLIT, STEP, Flags, Ints, Rows
from solver.search.kernels.walk import (
    ALWAYS,
    HAS_BEGUN,
    HOPE,
    JOBS,
    MAY_SHARE,
    NEVER,
    SOMETIMES,
)

TRACED = 8
"""Columns of a trace."""
MOMENTS_KEPT = 8
"""How many moments of an order placed in step are kept."""
MOVING = (
    "following",
    "earliest",
    "not_before",
    "threaded",
    "copy_place",
    "copy_free",
    "standing",
    "drawn",
    "ends",
    "begins",
    "held_up",
)
COUNTING = ("trial_start", "trial_eur")
"""What placing in step changes of the tables of `Sharing` and `Walk`; the first must be `following`."""
CASES_A_RUN = 250
FEWEST_CASES_AT_FIRST, MOST_CASES_AT_FIRST, MOST_CASES_OF_LINES_AT_FIRST = 12, 18, 14
"""Binary logarithms; the last where there are several lines, each with room of its own."""
MOST_CASES = 18
"""The same of what there is ever room for on all lines together: some 100 MB an island."""


class LineRoom:
    """A line's book, with room for its orders and for the changeovers it meets. For one thread."""

    def __init__(
        self,
        line: CompiledLine,
        runs: int,
        cases: int,
        left_out: Flags,
        choices: Choices | None = None,
        has_walk: bool = False,
        most_cases: int = 1 << MOST_CASES,
    ) -> None:
        self.line = line
        self.most_cases = max(cases, most_cases)
        self.changeovers = room_for_changeovers(len(line.web.stations), cases)
        self.scratch = new_scratch(line, left_out)
        self.placing = new_placing(line, runs, has_walk)
        self.book = Book(line.tables, line.web, self.changeovers, self.scratch, self.placing)
        if choices is not None:
            self.book.enter(choices)
        if has_walk:
            self.book.enter(new_line_walk(line, runs))

    def resize(self, runs: int) -> None:
        """Make room for orders of so many runs."""
        self.placing = new_placing(self.line, runs, False)
        self.book.enter(self.placing)

    @property
    def is_full(self) -> bool:
        """Whether there is no room for another changeover."""
        return bool(self.changeovers.known[0] + 2 > len(self.changeovers.guarded))

    def enlarge(self) -> None:
        """Make room for twice as many changeovers; where there are as many as may be, forget them all: they
        are worked out again when they are met.
        """
        cases, stations, _ = self.changeovers.guarded.shape
        is_most = 2 * cases > self.most_cases
        self.changeovers = room_for_changeovers(stations, cases) if is_most else doubled(self.changeovers)
        self.book.enter(self.changeovers)


class PlantRoom:
    """A plant's book, with those of its lines: all that an island reads and writes. For one thread."""

    def __init__(
        self,
        compiled: CompiledPlant,
        choices: Sequence[Choices | None],
        halt: Halt,
        drawing: Drawing,
        hope_eur: float = 0.0,
        usual_setup_eur: float = 1.0,
    ) -> None:
        left_out = np.zeros(compiled.items, np.uint8)
        cases = usual_cases(compiled.room, len(compiled.lines))
        most_cases = 1 << MOST_CASES - (len(compiled.lines) - 1).bit_length()
        self.lines = [
            LineRoom(line, compiled.room, cases, left_out, each, True, most_cases)
            for line, each in zip(compiled.lines, choices, strict=True)
        ]
        walk = new_walk(compiled, entries_of([line.book for line in self.lines]), hope_eur, left_out)
        sharing = new_sharing(compiled)
        tables = [
            *(getattr(sharing, name) for name in MOVING),
            *(getattr(walk, name) for name in COUNTING),
            *(line.placing.state for line in self.lines),
        ]
        moment, views = _in_one(tables)
        sharing = replace(sharing, **dict(zip(MOVING, views, strict=False)))
        self.walk = replace(walk, **dict(zip(COUNTING, views[len(MOVING) :], strict=False)))
        for line, state in zip(self.lines, views[len(MOVING) + len(COUNTING) :], strict=True):
            line.placing = replace(line.placing, state=state)
            line.book.enter(line.placing)
        self.dispatching = new_dispatching(compiled.items, usual_setup_eur)
        self.book = Book(
            self.walk,
            drawing,
            self.dispatching,
            lock_tables(compiled),
            sharing,
            new_moments(moment, 0 if choices[0] is None else MOMENTS_KEPT),
        )

    def enlarge(self) -> None:
        """Make room for more changeovers on every line that has none left."""
        for line in self.lines:
            if line.is_full:
                line.enlarge()


def _in_one(tables: Sequence[npt.NDArray[Any]]) -> tuple[Ints, list[npt.NDArray[Any]]]:
    """Tables of numbers and money one after the other in one row, and they as parts of it."""
    row = np.concatenate([table.view(np.int64) for table in tables])
    ends = np.cumsum([len(table) for table in tables])
    parts = np.split(row, ends[:-1])
    return row, [part.view(table.dtype) for part, table in zip(parts, tables, strict=True)]


def new_moments(moment: Ints, kept: int) -> Moments:
    """Room for so many moments of an order and of a trial."""
    return Moments(
        moment=moment,
        moments=np.zeros((2 * kept, len(moment)), np.int64),
        moment_rows=np.arange(2 * kept).reshape(2, kept),
    )


def usual_cases(runs: int, lines: int) -> int:
    """Room on each line for the changeovers that a search of so many runs usually meets, a power of two: room
    for more is made on the way, which takes long.
    """
    most = MOST_CASES_AT_FIRST if lines == 1 else MOST_CASES_OF_LINES_AT_FIRST
    usual = CASES_A_RUN * runs // lines
    return 1 << min(most, max(FEWEST_CASES_AT_FIRST, (usual - 1).bit_length()))


def new_scratch(line: CompiledLine, left_out: Flags) -> Scratch:
    """Room for what placing runs of the line writes beside its result."""
    slots = len(line.slots.slots)
    return Scratch(
        was=np.zeros(line.packing.columns, np.int64),
        aside=np.zeros((2 * slots + 2, 2), np.int64),
        fetched=np.zeros((slots + 1, 4), np.int64),
        replaced=np.zeros(slots + 1, np.int64),
        dropped=left_out,
        later=np.zeros(1, np.int64),
    )


def new_placing(line: CompiledLine, runs: int, keeps: bool) -> Placing:
    """Room for an order of so many runs, with snapshots or without."""
    kept = runs + 1 if keeps else 0
    return Placing(
        state=line.state.copy(),
        trial=np.zeros(runs, np.int64),
        trace=np.zeros((runs, TRACED), np.int64),
        kept=np.tile(line.state, (kept, 1)),
        kept_eur=np.full(kept, line.eur, np.float64),
    )


def new_line_walk(line: CompiledLine, runs: int) -> LineWalk:
    """Room for what a walk over orders of so many runs knows of the present one."""
    has_fixed = any(isinstance(lock, FixedStart) for lock in line.problem.locks)
    return LineWalk(
        order=np.zeros(runs, np.int64),
        origin=np.arange(runs),
        steps=np.zeros(runs, STEP),
        late_eur=np.zeros(runs + 1),
        kept_trace=np.zeros((runs if has_fixed else 0, TRACED), np.int64),
    )


def new_walk(compiled: CompiledPlant, lines: Ints, hope_eur: float, left_out: Flags) -> Walk:
    """Room for a walk over orders of a plant."""
    count = len(compiled.lines)
    counts = np.zeros(19, np.int64)
    counts[MAY_SHARE] = _may_share(compiled)
    counts[HAS_BEGUN] = any(line.started for line in compiled.lines)
    counts[JOBS] = len(compiled.problem.jobs)
    sums = np.array([np.inf, np.inf, 0.0, 0.0, np.inf, 0.0, 0.0])
    sums[HOPE] = hope_eur
    return Walk(
        lines=lines,
        counts=counts,
        sums=sums,
        runs=np.zeros(count, np.int64),
        trial_runs=np.zeros(count, np.int64),
        line_eur=np.zeros(count),
        trial_eur=np.zeros(count),
        first_start=np.zeros(count, np.int64),
        trial_start=np.zeros(count, np.int64),
        parts=np.zeros((2 * count + 2, 3), np.int64),
        place=np.full(compiled.items, -1, np.int64),
        best=np.zeros(count * (1 + compiled.room), np.int64),
        seated=np.zeros(compiled.room, np.int64),
        splits=_split_rows(compiled),
        left_out=left_out,
    )


def _split_rows(compiled: CompiledPlant) -> Rows:
    """The jobs that may be split."""
    rows = np.zeros(len(compiled.splittable), SPLIT)
    for row, (job_idx, cuts) in zip(rows, compiled.splittable.items(), strict=True):
        job = compiled.problem.jobs[job_idx]
        due_ms = None if job.due_ms is None else job.due_ms - compiled.problem.plant.after_press_ms
        row["first"], row["second"], row["cuts"] = job_idx, compiled.second_lot(job_idx), len(cuts)
        row["due_ms"] = NEVER_MS if due_ms is None else due_ms
        row["late_once_eur"], row["late_ms_eur"] = compiled.scheduler.weighing.late_prices(job_idx)
    return rows


def _may_share(compiled: CompiledPlant) -> int:
    """Whether lines can ask for the same at all, or always have to be placed in step."""
    if len(compiled.lines) == 1:
        return NEVER
    if any(isinstance(lock, Before) for lock in compiled.problem.locks):
        return ALWAYS
    return SOMETIMES if compiled.shared or compiled.stocks else NEVER


def new_dispatching(items: int, usual_setup_eur: float) -> Dispatching:
    """Room for dispatching; a set-up is first expected to cost so much."""
    return Dispatching(
        waiting=np.zeros(items, np.int64),
        promise=np.zeros(items),
        dispatched=np.zeros(3, np.int64),
        factors=np.array([1.0, 1.0, 0.0, usual_setup_eur, usual_setup_eur, 0.0, 0.0, 0.0]),
    )


def new_sharing(compiled: CompiledPlant) -> Sharing:
    """Where shared tools are as the plan begins, and room for where they go."""
    lines = len(compiled.lines)
    copies = [copy for key in compiled.shared for copy in compiled.begun.copies[key]]
    tools = [tool for tool, key in enumerate(compiled.shared) for _ in compiled.begun.copies[key]]
    places = [
        -1
        if copy.place is None
        else compiled.lines[copy.place[0]].places_from + compiled.lines[copy.place[0]].slots.at(copy.place)
        for copy in copies
    ]
    ends = np.zeros(compiled.items, np.int64)
    for lock in compiled.problem.locks:
        if isinstance(lock, Started):
            ends[compiled.problem.job_idx[lock.job]] = lock.end_ms
    return Sharing(
        copy_place=np.array(places, np.int64),
        copy_free=np.zeros(len(copies), np.int64),
        standing=np.full(compiled.places, -1, np.int64),
        present_place=np.array(places, np.int64),
        present_free=np.array([copy.free_ms for copy in copies], np.int64),
        drawn=np.zeros(len(compiled.stocks) + bool(compiled.stocks), np.int64),
        ends=ends.copy(),
        begins=np.zeros(compiled.items, np.int64),
        present_ends=ends,
        following=np.zeros(lines, np.int64),
        earliest=np.zeros(lines, np.int64),
        not_before=np.zeros(lines, np.int64),
        unbound=np.zeros(compiled.items, np.uint8),
        taken_from=np.zeros((compiled.places + 1, 2), np.int64),
        copy_tools=np.array(tools, np.int64),
        threaded=np.zeros(lines, np.int64),
        waits=_waiting(compiled),
        held_up=np.zeros(lines, np.int64),
        places=np.array(
            [
                (line.line_idx, field.column, field.mask)
                for line in compiled.lines
                for field in line.packing.fields
            ],
            np.int64,
        ).reshape(-1, 3),
    )


def _waiting(compiled: CompiledPlant) -> Flags:
    """What waits for another job's end; empty where nothing does."""
    jobs = [
        compiled.problem.job_idx[lock.then] for lock in compiled.problem.locks if isinstance(lock, Before)
    ]
    found = np.zeros(compiled.items if jobs else 0, np.uint8)
    found[jobs] = 1
    return found


def no_drawing(halt: Halt) -> Drawing:
    """Of a plant that is placed and never changed."""
    return Drawing(
        shares=np.zeros(5),
        randomness=np.ones(1, np.uint64),
        halt=halt,
        cycle=np.zeros(6, np.int64),
        heat=np.zeros(7),
    )


def lock_tables(compiled: CompiledPlant) -> LockTables:
    """The locks that an order can break."""
    problem = compiled.problem
    rows: list[tuple[int, int, int, int, int]] = []
    members: list[int] = []
    for lock in problem.locks:
        first = len(members)
        if isinstance(lock, Together):
            members.extend(problem.job_idx[job] for job in lock.jobs)
        row = _lock_row(problem, lock)
        if row is not None:
            rows.append((*row, first, len(members)))
    return LockTables(
        locks=np.array(rows, LOCK),
        members=np.array(members, np.int64),
        lock_places=np.zeros((compiled.items, 2), np.int64),
    )


def _lock_row(problem: Problem, lock: Lock) -> tuple[int, int, int] | None:
    match lock:
        case Together():
            return TOGETHER, 0, 0
        case AtPosition():
            return AT_POSITION, problem.job_idx[lock.job], lock.position
        case Before():
            return BEFORE_ANOTHER, problem.job_idx[lock.job], problem.job_idx[lock.then]
        case FixedStart():
            return FIXED_START, problem.job_idx[lock.job], lock.start_ms
        case _:
            return None
