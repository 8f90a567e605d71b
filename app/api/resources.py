"""Stock and tools, about which there is nothing special."""

from __future__ import annotations

from fastapi import APIRouter

from app.api import examples
from app.api.listing import DeliveriesAsked, DiesAsked, RollsAsked, SubstratesAsked, ToolsAsked
from app.api.things import Thing, thing_routes
from app.services.workshop import Workshop
from app.store.kinds import CONSUMABLES, CYLINDERS, DELIVERIES, DIES, ROLLS, SUBSTRATES


def stock_and_tool_routes(shop: Workshop) -> tuple[APIRouter, ...]:
    """Routes of substrates, rolls, deliveries, dies, cylinders and consumables."""
    return (
        thing_routes(shop, Thing(SUBSTRATES, "substrate", SubstratesAsked, examples.SUBSTRATE)),
        thing_routes(shop, Thing(ROLLS, "roll", RollsAsked, examples.ROLL)),
        thing_routes(shop, Thing(DELIVERIES, "delivery", DeliveriesAsked, examples.DELIVERY)),
        thing_routes(shop, Thing(DIES, "die", DiesAsked, examples.DIE)),
        thing_routes(shop, Thing(CYLINDERS, "cylinder", ToolsAsked, examples.CYLINDER)),
        thing_routes(shop, Thing(CONSUMABLES, "consumable", ToolsAsked, examples.CONSUMABLE)),
    )
