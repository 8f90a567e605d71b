"""What really happened: posted by systems, and by line screens for their own line."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from app.api import examples
from app.api.access import access, require_line
from app.api.answers import Answer, answer
from app.api.bodies import body
from app.api.conditions import Condition, condition_of_change
from app.api.idempotency import Repeatable, answered, repeatable
from app.api.kept_answers import NewAnswers
from app.api.listing import ActualsAsked
from app.api.paging import next_link
from app.api.problems import CONFLICT, problems
from app.api.requests import actor
from app.api.things import Key, Thing, refuse_other_key
from app.contracts.actuals import PostedActual
from app.contracts.stored import Bulk, BulkOutcome, Page, Stored
from app.errors import NotStored
from app.security import Holder, Role
from app.services import records as things
from app.services.workshop import Workshop
from app.store import records
from app.store.kinds import ACTUALS
from app.store.listing import Query as Listing
from app.store.store import View

THING = Thing(ACTUALS, "actual", ActualsAsked, examples.ACTUAL)
_ACCESS = access(Role.INTEGRATION, Role.PRESS)
"""Systems, and line screens for their own line."""


def actual_routes(shop: Workshop) -> APIRouter:
    """Routes of actuals."""
    router = THING.router
    _add_posts(shop, router)
    _add_reads(shop, router)
    return router


def _add_posts(shop: Workshop, router: APIRouter) -> None:
    many = {"a run that has ended": {"each": False, "items": [examples.ACTUAL]}}

    @router.post(
        "/bulk",
        operation_id="take_actuals",
        summary="Post many runs as they were",
        response_model=BulkOutcome,
        responses=problems(CONFLICT),
    )
    def take(
        request: Request,
        who: Annotated[Holder, _ACCESS],
        once: Annotated[Repeatable, repeatable()],
        sent: Annotated[Bulk[PostedActual], body(Bulk[PostedActual], examples=many, only_offsets=True)],
    ) -> Response:
        for item in sent.items:
            require_line(who, item.line)
        with shop.store.writing(actor(who, request)) as work:
            _require_own(work, who, sent.items)

            def act() -> Answer:
                return answer(things.take(shop, work, ACTUALS, sent.items, each=sent.each))

            return answered(once, NewAnswers(work, who), act).response()

    @router.put(
        "/{key:path}",
        operation_id="put_actual",
        summary="Post a run as it is, or was",
        response_model=Stored[PostedActual],
        responses=problems(CONFLICT),
    )
    def put(
        request: Request,
        who: Annotated[Holder, _ACCESS],
        key: Key,
        only_if: Annotated[Condition, condition_of_change()],
        sent: Annotated[
            PostedActual, body(PostedActual, examples={"a run": examples.ACTUAL}, only_offsets=True)
        ],
    ) -> Response:
        require_line(who, sent.line)
        refuse_other_key(ACTUALS, key, sent)
        with shop.store.writing(actor(who, request)) as work:
            _require_own(work, who, [sent])
            stored = things.put(shop, work, ACTUALS, sent, only_if.require)
        return answer(stored, version=stored.version).response()


def _add_reads(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "",
        operation_id="list_actuals",
        summary="List runs as they were; a line screen sees its own line's",
        response_model=Page[Stored[PostedActual]],
    )
    def listed(
        request: Request, who: Annotated[Holder, _ACCESS], asked: Annotated[ActualsAsked, Query()]
    ) -> Response:
        if asked.line is not None:
            require_line(who, asked.line)
        with shop.store.reading(who.plant) as view:
            found = records.listed(view, ACTUALS, _own(asked.query, who))
        return answer(found, headers=next_link(request, found.next_cursor)).response()

    @router.get(
        "/{key:path}",
        operation_id="read_actual",
        summary="Read a run as it was",
        response_model=Stored[PostedActual],
    )
    def read(who: Annotated[Holder, _ACCESS], key: Key) -> Response:
        with shop.store.reading(who.plant) as view:
            stored = records.read(view, ACTUALS, key)
        if stored is None:
            raise NotStored(ACTUALS.name, key)
        require_line(who, stored.item.line)
        return answer(stored, version=stored.version).response()


def _own(query: Listing, who: Holder) -> Listing:
    """A list of one's own line's alone, where the key is of a line."""
    if who.line is None:
        return query
    return Listing({**query.filters, "line": who.line}, query.sort, query.prefix, query.cursor, query.limit)


def _require_own(view: View, who: Holder, items: Sequence[PostedActual]) -> None:
    """Refuse a line screen that would write over another line's run.

    Raises
    ------
    NotAllowed
        Naming the key's line.
    """
    if who.line is None:
        return
    for item in items:
        stored = records.read(view, ACTUALS, item.id)
        if stored is not None:
            require_line(who, stored.item.line)
