"""Who writes: the holder of the key that a request came with, as the store and its audit know them."""

from __future__ import annotations

from fastapi import Request

from app.api.visits import visit_of
from app.security import Holder
from app.store.store import Actor


def actor(who: Holder, request: Request) -> Actor:
    """The holder of a key, with the id of the request."""
    return Actor(who.name, who.plant, visit_of(request.scope).request_id)
