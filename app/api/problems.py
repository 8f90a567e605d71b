"""Every error as `application/problem+json` (RFC 9457): one table says which error is what.

`type` is `/problems/<slug>`, `instance` the id of the request, `errors` every fault of what was sent at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from fastapi.exceptions import RequestValidationError
from pydantic import Field
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from app.api.visits import visit_of
from app.contracts.base import Contract
from app.contracts.faults import fault_of
from app.errors import (
    BadInput,
    Conflict,
    Fault,
    NotAllowed,
    NothingCanRun,
    NotMigrated,
    NotStored,
    OlderRevision,
    RunwrightError,
    StoreError,
    Unavailable,
    VersionConflict,
)
from app.security import KeyRefused

PROBLEM_JSON = "application/problem+json"

MOST_ERRORS_TOLD = 200
"""So many faults are enough to mend before the rest are looked at."""

_LONGEST_VALUE = 200


class FieldError(Contract):
    """One fault of what was sent."""

    field: str | None = Field(
        default=None,
        description="Where: a path into the body such as items[3].versions[0].quantity, or query.limit, "
        "path.job, header.if-match.",
        examples=["items[3].versions[0].quantity"],
    )
    row: int | None = Field(
        default=None, description="Row of a file, counted as a spreadsheet counts: the heading is row 1."
    )
    value: str | None = Field(
        default=None, description="What was found there, as text; absent where nothing was.", examples=["0"]
    )
    right: str = Field(description="What would be right.", examples=["should be greater than or equal to 1"])


class Problem(Contract):
    """Why a request was not done, after RFC 9457. Nothing of it was done."""

    type: str = Field(description="Which problem: /problems/ and its name.", examples=["/problems/fields"])
    title: str = Field(description="The same in words, alike for every such problem.")
    status: int = Field(description="The status of the answer.", ge=400, le=599, examples=[422])
    detail: str = Field(description="What happened this time, and what would be right.")
    instance: str = Field(description="The id of the request, as logs have it.")
    errors: tuple[FieldError, ...] = Field(
        default=(), description="Every fault of what was sent, as far as one look finds them."
    )


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of problem: its name in `type`, its status, its title."""

    slug: str
    status: int
    title: str

    @property
    def type(self) -> str:
        return f"/problems/{self.slug}"


MALFORMED = Kind("malformed", 400, "The request cannot be read")
NO_KEY = Kind("key", 401, "A key is needed that is known here")
ROLE = Kind("role", 403, "The key's role does not allow this")
NOT_FOUND = Kind("not-found", 404, "There is nothing here")
METHOD = Kind("method", 405, "This cannot be done here")
CONFLICT = Kind("conflict", 409, "What is stored speaks against it")
VERSION = Kind("version", 412, "It was changed meanwhile")
TOO_LARGE = Kind("too-large", 413, "The body is too large")
MEDIA_TYPE = Kind("media-type", 415, "The body is of a kind that is not taken")
FIELDS = Kind("fields", 422, "Fields are not as they should be")
NOTHING_RUNS = Kind("nothing-can-run", 422, "No job can run")
KEY_REUSED = Kind("idempotency-key-reused", 422, "The Idempotency-Key was used for something else")
UNCONDITIONAL = Kind("precondition-required", 428, "The version that is to be changed must be named")
TOO_MANY = Kind("too-many-requests", 429, "Too many requests")
INTERNAL = Kind("internal", 500, "Something went wrong here")
UNAVAILABLE = Kind("unavailable", 503, "Not able to answer now")

KINDS = (
    MALFORMED,
    NO_KEY,
    ROLE,
    NOT_FOUND,
    METHOD,
    CONFLICT,
    VERSION,
    TOO_LARGE,
    MEDIA_TYPE,
    FIELDS,
    NOTHING_RUNS,
    KEY_REUSED,
    UNCONDITIONAL,
    TOO_MANY,
    INTERNAL,
    UNAVAILABLE,
)

_OF_STATUS = {kind.status: kind for kind in reversed(KINDS)}


class Refusal(RunwrightError):
    """What the web side itself refuses.

    Parameters
    ----------
    kind
        Which problem it is.
    detail
        What happened and what would be right.
    headers
        Headers the answer has to carry.
    """

    def __init__(self, kind: Kind, detail: str, headers: Mapping[str, str] | None = None) -> None:
        self.kind = kind
        self.headers = dict(headers or {})
        super().__init__(detail)


_KIND_OF: tuple[tuple[type[RunwrightError], Kind], ...] = (
    (BadInput, FIELDS),
    (NothingCanRun, NOTHING_RUNS),
    (KeyRefused, NO_KEY),
    (NotAllowed, ROLE),
    (NotStored, NOT_FOUND),
    (Conflict, CONFLICT),
    (OlderRevision, CONFLICT),
    (VersionConflict, VERSION),
    (NotMigrated, UNAVAILABLE),
    (Unavailable, UNAVAILABLE),
    (StoreError, UNAVAILABLE),
)
"""Which error of ours is which problem; the first that fits counts."""


@dataclass(frozen=True, slots=True)
class Told:
    """A problem as it is about to be told."""

    kind: Kind
    detail: str
    faults: tuple[Fault, ...] = ()
    headers: Mapping[str, str] = field(default_factory=dict)


