"""Releases: sequences given to the floor, and what a line is to run now."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from app.api import examples
from app.api.access import access, require_line
from app.api.answers import Answer, answer, not_modified
from app.api.bodies import body
from app.api.conditions import Condition, condition_of_reading
from app.api.idempotency import Repeatable, answered, repeatable, repeated
from app.api.kept_answers import KeptAnswers, NewAnswers
from app.api.paging import next_link
from app.api.problems import CONFLICT, problems
from app.api.requests import actor
from app.contracts.base import Code
from app.contracts.releases import LineRelease, NewRelease, Release, Withdrawal
from app.contracts.run_sheets import LineRunSheets
from app.contracts.stored import MOST_A_PAGE, USUAL_PAGE, Page
from app.security import Holder, Role
from app.services import releases
from app.services.workshop import Workshop
from app.store import releases as kept_releases
from app.store.listing import Query as Listing

PATH = "/api/v1/releases"
LineName = Annotated[Code, Path(description="The line's name.")]


class ReleasesAsked(BaseModel):
    """Which releases are asked for."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    limit: int = Field(default=USUAL_PAGE, ge=1, le=MOST_A_PAGE, description="Releases at most.")
    cursor: str | None = Field(default=None, max_length=2000, description="next_cursor of the page before.")
    line: Code | None = Field(default=None, description="Of this line.")
    current: bool | None = Field(
        default=None, description="true: current there, or on any line; false: not any more."
    )

    @property
    def query(self) -> Listing:
        """The page for the store; its filters tell one list's cursors from another's."""
        asked = {"line": self.line, "current": self.current}
        filters = {name: value for name, value in asked.items() if value is not None}
        return Listing(filters, cursor=self.cursor, limit=self.limit)


def release_routes(shop: Workshop) -> APIRouter:
    """Routes of releases."""
    router = APIRouter(prefix=PATH, tags=["releases"])
    _add_releasing(shop, router)
    _add_withdrawing(shop, router)
    _add_reading(shop, router)
    return router


def line_release_routes(shop: Workshop) -> APIRouter:
    """What a line is to run now. They come before those of lines, whose names may have slashes."""
    router = APIRouter(prefix="/api/v1/lines", tags=["releases"])

    @router.get(
        "/{line:path}/release/run-sheets",
        operation_id="read_released_run_sheets",
        summary="What a line's crew needs for its current release, shift by shift",
        response_model=LineRunSheets,
    )
    def run_sheets(
        who: Annotated[Holder, access(Role.INTEGRATION, Role.PRESS)],
        line: LineName,
        known: Annotated[Condition, condition_of_reading()],
    ) -> Response:
        require_line(who, line)
        with shop.store.reading(who.plant) as view:
            current = releases.current_of(view, line)
            if known.unchanged(current.number):
                return not_modified(current.number).response()
            found = releases.line_run_sheets(view, current)
        return answer(found, version=current.number).response()

    @router.get(
        "/{line:path}/release",
        operation_id="read_line_release",
        summary="What a line is to run now",
        description="Runs and changeovers of its current release with their times. Another release has "
        "another ETag, so whoever asks again and again sends If-None-Match.",
        response_model=LineRelease,
    )
    def line_release(
        who: Annotated[Holder, access(Role.INTEGRATION, Role.PRESS)],
        line: LineName,
        known: Annotated[Condition, condition_of_reading()],
    ) -> Response:
        require_line(who, line)
        with shop.store.reading(who.plant) as view:
            current = releases.current_of(view, line)
            if known.unchanged(current.number):
                return not_modified(current.number).response()
            found = releases.line_release(view, current)
        return answer(found, version=current.number).response()

    return router


def _add_releasing(shop: Workshop, router: APIRouter) -> None:
    @router.post(
        "",
        operation_id="release_sequence",
        summary="Give a sequence to the floor",
        description="Its lines run it from now on; what they were to run before is kept as superseded. "
        "Refused where plant, stock or its jobs have changed since it was worked out, or where a job would "
        "be on another line's current release too, with every reason; despite_changes releases it all the "
        "same and keeps the reasons.",
        status_code=201,
        response_model=Release,
        responses=problems(CONFLICT),
    )
    def release(
        request: Request,
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        once: Annotated[Repeatable, repeatable()],
        new: Annotated[
            NewRelease,
            body(
                NewRelease,
                examples={"one line": examples.RELEASED, "despite changes": examples.RELEASED_DESPITE},
            ),
        ],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            before = repeated(once, KeptAnswers(view, who))
            if before is not None:
                return before.response()
            origin = releases.asked_for(view, new)
        with shop.store.writing(actor(who, request)) as work:

            def act() -> Answer:
                made = releases.release(shop, work, new, origin)
                return answer(made, 201, location=f"{PATH}/{made.id}")

            return answered(once, NewAnswers(work, who), act).response()


def _add_withdrawing(shop: Workshop, router: APIRouter) -> None:
    @router.post(
        "/{release}/withdrawal",
        operation_id="withdraw_release",
        summary="Take a release from lines, without another in its place",
        description="The lines have no current release then. The release itself is kept.",
        response_model=Release,
        responses=problems(CONFLICT),
    )
    def withdraw(
        request: Request,
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        release: Code,
        once: Annotated[Repeatable, repeatable()],
        asked: Annotated[Withdrawal, body(Withdrawal, examples={"all lines": examples.WITHDRAWN})],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:

            def act() -> Answer:
                return answer(releases.withdraw(work, release, asked))

            return answered(once, NewAnswers(work, who), act).response()


def _add_reading(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "",
        operation_id="list_releases",
        summary="List releases, the latest first",
        response_model=Page[Release],
    )
    def listed(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        asked: Annotated[ReleasesAsked, Query()],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            found = kept_releases.listed(view, asked.query, asked.line, asked.current)
        return answer(found, headers=next_link(request, found.next_cursor)).response()

    @router.get(
        "/{release}",
        operation_id="read_release",
        summary="Read a release, current or not",
        response_model=Release,
    )
    def read(who: Annotated[Holder, access(Role.INTEGRATION)], release: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(kept_releases.read(view, release)).response()
