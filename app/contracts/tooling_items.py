"""Tools and consumables as they are posted and stored."""

from __future__ import annotations

from app.contracts.plant import Consumable, Cylinder, Die
from app.contracts.stored import Posted


class PostedDie(Die, Posted):
    """A cutting tool."""


class PostedCylinder(Cylinder, Posted):
    """A magnetic or a print cylinder."""


class PostedConsumable(Consumable, Posted):
    """An ink, varnish, adhesive, laminate or foil."""
