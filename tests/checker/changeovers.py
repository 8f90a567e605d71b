"""The changeover into a run, and the roll end inside it, from the state the line stands in."""

from __future__ import annotations

from fractions import Fraction

from solver.plant import Line
from solver.sequence import Mode, Placement, Stock, Task
from tests.checker.expected import ExpectedChangeover
from tests.checker.geometry import Outcome, WebCase, cheapest
from tests.checker.joining import may_run_as_one
from tests.checker.open_time import is_cold_after, open_between
from tests.checker.prices import split_prices
from tests.checker.quantities import used_stations
from tests.checker.state import Next, Replay
from tests.checker.tooling import (
    SPLICE_TABLE,
    has_aspect,
    needed_channels,
    roll_end_task,
    station_changes,
    task_of,
    unwind_loaded,
)


def changeover_at(play: Replay, head: Next, wait_ms: int) -> ExpectedChangeover:
    """The changeover into a run after a wait: held, run out or cold, with the split that costs least."""
    state, line = head.state, head.line
    first = state.last is None
    cold = is_cold_after(line, wait_ms) or (first and line.present.cold)
    run_out = first or wait_ms > line.hold_ms
    tasks = tasks_before(play, head, {} if cold else state.awake)
    hidden = () if run_out else hidden_tasks(head, tasks)
    reengaged = reengaged_stations(head)
    clean_down_ms = clean_down(head)
    untouched = not (run_out or cold or tasks or reengaged or clean_down_ms)
    joined = untouched and wait_ms == 0 and may_run_as_one(head)
    job_change_ms = 0 if joined else line.job_change_ms
    fixed_ms = job_change_ms + clean_down_ms + (line.start_up_ms if cold else 0)
    case = WebCase(
        line=line,
        used=head.used,
        stopped=tuple(task for task in tasks if task not in hidden),
        register_um=registers(line, tasks, reengaged),
        spliced=state.unwind is not None and state.unwind != head.stock,
        settles=state.unwind is not None and state.unwind.substrate != head.stock.substrate,
        run_out=run_out,
        least_strip_um=0 if joined else line.job_change_um,
        jets_before_um=() if state.last is None else jets(line, state.last.placement),
        jets_after_um=jets(line, head.placement),
        start_up_um=line.start_up_um if cold else 0,
        fixed_ms=fixed_ms,
    )
    return ExpectedChangeover(
        mode=Mode.RUN_OUT if run_out else Mode.HELD,
        cold=cold,
        outcome=_cheapest(play, head, case, state.unwind),
        hidden=hidden,
        reengaged=tuple(line.stations[station_idx].id for station_idx in reengaged),
        clean_down_ms=clean_down_ms,
        joined=joined,
    )


def roll_end_changeover(play: Replay, head: Next) -> ExpectedChangeover:
    """A roll end inside a run: the splice alone, without job change, settle and re-engaging."""
    line = head.line
    task = roll_end_task(line, head.stock)
    case = WebCase(
        line=line,
        used=head.used,
        stopped=() if task is None else (task,),
        register_um=registers(line, () if task is None else (task,), ()),
        spliced=True,
        jets_before_um=jets(line, head.placement),
        jets_after_um=jets(line, head.placement),
    )
    return ExpectedChangeover(Mode.HELD, False, _cheapest(play, head, case, head.stock))


def strip_end_changeover(play: Replay, head: Next) -> ExpectedChangeover:
    """A roll end on a set-up strip: its web is waste anyhow, so nothing is registered or spoiled for it."""
    task = roll_end_task(head.line, head.stock)
    case = WebCase(
        line=head.line,
        used=(),
        stopped=() if task is None else (task,),
        register_um={},
        spliced=True,
        jets_before_um=(),
        jets_after_um=(),
    )
    return ExpectedChangeover(Mode.HELD, False, _cheapest(play, head, case, head.stock))


