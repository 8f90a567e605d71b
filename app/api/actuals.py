"""What really happened: posted by systems, and by line screens for their own line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fastapi import APIRouter

from app.api import examples
from app.api.access import require_line
from app.api.listing import ActualsAsked, ListAsked
from app.api.things import Thing, add_list, add_many, add_put, add_read
from app.contracts.actuals import PostedActual
from app.contracts.stored import BulkOutcome, Stored
from app.security import Holder, Role
from app.services import actuals
from app.services.records import Condition
from app.services.workshop import Workshop
from app.store import records
from app.store.kinds import ACTUALS
from app.store.listing import Query
from app.store.store import View, Work

_WHO = (Role.INTEGRATION, Role.PRESS)
"""Systems, and line screens for their own line."""


class _Actuals(Thing[PostedActual]):
    """Runs as they were; a line screen sees and writes those of its own line alone."""

    def take(self, shop: Workshop, work: Work, items: Sequence[PostedActual], *, each: bool) -> BulkOutcome:
        return actuals.take(shop, work, items, each=each)

    def put(self, shop: Workshop, work: Work, item: PostedActual, only_if: Condition) -> Stored[PostedActual]:
        return actuals.put(shop, work, item, only_if)

    def query(self, who: Holder, asked: ListAsked) -> Query:
        query = asked.query
        if who.line is None:
            return query
        require_line(who, query.filters.get("line", who.line))
        return replace(query, filters={**query.filters, "line": who.line})

    def refuse_unreadable(self, who: Holder, item: PostedActual) -> None:
        require_line(who, item.line)

    def refuse_unwritable(self, view: View, who: Holder, items: Sequence[PostedActual]) -> None:
        if who.line is None:
            return
        for item in items:
            require_line(who, item.line)
            stored = records.read(view, ACTUALS, item.id)
            if stored is not None:
                require_line(who, stored.item.line)


THING = _Actuals(ACTUALS, "actual", ActualsAsked, examples.ACTUAL, writes=_WHO, reads=_WHO)


def actual_routes(shop: Workshop) -> APIRouter:
    """Routes of actuals. What happened is not removed."""
    router = THING.router
    add_many(shop, THING, router)
    add_list(shop, THING, router)
    add_read(shop, THING, router)
    add_put(shop, THING, router)
    return router
