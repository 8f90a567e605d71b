"""Sequences: orders made by hand are costed, compared and kept; what the floor makes of a kept one."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from app.api import examples
from app.api.access import access
from app.api.answers import Answer, answer
from app.api.bodies import JSON, body
from app.api.idempotency import Repeatable, answered, repeatable, repeated
from app.api.kept_answers import KeptAnswers, NewAnswers
from app.api.listing import ListAsked
from app.api.paging import next_link
from app.api.problems import CONFLICT, problems
from app.api.requests import actor
from app.contracts.base import Code
from app.contracts.costings import ComparedOrders, CostedOrder, OrdersToCompare, OrderToCost
from app.contracts.run_sheets import LineRunSheets
from app.contracts.sequences import LineRuns
from app.contracts.stored import Page, Stored
from app.contracts.stored_sequences import NewSequence, SequenceHead, StoredSequence
from app.contracts.web_ledger import WebLedger
from app.security import Holder, Role
from app.services import sequences
from app.services.workshop import Workshop
from app.store import sequences as kept_sequences

PATH = "/api/v1/sequences"
SVG = "image/svg+xml"
_DRAWING: dict[int | str, dict[str, Any]] = {200: {"content": {SVG: {"schema": {"type": "string"}}}}}


def sequence_routes(shop: Workshop) -> APIRouter:
    """Routes of sequences."""
    router = APIRouter(prefix=PATH, tags=["sequences"])
    _add_costing(shop, router)
    _add_keeping(shop, router)
    _add_reading(shop, router)
    _add_papers(shop, router)
    _add_drawings(shop, router)
    return router


def _add_costing(shop: Workshop, router: APIRouter) -> None:
    @router.post(
        "/cost",
        operation_id="cost_order",
        summary="Cost an order made by hand",
        description="Exactly, as every sequence is: times, changeovers, waste and money of every run. It is "
        "not kept.",
        response_model=CostedOrder,
    )
    def cost(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        order: Annotated[OrderToCost, body(OrderToCost, examples={"two runs": examples.ORDER})],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            return Response(sequences.cost(shop, view, order), media_type=JSON)

    @router.post(
        "/compare",
        operation_id="compare_orders",
        summary="Compare orders made by hand and kept sequences",
        description="What each comes to, and what it costs more than the first, by cause.",
        response_model=ComparedOrders,
    )
    def compare(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        orders: Annotated[OrdersToCompare, body(OrdersToCompare, examples={"two orders": examples.COMPARED})],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            return Response(sequences.compare(shop, view, orders), media_type=JSON)


def _add_keeping(shop: Workshop, router: APIRouter) -> None:
    @router.post(
        "",
        operation_id="keep_sequence",
        summary="Cost an order made by hand and keep it",
        description="Rolls are chosen for it, the cheapest for the order; the plant and the jobs are kept as "
        "they are now, so that it can be looked at later.",
        status_code=201,
        response_model=Stored[SequenceHead],
    )
    def keep(
        request: Request,
        who: Annotated[Holder, access(Role.SCHEDULER)],
        once: Annotated[Repeatable, repeatable()],
        new: Annotated[NewSequence, body(NewSequence, examples={"two runs": examples.KEPT})],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            before = repeated(once, KeptAnswers(view, who))
            if before is not None:
                return before.response()
            worked_out = sequences.work_out(shop, view, new)
        with shop.store.writing(actor(who, request)) as work:

            def act() -> Answer:
                kept = sequences.keep(work, worked_out)
                return answer(kept, 201, location=f"{PATH}/{kept.item.id}")

            return answered(once, NewAnswers(work, who), act).response()

    @router.delete(
        "/{sequence}",
        operation_id="remove_sequence",
        summary="Remove a kept sequence",
        description="One that was ever released stays.",
        status_code=204,
        responses=problems(CONFLICT),
    )
    def remove(request: Request, who: Annotated[Holder, access(Role.SCHEDULER)], sequence: Code) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            kept_sequences.remove(work, sequence)
        return Response(status_code=204)


def _add_reading(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "",
        operation_id="list_sequences",
        summary="List kept sequences",
        response_model=Page[Stored[SequenceHead]],
    )
    def listed(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        asked: Annotated[ListAsked, Query()],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            found = kept_sequences.listed(view, asked.query)
        return answer(found, headers=next_link(request, found.next_cursor)).response()

    @router.get(
        "/{sequence}",
        operation_id="read_sequence",
        summary="Read a kept sequence with all its runs and changeovers",
        response_model=StoredSequence,
    )
    def read(who: Annotated[Holder, access(Role.INTEGRATION)], sequence: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(sequences.read(shop, view, sequence)).response()

    @router.get(
        "/{sequence}/lines/{line}",
        operation_id="read_sequence_line",
        summary="Runs and changeovers of one line of a kept sequence",
        response_model=LineRuns,
    )
    def line_runs(who: Annotated[Holder, access(Role.INTEGRATION)], sequence: Code, line: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(sequences.line_runs(view, sequence, line)).response()


def _add_papers(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "/{sequence}/ledger",
        operation_id="read_sequence_ledger",
        summary="What becomes of every metre of web and of every roll",
        response_model=WebLedger,
    )
    def ledger(who: Annotated[Holder, access(Role.INTEGRATION)], sequence: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(sequences.ledger(view, sequence)).response()

    @router.get(
        "/{sequence}/lines/{line}/run-sheets",
        operation_id="read_line_run_sheets",
        summary="What the crew of a line needs, shift by shift",
        response_model=LineRunSheets,
    )
    def run_sheets(who: Annotated[Holder, access(Role.INTEGRATION)], sequence: Code, line: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(sequences.line_run_sheets(view, sequence, line)).response()


def _add_drawings(shop: Workshop, router: APIRouter) -> None:
    """Drawings to scale, as the report has them; each stands by itself."""

    @router.get(
        "/{sequence}/drawings/time",
        operation_id="draw_sequence_time",
        summary="What every line of a kept sequence does when, as a drawing",
        response_class=Response,
        responses=_DRAWING,
    )
    def time(who: Annotated[Holder, access(Role.INTEGRATION)], sequence: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return Response(sequences.time_drawing(view, sequence), media_type=SVG)

    @router.get(
        "/{sequence}/drawings/cost",
        operation_id="draw_sequence_cost",
        summary="What a kept sequence costs by cause, as a drawing",
        response_class=Response,
        responses=_DRAWING,
    )
    def cost(who: Annotated[Holder, access(Role.INTEGRATION)], sequence: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return Response(sequences.cost_drawing(view, sequence), media_type=SVG)

    @router.get(
        "/{sequence}/lines/{line}/drawings/time",
        operation_id="draw_line_time",
        summary="What one line of a kept sequence does when, as a drawing",
        response_class=Response,
        responses=_DRAWING,
    )
    def line_time(who: Annotated[Holder, access(Role.INTEGRATION)], sequence: Code, line: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return Response(sequences.time_drawing(view, sequence, line), media_type=SVG)

    @router.get(
        "/{sequence}/lines/{line}/drawings/web",
        operation_id="draw_line_web",
        summary="Every metre of a line's web in a kept sequence, as a drawing",
        response_class=Response,
        responses=_DRAWING,
    )
    def line_web(who: Annotated[Holder, access(Role.INTEGRATION)], sequence: Code, line: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return Response(sequences.web_drawing(view, sequence, line), media_type=SVG)
