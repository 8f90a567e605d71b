"""Stock as it is posted and stored: substrates, their rolls and what is to come, each by itself."""

from __future__ import annotations

from pydantic import Field

from app.contracts.base import (
    Code,
    Contract,
    Euro,
    Metres,
    Micrometres,
    Millimetres,
    OffsetMoment,
    RollMetres,
)
from app.contracts.plant import Flaw
from app.contracts.stored import Posted


class WidthOnHand(Contract):
    """A width that a substrate is stocked in."""

    width_mm: Millimetres = Field(description="Width of its rolls.")
    on_hand_m: Metres | None = Field(
        default=None, description="Metres in the store; absent: not followed, or followed by roll."
    )


class PostedSubstrate(Posted):
    """A label stock, its rolls and deliveries apart."""

    code: Code = Field(description="What job rows call it.")
    name: str = Field(default="", max_length=200, description="What people call it.")
    eur_per_m2: Euro = Field(description="Its price.")
    widths: tuple[WidthOnHand, ...] = Field(description="Widths it is stocked in, each once.")
    material_class: str = Field(
        default="", max_length=80, description="Decides the spoilage, such as paper or film."
    )
    thickness_um: Micrometres | None = Field(default=None, description="Of the whole laminate, in µm.")
    liner_thickness_um: Micrometres | None = Field(default=None, description="Of the liner, in µm.")
    print_settings: str = Field(
        default="", max_length=80, description="Name of the inkjet's settings for it."
    )
    usual_roll_m: RollMetres | None = Field(
        default=None, description="Length of its usual roll; absent: roll ends are not followed."
    )


class PostedRoll(Posted):
    """A roll in the store, or on its way there."""

    id: Code = Field(description="Its number.")
    substrate: Code = Field(description="Code of its stock.")
    width_mm: Millimetres = Field(description="Its width.")
    length_m: Metres = Field(gt=0, description="Metres on it.")
    received: OffsetMoment | None = Field(
        default=None, description="When it came into the store; absent: nobody knows."
    )
    best_before: OffsetMoment | None = Field(
        default=None, description="From when on it must not be used; absent: it keeps."
    )
    location: str = Field(default="", max_length=80, description="Where it lies.")
    flaws: tuple[Flaw, ...] = Field(
        default=(), max_length=1000, description="Its flagged places in unwinding order, without overlap."
    )
    reserved_for: Code | None = Field(default=None, description="The only job that may take it; absent: any.")
    on_unwind: Code | None = Field(
        default=None, description="The line on whose unwind it is; absent: on none."
    )
    arrives: OffsetMoment | None = Field(
        default=None, description="When it can be used; absent or passed: it is there."
    )


class PostedDelivery(Posted):
    """Stock that is to come and is not known by roll."""

    id: Code = Field(description="The delivery's number.")
    substrate: Code = Field(description="Code of the stock.")
    width_mm: Millimetres = Field(description="Its width.")
    at: OffsetMoment = Field(description="When it can be used; a time that has passed counts as arrived.")
    length_m: Metres = Field(description="How much.")
