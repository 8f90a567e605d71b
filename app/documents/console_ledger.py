"""The web ledger on a screen: lines, waste by cause, what became of the rolls, and what is amiss."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from app.contracts.base import ZERO
from app.contracts.roll_use import UsedRoll
from app.contracts.web_ledger import CustomerReel, DeliveredVersion, WebLedger
from app.documents.figures import cents, full_time, tenths
from app.documents.told_missing import missing_text

SHOWN_REELS = 10
"""Reels that are named where something is amiss with them; the rest are counted."""


def ledger_page(ledger: WebLedger) -> Iterator[RenderableType]:
    """A ledger from top to bottom: lines, labels, waste by cause, rolls, what is missing or amiss."""
    yield Text(f"{ledger.site}: web ledger from {full_time(ledger.start)} ({ledger.zone})")
    yield _lines_table(ledger)
    yield Text(_labels_text(ledger.versions))
    yield _waste_table(ledger)
    if ledger.rolls:
        yield _rolls_table(ledger)
    if ledger.unopened:
        length_m = sum((roll.length_m for roll in ledger.unopened), ZERO)
        yield Text(f"Not opened: {_several(len(ledger.unopened), 'roll')}, {tenths(length_m)} m.")
    yield from _remarks(ledger)


def _lines_table(ledger: WebLedger) -> Table:
    table = _table(
        "Lines",
        ("line",),
        ("runs", "web m", "sellable m", "spoilage m", "waste m", "labels", "reels", "with splices", "rolls"),
    )
    for line in ledger.lines:
        table.add_row(
            line.line,
            str(line.runs),
            tenths(line.web_m),
            tenths(line.sellable_m),
            tenths(line.spoilage_m),
            tenths(line.waste_m),
            f"{line.labels:,}",
            f"{line.reels:,}",
            f"{line.spliced_reels:,}",
            str(line.rolls),
        )
    return table


def _labels_text(versions: tuple[DeliveredVersion, ...]) -> str:
    """Labels of all versions, and what those beyond the quantities come from."""
    made = sum(version.made for version in versions)
    causes = {
        "overs asked for": sum(version.overs_asked for version in versions),
        "full reels": sum(version.overs_full_reels for version in versions),
        "whole repeats": sum(version.overs_whole_repeats for version in versions),
    }
    beyond = ", ".join(f"{labels:,} {cause}" for cause, labels in causes.items() if labels)
    text = f"{made:,} labels of {_several(len(versions), 'version')}"
    return f"{text}; beyond the quantities: {beyond}." if beyond else f"{text}."


def _waste_table(ledger: WebLedger) -> Table:
    """By cause and kind, all stocks together."""
    table = _table("Waste by cause", ("cause", "kind"), ("m", "m²", "€"))
    shares: dict[tuple[str, str], tuple[Decimal, Decimal, Decimal]] = {}
    for each in ledger.waste:
        before = shares.get((each.cause, each.kind), (ZERO, ZERO, ZERO))
        own = (each.length_m, each.area_m2, each.eur)
        shares[each.cause, each.kind] = (before[0] + own[0], before[1] + own[1], before[2] + own[2])
    for (cause, kind), (length_m, area_m2, eur) in shares.items():
        table.add_row(cause, kind, tenths(length_m), tenths(area_m2), cents(eur))
    table.add_section()
    table.add_row("web", "without spoilage allowance", "", "", cents(ledger.waste_eur), style="bold")
    table.add_row("rolls", "without running", "", "", cents(ledger.roll_waste_eur), style="bold")
    return table


def _rolls_table(ledger: WebLedger) -> Table:
    """Used rolls with the metres of what became of them."""
    table = _table(
        "Rolls",
        ("roll", "stock", "location", "lines"),
        ("m", "web m", "cut out m", "core tail m", "scrap m", "back in store m"),
    )
    for roll in ledger.rolls:
        table.add_row(
            roll.roll,
            _stock_text(roll),
            roll.location,
            ", ".join(_lines_of(roll)),
            tenths(roll.length_m),
            *(_part_text(roll, part) for part in ("web", "cut out", "core tail", "scrap", "stub")),
        )
    return table


def _stock_text(roll: UsedRoll) -> str:
    slit = "" if roll.slit_to_mm is None else f", slit to {roll.slit_to_mm:f} mm"
    return f"{roll.substrate} {roll.width_mm:f} mm{slit}"


def _lines_of(roll: UsedRoll) -> list[str]:
    return list(dict.fromkeys(part.line for part in roll.parts if part.line is not None))


def _part_text(roll: UsedRoll, part: str) -> str:
    length_m = roll.part_m(part)
    return tenths(length_m) if length_m else ""


def _remarks(ledger: WebLedger) -> Iterator[Text]:
    if not ledger.rolls_settled:
        yield Text(
            "No rolls are told: where they end and the hours that this falls in never agreed.", style="red"
        )
    for short in ledger.missing:
        yield Text(missing_text(short), style="red")
    for version in ledger.versions:
        yield from _version_remarks(version)
    yield from _reel_remarks("larger than they may be", [reel for reel in ledger.reels if reel.too_large])
    yield from _reel_remarks(
        "with more splices than they may have", [reel for reel in ledger.reels if reel.too_many_splices]
    )


def _version_remarks(version: DeliveredVersion) -> Iterator[Text]:
    name = f"{version.job}, version {version.version}"
    if version.short:
        yield Text(
            f"{name}: {version.delivered:,} of {version.quantity:,} labels, the rest is left out", style="red"
        )
    if version.held_back:
        yield Text(f"{name}: held to its maximum, {version.held_back:,} labels fewer.")
    if version.beyond_most:
        yield Text(f"{name}: the last repeat gives {version.beyond_most:,} labels that may not be sent.")


def _reel_remarks(fault: str, reels: list[CustomerReel]) -> Iterator[Text]:
    """All lanes of a doff are alike: they are named once."""
    doffs = list(dict.fromkeys((reel.line, reel.job, reel.version, reel.run, reel.doff) for reel in reels))
    if not doffs:
        return
    named = [f"{job} {version} doff {doff} on {line}" for line, job, version, _, doff in doffs[:SHOWN_REELS]]
    more = len(doffs) - len(named)
    told = "; ".join((*named, *([f"and {_several(more, 'more doff')}"] if more else [])))
    yield Text(f"{_several(len(reels), 'reel')} {fault}: {told}", style="red")


def _several(count: int, noun: str) -> str:
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"


def _table(title: str, names: tuple[str, ...], figures: tuple[str, ...]) -> Table:
    table = Table(title=title, title_justify="left")
    for name in names:
        table.add_column(name, overflow="fold")
    for figure in figures:
        table.add_column(figure.replace(" ", "\n"), justify="right")
    return table
