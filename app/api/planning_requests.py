"""Planning requests: an order is asked for, looked at while it is searched for, cancelled, sent again."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from app.api import examples
from app.api.access import access
from app.api.answers import Answer, answer
from app.api.bodies import body
from app.api.idempotency import Repeatable, answered, repeatable, repeated
from app.api.kept_answers import KeptAnswers, NewAnswers
from app.api.listing import RequestsAsked
from app.api.paging import next_link
from app.api.problems import CONFLICT, NOTHING_RUNS, problems
from app.api.request_events import PATH, TAG
from app.api.requests import actor
from app.contracts.base import Code
from app.contracts.planning_requests import NewPlanningRequest, PlanningRequest
from app.contracts.reasons import Reasons
from app.contracts.stored import Page
from app.errors import NotStored
from app.security import Holder, Role
from app.services import requests
from app.services.planning_snapshot import KeptOf
from app.services.workshop import Workshop
from app.store import requests as kept_requests


def planning_request_routes(shop: Workshop, attempts: int, kept_of: KeptOf) -> APIRouter:
    """Routes of planning requests, but for their events."""
    router = APIRouter(prefix=PATH, tags=[TAG])
    _add_asking(shop, attempts, kept_of, router)
    _add_reading(shop, router)
    _add_changing(shop, router)
    return router


def _add_asking(shop: Workshop, attempts: int, kept_of: KeptOf, router: APIRouter) -> None:
    @router.post(
        "",
        operation_id="ask_for_order",
        summary="Ask for an order of jobs",
        description="Plant and jobs are taken as they are now, and queued for whoever works on them. Jobs "
        "that name what the plant does not have yet stand aside; notes say which. Follow it at its events, "
        "or read it until it is over: its result names the sequences that were found.",
        status_code=201,
        response_model=PlanningRequest,
        responses=problems(NOTHING_RUNS),
    )
    def ask(
        request: Request,
        who: Annotated[Holder, access(Role.SCHEDULER)],
        once: Annotated[Repeatable, repeatable()],
        asked: Annotated[NewPlanningRequest, body(NewPlanningRequest, examples=examples.ASKED)],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            before = repeated(once, KeptAnswers(view, who))
            if before is not None:
                return before.response()
            new = requests.prepare(shop, view, asked, kept_of, attempts)
        with shop.store.writing(actor(who, request)) as work:

            def act() -> Answer:
                return answer(kept_requests.enqueue(work, new), 201, location=f"{PATH}/{new.id}")

            return answered(once, NewAnswers(work, who), act).response()


def _add_reading(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "",
        operation_id="list_planning_requests",
        summary="List planning requests, the newest first",
        response_model=Page[PlanningRequest],
    )
    def listed(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        asked: Annotated[RequestsAsked, Query()],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            found = kept_requests.listed(view, asked.query)
        return answer(found, headers=next_link(request, found.next_cursor)).response()

    @router.get(
        "/{id}",
        operation_id="read_planning_request",
        summary="How far a planning request is, and what came of it",
        response_model=PlanningRequest,
    )
    def read(who: Annotated[Holder, access(Role.INTEGRATION)], id: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(kept_requests.read(view, id)).response()

    @router.get(
        "/{id}/reasons",
        operation_id="read_planning_reasons",
        summary="Why the recommended sequence is as it is",
        description="There are none before a sequence came of the request, nor where nobody asked for them.",
        response_model=Reasons,
    )
    def reasons(who: Annotated[Holder, access(Role.INTEGRATION)], id: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            found = kept_requests.reasons(view, id)
        if found is None:
            raise NotStored("reasons of planning requests", id)
        return answer(found).response()


def _add_changing(shop: Workshop, router: APIRouter) -> None:
    @router.post(
        "/{id}/cancellation",
        operation_id="cancel_planning_request",
        summary="Cancel a planning request",
        description="One that waits is over at once. One that runs ends within a second or two and keeps the "
        "best sequence that it has.",
        response_model=PlanningRequest,
        responses=problems(CONFLICT),
    )
    def cancel(
        request: Request,
        who: Annotated[Holder, access(Role.SCHEDULER)],
        once: Annotated[Repeatable, repeatable()],
        id: Code,
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:

            def act() -> Answer:
                return answer(kept_requests.cancel(work, id))

            return answered(once, NewAnswers(work, who), act).response()

    @router.post(
        "/{id}/resending",
        operation_id="resend_planning_request",
        summary="Send a planning request again that failed or is dead",
        description="It is worked out anew from plant and jobs as they were when it was asked.",
        response_model=PlanningRequest,
        responses=problems(CONFLICT),
    )
    def resend(
        request: Request,
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        once: Annotated[Repeatable, repeatable()],
        id: Code,
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:

            def act() -> Answer:
                return answer(kept_requests.resend(work, id))

            return answered(once, NewAnswers(work, who), act).response()

    @router.delete(
        "/{id}",
        operation_id="remove_planning_request",
        summary="Remove a planning request that is over",
        description="Its sequences stay.",
        status_code=204,
        responses=problems(CONFLICT),
    )
    def remove(request: Request, who: Annotated[Holder, access(Role.SCHEDULER)], id: Code) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            kept_requests.remove(work, id)
        return Response(status_code=204)
