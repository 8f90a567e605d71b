"""A problem of one line as plain arrays for the kernels."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import replace

import numpy as np

from solver.baselines import started_order
from solver.changeover import SPLICE_TABLE
from solver.closures import interruption_ms
from solver.copies import Copy
from solver.feasibility import station_choices
from solver.locks import Before, FixedStart, OnLine
from solver.lots import cuts, total_labels
from solver.plant import AspectRule, Line, StockedWidth, tool_key
from solver.problem import Problem
from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.search.book import LineTables
from solver.search.changeover_memo import Shape, web_tables
from solver.search.kernels.stretches import ALWAYS
from solver.search.kernels.tables import (
    ARRIVAL,
    BEFORE,
    CLOSURE,
    END,
    HEAD,
    LINE,
    LOW,
    NEVER_MS,
    NO_JOB,
    NOWHERE,
    PACKED_NEED,
    PLAN,
    PRINT_CLOSURE,
    PRINT_START,
    SEAT,
    SET_NEED,
    STOCK,
    TOOL,
    WASH_NEED,
    Flags,
    Ints,
    Rows,
)
from solver.search.packing import Field, Packing
from solver.search.slots import Need, Slots, scarce_tools, threaded_by
from solver.sequence import Lot, Order, Placement, Stock
from solver.setups import outgoing_stock
from solver.timeline import State
from solver.tooling import present_loaded
from solver.weights import Weights

MOST_CHOICES, MOST_CHOICES_OF_LOTS = 60, 6
"""Station choices of a job and of a lot that the search looks at, evenly spread over all of them."""
PRESENT_SHAPE = 0
ENDLESS_UM = 1 << 60


class CompiledPlant:
    """A problem under one goal as the kernels read it.

    Attributes
    ----------
    lines
        Every line of the plant.
    splittable
        The jobs that may be split, and where each may be cut.
    items
        How much an order may place: jobs by their numbers, then a second lot of each that may be split.
    room
        Runs that one line may have at most.
    shared
        Tools that lines share, by key: those with fewer copies than places, with these.
    stocks
        The stocks whose amount is followed.
    copies
        Where all copies are once the started runs are placed.
    """

    def __init__(self, problem: Problem, weights: Weights) -> None:
        self.problem = problem
        self.weights = weights
        self.scheduler = Scheduler(problem, weights)
        self.stocks = problem.followed_stocks
        self.splittable = _splittable(problem)
        self.items = len(problem.jobs) + len(self.splittable)
        self.room = self.items
        every = range(len(problem.plant.lines))
        self._on_line = {
            problem.job_idx[lock.job]: problem.line_idx[lock.line]
            for lock in problem.locks
            if isinstance(lock, OnLine)
        }
        started = started_order(problem)
        gone = {placement.job_idx for placements in started for placement in placements}
        numbered = [self._number_plans(line_idx, started[line_idx], gone) for line_idx in every]
        plans = [plan for on_line, _, _ in numbered for plan in on_line]
        self.shared = scarce_tools(problem, every, plans) if len(every) > 1 else {}
        self.begun = self.scheduler.begin(
            [[on_line[idx] for idx in started_plans] for on_line, _, started_plans in numbered]
        )
        self.lines: list[CompiledLine] = []
        places = 0
        for line_idx, (on_line, item_plans, started_plans) in enumerate(numbered):
            self.lines.append(CompiledLine(self, line_idx, on_line, item_plans, started_plans, places))
            places += len(self.lines[-1].slots.slots)
        self.places = places

    @property
    def runs(self) -> bool:
        """Whether anything can run."""
        return any(line.plans for line in self.lines)

    def numbers(self, order: Order) -> Ints:
        """An order as the kernels keep it: how many runs each line has, then `room` plans of every line.

        Where it has a placement that the search does not look at, another one of the job stands for it, on
        another line if need be.
        """
        orders: list[list[int]] = [[] for _ in self.lines]
        whole = self._not_cut_so(order)
        placed: set[int] = set()
        for line_idx, placements in enumerate(order):
            for placement in placements:
                if placement.job_idx in whole:
                    if placement.job_idx in placed:
                        continue
                    placement = replace(placement, lot=None)  # what stands for it
                placed.add(placement.job_idx)
                found = self._number(line_idx, placement)
                if found is not None:
                    orders[found[0]].append(found[1])
        return self.numbered(orders)

    def second_lot(self, job_idx: int) -> int:
        """The item that a job's second lot is."""
        return len(self.problem.jobs) + list(self.splittable).index(job_idx)

    def item(self, placement: Placement) -> int:
        """What is placed."""
        is_second = placement.lot is not None and placement.lot.first > 0
        return self.second_lot(placement.job_idx) if is_second else placement.job_idx

    def cut(self, placement: Placement) -> int:
        """How its job is cut: 0 where it is whole, else the number of the cut, counted from 1."""
        if placement.lot is None:
            return 0
        return 1 + self.splittable[placement.job_idx].index(placement.lot.first or placement.lot.last)

    def _not_cut_so(self, order: Order) -> set[int]:
        """Jobs that an order splits in a way that the search does not: they are placed whole."""
        lots: dict[int, list[Lot]] = {}
        for placements in order:
            for placement in placements:
                if placement.lot is not None:
                    lots.setdefault(placement.job_idx, []).append(placement.lot)
        return {
            job_idx
            for job_idx, found in lots.items()
            if len(found) != 2 or sorted(found)[1].first not in self.splittable.get(job_idx, ())
        }

    def numbered(self, orders: Sequence[Sequence[int]]) -> Ints:
        """The same of plans by number, line by line."""
        found = np.zeros(len(self.lines) * (1 + self.room), np.int64)
        for line_idx, numbers in enumerate(orders):
            first = len(self.lines) + line_idx * self.room
            found[line_idx] = len(numbers)
            found[first : first + len(numbers)] = numbers
        return found

    def line_numbers(self, numbers: Ints) -> list[Ints]:
        """The plans of every line in an order as the kernels keep it."""
        lines = len(self.lines)
        return [numbers[lines + line_idx * self.room :][: numbers[line_idx]] for line_idx in range(lines)]

    def order(self, numbers: Ints) -> Order:
        """The order behind numbers, started runs before it."""
        return tuple(
            line.placements(on_line)
            for line, on_line in zip(self.lines, self.line_numbers(numbers), strict=True)
        )

    def stock_number(self, stock: Stock | None) -> int:
        """The number of a stock; those that are not followed share the last."""
        return list(self.stocks).index(stock) if stock in self.stocks else len(self.stocks)

    def copy_ranges(self, keys: Iterable[str]) -> dict[str, tuple[int, int]]:
        """The numbers of every tool's copies, where those of these tools are numbered."""
        ranges: dict[str, tuple[int, int]] = {}
        start = 0
        for key in keys:
            ranges[key] = start, start + len(self.begun.copies[key])
            start = ranges[key][1]
        return ranges

    def _number(self, line_idx: int, placement: Placement) -> tuple[int, int] | None:
        """Line and plan of a placement; None for a started run, and where nothing of its job can run."""
        line = self.lines[line_idx]
        if placement in line.numbers_of:
            number = line.numbers_of[placement]
            return None if number in line.started else (line_idx, number)
        item, cut = self.item(placement), self.cut(placement)
        for at in (line_idx, *range(len(self.lines))):
            first, last = self.lines[at].item_plans[item, cut]
            if last > first:
                return at, int(first)
        return None

    def _number_plans(
        self, line_idx: int, started: Sequence[Placement], gone: set[int]
    ) -> tuple[list[RunPlan], Ints, tuple[int, ...]]:
        """Plans of a line, (items, cuts, 2) their ranges, and the numbers of started ones."""
        plans: list[RunPlan] = []
        most_cuts = max(map(len, self.splittable.values()), default=0)
        item_plans = np.zeros((self.items, 1 + most_cuts, 2), np.int64)
        choices: dict[int, tuple[tuple[int, ...], ...]] = {}
        for job_idx in range(len(self.problem.jobs)):
            if job_idx not in gone and self._on_line.get(job_idx, line_idx) == line_idx:
                choices[job_idx] = station_choices(self.problem, line_idx, job_idx)
        for job_idx, seats in choices.items():
            self._add_plans(plans, item_plans[job_idx, 0], line_idx, job_idx, spread(seats, MOST_CHOICES))
        for job_idx, where in self.splittable.items():
            few = spread(choices.get(job_idx, ()), MOST_CHOICES_OF_LOTS)
            total = total_labels(self.problem, job_idx)
            for at, cut in enumerate(where, start=1):
                for item, lot in ((job_idx, Lot(0, cut)), (self.second_lot(job_idx), Lot(cut, total))):
                    self._add_plans(plans, item_plans[item, at], line_idx, job_idx, few, lot)
        plans.extend(self.scheduler.plan(line_idx, placement) for placement in started)
        return plans, item_plans, tuple(range(len(plans) - len(started), len(plans)))

    def _add_plans(
        self,
        plans: list[RunPlan],
        added: Ints,
        line_idx: int,
        job_idx: int,
        seats: Iterable[tuple[int, ...]],
        lot: Lot | None = None,
    ) -> None:
        """Add plans of a job or a lot of it, and note their range."""
        first = len(plans)
        plans.extend(self.scheduler.plan(line_idx, Placement(job_idx, seat, lot)) for seat in seats)
        added[:] = first, len(plans)


