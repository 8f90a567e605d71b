"""Jobs: posted one by one or thousands at once, changed, cancelled, and what they wait for."""

# annotations of bodies are read when the routes are made, so they are not postponed here

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from app.api import examples
from app.api.access import access
from app.api.answers import answer
from app.api.bodies import body
from app.api.conditions import Condition, condition_of_change
from app.api.listing import JobsAsked
from app.api.problems import CONFLICT, problems
from app.api.requests import actor
from app.api.things import (
    Key,
    Thing,
    add_create,
    add_list,
    add_many,
    add_remove,
    refuse_other_key,
)
from app.contracts.base import Code, OffsetMoment
from app.contracts.posted_jobs import (
    JobChanged,
    JobDetail,
    ListedJob,
    PostedJob,
    QuantityChange,
    StatusChange,
)
from app.contracts.readiness import JobReadiness, Readiness
from app.contracts.stored import BulkOutcome, Page, Stored
from app.security import Holder, Role
from app.services import jobs
from app.services.workshop import Workshop
from app.store.kinds import JOBS
from app.store.listing import Query as Listing
from app.store.store import View, Work


class _Jobs(Thing[PostedJob]):
    """Jobs, which tell where they are to run, and what of them is planned or running already when they
    change.
    """

    @property
    def shown(self) -> type[ListedJob]:
        return ListedJob

    def listed(self, view: View, query: Listing) -> Page[Any]:
        return jobs.listed(view, query)

    def take(self, shop: Workshop, work: Work, items: Sequence[PostedJob], *, each: bool) -> BulkOutcome:
        return jobs.take(shop, work, items, each=each)

    def create(self, shop: Workshop, work: Work, item: PostedJob) -> Stored[PostedJob]:
        return jobs.create(shop, work, item)


THING = _Jobs(JOBS, "job", JobsAsked, examples.JOB)
_START = "When the plan begins, with an offset; absent: as the plant says, else the next full minute."


def job_routes(shop: Workshop) -> APIRouter:
    """Routes of jobs. Those with a word behind the job come before the job itself, which may have slashes."""
    router = THING.router
    add_many(shop, THING, router)
    add_list(shop, THING, router)
    add_create(shop, THING, router)
    _add_readiness(shop, router)
    _add_changes(shop, router)
    _add_detail(shop, router)
    add_remove(shop, THING, router)
    return router


def readiness_routes(shop: Workshop) -> APIRouter:
    """The state of the queue as a whole."""
    router = APIRouter(prefix="/api/v1/readiness", tags=["jobs"])

    @router.get(
        "",
        operation_id="read_readiness",
        summary="What the open jobs wait for",
        description="For every open job, or those named: which lines can run it and why others cannot, when "
        "its plates are there, what of it the plant does not know; and what the queue takes from the store.",
        response_model=Readiness,
    )
    def readiness(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        job: Annotated[tuple[Code, ...], Query(max_length=1000, description="These jobs alone.")] = (),
        start: Annotated[OffsetMoment | None, Query(description=_START)] = None,
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(jobs.readiness(shop, view, job, start)).response()

    return router


def _add_readiness(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "/{key:path}/readiness",
        operation_id="read_job_readiness",
        summary="What a job waits for",
        response_model=JobReadiness,
    )
    def job_readiness(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        key: Key,
        start: Annotated[OffsetMoment | None, Query(description=_START)] = None,
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(jobs.job_readiness(shop, view, key, start)).response()


def _add_changes(shop: Workshop, router: APIRouter) -> None:
    @router.post(
        "/{key:path}/quantities",
        operation_id="change_job_quantities",
        summary="Change quantities of a job",
        description="The answer says which sequences hold the job and where it runs already.",
        response_model=JobChanged,
        responses=problems(CONFLICT),
    )
    def change_quantities(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        key: Key,
        only_if: Annotated[Condition, condition_of_change()],
        change: Annotated[QuantityChange, body(QuantityChange, examples={"more": examples.QUANTITIES})],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            changed = jobs.change_quantities(shop, work, key, change, only_if.require)
        return answer(changed, version=changed.job.version).response()

    @router.put(
        "/{key:path}/status",
        operation_id="change_job_status",
        summary="Cancel a job, call it finished, or open it again",
        description="The answer says which sequences hold the job and where it runs already.",
        response_model=JobChanged,
        responses=problems(CONFLICT),
    )
    def change_status(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        key: Key,
        only_if: Annotated[Condition, condition_of_change()],
        change: Annotated[StatusChange, body(StatusChange, examples={"cancel": examples.CANCELLED})],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            changed = jobs.change_status(work, key, change, only_if.require)
        return answer(changed, version=changed.job.version).response()

    @router.put(
        "/{key:path}",
        operation_id="put_job",
        summary="Change a job, or create it",
        description="The answer says which sequences hold the job and where it runs already.",
        response_model=JobChanged,
        responses=problems(CONFLICT),
    )
    def put(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        key: Key,
        only_if: Annotated[Condition, condition_of_change()],
        job: Annotated[PostedJob, body(PostedJob, examples={"job": examples.JOB}, only_offsets=True)],
    ) -> Response:
        refuse_other_key(JOBS, key, job)
        with shop.store.writing(actor(who, request)) as work:
            changed = jobs.put(shop, work, job, only_if.require)
        return answer(changed, version=changed.job.version).response()


def _add_detail(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "/{key:path}",
        operation_id="read_job",
        summary="Read a job, where it is released, where it is planned and where it runs",
        response_model=JobDetail,
    )
    def read(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        key: Key,
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            found = jobs.detail(view, key)
        return answer(found, version=found.version).response()
