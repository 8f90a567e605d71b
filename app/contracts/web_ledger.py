"""The web ledger with rolls: what every metre of every roll became, with labels, lanes and reels.

Lengths in m are exact to the µm; money is rounded to 10⁻⁶, and a total is the sum of the parts shown here.
"""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from app.contracts.base import Contract, Number
from app.contracts.roll_use import MissingStock, UnopenedRoll, UsedRoll
from app.contracts.sequences import Piece, WasteShare


class RolledPiece(Piece):
    """A piece of a line's web and of the roll it comes from.

    Inside a version a piece lies in one reel of every lane. What is sold of a reel comes first, its share of
    the spoilage allowance behind it: rejected labels are spread evenly.
    """

    roll: str | None = Field(description="Its roll; none: its stock is not followed by roll, or short.")
    roll_from_m: Number | None = Field(description="Where on the roll it begins, from the first to unwind.")
    roll_to_m: Number | None = Field(description="Where on the roll it ends.")
    labels: int = Field(description="Sold of it, all lanes together.")
    lanes: int = Field(description="Labels side by side, each lane a reel; 0: not inside a version.")
    first_reel: int | None = Field(
        description="Number of the first lane's reel, in the run's version; the others follow. None: on none."
    )
    last_reel: int | None = Field(description="Number of the last lane's reel.")


class ReelSplice(Contract):
    """A splice in a customer's reel."""

    at_m: Number = Field(description="Where on the line's web.")
    wound_m: Number = Field(description="Web of the reel that is wound before it, from the core outwards.")
    origin: str = Field(
        description="roll end; usual roll end: taken to lie there, the stock not being followed by roll; or "
        "flagged on the roll."
    )
    roll: str | None = Field(description="The roll that begins there, or that it is flagged on.")


class CustomerReel(Contract):
    """A finished reel."""

    line: str = Field(description="The line.")
    run: int = Field(description="Its job's run on the line, counted from 1.")
    job: str = Field(description="Its job.")
    version: str = Field(description="Its version.")
    doff: int = Field(description="With which doff of the run's version it comes off.")
    lane: int = Field(description="Its lane, counted from 1.")
    number: int = Field(description="Its number in the run's version, by doff, then by lane.")
    labels: int = Field(description="Labels on it.")
    from_m: Number = Field(description="Its first metre on the line's web.")
    to_m: Number = Field(description="Its last; what is wasted between is not on it.")
    diameter_mm: Number | None = Field(
        description="Outside diameter by the thickness of the label stock, to the µm; foils and laminates "
        "add to it. None: core or thickness is not known."
    )
    largest_mm: Number | None = Field(
        description="The largest that the customer takes and the rewinder holds; none: any will do."
    )
    too_large: bool = Field(description="Whether it is known to be larger than that.")
    splices: tuple[ReelSplice, ...] = Field(description="Splices in it, from the core outwards.")
    most_splices: int | None = Field(description="Splices that it may have; none: nobody counts.")
    too_many_splices: bool = Field(description="Whether it has more.")


class DeliveredVersion(Contract):
    """Labels of a version, all lots of its job together.

    made = quantity + the three kinds of overs − labels left out.
    """

    job: str = Field(description="Its job.")
    version: str = Field(description="Its name.")
    quantity: int = Field(description="Labels ordered, and the least that is delivered.")
    most: int | None = Field(description="The most that may be sent; none: nobody has said.")
    target: int = Field(description="Labels wanted with overs and full reels, held to the most.")
    made: int = Field(description="Labels that whole repeats give.")
    delivered: int = Field(description="Of them what may be sent.")
    overs_asked: int = Field(description="Labels beyond the quantity because overs are asked for.")
    overs_full_reels: int = Field(description="Because every lane gets full reels.")
    overs_whole_repeats: int = Field(description="Because the die makes whole repeats.")
    held_back: int = Field(description="Labels of overs or full reels not made: the most won over them.")
    beyond_most: int = Field(description="Labels of the last repeat that may not be sent.")
    left_out: int = Field(description="Labels of the target in lots that are left out.")
    short: bool = Field(description="Whether less than the quantity is delivered: lots are left out.")


class CausedWaste(WasteShare):
    """Wasted web of one cause and kind on one stock. What is lost of a roll that was slit is as wide as it
    was slit to; the strip cut off it, of kind trim, as wide as that.
    """

    cause: str = Field(
        description="run: its spoilage allowance; changeover, roll end, closure; roll: what is lost of rolls "
        "without running."
    )
    eur: Number = Field(description="At the stock's price.")


class LineTotals(Contract):
    """One line's web in short."""

    line: str = Field(description="Its name.")
    runs: int = Field(description="Its runs.")
    web_m: Number = Field(description="All web.")
    sellable_m: Number = Field(description="Sellable web.")
    spoilage_m: Number = Field(description="Spoilage allowance.")
    waste_m: Number = Field(description="All else.")
    labels: int = Field(description="Labels made.")
    reels: int = Field(description="Finished reels.")
    spliced_reels: int = Field(description="Finished reels with a splice in them.")
    rolls: int = Field(description="Rolls it took something of.")


class WebLedger(Contract):
    """Every metre of every line's web and of every roll, and what was made of it."""

    site: str = Field(description="Where.")
    zone: str = Field(description="Time zone of the site.")
    start: datetime = Field(description="The plan's start.")
    rolls_settled: bool = Field(
        description="Whether the rolls chosen are those of this web; else no roll is told: roll ends and the "
        "hours they fall in never agreed."
    )
    lines: tuple[LineTotals, ...] = Field(description="In the plant's order.")
    pieces: tuple[RolledPiece, ...] = Field(description="Every metre of every line's web, in order.")
    reels: tuple[CustomerReel, ...] = Field(description="In the order in which they come off, by line.")
    versions: tuple[DeliveredVersion, ...] = Field(description="Labels delivered.")
    waste: tuple[CausedWaste, ...] = Field(description="By cause, kind and stock.")
    waste_eur: Number = Field(description="The web's, but for the spoilage allowance, as the plan costs it.")
    roll_waste_eur: Number = Field(description="What is lost of rolls without running.")
    rolls: tuple[UsedRoll, ...] = Field(description="Rolls that something was taken of.")
    unopened: tuple[UnopenedRoll, ...] = Field(description="Rolls that nothing was taken of.")
    missing: tuple[MissingStock, ...] = Field(description="Where rolls do not suffice.")
