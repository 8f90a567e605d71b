"""The plant: its site and prices, its lines, and how they stand."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from starlette.responses import Response

from app.api import examples
from app.api.access import access, require_line
from app.api.answers import answer, not_modified
from app.api.bodies import body
from app.api.conditions import Condition, condition_of_change, condition_of_reading
from app.api.problems import CONFLICT, problems
from app.api.requests import actor
from app.contracts.base import Code
from app.contracts.plant import PresentState
from app.contracts.plant_setup import LineState, PlantLine, PlantSetup
from app.contracts.stored import Page, Stored
from app.errors import BadInput, Fault
from app.security import Holder, Role
from app.services import plant_setup
from app.services.workshop import Workshop
from app.store import lines, plants

LineName = Annotated[Code, Path(description="The line's name.")]


def plant_routes(shop: Workshop) -> APIRouter:
    """Routes of the plant."""
    router = APIRouter(prefix="/api/v1/plant", tags=["plant"])

    @router.get(
        "",
        operation_id="read_plant",
        summary="Site, hours, kinds of station and prices",
        response_model=Stored[PlantSetup],
    )
    def read(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        known: Annotated[Condition, condition_of_reading()],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            stored = plants.read_setup(view)
        if known.unchanged(stored.version):
            return not_modified(stored.version).response()
        return answer(stored, version=stored.version).response()

    @router.put(
        "",
        operation_id="put_plant",
        summary="Change site, hours, kinds of station and prices",
        response_model=Stored[PlantSetup],
        responses=problems(CONFLICT),
    )
    def put(
        request: Request,
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        only_if: Annotated[Condition, condition_of_change()],
        setup: Annotated[PlantSetup, body(PlantSetup, examples={"plain": examples.PLANT})],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            stored = plant_setup.put_setup(shop, work, setup, only_if.require)
        return answer(stored, version=stored.version).response()

    return router


def line_routes(shop: Workshop) -> APIRouter:
    """Routes of lines. That of a line's state comes first: a line's name may have slashes."""
    router = APIRouter(prefix="/api/v1/lines", tags=["lines"])
    _add_states(shop, router)
    _add_lines(shop, router)
    return router


def _add_states(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "/{line:path}/state",
        operation_id="read_line_state",
        summary="How a line stands",
        response_model=Stored[LineState],
    )
    def read_state(who: Annotated[Holder, access(Role.INTEGRATION, Role.PRESS)], line: LineName) -> Response:
        require_line(who, line)
        with shop.store.reading(who.plant) as view:
            stored = plant_setup.read_state(view, line)
        return answer(stored, version=stored.version).response()

    @router.put(
        "/{line:path}/state",
        operation_id="put_line_state",
        summary="Say how a line stands",
        response_model=Stored[LineState],
    )
    def put_state(
        request: Request,
        who: Annotated[Holder, access(Role.SCHEDULER)],
        line: LineName,
        only_if: Annotated[Condition, condition_of_change()],
        present: Annotated[PresentState, body(PresentState, examples={"as it stands": examples.STATE})],
    ) -> Response:
        state = LineState(line=line, present=present)
        with shop.store.writing(actor(who, request)) as work:
            stored = plant_setup.put_state(shop, work, state, only_if.require)
        return answer(stored, version=stored.version).response()


def _add_lines(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "",
        operation_id="list_lines",
        summary="All lines in the plant's order",
        response_model=Page[Stored[PlantLine]],
    )
    def listed(who: Annotated[Holder, access(Role.INTEGRATION)]) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(Page[Stored[PlantLine]](items=lines.read_all(view), next_cursor=None)).response()

    @router.get(
        "/{line:path}",
        operation_id="read_line",
        summary="Read a line",
        response_model=Stored[PlantLine],
    )
    def read(who: Annotated[Holder, access(Role.INTEGRATION, Role.PRESS)], line: LineName) -> Response:
        require_line(who, line)
        with shop.store.reading(who.plant) as view:
            stored = plant_setup.read_line(view, line)
        return answer(stored, version=stored.version).response()

    @router.put(
        "/{line:path}",
        operation_id="put_line",
        summary="Set a line up, or add it",
        description="A line that is there goes on standing as it does: its state has an address of its own.",
        response_model=Stored[PlantLine],
        responses=problems(CONFLICT),
    )
    def put(
        request: Request,
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        line: LineName,
        only_if: Annotated[Condition, condition_of_change()],
        sent: Annotated[PlantLine, body(PlantLine, examples={"a line": examples.LINE})],
    ) -> Response:
        if sent.id != line:
            raise BadInput([Fault(f"should be {line}, as in the address", field="id", value=sent.id)])
        with shop.store.writing(actor(who, request)) as work:
            stored = plant_setup.put_line(shop, work, sent, only_if.require)
        return answer(stored, version=stored.version).response()

    @router.delete(
        "/{line:path}",
        operation_id="remove_line",
        summary="Remove a line",
        status_code=204,
        responses=problems(CONFLICT),
    )
    def remove(
        request: Request,
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        line: LineName,
        only_if: Annotated[Condition, condition_of_change()],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            plant_setup.remove_line(shop, work, line, only_if.require)
        return Response(status_code=204)
