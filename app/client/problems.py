"""What a service refuses, as an error of ours: the same message and exit code as of a plan made here."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import BaseModel, ConfigDict, ValidationError

from app.contracts.planning_requests import RequestProblem
from app.errors import BadInput, Conflict, Fault, NotAllowed, NothingCanRun, RunwrightError, Unavailable

NOTHING_RUNS = "/problems/nothing-can-run"
_NOT_AS_IT_SHOULD_BE = frozenset({400, 413, 415, 422})


class _FieldError(BaseModel):
    model_config = ConfigDict(extra="ignore")
    field: str | None = None
    row: int | None = None
    value: str | None = None
    right: str = ""


class _Problem(BaseModel):
    """A problem (RFC 9457) of whatever version of the service."""

    model_config = ConfigDict(extra="ignore")
    type: str = ""
    title: str = ""
    detail: str = ""
    errors: tuple[_FieldError, ...] = ()


def refusal(server: str, status: int, media_type: str, content: bytes) -> RunwrightError:
    """An answer that is none of success."""
    try:
        if not media_type.startswith("application/problem+json"):
            raise ValueError
        told = _Problem.model_validate_json(content)
    except (ValidationError, ValueError):
        return Unavailable(f"{server} answers with status {status}, and not as a service of Runwright does.")
    if told.type == NOTHING_RUNS:
        return NothingCanRun(_reasons(told))
    if told.errors or status in _NOT_AS_IT_SHOULD_BE:
        return BadInput(_faults(told) or [Fault(told.detail or told.title)])
    words = f"{told.title}. {told.detail}"
    if status in (401, 403):
        return NotAllowed(words)
    return Unavailable(words) if status >= 429 else Conflict(words)


def failure(problem: RequestProblem) -> RunwrightError:
    """Why a request came to nothing."""
    told = _Problem.model_validate(problem.model_dump())
    if told.type == NOTHING_RUNS:
        return NothingCanRun(_reasons(told))
    if told.errors:
        return BadInput(_faults(told))
    return Conflict(f"{told.title}. {told.detail}")


def _faults(told: _Problem) -> Sequence[Fault]:
    return [Fault(error.right, row=error.row, field=error.field, value=error.value) for error in told.errors]


def _reasons(told: _Problem) -> Sequence[str]:
    """Why no job can run: behind the first line of what happened, or each by itself."""
    return [*told.detail.splitlines()[1:], *(error.right for error in told.errors)]
