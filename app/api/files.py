"""Lists and plants as files: what a shop has in its spreadsheets comes in, and goes out, as it is."""

from typing import Annotated, Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.api.access import access
from app.api.answers import answer
from app.api.bodies import JSON
from app.api.file_bodies import (
    CSV,
    LIST_TYPES,
    PLANT_TYPES,
    SentFile,
    file_body,
    file_description,
)
from app.api.problems import CONFLICT, problems
from app.api.requests import actor
from app.contracts.taken_files import FileTaken
from app.security import Holder, Role
from app.services import files
from app.services.workshop import Workshop

_TEXT: dict[int | str, dict[str, Any]] = {200: {"content": {CSV: {"schema": {"type": "string"}}}}}


def file_routes(shop: Workshop) -> APIRouter:
    """Files in and out."""
    router = APIRouter(prefix="/api/v1/files", tags=["files"])
    _add_lists_in(shop, router)
    _add_lists_out(shop, router)
    _add_plant(shop, router)
    return router


def _add_lists_in(shop: Workshop, router: APIRouter) -> None:
    @router.put(
        "/jobs",
        operation_id="send_jobs_file",
        summary="Take a job list",
        description="One row a version: job, version, quantity, substrate, die, colours, finishes, due, "
        "customer, and further columns; common spellings of headings are known. All of it or nothing.",
        response_model=FileTaken,
        responses=problems(CONFLICT),
        openapi_extra=file_description(LIST_TYPES),
    )
    def send_jobs(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        sent: Annotated[SentFile, file_body("jobs", LIST_TYPES)],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            read = files.read_jobs_list(shop, view, sent.name, sent.content)
        with shop.store.writing(actor(who, request)) as work:
            return answer(files.take_jobs(shop, work, read)).response()

    @router.put(
        "/dies",
        operation_id="send_dies_file",
        summary="Take a die list",
        description="One row a die, with its cylinder if it has one. Dies that it does not name stay.",
        response_model=FileTaken,
        responses=problems(CONFLICT),
        openapi_extra=file_description(LIST_TYPES),
    )
    def send_dies(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        sent: Annotated[SentFile, file_body("dies", LIST_TYPES)],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            return answer(files.take_dies(shop, work, sent.name, sent.content)).response()

    @router.put(
        "/stock",
        operation_id="send_stock_file",
        summary="Take what is in the store now",
        description="One row a width, a roll or a delivery of stocks that are known. The list is whole: what "
        "it does not name is used up.",
        response_model=FileTaken,
        responses=problems(CONFLICT),
        openapi_extra=file_description(LIST_TYPES),
    )
    def send_stock(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        sent: Annotated[SentFile, file_body("stock", LIST_TYPES)],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            return answer(files.take_stock(shop, work, sent.name, sent.content)).response()


def _add_lists_out(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "/jobs",
        operation_id="read_jobs_file",
        summary="The open jobs as a list",
        response_class=Response,
        responses=_TEXT,
    )
    def jobs(who: Annotated[Holder, access(Role.INTEGRATION)]) -> Response:
        with shop.store.reading(who.plant) as view:
            return _list("jobs.csv", files.jobs_file(view))

    @router.get(
        "/dies",
        operation_id="read_dies_file",
        summary="The dies as a list",
        response_class=Response,
        responses=_TEXT,
    )
    def dies(who: Annotated[Holder, access(Role.INTEGRATION)]) -> Response:
        with shop.store.reading(who.plant) as view:
            return _list("dies.csv", files.dies_file(shop, view))

    @router.get(
        "/stock",
        operation_id="read_stock_file",
        summary="What is in the store as a list",
        response_class=Response,
        responses=_TEXT,
    )
    def stock(who: Annotated[Holder, access(Role.INTEGRATION)]) -> Response:
        with shop.store.reading(who.plant) as view:
            return _list("stock.csv", files.stock_file(shop, view))


def _add_plant(shop: Workshop, router: APIRouter) -> None:
    @router.put(
        "/plant",
        operation_id="send_plant_file",
        summary="Take a plant file",
        description="In place of all that is stored of the plant: site, lines, stock, tools, prices. Jobs "
        "stay.",
        response_model=FileTaken,
        responses=problems(CONFLICT),
        openapi_extra=file_description(PLANT_TYPES),
    )
    def send_plant(
        request: Request,
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        sent: Annotated[SentFile, file_body("plant", PLANT_TYPES)],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            return answer(files.take_plant(work, sent.name, sent.content)).response()

    @router.get(
        "/plant",
        operation_id="read_plant_file",
        summary="The plant as a plant file",
        response_class=Response,
        responses={200: {"content": {JSON: {"schema": {"type": "object"}}}}},
    )
    def plant(who: Annotated[Holder, access(Role.INTEGRATION)]) -> Response:
        with shop.store.reading(who.plant) as view:
            return Response(files.plant_file(shop, view), media_type=JSON)


def _list(name: str, text: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text, media_type=CSV, headers=headers)
