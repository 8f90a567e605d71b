"""Schemas that are sent otherwise than they are answered, and names of generic ones."""

from __future__ import annotations

from typing import Annotated, Any, Generic, TypeVar

from fastapi import APIRouter
from pydantic import Field
from starlette.responses import Response

from app.api.access import access
from app.api.answers import answer
from app.api.application import Parts, create_app
from app.api.bodies import body
from app.contracts.base import ZERO, Contract, Metres
from app.security import Doorkeeper, Holder, Role
from app.settings import read_settings
from tests.app.api.conftest import Needs
from tests.app.api.key_shelf import KeyShelf


class Reel(Contract):
    """A reel."""

    length_m: Metres = Field(default=ZERO, description="How long it is.")


class Box(Contract):
    """A box of reels."""

    reels: tuple[Reel, ...] = Field(description="What is in it.")


Held = TypeVar("Held", bound=Contract)


class Kept(Contract, Generic[Held]):
    """Something with its version."""

    item: Held
    version: int


def _document() -> dict[str, Any]:
    router = APIRouter()

    @router.post("/api/v1/boxes", response_model=Kept[Box])
    def create(who: Annotated[Holder, access(Role.ADMIN)], box: Annotated[Box, body(Box)]) -> Response:
        return answer(Kept[Box](item=box, version=1)).response()

    app = create_app(read_settings({}), Parts(Doorkeeper(KeyShelf()), Needs()), [router])
    return app.openapi()


def test_what_is_sent_with_defaults_and_answered_in_full_has_two_schemas() -> None:
    schemas = _document()["components"]["schemas"]
    assert "required" not in schemas["ReelInput"]
    assert schemas["Reel"].get("required", []) in ([], ["length_m"])
    assert schemas["BoxInput"]["properties"]["reels"]["items"] == {"$ref": "#/components/schemas/ReelInput"}
    assert schemas["Box"]["properties"]["reels"]["items"] == {"$ref": "#/components/schemas/Reel"}


def test_generic_schemas_have_plain_names() -> None:
    document = _document()
    answered = document["paths"]["/api/v1/boxes"]["post"]["responses"]["200"]
    assert answered["content"]["application/json"]["schema"] == {"$ref": "#/components/schemas/KeptBox"}
