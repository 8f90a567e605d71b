"""A costed sequence in brief, as JSON takes it: numbers of the account, without what takes long to make.

They are those of `sequences` to the last digit: lengths exact to the µm, times and money to a millionth,
totals the sums of the parts shown. They are summed up in whole µm and millionths of a minute.
"""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any, NamedTuple

from app.contracts.base import plain_number
from app.translation.locks import lock_text
from app.translation.sequences import (
    Costed,
    changeover_contract,
    cost_contract,
    interruption_contract,
    lot_contract,
    lots_by_job,
)
from app.translation.times import ClockTexts
from app.translation.units import rounded
from solver.measures import exchange_rate, stops_of
from solver.sequence import LineRuns, Lot, Run, Stock
from solver.setups import outgoing_stock

Json = dict[str, Any]
MILLION = 10**6


def brief_sequence(costed: Costed, *, detail: bool = False) -> str:
    """An order's lines, runs, cost and totals as JSON."""
    return _Brief(costed).told(detail=detail)


def brief_totals(costed: Costed) -> Json:
    """An order's cost and totals, without its runs."""
    brief = _Brief(costed)
    return brief.without_runs(brief.runs())


class RunFigures(NamedTuple):
    """What is told of a run and summed up over runs: millionths of minutes, µm, µm²."""

    late_min6: int
    changeover_min6: int
    run_min6: int
    roll_end_min6: int
    interruption_min6: int
    stops: int
    waste_um: int
    waste_um2: int


class _Brief:
    """Tells one costed sequence."""

    def __init__(self, costed: Costed) -> None:
        self._costed = costed
        self._sequence = costed.sequence
        self._problem = costed.problem
        self._lots = lots_by_job(costed.sequence)
        self._text = ClockTexts(costed.clock).text
        self._quoted: dict[str, str] = {}
        self._listed: dict[tuple[str, ...], str] = {}

    def told(self, *, detail: bool) -> str:
        costed, runs = self._costed, self.runs()
        head = {
            "site": costed.site,
            "zone": costed.clock.zone.key,
            "start": self._text(0),
            "goal": costed.goal.value,
            "by_usual_rolls": self._problem.chosen_rolls is None,
            **self.without_runs(runs),
            "lines": [self._line(line) for line in self._sequence.lines],
        }
        told = ",".join([self._run(run, position, figures, detail) for run, position, figures in runs])
        return f'{json_text(head)[:-1]},"runs":[{told}]}}'

    def without_runs(self, runs: list[tuple[Run, int, RunFigures]]) -> Json:
        sequence = self._sequence
        return {
            "cost": cost_contract(sequence.cost).model_dump(mode="json"),
            "totals": self._totals(runs),
            "left_out": [
                {
                    "job": left_out.job,
                    "lot": self._lot(left_out.job, left_out.lot),
                    "reasons": list(left_out.reasons),
                }
                for left_out in sequence.left_out
            ],
            "broken_locks": [
                lock_text(lock, self._costed.clock)
                for lock in self._problem.locks
                if str(lock) in sequence.broken_locks
            ],
        }

    def runs(self) -> list[tuple[Run, int, RunFigures]]:
        """Every run with its place on its line and its figures."""
        found: list[tuple[Run, int, RunFigures]] = []
        for line in self._sequence.lines:
            stock = outgoing_stock(self._problem.plant.lines[self._problem.line_idx[line.line]], None)
            for position, run in enumerate(line.runs, 1):
                found.append((run, position, _figures(run, stock)))
                stock = run.stock
        return found

    def _run(self, run: Run, position: int, figures: RunFigures, detail: bool) -> str:
        """A run as JSON; written out, since there are many and somebody waits."""
        text, quote = self._text, self._quote
        lot, stations = self._lot(run.job, run.lot), self._listed.get(run.stations)
        if stations is None:
            stations = self._listed[run.stations] = json_text(run.stations)
        late_eur = plain_number(rounded(run.late_eur)) if run.late_eur else 0
        due = "null" if run.press_due_ms is None else f'"{text(run.press_due_ms)}"'
        joined = run.changeover is not None and run.changeover.joined
        return (
            f'{{"job":{quote(run.job)},"lot":{"null" if lot is None else json_text(lot)},'
            f'"line":{quote(run.line)},"position":{position},"stations":{stations},'
            f'"substrate":{quote(run.stock.substrate)},"width_mm":{_number(run.stock.width_um, 1000)},'
            f'"changeover_start":"{text(run.changeover_start_ms)}",'
            f'"print_start":"{text(run.print_start_ms)}","end":"{text(run.end_ms)}","press_due":{due},'
            f'"late_min":{_number(figures.late_min6)},"late_eur":{late_eur},'
            f'"wait_min":{_number(_min6(run.wait_ms))},'
            f'"changeover_min":{_number(figures.changeover_min6)},"run_min":{_number(figures.run_min6)},'
            f'"roll_end_min":{_number(figures.roll_end_min6)},'
            f'"interruption_min":{_number(figures.interruption_min6)},'
            f'"roll_ends":{len(run.roll_ends)},"stops":{figures.stops},'
            f'"web_m":{_number(run.web_um)},"waste_m":{_number(figures.waste_um)},'
            f'"joined":{"true" if joined else "false"},"moved":{"true" if run.moved else "false"}'
            f"{self._detail(run) if detail else ''}}}"
        )

    def _detail(self, run: Run) -> str:
        changeover = changeover_contract(run.changeover) if run.changeover else None
        roll_end = changeover_contract(run.roll_ends[0].changeover) if run.roll_ends else None
        clock = self._costed.clock
        told = {
            "changeover": None if changeover is None else changeover.model_dump(mode="json"),
            "roll_end": None if roll_end is None else roll_end.model_dump(mode="json"),
            "interruptions": [
                interruption_contract(interruption, clock).model_dump(mode="json")
                for interruption in run.interruptions
            ],
        }
        return f",{json_text(told)[1:-1]}"

    def _quote(self, text: str) -> str:
        """A text as JSON has it."""
        quoted = self._quoted.get(text)
        if quoted is None:
            quoted = self._quoted[text] = json_text(text)
        return quoted

    def _line(self, line: LineRuns) -> Json:
        return {
            "line": line.line,
            "runs": len(line.runs),
            "end": self._text(line.runs[-1].end_ms) if line.runs else None,
            "waiting_min": _number(_min6(line.waiting_ms)),
            "clean_down_min": _number(_min6(line.clean_down_ms)),
            "minute_is_worth_m": exchange_rate(self._problem, line, self._costed.weights),
        }

    def _totals(self, runs: list[tuple[Run, int, RunFigures]]) -> Json:
        sequence = self._sequence
        late_min6: dict[str, int] = {}
        for run, _, figures in runs:
            late_min6[run.job] = max(figures.late_min6, late_min6.get(run.job, 0))
        of_all = RunFigures(*map(sum, zip(*(figures for *_, figures in runs), strict=True))) if runs else NONE
        in_force = self._problem.in_force
        return {
            "jobs": len(late_min6),
            "left_out": len(sequence.left_out),
            "waste_m": _number(of_all.waste_um),
            "waste_m2": plain_number(rounded(Fraction(of_all.waste_um2, 10**12))),
            "stops": of_all.stops,
            "changeover_min": _number(of_all.changeover_min6),
            "waiting_min": _number(sum(_min6(line.waiting_ms) for line in sequence.lines)),
            "running_min": _number(of_all.run_min6),
            "roll_end_min": _number(of_all.roll_end_min6),
            "interruption_min": _number(of_all.interruption_min6),
            "clean_down_min": _number(sum(_min6(line.clean_down_ms) for line in sequence.lines)),
            "late_jobs": len({run.job for run, *_ in runs if run.lateness_ms}),
            "lateness_min": _number(sum(late_min6.values())),
            "moved_runs": None if in_force is None else sum(run.moved for run, *_ in runs),
            "makespan_min": _number(_min6(max((run.end_ms for run, *_ in runs), default=0))),
        }

    def _lot(self, job: str, lot: Lot | None) -> Json | None:
        told = lot_contract(self._lots, job, lot)
        return None if told is None else told.model_dump(mode="json")


