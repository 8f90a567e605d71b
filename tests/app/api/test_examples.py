"""Every example of the description is what it is an example of."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi import APIRouter

from app.api.actuals import actual_routes
from app.api.jobs import job_routes
from app.api.people import key_routes, user_routes
from app.api.planning_requests import planning_request_routes
from app.api.plant import line_routes, plant_routes
from app.api.releases import release_routes
from app.api.resources import stock_and_tool_routes
from app.api.routes import Declaration, declarations
from app.api.sequences import sequence_routes


def described() -> list[Declaration]:
    """Routes that take a JSON body. Nothing is asked of them, so no store is behind them."""
    nothing: Any = None
    routers: tuple[APIRouter, ...] = (
        job_routes(nothing),
        *stock_and_tool_routes(nothing),
        plant_routes(nothing),
        line_routes(nothing),
        sequence_routes(nothing),
        release_routes(nothing),
        planning_request_routes(nothing, 3, nothing),
        actual_routes(nothing),
        user_routes(nothing),
        key_routes(nothing),
    )
    return [route for router in routers for route in declarations([router]) if route.body is not None]


@pytest.mark.parametrize("route", described(), ids=str)
def test_an_example_is_a_body_that_is_taken(route: Declaration) -> None:
    body = route.body
    assert body is not None
    assert body.examples, route
    for example in body.examples.values():
        body.contract.model_validate(example)
