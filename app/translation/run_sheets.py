"""Run sheets: a costed sequence with its rolls, parted by line and shift."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import accumulate

from app.contracts import run_sheets as contracts
from app.contracts.crew_calls import Call as CallContract
from app.contracts.sequences import Closure
from app.translation.cautions import cautions_of
from app.translation.crew_calls import call_contract
from app.translation.needed_items import Need, needed_by, needs_of_line
from app.translation.roll_picks import LinePicks, Picked, rolls_by_line
from app.translation.sequences import LotsByJob, lot_contract, lots_by_job, task_contract
from app.translation.shifts import Shift, shift_at, shifts_until
from app.translation.station_settings import settings_of_runs
from app.translation.times import PlanClock
from app.translation.units import m_from_um, min_from_ms, mm_from_um
from solver.calls import crew_calls
from solver.crew_call import Call, CallKind
from solver.jobs import Job
from solver.ledger import web_ledger
from solver.line_web import LineWeb
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.roll_plan import RollPlan
from solver.sequence import Interruption, LineRuns, Piece, Run

NO_MARGIN = (
    "How fast this line slows down is not known, so the calls allow nothing for braking: begin to stop by "
    "as much earlier."
)
NOT_SETTLED = (
    "Roll ends and closures could not be brought into agreement: look at the roll on the unwind, it may end "
    "elsewhere than told here."
)
_UNSAFE = {"%": "%25", "/": "%2F"}


def run_sheet_contracts(
    problem: Problem, plan: RollPlan, clock: PlanClock, site: str
) -> tuple[contracts.RunSheet, ...]:
    """The sheets of every line that has runs, in the order of lines and shifts.

    Parameters
    ----------
    problem
        With the roll ends of the plan, as `with_rolls` gives it back.
    site
        What the site is called.
    """
    ledger = web_ledger(problem, plan.sequence)
    calls = [of_line.calls for of_line in crew_calls(problem, plan.sequence, ledger)]
    picks = rolls_by_line(problem, plan, clock, ledger, calls)
    lots = lots_by_job(plan.sequence)
    return tuple(
        sheet
        for line, pieces, own_calls, own_picks in zip(plan.sequence.lines, ledger, calls, picks, strict=True)
        if line.runs
        for sheet in _LineSheets(
            problem, plan, clock, site, line, pieces, own_calls, own_picks, lots
        ).sheets()
    )


def run_code(site: str, line: str, clock: PlanClock, number: int, name: str) -> str:
    """What the code of a run says: five parts between strokes, in letters that every scanner reads alike.

    What a part must not hold is written as %, two or more hexadecimal digits of it in UTF-8 behind.
    """
    start = f"{clock.moment(0):%Y%m%dT%H%M}"
    return "/".join(_plain(part) for part in (site, line, start, str(number), name))


def _plain(part: str) -> str:
    def written(letter: str) -> str:
        if letter.isascii() and letter.isprintable():
            return _UNSAFE.get(letter, letter)
        return "".join(f"%{byte:02X}" for byte in letter.encode("utf-8", "replace"))

    return "".join(map(written, part))


class _LineSheets:
    """The sheets of one line."""

    def __init__(
        self,
        problem: Problem,
        plan: RollPlan,
        clock: PlanClock,
        site: str,
        line_runs: LineRuns,
        pieces: tuple[Piece, ...],
        calls: tuple[Call, ...],
        picks: LinePicks,
        lots: LotsByJob,
    ) -> None:
        self._problem = problem
        self._plan = plan
        self._clock = clock
        self._site = site
        self._line = problem.plant.lines[problem.line_idx[line_runs.line]]
        self._runs = line_runs.runs
        self._web = LineWeb(pieces)
        self._calls = calls
        self._picks = picks
        self._lots = lots
        last_ms = max([run.end_ms for run in self._runs] + [call.expected_ms for call in calls])
        self._shifts = shifts_until(self._line.calendar, last_ms)
        self._call_shifts = [self._shift_of(call) for call in calls]
        self._blocks = _blocks(calls)
        self._worked = {
            shift_idx: numbers
            for shift_idx in range(len(self._shifts))
            if (numbers := self._numbers_in(shift_idx))
        }
        self._settings = tuple(settings_of_runs(problem, self._line, self._runs, calls))
        self._needs = needs_of_line(
            problem, clock, self._line, self._runs, self._settings, picks.picked, calls
        )

    def sheets(self) -> Iterator[contracts.RunSheet]:
        """The sheets of the shifts in which there is something to do."""
        for sheet_number, (shift_idx, numbers) in enumerate(self._worked.items(), start=1):
            yield self._sheet(sheet_number, len(self._worked), shift_idx, numbers)

    def _shift_of(self, call: Call) -> int:
        return shift_at(self._shifts, call.expected_ms, ending=call.kind is CallKind.CLOSURE)

    def _numbers_in(self, shift_idx: int) -> list[int]:
        """The runs of a shift: those worked on in it, and those under which a call of it is told."""
        shift = self._shifts[shift_idx]
        told = {
            block
            for block, of_shift in zip(self._blocks, self._call_shifts, strict=True)
            if of_shift == shift_idx
        }
        return [
            number
            for number, run in enumerate(self._runs, start=1)
            if number in told or shift.overlaps(run.changeover_start_ms, run.end_ms)
        ]

    def _sheet(self, number: int, sheets: int, shift_idx: int, numbers: list[int]) -> contracts.RunSheet:
        shift = self._shifts[shift_idx]
        runs = tuple(self._run(run_number, shift_idx) for run_number in numbers)
        picked = [there for there in self._picks.picked if self._at(there.needed_ms) == shift_idx]
        first = numbers[0]
        deceleration_um_s2 = self._line.deceleration_um_s2
        return contracts.RunSheet(
            site=self._site,
            zone=self._clock.zone.key,
            line=self._line.id,
            plan_from=self._clock.moment(0),
            number=number,
            sheets=sheets,
            shift=self._shift(shift),
            hands=self._line.hands,
            counter_m=m_from_um(self._line.counter_x_um),
            deceleration_m_s2=None if deceleration_um_s2 is None else m_from_um(deceleration_um_s2),
            goes_on_from_m=self._goes_on_from_m(shift_idx),
            on_unwind=self._on_unwind(shift_idx),
            cautions=cautions_of(runs),
            remarks=tuple(self._remarks(picked)),
            runs=runs,
            rolls=tuple(there.pick for there in picked if isinstance(there.pick, contracts.RollPick)),
            stocks=tuple(there.pick for there in picked if isinstance(there.pick, contracts.StockPick)),
            needed_by=needed_by([need for need in self._needs if self._at(need.by_ms) == shift_idx]),
            before_first=None if runs[0].begun_before else self._pre_stage(first),
        )

    def _at(self, at_ms: int) -> int:
        """The shift on whose sheet something is told: its own, or the next in which there is work."""
        own = shift_at(self._shifts, at_ms)
        return next((shift_idx for shift_idx in self._worked if shift_idx >= own), max(self._worked))

    def _shift(self, shift: Shift) -> contracts.Shift:
        moment = self._clock.moment
        return contracts.Shift(
            begins=moment(shift.from_ms),
            ends=None if shift.to_ms is None else moment(shift.to_ms),
            breaks=tuple(
                Closure(closed_from=moment(closed_ms), closed_to=moment(open_ms))
                for closed_ms, open_ms in shift.breaks
            ),
        )

    def _goes_on_from_m(self, shift_idx: int) -> Decimal | None:
        """What the counter showed when the closure before a shift interrupted the line."""
        for call in self._calls:
            about = call.about
            if isinstance(about, Interruption) and about.closure_end_ms == self._shifts[shift_idx].from_ms:
                return m_from_um(call.reading_um)
        return None

    def _on_unwind(self, shift_idx: int) -> contracts.RollPick | None:
        """The roll that went on last before a shift."""
        before = [there.pick for there in self._picks.picked if self._at(there.needed_ms) < shift_idx]
        last = before[-1] if before else None
        return last if isinstance(last, contracts.RollPick) else None

    def _remarks(self, picked: Sequence[Picked]) -> Iterator[str]:
        for there in picked:
            if isinstance(there.pick, contracts.StockPick) and there.pick.missing_m:
                pick = there.pick
                yield (
                    f"{pick.substrate} {pick.width_mm:f} mm: the rolls lack {pick.missing_m:.1f} m, "
                    f"first for {pick.missing_job}."
                )
        if not self._plan.settled:
            yield NOT_SETTLED
        if self._line.deceleration_um_s2 is None:
            yield NO_MARGIN

    def _run(self, number: int, shift_idx: int) -> contracts.SheetRun:
        run = self._runs[number - 1]
        job = self._problem.jobs[run.job_idx]
        lot = lot_contract(self._lots, run.job, run.lot)
        changeover, settings, moment = run.changeover, self._settings[number - 1], self._clock.moment
        shift = self._shifts[shift_idx]
        begun_ms = run.print_start_ms if changeover is None else run.changeover_start_ms
        return contracts.SheetRun(
            number=number,
            job=run.job,
            lot=lot,
            customer=job.customer,
            code=run_code(
                self._site,
                self._line.id,
                self._clock,
                number,
                f"{run.job}, {lot.name}" if lot else run.job,
            ),
            substrate=run.stock.substrate,
            width_mm=mm_from_um(run.stock.width_um),
            die=job.die,
            across=self._problem.dies[job.die].across,
            speed_m_min=m_from_um(run.speed_um_min),
            changeover_start=moment(run.changeover_start_ms),
            changeover_min=min_from_ms(changeover.duration_ms if changeover else 0),
            changeover_m=m_from_um(changeover.waste_um if changeover else 0),
            print_start=moment(run.print_start_ms),
            end=moment(run.end_ms),
            press_due=None if run.press_due_ms is None else moment(run.press_due_ms),
            late_min=min_from_ms(run.lateness_ms),
            begun_before=begun_ms < shift.from_ms,
            goes_on=shift.to_ms is not None and run.end_ms > shift.to_ms,
            joined=changeover is not None and changeover.joined,
            versions=tuple(self._versions(number, run)),
            reels=_reels(job),
            stations=settings.used,
            idle=settings.idle,
            calls=tuple(self._run_calls(number, shift_idx)),
            pre_stage=self._pre_stage(number + 1) if number < len(self._runs) else None,
        )

    def _versions(self, number: int, run: Run) -> Iterator[contracts.SheetVersion]:
        webs = {web.version: web for web in self._web.versions if web.run == number}
        for version in run.versions:
            web = webs[version.version]
            yield contracts.SheetVersion(
                version=version.version,
                quantity=version.quantity,
                target=version.target,
                labels=version.labels,
                reels=version.reels,
                good_m=m_from_um(version.good_um),
                web_m=m_from_um(version.web_um),
                from_reading_m=m_from_um(web.from_um),
                to_reading_m=m_from_um(web.to_um),
            )

    def _run_calls(self, number: int, shift_idx: int) -> Iterator[CallContract]:
        for call, block, of_shift in zip(self._calls, self._blocks, self._call_shifts, strict=True):
            if (block, of_shift) == (number, shift_idx):
                yield call_contract(call, self._clock, self._picks.next_rolls.get(call.number))

    def _pre_stage(self, number: int) -> contracts.PreStage:
        run = self._runs[number - 1]
        hidden = run.changeover.hidden if run.changeover else ()
        return contracts.PreStage(
            run=number,
            job=run.job,
            set_now=tuple(task_contract(task) for task in hidden),
            bring=tuple(need.item for need in self._needs if _is_staged(need, number)),
        )


def _is_staged(need: Need, number: int) -> bool:
    """Whether something has to be there before a run begins."""
    return need.run == number and not need.inside


def _blocks(calls: Sequence[Call]) -> list[int]:
    """Under which run every call is told: the furthest that has been called so far.

    So the calls stay in the order of the counter where stops of two changeovers interleave.
    """
    return list(accumulate((call.run for call in calls), max))


_SPLICES = {
    SpliceRule.ANYWHERE: "a splice may lie anywhere",
    SpliceRule.BETWEEN_VERSIONS: "splices between versions only",
    SpliceRule.NEVER: "no splice in the job's web",
}


def _reels(job: Job) -> contracts.Reels:
    splices = _SPLICES[job.splice_rule]
    if job.most_splices_a_reel is not None and job.splice_rule is not SpliceRule.NEVER:
        splices += f", at most {job.most_splices_a_reel} a reel"
    winding = job.winding
    return contracts.Reels(
        labels=job.labels_per_reel,
        core_mm=None if job.core_um is None else mm_from_um(job.core_um),
        largest_mm=None if job.largest_reel_um is None else mm_from_um(job.largest_reel_um),
        winding=None
        if winding is None
        else f"print {'outwards' if winding.outwards else 'inwards'}, {winding.leading_edge.value} first",
        splices=splices,
    )
