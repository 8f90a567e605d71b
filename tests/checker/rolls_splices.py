"""Where splices and defects lie: what customers take, reel by reel, and what no label may lie on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from solver.problem import Problem
from solver.reels import SpliceRule
from solver.roll_choice import RollChoice
from solver.rolls import FlawKind
from solver.sequence import Piece
from tests.checker.rolls_store import RollStore
from tests.checker.rolls_web import OWN, Laid, RollLedger, StretchWeb, laid_uses, own_web_um, place_at


def ends_of(stretch: StretchWeb, choice: RollChoice, store: RollStore) -> tuple[Laid, ...]:
    """The uses that begin with a roll end: all but the first, and that too if a roll on the unwind has to
    make way for it.
    """
    laid = laid_uses(stretch, choice)
    mounted = [roll.id for roll in store.of_stock(stretch.stock) if store.is_mounted(stretch, roll)]
    goes_on = not mounted or (laid[0].use.roll in mounted and laid[0].use.from_um == 0)
    return laid[1:] if goes_on else laid


def splice_complaints(stretch: StretchWeb, choice: RollChoice, store: RollStore) -> list[str]:
    """No splice, ours or in a roll already, where its job takes none, nor too many in a reel."""
    complaints = []
    in_reels: Counter[tuple[int, str, int]] = Counter()
    for whose, at_um in _splices(stretch, choice, store):
        place = place_at(stretch.line_web, at_um)
        if place.behind is None or not place.is_in_run:
            continue
        run = place.behind.run
        job = stretch.runs[run - 1].job
        where = f"{stretch.line}, run {stretch.runs[run - 1].name}: {whose} at {at_um} µm"
        if job.splice_rule is SpliceRule.NEVER:
            complaints.append(f"{where} lies in a job that takes no splice")
        if not place.is_in_version:
            continue
        if job.splice_rule is SpliceRule.BETWEEN_VERSIONS:
            complaints.append(f"{where} lies in a version, not between two")
        reel = reel_at(store.problem, stretch, place.behind, at_um)
        if reel is not None:
            in_reels[run, place.behind.version or "", reel] += 1
    for (run, version, reel), count in in_reels.items():
        most = stretch.runs[run - 1].job.most_splices_a_reel
        if most is not None and count > most:
            name = stretch.runs[run - 1].name
            complaints.append(
                f"{stretch.line}, run {name}, version {version}: reel {reel + 1} has {count} splices, "
                f"at most {most} are allowed"
            )
    return complaints


def _splices(stretch: StretchWeb, choice: RollChoice, store: RollStore) -> Iterator[tuple[str, int]]:
    """Every splice in a stretch, whose it is and where on the line's web."""
    for laid in ends_of(stretch, choice, store):
        yield f"the splice to roll {laid.use.roll}", laid.from_um
    for laid in laid_uses(stretch, choice):
        for flaw in store.rolls[laid.use.roll].flaws:
            if flaw.kind is FlawKind.SPLICE and laid.use.from_um < flaw.from_um < laid.use.to_um:
                yield f"a splice of roll {laid.use.roll}", laid.on_web(flaw.from_um)


def reel_at(problem: Problem, stretch: StretchWeb, piece: Piece, at_um: int) -> int | None:
    """The number of the customer's reel in which a place of a version lies, counted from 0; None just
    between two, where as many labels as a reel takes have gone by in every lane (to a µm a reel).
    """
    run = stretch.runs[piece.run - 1]
    job, die = run.job, problem.dies[run.job.die]
    if job.labels_per_reel is None:
        return 0
    (version,) = (each for each in run.versions if each.version == piece.version)
    label_um = Fraction(die.repeat_um, die.around) * version.web_um / version.good_um
    done = own_web_um(stretch.line_web, piece.run, at_um, piece.version) / (job.labels_per_reel * label_um)
    nearest = round(done)
    if nearest > 0 and abs(done - nearest) * job.labels_per_reel * label_um <= nearest:
        return None
    return int(done)


def defect_complaints(store: RollStore, rolls: RollLedger) -> list[str]:
    """No label lies on a defect. What inspection rejects counts as sold: where it lies is not settled."""
    return [
        f"roll {roll_id}: its defect from {flaw.from_um} to {flaw.to_um} µm lies under {piece.web.kind} of "
        f"run {piece.web.run} on {piece.web.line}"
        for roll_id, pieces in rolls.items()
        if roll_id in store.rolls
        for flaw in store.rolls[roll_id].flaws
        for piece in pieces
        if flaw.kind is FlawKind.DEFECT
        and piece.web is not None
        and piece.web.kind in OWN
        and piece.from_um < flaw.to_um
        and flaw.from_um < piece.to_um
    ]
