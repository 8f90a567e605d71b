"""The web ledger as people use it: every piece with its roll, its labels and its reels; and the reels.

Metres by kind, run and version are those of `ledger`. There a version's spoilage allowance lies behind all
it sells; here it lies reel by reel, since rejected labels are spread evenly and a reel is wound until it
has its labels. So a piece that is sold has one reel a lane, and the labels of a reel are those of its pieces.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from solver.customer_reels import WoundDoff, wound_doffs
from solver.jobs import Job
from solver.layout import reel_diameter_um
from solver.ledger import web_ledger
from solver.plant import Line
from solver.problem import Problem
from solver.reel_splices import SpliceOrigin, WebSplice, web_splices
from solver.reels import SpliceRule
from solver.roll_ledger import RollPiece, roll_ledger
from solver.roll_plan import RollPlan
from solver.sequence import Piece, PieceKind, Run


@dataclass(frozen=True, slots=True)
class LedgerPiece:
    """A piece of a line's web.

    Parameters
    ----------
    web
        Where it is and what it is.
    roll, roll_from_um
        The roll it comes from, and where on it it begins; None where rolls were not chosen.
    doff
        Which doff of the run's version it is wound on; None where it is not of a version.
    lanes
        Labels side by side, each lane a reel; 0 where it is not of a version.
    labels
        Of all lanes.
    """

    web: Piece
    roll: str | None = None
    roll_from_um: int | None = None
    doff: int | None = None
    lanes: int = 0
    labels: int = 0

    @property
    def roll_to_um(self) -> int | None:
        return None if self.roll_from_um is None else self.roll_from_um + self.web.length_um

    @property
    def reels(self) -> tuple[int, int] | None:
        """Numbers of the first lane's reel and the last's, counted in the run's version."""
        return None if self.doff is None else (reel_number(self.doff, 1, self.lanes), self.doff * self.lanes)


def reel_number(doff: int, lane: int, lanes: int) -> int:
    """A reel's number in the version of a run: by doff, then by lane."""
    return (doff - 1) * lanes + lane


@dataclass(frozen=True, slots=True)
class ReelSplice:
    """A splice in a customer's reel.

    Parameters
    ----------
    at_um
        Where on the line's web.
    wound_um
        Web of the reel that is wound before it, from the core outwards.
    """

    at_um: int
    wound_um: int
    origin: SpliceOrigin
    roll: str | None


@dataclass(frozen=True, slots=True)
class CustomerReel:
    """A finished reel.

    Parameters
    ----------
    run
        Its run's number on the line.
    number
        In the run's version.
    from_um, to_um
        Its first and its last metre on the line's web; what is wasted between is not on it.
    outside_um
        Outside diameter; None where core or thickness are not known. The thickness is the substrate's:
        nothing is known of that of laminates and foils.
    largest_um
        The largest that the customer takes and the line's rewinder holds; None where any will do.
    most_splices
        Splices that it may have; None where nobody counts.
    """

    line: str
    run: int
    job: str
    version: str
    doff: int
    lane: int
    number: int
    labels: int
    from_um: int
    to_um: int
    outside_um: float | None
    largest_um: int | None
    splices: tuple[ReelSplice, ...]
    most_splices: int | None

    @property
    def is_too_large(self) -> bool:
        """Whether it is known to be larger than it may be."""
        return (
            self.outside_um is not None and self.largest_um is not None and self.outside_um > self.largest_um
        )

    @property
    def has_too_many_splices(self) -> bool:
        return self.most_splices is not None and len(self.splices) > self.most_splices


@dataclass(frozen=True, slots=True)
class LineLedger:
    """A line's web from its first metre on, and its reels in the order in which they come off."""

    line: str
    pieces: tuple[LedgerPiece, ...]
    reels: tuple[CustomerReel, ...]


