"""Alternatives as contracts, each with what it trades against the recommended sequence in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from app.contracts import sequences as contracts
from app.translation.sequences import Costed, sequence_contract
from app.translation.units import MS_PER_MIN, UM_PER_M
from solver.sequence import Sequence as SolverSequence
from solver.trade_offs import Objectives, noticed, objectives_of


def alternative_contracts(
    recommended: Costed, others: Sequence[Costed]
) -> tuple[contracts.SequenceAlternative, ...]:
    """Alternatives by number, in their order."""
    return tuple(
        contracts.SequenceAlternative(
            name=f"alternative {number}",
            trade=Trade.between(recommended.sequence, other.sequence).text,
            sequence=sequence_contract(other),
        )
        for number, other in enumerate(others, start=1)
    )


@dataclass(frozen=True, slots=True)
class Trade:
    """What a sequence is chosen by beside the recommended one, and how many jobs and euro more it takes.

    Parameters
    ----------
    late_jobs, total_eur, moved_runs
        How much larger they are than those of the recommended sequence; below 0 smaller.
    """

    recommended: Objectives
    other: Objectives
    late_jobs: int
    total_eur: Fraction
    moved_runs: int = 0

    @classmethod
    def between(cls, recommended: SolverSequence, other: SolverSequence) -> Trade:
        return cls(
            objectives_of(recommended),
            objectives_of(other),
            _late_jobs(other) - _late_jobs(recommended),
            other.cost.total_eur - recommended.cost.total_eur,
            _moved_runs(other) - _moved_runs(recommended),
        )

    @property
    def text(self) -> str:
        """What is saved, what that takes, and what it costs in all.

        Differences that nobody would care about are not told, unless they are all that it takes. Running
        time and the prices of stocks are in the cost alone.
        """
        saved = [f"{_whole(-amount)} {unit}" for amount, unit, _ in self._noticed if amount < 0]
        taken = [f"{_whole(amount)} {more}" for amount, _, more in self._noticed if amount > 0]
        taken = taken or list(self._slightly_taken())
        traded = f"Saves {_listed(saved)}" + (f" for {_listed(taken)}" if taken else "")
        beside = [told for told in (self._late_jobs_text, self._moved_runs_text) if told]
        traded += f" ({', '.join(beside)})" if beside else ""
        return f"{traded}; {self._cost_text(bool(taken))}."

    @property
    def _noticed(self) -> list[tuple[Fraction, str, str]]:
        return _told(*noticed(self.other, self.recommended))

    def _slightly_taken(self) -> Iterator[str]:
        ours, theirs = self.other, self.recommended
        differences = _told(
            ours.waste_um - theirs.waste_um,
            ours.stopped_ms - theirs.stopped_ms,
            ours.late_eur - theirs.late_eur,
        )
        for amount, _, more in differences:
            if round(amount, 1) > 0:
                yield f"{float(round(amount, 1))} {more}"

    @property
    def _late_jobs_text(self) -> str:
        if not self.late_jobs:
            return ""
        side, jobs = "more" if self.late_jobs > 0 else "fewer", abs(self.late_jobs)
        return f"{jobs} {side} late {'job' if jobs == 1 else 'jobs'}"

    @property
    def _moved_runs_text(self) -> str:
        if not self.moved_runs:
            return ""
        side, runs = "more" if self.moved_runs > 0 else "fewer", abs(self.moved_runs)
        return f"{runs} {side} moved {'run' if runs == 1 else 'runs'}"

    def _cost_text(self, takes_something: bool) -> str:
        amount = _whole(abs(self.total_eur))
        if amount == "0":
            return "the same cost in all"
        if self.total_eur < 0:
            return f"{amount} € cheaper in all"
        moved = ", moved runs" if self.moved_runs else ""
        why = "" if takes_something else f", by running time{moved}, line rates or stock prices"
        return f"{amount} € dearer in all{why}"


def _told(
    waste_um: int | Fraction, stopped_ms: int | Fraction, late_eur: int | Fraction
) -> list[tuple[Fraction, str, str]]:
    """Amounts with their words, where there is less and where there is more."""
    return [
        (Fraction(waste_um) / UM_PER_M, "m of web", "more metres of web"),
        (Fraction(stopped_ms) / MS_PER_MIN, "minutes", "more minutes"),
        (Fraction(late_eur), "€ of late cost", "€ more late cost"),
    ]


def _late_jobs(sequence: SolverSequence) -> int:
    return sum(run.lateness_ms > 0 for run in sequence.runs)


def _moved_runs(sequence: SolverSequence) -> int:
    return sum(run.moved for run in sequence.runs)


def _whole(amount: Fraction) -> str:
    return f"{(amount + Fraction(1, 2)).__floor__():,}"


def _listed(texts: Iterable[str]) -> str:
    *before, last = texts
    return f"{', '.join(before)} and {last}" if before else last
