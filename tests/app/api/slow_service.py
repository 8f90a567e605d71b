"""A service with a slow route, as a process of its own; it prints its address, its key and what it does."""

from __future__ import annotations

import sys
import time
from typing import Annotated

import typer
from fastapi import APIRouter
from starlette.responses import Response

from app.api.access import access
from app.api.answers import answer
from app.api.application import Parts, create_app
from app.api.serving import address, listen, serve_one
from app.security import Doorkeeper, Holder, Role
from app.settings import read_settings
from app.telemetry import set_up_logs
from tests.app.api.conftest import Needs
from tests.app.api.die_shelf import ShelfDieCount
from tests.app.api.key_shelf import KeyShelf


def main(seconds: float, stop_within: str) -> None:
    settings = read_settings({}, port=0, stop_within=stop_within)
    set_up_logs(settings.log_level)
    keys, router = KeyShelf(), APIRouter()
    key = keys.issue(Role.ADMIN)

    @router.get("/slow")
    def slow(who: Annotated[Holder, access(Role.ADMIN)]) -> Response:
        typer.echo("begun")
        time.sleep(seconds)
        return answer(ShelfDieCount(taken=1)).response()

    parts = Parts(Doorkeeper(keys), Needs(), stop=lambda: typer.echo("closed"))
    with listen(settings) as listener:
        serve_one(
            create_app(settings, parts, [router]),
            settings,
            listener,
            lambda: typer.echo(f"{address(listener)} {key}"),
        )
    typer.echo("ended")


if __name__ == "__main__":
    main(float(sys.argv[1]), sys.argv[2])