def reel_ledger(problem: Problem, plan: RollPlan) -> tuple[LineLedger, ...]:
    """Every line's ledger. Where the plan has not settled no piece has a roll."""
    rolled: dict[str, list[RollPiece]] = {}
    for pieces in (roll_ledger(problem, plan) if plan.settled else {}).values():
        for piece in pieces:
            if piece.web is not None:
                rolled.setdefault(piece.web.line, []).append(piece)
    return tuple(
        _LineLedger(problem, plan, line_idx).ledger(_with_rolls(pieces, rolled.get(line.line, [])))
        for line_idx, (line, pieces) in enumerate(
            zip(plan.sequence.lines, web_ledger(problem, plan.sequence), strict=True)
        )
    )


def _with_rolls(pieces: Sequence[Piece], rolled: Sequence[RollPiece]) -> Iterator[LedgerPiece]:
    """A line's pieces in order, cut where a roll ends. A stretch is rolled as a whole or not at all."""
    parts = [LedgerPiece(part.web, part.roll, part.from_um) for part in rolled if part.web is not None]
    left = deque(sorted(parts, key=lambda part: part.web.from_um))
    for piece in pieces:
        if not left or left[0].web.from_um >= piece.to_um:
            yield LedgerPiece(piece)
        while left and left[0].web.from_um < piece.to_um:
            yield left.popleft()


@dataclass(frozen=True, slots=True)
class _Wound:
    """Web of one kind on one doff, in µm of its run's web."""

    version: str
    kind: PieceKind
    doff: WoundDoff
    from_um: int
    to_um: int

    def labels_before(self, run_um: int) -> int:
        """Labels of a lane that are done there; rounded down, all of the doff's at its end."""
        if self.kind is not PieceKind.SELLABLE:
            return 0
        return self.doff.labels * (run_um - self.from_um) // (self.to_um - self.from_um)


def _joined(pieces: Iterator[LedgerPiece]) -> Iterator[LedgerPiece]:
    """Pieces of one version's web that follow each other, on one roll too, as one."""
    before: LedgerPiece | None = None
    for piece in pieces:
        if (
            before is not None
            and piece.web.version is not None
            and (before.web.run, before.web.version) == (piece.web.run, piece.web.version)
            and (before.roll, before.roll_to_um) == (piece.roll, piece.roll_from_um)
        ):
            before = replace(before, web=replace(before.web, to_um=piece.web.to_um))
            continue
        if before is not None:
            yield before
        before = piece
    if before is not None:
        yield before


_Laid = tuple[int, LedgerPiece]
"""A piece of a run's web, and how much of that is done before it."""

_OnReels = defaultdict[tuple[str | None, int | None], list[_Laid]]
"""By version and doff."""