def told(error: Exception) -> Told:
    """What is told of an error; of one that nobody foresaw nothing but that it happened."""
    match error:
        case Refusal():
            return Told(error.kind, str(error), headers=error.headers)
        case BadInput():
            return Told(FIELDS, _counted(len(error.faults)), error.faults)
        case KeyRefused():
            return Told(NO_KEY, str(error), headers={"WWW-Authenticate": _CHALLENGE})
        case Unavailable():
            return Told(UNAVAILABLE, str(error), headers={"Retry-After": str(error.again_s)})
        case OlderRevision():
            return Told(CONFLICT, "Newer revisions than were sent are stored; see errors.", error.faults)
        case Conflict():
            return Told(CONFLICT, str(error), error.faults)
        case VersionConflict() if error.asked is None and error.current is not None:
            return Told(CONFLICT, str(error))
        case RunwrightError():
            return Told(_kind_of(error), str(error))
        case RequestValidationError():
            faults = tuple(_parameter_fault(details) for details in error.errors())
            return Told(FIELDS, _counted(len(faults)), faults)
        case HTTPException():
            return _told_by_framework(error)
        case _:
            return Told(INTERNAL, "The request was not done. Tell whoever runs this the id of the request.")


_CHALLENGE = 'Bearer realm="runwright"'


def _kind_of(error: RunwrightError) -> Kind:
    return next((kind for known, kind in _KIND_OF if isinstance(error, known)), INTERNAL)


def _counted(faults: int) -> str:
    if faults == 1:
        return "One thing is not as it should be; see errors."
    told_of = f" The first {MOST_ERRORS_TOLD} are told." if faults > MOST_ERRORS_TOLD else ""
    return f"{faults} things are not as they should be; see errors.{told_of}"


def _parameter_fault(details: Mapping[str, object]) -> Fault:
    return fault_of(details)  # type: ignore[arg-type]


def _told_by_framework(error: HTTPException) -> Told:
    kind = _OF_STATUS.get(error.status_code)
    if kind is None:
        kind = Kind(f"status-{error.status_code}", error.status_code, str(error.detail))
    detail = {404: "There is no such address.", 405: "The address is there, but not for this method."}
    return Told(kind, detail.get(error.status_code, str(error.detail)), headers=error.headers or {})


def problem_answer(request_id: str, what: Told) -> Response:
    """The answer for a problem."""
    body: dict[str, object] = {
        "type": what.kind.type,
        "title": what.kind.title,
        "status": what.kind.status,
        "detail": what.detail,
        "instance": request_id,
    }
    if what.faults:
        body["errors"] = [_field_error(fault) for fault in what.faults[:MOST_ERRORS_TOLD]]
    # Escapes beyond ASCII: what was found may hold half of a pair of surrogates, which is no UTF-8.
    return Response(json.dumps(body), what.kind.status, headers=dict(what.headers), media_type=PROBLEM_JSON)


def _field_error(fault: Fault) -> dict[str, object]:
    place = f"{fault.file}: {fault.field}" if fault.file and fault.field else fault.field or fault.file
    value = fault.value
    if value is not None and len(value) > _LONGEST_VALUE:
        value = f"{value[: _LONGEST_VALUE - 1]}…"
    told_of = {"field": place, "row": fault.row, "value": value, "right": fault.right}
    return {name: what for name, what in told_of.items() if what is not None}


async def answer_problem(request: Request, error: Exception) -> Response:
    """Handler of all errors that are foreseen."""
    return problem_answer(visit_of(request.scope).request_id, told(error))


def described(kinds: Iterable[Kind]) -> dict[str, object]:
    """Answers of OpenAPI for kinds of problems, by status."""
    by_status: dict[str, list[Kind]] = {}
    for kind in kinds:
        by_status.setdefault(str(kind.status), []).append(kind)
    return {
        status: {
            "description": "; or: ".join(
                dict.fromkeys(f"{kind.title} (`{kind.type}`)" for kind in of_status)
            ),
            "content": {
                PROBLEM_JSON: {
                    "schema": {"$ref": "#/components/schemas/Problem"},
                    "examples": {kind.slug: {"value": _example(kind)} for kind in of_status},
                }
            },
        }
        for status, of_status in sorted(by_status.items())
    }


def _example(kind: Kind) -> dict[str, object]:
    example: dict[str, object] = {
        "type": kind.type,
        "title": kind.title,
        "status": kind.status,
        "detail": _EXAMPLE_DETAIL.get(kind, kind.title + "."),
        "instance": "5f1c2a9e0b7d4c6a8e3f1029384756af",
    }
    if kind is FIELDS:
        example["errors"] = [
            {
                "field": "items[3].versions[0].quantity",
                "value": "0",
                "right": "should be greater than or equal to 1",
            }
        ]
    return example


_EXAMPLE_DETAIL = {
    FIELDS: "One thing is not as it should be; see errors.",
    NOT_FOUND: "dies has no “D-17”",
    NO_KEY: "This key has expired; ask for another.",
    ROLE: "This needs the role scheduler; the key has integration.",
    MALFORMED: "The body is not JSON: Expecting value in column 9 (line 2).",
    UNCONDITIONAL: "Send If-Match with the ETag that was read.",
    TOO_MANY: "More requests than agreed; ask again in 2 s.",
}


def problems(*kinds: Kind) -> dict[int | str, dict[str, object]]:
    """`responses=` of a route: problems beyond those that follow from how the route is declared."""
    return {int(status): answer for status, answer in described(kinds).items()}  # type: ignore[misc]