def spread(choices: Sequence[tuple[int, ...]], most: int) -> Sequence[tuple[int, ...]]:
    """At most so many of some choices, evenly spread, the first among them."""
    return choices[:: -(-len(choices) // most) or 1]


def _splittable(problem: Problem) -> dict[int, tuple[int, ...]]:
    """The jobs that the search may split, and where.

    Those that another has to wait for, or that wait for another, stay whole.
    """
    bound = {job for lock in problem.locks if isinstance(lock, Before) for job in (lock.job, lock.then)}
    found = {
        job_idx: cuts(problem, job_idx) for job_idx, job in enumerate(problem.jobs) if job.id not in bound
    }
    return {job_idx: where for job_idx, where in found.items() if where}


def compiled_line(problem: Problem, weights: Weights) -> CompiledLine:
    """The one line of a problem.

    Raises
    ------
    ValueError
        Where the plant has several.
    """
    if len(problem.plant.lines) != 1:
        raise ValueError(f"one line is wanted, the plant has {len(problem.plant.lines)}")
    return CompiledPlant(problem, weights).lines[0]


class CompiledLine:
    """One line of a plant as the kernels read it.

    Attributes
    ----------
    plans
        Run plans by the kernels' numbers; those of a job stand together, a started run's is the last.
    item_plans, job_plans
        (items, cuts, 2) the range of plans by how a job is cut, and (jobs, 2) of whole jobs; empty where it
        cannot run or has started.
    started
        The plans that stand before every order: a started run's, or none.
    tables, web
        What the kernels read.
    state, eur
        The line as the plan begins, with a started run placed, and that run's cost.
    """

    def __init__(
        self,
        plant: CompiledPlant,
        line_idx: int,
        plans: list[RunPlan],
        item_plans: Ints,
        started: tuple[int, ...],
        places_from: int,
    ) -> None:
        self.plant = plant
        self.problem, self.scheduler = plant.problem, plant.scheduler
        self.line_idx = line_idx
        self.line = line = self.problem.plant.lines[line_idx]
        self.plans, self.item_plans, self.started = plans, item_plans, started
        self.job_plans = item_plans[: len(self.problem.jobs), 0]
        self.numbers_of = {plan.placement: idx for idx, plan in enumerate(plans)}
        self.places_from = places_from
        shared_places = (place for places in plant.shared.values() for place in places)
        self.slots = Slots(self.problem, line_idx, plans, shared_places)
        self.packing = Packing(self.slots.slots)
        self._shapes = {_present_shape(line): PRESENT_SHAPE}
        self._shape_of = [
            self._shapes.setdefault(_plan_shape(line, plan), len(self._shapes)) for plan in plans
        ]
        self._copies = [copy for key in self.slots.scarce for copy in plant.begun.copies[key]]
        self.web = web_tables(self.problem, plant.weights, line, self.slots, tuple(self._shapes))
        self.eur = sum(event.eur for event in plant.begun.events if event.plan.line_idx == line_idx)
        self.state = self._state(plant.begun)
        self.tables = self._tables()

    def numbers(self, order: Order) -> Ints:
        """The line's plans of an order by number, without a started run.

        Raises
        ------
        ValueError
            Where it has a placement that is not among the choices looked at.
        """
        found: list[int] = []
        for placement in order[self.line_idx]:
            if placement not in self.numbers_of:
                raise ValueError(f"the search does not look at {placement}")
            if self.numbers_of[placement] not in self.started:
                found.append(self.numbers_of[placement])
        return np.array(found, np.int64)

    def placements(self, numbers: Iterable[int]) -> tuple[Placement, ...]:
        """What numbers stand for, a started run before it."""
        return tuple(self.plans[idx].placement for idx in (*self.started, *numbers))

    def order(self, numbers: Iterable[int]) -> Order:
        """The order of a plant that has no other line."""
        return (self.placements(numbers),)

    def _tables(self) -> LineTables:
        slots, line = self.slots, self.line
        ranges = self.plant.copy_ranges(slots.scarce)
        shared_ranges = self.plant.copy_ranges(self.plant.shared)
        tools: list[tuple[int, ...]] = []
        seats: list[tuple[int, ...]] = []
        plans = np.zeros(len(self.plans), PLAN)
        for idx, plan in enumerate(self.plans):
            self._fill_plan(plans[idx], plan, idx)
            plans[idx]["tools_from"] = len(tools)
            tools.extend(_tool_entries(slots, plan, slots.needs[idx], ranges))
            plans[idx]["tools_to"] = len(tools)
            plans[idx]["seats_from"] = len(seats)
            seats.extend(_seat_entries(slots, plan, slots.needs[idx], shared_ranges))
            plans[idx]["seats_to"] = len(seats)
        needs = NeedRows(slots, self.packing, slots.radices(len(self._shapes)))
        row = self._line_row(line)
        stocks, arrivals = _stock_rows(self.plant.stocks.values())
        return LineTables(
            line=row,
            plans=plans,
            fields=self.packing.field_rows(),
            words=self.packing.word_rows(),
            packed=needs.packed(),
            washed=needs.washed(),
            added=needs.added(),
            tools=np.array(tools, TOOL),
            seats=np.array(seats, SEAT),
            uses=used_slots(self),
            used_up_to=self._used_up_to(np.array(tools, TOOL), plans, int(row["in_use_at"][0])),
            wash_codes=needs.wash_codes(),
            resets=self._resets(line),
            closures=np.array(line.calendar.closures, np.int64).reshape(-1, 2),
            stocks=stocks,
            arrivals=arrivals,
            tool_copies=self._tool_copies(),
            shape_stocks=np.array([self.plant.stock_number(shape.stock) for shape in self._shapes], np.int64),
            start=self.state,
        )

    def _resets(self, line: Line) -> Flags:
        """The columns of sets that are empty once the line is cold."""
        resets = np.zeros(self.packing.columns, np.uint8)
        for slot, field in zip(self.slots.slots, self.packing.fields, strict=True):
            if slot.aspect.rule is AspectRule.ADDED:
                resets[field.column] = line.stations[slot.station_idx].is_inkjet
        return resets

    def _fill_plan(self, row: np.void, plan: RunPlan, idx: int) -> None:
        weighing = self.scheduler.weighing
        job_idx, layout = plan.placement.job_idx, plan.layout
        row["item"], row["cut"] = self.plant.item(plan.placement), self.plant.cut(plan.placement)
        row["job"] = job_idx
        row["follows"], row["also_follows"], row["or_follows"] = self._followed(job_idx)
        row["moved_eur"] = weighing.most_moved_eur(job_idx)
        row["join_class"] = 0 if plan.join_class is None else 1 + plan.join_class
        row["shape"] = self._shape_of[idx]
        row["stock"] = self.plant.stock_number(plan.stock)
        row["low_migration"] = plan.job.low_migration
        row["ready_ms"] = max(plan.job.ready_ms, self.scheduler.fixed_start_ms(job_idx))
        row["window_ms"] = plan.job.ready_ms
        row["work_ms"] = plan.work_ms
        row["due_ms"] = NEVER_MS if plan.press_due_ms is None else plan.press_due_ms
        row["own_need_um"] = plan.own_need_um
        um_eur = weighing.um_eur(plan.stock)
        row["um_eur"] = um_eur
        row["run_eur"] = (
            layout.run_ms * weighing.running_eur_per_ms[self.line_idx]
            + (plan.work_ms - layout.run_ms) * weighing.stopped_eur_per_ms[self.line_idx]
            + (plan.own_need_um - layout.web_um) * um_eur
        )
        row["floor_eur"] = weighing.floor_eur(plan)
        row["late_once_eur"], row["late_ms_eur"] = weighing.plan_late_prices(plan)

    def _followed(self, job_idx: int) -> tuple[int, int, int]:
        """The jobs behind which the sequence in force has a job's lots on this line, as many as there may be
        lots.
        """
        followed = self.problem.followed.get((self.line_idx, job_idx))
        if followed is None:
            return NOWHERE, NOWHERE, NOWHERE
        first, *others = sorted(NO_JOB if before is None else before for before in followed)
        second, third = (*others, first, first)[:2]
        return first, second, third

    def _line_row(self, line: Line) -> Rows:
        row = np.zeros(1, LINE)
        row["shapes"] = len(self._shapes)
        row["hold_ms"] = line.hold_ms
        row["cold_after_ms"] = NEVER_MS if line.cold_after_ms is None else line.cold_after_ms
        horizon_ms = line.calendar.horizon_ms
        row["horizon_ms"] = NEVER_MS if horizon_ms is None else horizon_ms
        row["clean_down_in_ms"] = line.clean_down_in_ms
        row["clean_down_out_ms"] = line.clean_down_out_ms
        row["hands_while_running"] = line.hands_while_running
        row["interruption_ms"] = interruption_ms(line, cold=False)
        row["cold_interruption_ms"] = interruption_ms(line, cold=True)
        row["restart_um"] = line.restart_um
        row["start_up_um"] = line.start_up_um
        row["start_up_ms"] = line.start_up_ms
        row["present_cold"] = line.present.cold
        row["present_shape"] = PRESENT_SHAPE
        row["slots_to"] = HEAD + self.packing.empty_column
        row["drawn_at"] = HEAD + self.packing.columns
        row["in_use_at"] = row["drawn_at"] + len(self.plant.stocks) + bool(self.plant.stocks)
        row["places_at"] = row["in_use_at"] + (len(self.slots.slots) if self.slots.scarce else 0)
        row["stored_at"] = row["places_at"] + len(self._copies)
        row["single_copies"] = all(len(self.plant.begun.copies[key]) == 1 for key in self.slots.scarce)
        row["has_begun"] = bool(self.started)
        row["asleep"] = asleep_slots(self)
        row["places_from"] = self.places_from
        row["stopped_ms_eur"] = self.scheduler.weighing.stopped_eur_per_ms[self.line_idx]
        row["start_eur"] = self.eur
        return row

    def _used_up_to(self, tools: Rows, plans: Rows, in_use_at: int) -> Ints:
        """(plans, most) where the state notes until when a plan's scarce tools are in use; filled up with
        the column that nobody reads.
        """
        listed = [
            [
                in_use_at + int(tool["slot"])
                for tool in tools[row["tools_from"] : row["tools_to"]]
                if tool["tool"] >= 0
            ]
            for row in plans
        ]
        found = np.full((len(plans), max(map(len, listed), default=0)), HEAD + self.packing.waste_column)
        for row, places in zip(found, listed, strict=True):
            row[: len(places)] = places
        return found

    def _tool_copies(self) -> Ints:
        slots = self.slots.slots
        values = max((len(slot.numbers) for slot in slots), default=0)
        found = np.zeros((len(slots), values, 2), np.int64)
        ranges = self.plant.copy_ranges(self.slots.scarce)
        for slot_idx in self.slots.scarce_slots:
            for text, number in slots[slot_idx].numbers.items():
                if text:
                    key = tool_key(slots[slot_idx].aspect.name, text)
                    found[slot_idx, number] = ranges.get(key, (0, 0))
        return found

    def _state(self, begun: State) -> Ints:
        """The state row of a line as its plan begins."""
        line, state = self.line, begun.lines[self.line_idx]
        setups = self.scheduler.setups
        holding = self.slots.holding([setups.loaded(number) for number in state.holding])
        places = [self._slot_of(copy) for copy in self._copies]
        in_use_ms = np.zeros(len(holding) if places else 0, np.int64)
        for copy, slot in zip(self._copies, places, strict=True):
            if slot >= 0:
                in_use_ms[slot] = copy.free_ms
        head = np.zeros(HEAD, np.int64)
        head[END] = state.end_ms
        head[PRINT_START] = state.print_start_ms
        head[BEFORE] = self.started[0] if self.started else -1
        head[LOW] = state.clean
        head[CLOSURE] = _ending_after(line, state.end_ms)
        head[PRINT_CLOSURE] = _ending_after(line, state.print_start_ms)
        return np.concatenate(
            [
                head,
                self.packing.state(holding),
                np.zeros(len(self.plant.stocks) + bool(self.plant.stocks), np.int64),
                in_use_ms,
                np.array(places, np.int64),
                np.array([copy.free_ms for copy in self._copies], np.int64),
            ]
        )

    def _slot_of(self, copy: Copy) -> int:
        """The slot that a copy is in; -1 where it is not on this line."""
        if copy.place is None or copy.place[0] != self.line_idx:
            return -1
        return self.slots.at(copy.place)


class NeedRows:
    """What plans need as the kernels read it."""

    def __init__(self, slots: Slots, packing: Packing, radices: Sequence[int]) -> None:
        self._slots = slots
        self._packing = packing
        self._radices = radices
        washed = self._with_rule(AspectRule.WASH_UP)
        self._wash_table = {slot_idx: table for table, slot_idx in enumerate(washed)}

    def packed(self) -> Rows:
        """(plans, words) what plans need in the slots that words pack."""
        rows = np.zeros((len(self._slots.needs), self._packing.words), PACKED_NEED)
        for plan_idx, needs in enumerate(self._slots.needs):
            for need in needs:
                field = self._packing.fields[need.slot]
                if self._packing.packs(need.slot):
                    row = rows[plan_idx, field.column]
                    row["mask"] |= field.mask
                    row["value"] |= need.value << field.shift
                    row["scarce"] |= field.mask if need.slot in self._slots.scarce_slots else 0
        return rows

    def washed(self) -> Rows:
        """(plans, most) the consumables they need."""
        rows = self._listed(AspectRule.WASH_UP, WASH_NEED)
        for slot_idx, table in self._wash_table.items():
            rows["table"][rows["column"] == self._packing.fields[slot_idx].column] = table
        return rows

    def added(self) -> Rows:
        """(plans, most) the sets they need."""
        return self._listed(AspectRule.ADDED, SET_NEED)

    def wash_codes(self) -> Ints:
        """(wash-up slots, from, to) codes of the times."""
        slots = [self._slots.slots[slot_idx] for slot_idx in self._wash_table]
        values = max((len(slot.numbers) for slot in slots), default=0)
        codes = np.zeros((len(slots), values, values), np.int64)
        for table, slot in enumerate(slots):
            for (held, value), code in slot.codes.items():
                codes[table, held, value] = code
        return codes

    def _with_rule(self, rule: AspectRule) -> list[int]:
        return [idx for idx, slot in enumerate(self._slots.slots) if slot.aspect.rule is rule]

    def _listed(self, rule: AspectRule, dtype: np.dtype[np.void]) -> Rows:
        """Lists of one length for all plans, of the slots with a rule."""
        slots = set(self._with_rule(rule))
        listed = [[need for need in needs if need.slot in slots] for needs in self._slots.needs]
        rows = np.zeros((len(listed), max(map(len, listed), default=0)), dtype)
        rows["slot"], rows["column"] = len(self._slots.slots), self._packing.empty_column
        for plan_idx, needs in enumerate(listed):
            for row, need in zip(rows[plan_idx], needs, strict=False):
                row["slot"], row["column"] = need.slot, self._packing.fields[need.slot].column
                row["value"], row["radix"] = need.value, self._radices[need.slot]
        return rows


def _tool_entries(
    slots: Slots, plan: RunPlan, needs: list[Need], ranges: dict[str, tuple[int, int]]
) -> Iterable[tuple[int, ...]]:
    tool_at = _tools_at(slots, plan, ranges)
    numbers = {key: number for number, key in enumerate(ranges)}
    for need in needs:
        if need.slot in slots.scarce_slots:
            key = tool_at.get(need.slot, "")
            copies = ranges.get(key, (0, 0))
            yield numbers.get(key, -1), *copies, need.value, need.slot, slots.slots[need.slot].station_idx


def _seat_entries(
    slots: Slots, plan: RunPlan, needs: list[Need], ranges: dict[str, tuple[int, int]]
) -> Iterable[tuple[int, ...]]:
    tool_at = _tools_at(slots, plan, ranges)
    numbers = {key: number for number, key in enumerate(ranges)}
    for need in needs:
        if need.slot in slots.shared_slots:
            key = tool_at.get(need.slot, "")
            copies = ranges.get(key, (0, 0))
            alone = list(tool_at.values()).count(key) == 1
            yield numbers.get(key, -1), *copies, need.slot, slots.slots[need.slot].station_idx, alone


def _tools_at(slots: Slots, plan: RunPlan, keys: Container[str]) -> dict[int, str]:
    """The slots where a plan needs one of some tools, with that."""
    return {
        slots.at((plan.line_idx, tool.station_idx, tool.aspect_idx)): tool.key
        for tool in plan.tools
        if tool.key in keys
    }


def used_slots(compiled: CompiledLine) -> Ints:
    """(plans,) the slots that each plan looks at, as bits."""
    fixed = {lock.job for lock in compiled.problem.locks if isinstance(lock, FixedStart)}
    fields = compiled.packing.fields
    found = np.zeros(len(compiled.plans), np.int64)
    for idx, plan in enumerate(compiled.plans):
        found[idx] = _bits(fields[need.slot] for need in compiled.slots.needs[idx])
        found[idx] |= ALWAYS if compiled.problem.jobs[plan.placement.job_idx].id in fixed else 0
    return found


def asleep_slots(compiled: CompiledLine) -> int:
    """The slots that are emptied when the line goes cold, as bits."""
    columns = {
        field.column
        for slot, field in zip(compiled.slots.slots, compiled.packing.fields, strict=True)
        if slot.aspect.rule is AspectRule.ADDED and compiled.line.stations[slot.station_idx].is_inkjet
    }
    return _bits(field for field in compiled.packing.fields if field.column in columns)


def _bits(fields: Iterable[Field]) -> int:
    bits = 0
    for field in fields:
        bits |= field.bit
    return bits


def _stock_rows(stocks: Iterable[StockedWidth]) -> tuple[Rows, Rows]:
    rows: list[tuple[int, int, int]] = []
    arrivals: list[tuple[int, int]] = []
    for stocked in stocks:
        first = len(arrivals)
        arrivals.extend((delivery.at_ms, delivery.length_um) for delivery in stocked.deliveries)
        rows.append((stocked.on_hand_um or 0, first, len(arrivals)))
    if rows:
        rows.append((ENDLESS_UM, 0, 0))
    return np.array(rows, STOCK), np.array(arrivals, ARRIVAL)


def _present_shape(line: Line) -> Shape:
    off = frozenset(idx for idx, station in enumerate(line.stations) if station.id in line.present.thrown_off)
    return Shape((), outgoing_stock(line, None), off, present_loaded(line)[SPLICE_TABLE])


def _plan_shape(line: Line, plan: RunPlan) -> Shape:
    off = frozenset(range(len(line.stations))) - set(plan.used)
    return Shape(plan.used, plan.stock, off, threaded_by(line, plan))


def _ending_after(line: Line, at_ms: int) -> int:
    return sum(1 for _, closure_end_ms in line.calendar.closures if closure_end_ms <= at_ms)