NONE = RunFigures(0, 0, 0, 0, 0, 0, 0, 0)


def json_text(value: object) -> str:
    """A value as JSON; what has no place there is refused."""
    return _ENCODER.encode(value)


_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _figures(run: Run, outgoing: Stock | None) -> RunFigures:
    """A run's figures behind a stock on the unwind; what nobody knows of it counts as the run's own."""
    changeover = run.changeover
    outgoing_um = changeover.outgoing_waste_um if changeover else 0
    incoming_um = changeover.incoming_waste_um if changeover else 0
    incoming_um += run.roll_end_waste_um + run.interruption_waste_um
    width_um = run.stock.width_um
    stopped = run.interruptions
    return RunFigures(
        _min6(run.lateness_ms),
        _min6(changeover.duration_ms) if changeover else 0,
        _min6(run.run_ms),
        _min6(run.roll_end_ms),
        sum([_min6(interruption.duration_ms) for interruption in stopped]) if stopped else 0,
        stops_of(run),
        outgoing_um + incoming_um,
        outgoing_um * (outgoing.width_um if outgoing else width_um) + incoming_um * width_um,
    )


def _min6(duration_ms: int) -> int:
    """Millionths of a minute, halves up: ms × 10⁶ / 60,000."""
    return (100 * duration_ms + 3) // 6


def _number(count: int, unit: int = MILLION) -> int | float:
    """So many parts of a unit as JSON writes them; the nearest number there is."""
    whole, rest = divmod(count, unit)
    return count / unit if rest else whole