class _LineLedger:
    """Makes the ledger of one line."""

    def __init__(self, problem: Problem, plan: RollPlan, line_idx: int) -> None:
        self._problem = problem
        self._line: Line = problem.plant.lines[line_idx]
        self._runs: tuple[Run, ...] = plan.sequence.lines[line_idx].runs
        self._splices = web_splices(plan, line_idx)

    def ledger(self, pieces: Iterator[LedgerPiece]) -> LineLedger:
        wound = [list(self._wound(run)) for run in self._runs]
        done_um = [0] * len(self._runs)
        own: list[_OnReels] = [defaultdict(list) for _ in self._runs]
        cut: list[LedgerPiece] = []
        for piece in _joined(pieces):
            run_idx = piece.web.run - 1
            if piece.web.version is None:
                cut.append(piece)
                continue
            for part in self._cut(piece, wound[run_idx], done_um[run_idx]):
                own[run_idx][part.web.version, part.doff].append((done_um[run_idx], part))
                done_um[run_idx] += part.web.length_um
                cut.append(part)
        reels = (reel for run_idx in range(len(self._runs)) for reel in self._reels(run_idx, own[run_idx]))
        return LineLedger(self._line.id, tuple(cut), tuple(reels))

    def _job(self, run: Run) -> Job:
        return self._problem.jobs[run.job_idx]

    def _lanes(self, run: Run) -> int:
        return self._problem.dies[self._job(run).die].across

    def _wound(self, run: Run) -> Iterator[_Wound]:
        """A run's web, doff by doff: what is sold of it, then its share of the spoilage allowance."""
        job = self._job(run)
        begin_um = 0
        for version in run.versions:
            for doff in wound_doffs(job, self._problem.dies[job.die], version):
                from_um, to_um = begin_um + doff.from_um, begin_um + doff.to_um
                sold_um = from_um + doff.sold_um
                yield _Wound(version.version, PieceKind.SELLABLE, doff, from_um, sold_um)
                if sold_um < to_um:
                    yield _Wound(version.version, PieceKind.SPOILAGE, doff, sold_um, to_um)
            begin_um += version.web_um

    def _cut(self, piece: LedgerPiece, wound: list[_Wound], done_um: int) -> Iterator[LedgerPiece]:
        """A piece of a version's web, of which so much is done in its run, cut where another kind begins."""
        lanes = self._lanes(self._runs[piece.web.run - 1])
        end_um = done_um + piece.web.length_um
        for part in wound:
            from_um, to_um = max(done_um, part.from_um), min(end_um, part.to_um)
            if from_um >= to_um:
                continue
            if part.version != piece.web.version:
                raise ValueError(f"{piece.web.job}: {part.version} lies in the web of {piece.web.version}")
            ahead_um = from_um - done_um
            start_um = piece.web.from_um + ahead_um
            web = replace(piece.web, kind=part.kind, from_um=start_um, to_um=start_um + to_um - from_um)
            yield LedgerPiece(
                web=web,
                roll=piece.roll,
                roll_from_um=None if piece.roll_from_um is None else piece.roll_from_um + ahead_um,
                doff=part.doff.number,
                lanes=lanes,
                labels=lanes * (part.labels_before(to_um) - part.labels_before(from_um)),
            )

    def _reels(self, run_idx: int, pieces: _OnReels) -> Iterator[CustomerReel]:
        """A run's reels, doff by doff, lane by lane."""
        run = self._runs[run_idx]
        job, die = self._job(run), self._problem.dies[self._job(run).die]
        thickness_um = self._problem.substrates[job.substrate].thickness_um
        begin_um = 0
        for version in run.versions:
            for doff in wound_doffs(job, die, version):
                on_it = pieces[version.version, doff.number]
                splices = tuple(self._in_reel(run_idx + 1, begin_um + doff.from_um, on_it))
                for lane in range(1, die.across + 1):
                    yield CustomerReel(
                        line=self._line.id,
                        run=run_idx + 1,
                        job=run.job,
                        version=version.version,
                        doff=doff.number,
                        lane=lane,
                        number=reel_number(doff.number, lane, die.across),
                        labels=doff.labels,
                        from_um=on_it[0][1].web.from_um,
                        to_um=on_it[-1][1].web.to_um,
                        outside_um=reel_diameter_um(self._problem.plant, job, die, thickness_um, doff.labels),
                        largest_um=self._largest_um(job),
                        splices=splices,
                        most_splices=_most_splices(job),
                    )
            begin_um += version.web_um

    def _in_reel(self, number: int, begin_um: int, pieces: list[_Laid]) -> Iterator[ReelSplice]:
        """The splices inside a reel that begins there in its run; one just between two is in neither."""
        end_um = pieces[-1][0] + pieces[-1][1].web.length_um
        for splice in self._splices:
            if splice.run == number and begin_um < splice.after_um < end_um:
                yield _reel_splice(splice, begin_um, pieces)

    def _largest_um(self, job: Job) -> int | None:
        held = (job.largest_reel_um, self._line.max_reel_diameter_um)
        return min((largest_um for largest_um in held if largest_um is not None), default=None)


def _most_splices(job: Job) -> int | None:
    """Splices that a reel of a job may have: none where none may lie inside a version."""
    return job.most_splices_a_reel if job.splice_rule is SpliceRule.ANYWHERE else 0


def _reel_splice(splice: WebSplice, begin_um: int, pieces: list[_Laid]) -> ReelSplice:
    done_um, piece = next(there for there in pieces if splice.after_um <= there[0] + there[1].web.length_um)
    at_um = piece.web.from_um + splice.after_um - done_um
    return ReelSplice(at_um, splice.after_um - begin_um, splice.origin, splice.roll)
