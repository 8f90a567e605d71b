"""Why a request cannot be worked out, as answers over HTTP would tell it."""

from __future__ import annotations

from typing import Final

from app.contracts.planning_requests import RequestProblem
from app.contracts.stored import Refusal
from app.errors import BadInput, Fault, NothingCanRun, RunwrightError

FIELDS: Final = ("/problems/fields", "Fields are not as they should be")
NOTHING_RUNS: Final = ("/problems/nothing-can-run", "No job can run")
INTERNAL: Final = ("/problems/internal", "Something went wrong here")
OUT_OF_TIME: Final = ("/problems/out-of-time", "There was no order yet when its time was over")


def problem_of(error: Exception) -> RequestProblem:
    """What is told of an error; of one that nobody foresaw nothing but that it happened."""
    match error:
        case BadInput():
            detail = f"{len(error.faults)} of what was asked is not as it should be; see errors."
            return _problem(FIELDS, detail, tuple(map(_refusal, error.faults)))
        case NothingCanRun():
            errors = tuple(Refusal(right=reason) for reason in error.reasons)
            return _problem(NOTHING_RUNS, str(error).splitlines()[0], errors)
        case RunwrightError():
            return _problem(INTERNAL, str(error))
        case _:
            return _problem(INTERNAL, "The log of the worker has more of it, under the id of the request.")


def out_of_time(limit_s: float) -> RequestProblem:
    """That nothing was found in time."""
    return _problem(OUT_OF_TIME, f"It was ended after {limit_s:g} s. Allow it more, and send it again.")


def _problem(kind: tuple[str, str], detail: str, errors: tuple[Refusal, ...] = ()) -> RequestProblem:
    type, title = kind
    return RequestProblem(type=type, title=title, detail=detail, errors=errors)


def _refusal(fault: Fault) -> Refusal:
    return Refusal(field=fault.field, value=fault.value, right=fault.right)


INTERNAL_FAULT: Final = problem_of(RuntimeError())
"""What is told of what nobody foresaw."""
