"""What is to be made: jobs, their versions and their layers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from solver.checks import Checks
from solver.reels import SpliceRule, Winding

MOST_LAYERS = 8
"""Layers of a job: the ways of seating more at a line's stations would be too many to try."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One thing put on or done to the label.

    Parameters
    ----------
    kind
        What a station must be able to do for it: white, inkjet, foil, varnish …
    consumable
        What is put on; None for inkjet.
    plate
        The plate it is printed with; "" where it needs none.
    channels
        The inkjet channels it needs; empty for every other layer.
    """

    kind: str
    consumable: str | None = None
    plate: str = ""
    channels: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Version:
    """A SKU inside a job: same tooling, other artwork and quantity.

    `overs` is the share that may be sent beyond the quantity; `max_quantity` the most that may be.
    """

    id: str
    quantity: int
    overs: Fraction = Fraction(0)
    max_quantity: int | None = None

    def __post_init__(self) -> None:
        checks = Checks(f"version {self.id}")
        checks.positive_or_none("quantity", self.quantity)
        checks.not_negative("overs", self.overs)
        checks.that(
            self.max_quantity is None or self.max_quantity >= self.quantity,
            f"max_quantity must be at least the quantity {self.quantity}, is {self.max_quantity}",
        )
        checks.done()


@dataclass(frozen=True, slots=True)
class Job:
    """Customer work that runs as one.

    Parameters
    ----------
    layer_groups
        Layers in laying order; the order inside a group is free.
    slit_layout
        What the slitter must be set to.
    core_um
        Bore of the reel's core; None where any will do.
    labels_per_reel
        Labels on a customer's reel; None where a version's lane is one reel.
    full_reels
        Whether the customer takes only full reels.
    roll_width_um
        The roll width to use; None for the narrowest stocked one that holds the job.
    ready_ms
        When artwork, plates and die are all there.
    due_ms
        When the job ships; None where it is never late.
    late_eur, late_eur_per_h
        Price of a missed van, once; and of every hour beyond it.
    least_lot
        Fewest labels of a lot the job may be split into; None where it is never split.
    may_join
        Whether it may run as one with a job of the same signature beside it.
    splice_rule
        Where a splice may lie in its sellable web.
    most_splices_a_reel
        Splices that a customer's reel may have; None where nobody counts.
    largest_reel_um
        Outside diameter that the customer's reels may have; None where any will do.
    winding
        How its labels are wound; None where nobody has said.
    """

    id: str
    versions: tuple[Version, ...]
    substrate: str
    die: str
    layer_groups: tuple[tuple[Layer, ...], ...] = ()
    customer: str = ""
    slit_layout: str = ""
    core_um: int | None = None
    labels_per_reel: int | None = None
    full_reels: bool = False
    roll_width_um: int | None = None
    ready_ms: int = 0
    due_ms: int | None = None
    late_eur: Fraction = Fraction(0)
    late_eur_per_h: Fraction = Fraction(0)
    low_migration: bool = False
    least_lot: int | None = None
    may_join: bool = False
    splice_rule: SpliceRule = SpliceRule.ANYWHERE
    most_splices_a_reel: int | None = None
    largest_reel_um: int | None = None
    winding: Winding | None = None

    def __post_init__(self) -> None:
        checks = Checks(f"job {self.id}")
        checks.that(len(self.versions) > 0, "needs at least one version")
        checks.that(
            len(self.layers) <= MOST_LAYERS, f"has {len(self.layers)} layers, more than {MOST_LAYERS}"
        )
        checks.unique("versions", (version.id for version in self.versions))
        checks.positive_or_none("core_um", self.core_um)
        checks.positive_or_none("labels_per_reel", self.labels_per_reel)
        checks.positive_or_none("roll_width_um", self.roll_width_um)
        checks.positive_or_none("least_lot", self.least_lot)
        checks.positive_or_none("largest_reel_um", self.largest_reel_um)
        if self.most_splices_a_reel is not None:
            checks.not_negative("most_splices_a_reel", self.most_splices_a_reel)
        checks.not_negative("late_eur", self.late_eur)
        checks.not_negative("late_eur_per_h", self.late_eur_per_h)
        checks.that(
            not self.full_reels or self.labels_per_reel is not None, "full_reels needs labels_per_reel"
        )
        checks.that(
            self.splice_rule is not SpliceRule.NEVER or not self.most_splices_a_reel,
            f"most_splices_a_reel is {self.most_splices_a_reel} where a splice may never lie",
        )
        checks.done()

    @property
    def made_of(self) -> tuple[object, ...]:
        """All that decides what it takes on a line: it without its times and prices."""
        return (
            self.id,
            self.versions,
            self.substrate,
            self.die,
            self.layer_groups,
            self.slit_layout,
            self.core_um,
            self.labels_per_reel,
            self.full_reels,
            self.roll_width_um,
            self.low_migration,
            self.may_join,
        )

    @property
    def layers(self) -> tuple[Layer, ...]:
        """All layers in laying order, groups joined."""
        return tuple(layer for group in self.layer_groups for layer in group)
