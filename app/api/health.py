"""Whether the service lives, can answer, and how it does."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from fastapi import APIRouter
from pydantic import Field
from starlette.responses import Response

from app.api.access import access
from app.api.problems import UNAVAILABLE, problems
from app.contracts.base import Contract
from app.errors import Unavailable
from app.security import Role
from app.telemetry import RequestFigures


class Readiness(Protocol):
    """Tells whether all that is needed is there."""

    def faults(self) -> Sequence[str]:
        """What keeps the service from answering, in words; nothing if all is well. May take a while."""


class Health(Contract):
    """That the service lives."""

    status: str = Field(description="ok or ready.", examples=["ok"])


ALIVE, READY = "/healthz", "/readyz"


def health_routes(readiness: Readiness, figures: RequestFigures) -> APIRouter:
    """Routes for those who keep the service running."""
    router = APIRouter(tags=["operation"])

    @router.get(ALIVE, operation_id="alive", summary="Whether the process lives")
    async def alive() -> Health:
        return Health(status="ok")

    @router.get(
        READY,
        operation_id="ready",
        summary="Whether requests can be answered",
        description="Asks the database, and whether its tables are of the program's version.",
        responses=problems(UNAVAILABLE),
    )
    def ready() -> Health:
        faults = readiness.faults()
        if faults:
            raise Unavailable(" ".join(faults))
        return Health(status="ready")

    @router.get(
        "/metrics",
        operation_id="metrics",
        summary="Figures for Prometheus",
        dependencies=[access(Role.SUPERVISOR)],
        response_class=Response,
        responses={200: {"content": {"text/plain": {"schema": {"type": "string"}}}}},
    )
    def metrics() -> Response:
        return Response(figures.text(), media_type=figures.media_type)

    return router
