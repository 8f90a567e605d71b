"""What happens to a planning request, as a stream of events."""

from typing import Annotated, Any

from fastapi import APIRouter, Header, Request
from starlette.responses import Response

from app.api import examples
from app.api.access import Gate, access
from app.api.event_stream import EVENT_STREAM, PROGRESS, EventStreams
from app.contracts.base import Code, Contract, PlainSchema
from app.contracts.planning_requests import EventKind, RequestEvent, RequestProgress
from app.security import Holder, Role
from app.services.request_stories import PLACE_PATTERN, Place

PATH = "/api/v1/planning-requests"
TAG = "planning requests"

_LastEventId = Annotated[
    str | None,
    Header(
        alias="Last-Event-ID",
        pattern=PLACE_PATTERN,
        description="The id of the last event that arrived: the stream goes on behind it. Absent: it begins "
        "with the first.",
    ),
]


def _alone(contract: type[Contract]) -> dict[str, Any]:
    """The schema of a contract without references: an item of a stream is described where it stands."""
    schema = contract.model_json_schema(mode="serialization", schema_generator=PlainSchema)
    parts = schema.pop("$defs", {})
    schema["properties"] = {
        name: parts[field["$ref"].rpartition("/")[2]] | {"description": field["description"]}
        if "$ref" in field
        else field
        for name, field in schema["properties"].items()
    }
    return schema


_EVENT = {
    "type": "object",
    "properties": {
        "event": {"type": "string", "enum": [*EventKind, PROGRESS]},
        "id": {"type": "string", "pattern": PLACE_PATTERN},
        "data": {
            "type": "string",
            "contentMediaType": "application/json",
            "contentSchema": {"anyOf": [_alone(RequestEvent), _alone(RequestProgress)]},
        },
        "retry": {"type": "integer"},
    },
}
"""An event as OpenAPI 3.2 describes those of a stream; who reads 3.1 takes the whole as a text."""

_ANSWERS: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The events, until the request is over.",
        "content": {
            EVENT_STREAM: {"schema": {"type": "string"}, "itemSchema": _EVENT, "example": examples.EVENTS}
        },
    },
    204: {"description": "The request is over and its last event has arrived: there is nothing to ask for."},
}


def event_routes(streams: EventStreams) -> APIRouter:
    """The route of a request's events."""
    router = APIRouter(prefix=PATH, tags=[TAG])

    @router.get(
        "/{id}/events",
        operation_id="follow_planning_request",
        summary="Follow a planning request: server-sent events",
        description="An event is called by what happened (`queued`, `started`, `retried`, "
        "`cancel-requested`, `finished`, `cancelled`, `failed`, `dead`; its data a RequestEvent) or "
        "`progress` (a RequestProgress). Each has an id: send the last one as `Last-Event-ID`, as browsers "
        "do, and the stream goes on behind it: every event once and in order, of progress the newest. A "
        "comment comes every 15 s where nothing happens. The stream ends behind the last event of a request "
        "that is over, when the key opens nothing any more, and when the service stops.",
        response_class=Response,
        responses=_ANSWERS,
    )
    async def events(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION)],
        id: Code,
        last_event_id: _LastEventId = None,
    ) -> Response:
        gate: Gate = request.app.state.gate
        place = Place() if last_event_id is None else Place.read(last_event_id)
        return await streams.answer(who.plant, id, place, lambda: gate.still_opens(request))

    return router
