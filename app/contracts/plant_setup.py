"""The plant itself as it is stored: its site and prices, and its lines one by one."""

from __future__ import annotations

from decimal import Decimal

from pydantic import Field

from app.contracts.base import ZERO, Contract, Euro, MillimetresOrZero, Minutes, OversPercent, Word
from app.contracts.plant import Calendar, Line, PresentState, Site, StationKind, StockRules, WashUp


class PlantSetup(Contract):
    """What a plant has besides lines, stock and tools."""

    note: str = Field(default="", description="A remark for people.")
    site: Site = Field(description="The place and its clock.")
    calendar: Calendar = Field(
        default=Calendar(), description="When lines are manned, unless a line says otherwise."
    )
    station_kinds: dict[Word, StationKind] = Field(description="Kinds of station, by name.")
    wash_ups: tuple[WashUp, ...] = Field(default=(), description="Wash-ups with a time of their own.")
    late_eur: Euro = Field(
        default=ZERO, description="Price of a job that misses its van, unless the job says its own."
    )
    late_eur_per_h: Euro = Field(
        default=ZERO, description="Price of every hour beyond, unless the job says its own."
    )
    after_press_min: Minutes = Field(default=ZERO, description="From the end of a run to the van.")
    overs_pct: OversPercent = Field(
        default=ZERO, description="Labels made beyond the quantity, unless the version says."
    )
    core_wall_mm: MillimetresOrZero = Field(default=ZERO, description="Wall of the core tubes.")
    moved_run_eur: Euro = Field(
        default=Decimal(10), description="Price of every run that a sequence in force has elsewhere."
    )
    stock_rules: StockRules = Field(
        default=StockRules(), description="What rolls lose and cost whatever is made from them."
    )


class PlantLine(Line):
    """A press line; how it stands now is read and written by itself."""


class LineState(Contract):
    """How a line stands now."""

    line: str = Field(description="Its name.")
    present: PresentState = Field(description="What is loaded, awake and threaded.")
