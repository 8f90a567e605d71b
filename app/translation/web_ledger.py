"""The web ledger with its rolls, reels and labels as a contract."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from app.contracts import web_ledger as contracts
from app.contracts.base import ZERO
from app.translation.roll_use import missing_stock, unopened_rolls, used_rolls
from app.translation.sequences import piece_contract
from app.translation.times import PlanClock
from app.translation.units import m_from_um, mm_from_um, rounded
from solver.delivered import DeliveredVersion, delivered_versions
from solver.problem import Problem
from solver.reel_ledger import CustomerReel, LedgerPiece, LineLedger, ReelSplice, reel_ledger
from solver.roll_plan import RollPlan
from solver.sequence import LineRuns, PieceKind
from solver.waste_by_cause import CausedWaste, waste_by_cause


def web_ledger_contract(problem: Problem, plan: RollPlan, clock: PlanClock, site: str) -> contracts.WebLedger:
    """What every metre of a plan's web and rolls became.

    Parameters
    ----------
    problem
        With the roll ends of the plan, as `with_rolls` gives both.
    site
        Its name.
    """
    ledgers = reel_ledger(problem, plan)
    waste = waste_by_cause(problem, plan)
    shares = tuple(_waste(each) for each in waste)
    told = tuple(zip(waste, shares, strict=True))
    return contracts.WebLedger(
        site=site,
        zone=clock.zone.key,
        start=clock.moment(0),
        rolls_settled=plan.settled,
        lines=tuple(map(_line, plan.sequence.lines, ledgers)),
        pieces=tuple(_piece(piece) for ledger in ledgers for piece in ledger.pieces),
        reels=tuple(_reel(reel) for ledger in ledgers for reel in ledger.reels),
        versions=tuple(_version(version) for version in delivered_versions(problem, plan.sequence)),
        waste=shares,
        waste_eur=_sum(share.eur for each, share in told if not (each.is_spoilage or each.is_of_rolls)),
        roll_waste_eur=_sum(share.eur for each, share in told if each.is_of_rolls),
        rolls=tuple(used_rolls(problem, plan)),
        unopened=tuple(unopened_rolls(problem, plan, clock)),
        missing=missing_stock(problem, plan, clock),
    )


def _sum(parts: Iterable[Decimal]) -> Decimal:
    return sum(parts, ZERO)


def _line(line: LineRuns, ledger: LineLedger) -> contracts.LineTotals:
    by_kind = {PieceKind.SELLABLE: 0, PieceKind.SPOILAGE: 0}
    web_um = 0
    for piece in ledger.pieces:
        web_um += piece.web.length_um
        if piece.web.kind in by_kind:
            by_kind[piece.web.kind] += piece.web.length_um
    return contracts.LineTotals(
        line=line.line,
        runs=len(line.runs),
        web_m=m_from_um(web_um),
        sellable_m=m_from_um(by_kind[PieceKind.SELLABLE]),
        spoilage_m=m_from_um(by_kind[PieceKind.SPOILAGE]),
        waste_m=m_from_um(web_um - sum(by_kind.values())),
        labels=sum(piece.labels for piece in ledger.pieces),
        reels=len(ledger.reels),
        spliced_reels=sum(bool(reel.splices) for reel in ledger.reels),
        rolls=len({piece.roll for piece in ledger.pieces} - {None}),
    )


def _piece(piece: LedgerPiece) -> contracts.RolledPiece:
    first_reel, last_reel = piece.reels or (None, None)
    return contracts.RolledPiece(
        **dict(piece_contract(piece.web)),
        roll=piece.roll,
        roll_from_m=None if piece.roll_from_um is None else m_from_um(piece.roll_from_um),
        roll_to_m=None if piece.roll_to_um is None else m_from_um(piece.roll_to_um),
        labels=piece.labels,
        lanes=piece.lanes,
        first_reel=first_reel,
        last_reel=last_reel,
    )


def _reel(reel: CustomerReel) -> contracts.CustomerReel:
    return contracts.CustomerReel(
        line=reel.line,
        run=reel.run,
        job=reel.job,
        version=reel.version,
        doff=reel.doff,
        lane=reel.lane,
        number=reel.number,
        labels=reel.labels,
        from_m=m_from_um(reel.from_um),
        to_m=m_from_um(reel.to_um),
        diameter_mm=None if reel.outside_um is None else mm_from_um(round(reel.outside_um)),
        largest_mm=None if reel.largest_um is None else mm_from_um(reel.largest_um),
        too_large=reel.is_too_large,
        splices=tuple(_splice(splice) for splice in reel.splices),
        most_splices=reel.most_splices,
        too_many_splices=reel.has_too_many_splices,
    )


def _splice(splice: ReelSplice) -> contracts.ReelSplice:
    return contracts.ReelSplice(
        at_m=m_from_um(splice.at_um),
        wound_m=m_from_um(splice.wound_um),
        origin=splice.origin.value,
        roll=splice.roll,
    )


def _version(version: DeliveredVersion) -> contracts.DeliveredVersion:
    return contracts.DeliveredVersion(
        job=version.job,
        version=version.version,
        quantity=version.quantity,
        most=version.most,
        target=version.target,
        made=version.made,
        delivered=version.delivered,
        overs_asked=version.overs_asked,
        overs_full_reels=version.overs_full_reels,
        overs_whole_repeats=version.overs_whole_repeats,
        held_back=version.held_back,
        beyond_most=version.beyond_most,
        left_out=version.left_out,
        short=version.is_short,
    )


def _waste(waste: CausedWaste) -> contracts.CausedWaste:
    return contracts.CausedWaste(
        cause=waste.cause,
        kind=waste.kind,
        substrate=waste.stock.substrate,
        width_mm=mm_from_um(waste.stock.width_um),
        length_m=m_from_um(waste.length_um),
        area_m2=rounded(waste.area_m2),
        eur=rounded(waste.eur),
    )