def _cheapest(play: Replay, head: Next, case: WebCase, outgoing: Stock | None) -> Outcome:
    return cheapest(case, split_prices(play.problem, play.weights, head.line, outgoing, head.stock))


def jets(line: Line, placement: Placement) -> tuple[int, ...]:
    """Positions of the inkjets that a run uses."""
    return tuple(
        line.stations[station_idx].x_um
        for station_idx in used_stations(line, placement.stations)
        if has_aspect(line.stations[station_idx], "channels")
    )


def tasks_before(play: Replay, head: Next, awake: dict[int, frozenset[str]]) -> tuple[Task, ...]:
    """Every task of a changeover, in web order."""
    channels = needed_channels(head.job, head.placement.stations)
    tasks = []
    for station_idx in head.used:
        loaded = play.floor.loaded[head.state.line_idx, station_idx]
        if station_idx == SPLICE_TABLE:
            if head.state.unwind is None:
                continue
            loaded = loaded | unwind_loaded(head.state.unwind)
        changes = station_changes(
            play.problem,
            head.line.stations[station_idx],
            loaded,
            head.needs[station_idx],
            channels.get(station_idx, frozenset()),
            awake.get(station_idx, frozenset()),
        )
        task = task_of(head.line, station_idx, changes)
        tasks += [] if task is None else [task]
    return tuple(tasks)


def reengaged_stations(head: Next) -> tuple[int, ...]:
    """Stations the run uses and the run before did not; at first, those thrown off at present.

    One that comes back without a metre is not worth a word.
    """
    coming = [k for k in head.used if head.line.stations[k].reengage_um > 0]
    if head.state.last is None:
        return tuple(k for k in coming if head.line.stations[k].id in head.state.thrown_off)
    before = used_stations(head.line, head.state.last.placement.stations)
    return tuple(k for k in coming if k not in before)


def registers(line: Line, tasks: tuple[Task, ...], reengaged: tuple[int, ...]) -> dict[int, int]:
    """Web to register by station: of its task, or of coming back if that is more."""
    register_um = {task.station_idx: task.register_um for task in tasks}
    for station_idx in reengaged:
        register_um[station_idx] = max(
            register_um.get(station_idx, 0), line.stations[station_idx].reengage_um
        )
    return register_um


def hidden_tasks(head: Next, tasks: tuple[Task, ...]) -> tuple[Task, ...]:
    """Tasks done while the run before runs: longest first, as long as hands and window allow."""
    last, line = head.state.last, head.line
    if last is None or line.hands_while_running == 0:
        return ()
    opens_ms = max(last.print_start_ms, head.job.ready_ms)
    window_ms = open_between(line.calendar, opens_ms, last.end_ms)
    used_before = used_stations(line, last.placement.stations)
    in_use = {source.need.station_idx for source in head.sources if source.free_ms > opens_ms}
    candidates = [
        task
        for task in tasks
        if task.station_idx != SPLICE_TABLE
        and line.stations[task.station_idx].guarded
        and task.station_idx not in used_before
        and task.station_idx not in in_use
    ]
    hidden: list[Task] = []
    hidden_ms = Fraction(0)
    for task in sorted(candidates, key=lambda task: (-task.duration_ms, task.x_um, task.station_idx)):
        fits = hidden_ms + task.duration_ms <= line.hands_while_running * window_ms
        if fits and task.duration_ms <= window_ms:
            hidden.append(task)
            hidden_ms += task.duration_ms
    return tuple(sorted(hidden, key=lambda task: task.station_idx))


def clean_down(head: Next) -> int:
    """Cleaning before the first and after the last of a row of low-migration jobs."""
    last, line = head.state.last, head.line
    clean = line.present.low_migration if last is None else last.job.low_migration
    if head.job.low_migration and not clean:
        return line.clean_down_in_ms
    if last is not None and last.job.low_migration and not head.job.low_migration:
        return line.clean_down_out_ms
    return 0
