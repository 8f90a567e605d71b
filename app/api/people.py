"""Users, keys and the audit: who may do what, and who did."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from app.api import examples
from app.api.access import access
from app.api.answers import answer
from app.api.bodies import body
from app.api.listing import UsersAsked
from app.api.paging import next_link
from app.api.requests import actor
from app.api.things import Thing, add_create, add_list, add_put, add_read, add_remove
from app.contracts.base import Code, OffsetMoment
from app.contracts.people import AskedKey, AuditEntry, KeyMade, KeyShown
from app.contracts.stored import MOST_A_PAGE, USUAL_PAGE, Page
from app.security import Holder, Role
from app.services import keys
from app.services.workshop import Workshop
from app.store import audit
from app.store.kinds import USERS
from app.store.listing import Query as Listing

KEYS = "/api/v1/keys"


class AuditAsked(BaseModel):
    """Which changes are asked for."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    limit: int = Field(default=USUAL_PAGE, ge=1, le=MOST_A_PAGE, description="Entries at most.")
    cursor: str | None = Field(default=None, max_length=2000, description="next_cursor of the page before.")
    resource: Code | None = Field(default=None, description="Of this resource, such as jobs.")
    key: Code | None = Field(default=None, description="Of what has this number or name.")
    actor: Code | None = Field(default=None, description="Made with this key or by this user.")
    since: OffsetMoment | None = Field(default=None, description="Made then or later.")
    until: OffsetMoment | None = Field(default=None, description="Made before then.")

    @property
    def query(self) -> Listing:
        """The same for the store."""
        page = {"limit", "cursor"}
        filters = {name: value for name, value in self if name not in page and value is not None}
        return Listing(filters, cursor=self.cursor, limit=self.limit)


def user_routes(shop: Workshop) -> APIRouter:
    """Routes of users."""
    thing = Thing(USERS, "user", UsersAsked, examples.USER, writes=(Role.ADMIN,), reads=(Role.ADMIN,))
    router = thing.router
    add_list(shop, thing, router)
    add_create(shop, thing, router)
    add_read(shop, thing, router)
    add_put(shop, thing, router)
    add_remove(shop, thing, router)
    return router


def key_routes(shop: Workshop) -> APIRouter:
    """Routes of keys."""
    router = APIRouter(prefix=KEYS, tags=["keys"])

    @router.get("", operation_id="list_keys", summary="List keys", response_model=Page[KeyShown])
    def listed(who: Annotated[Holder, access(Role.ADMIN)]) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(Page[KeyShown](items=keys.listed(view), next_cursor=None)).response()

    @router.post(
        "",
        operation_id="create_key",
        summary="Make a key",
        description="The answer holds it whole, this once; only its hash is kept.",
        status_code=201,
        response_model=KeyMade,
    )
    def create(
        request: Request,
        who: Annotated[Holder, access(Role.ADMIN)],
        asked: Annotated[AskedKey, body(AskedKey, examples={"MIS": examples.KEY})],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            made = keys.create(work, asked)
        return answer(made, 201, location=f"{KEYS}/{made.shown.id}").response()

    @router.delete("/{key_id}", operation_id="revoke_key", summary="Take a key back", response_model=KeyShown)
    def revoke(request: Request, who: Annotated[Holder, access(Role.ADMIN)], key_id: Code) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            shown = keys.revoke(work, key_id)
        request.app.state.gate.doorkeeper.forget(key_id)
        return answer(shown).response()

    return router


def audit_routes(shop: Workshop) -> APIRouter:
    """Routes of the audit."""
    router = APIRouter(prefix="/api/v1/audit", tags=["audit"])

    @router.get(
        "",
        operation_id="list_audit",
        summary="Who changed what from what to what, the latest first",
        response_model=Page[AuditEntry],
    )
    def listed(
        request: Request,
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        asked: Annotated[AuditAsked, Query()],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            found = audit.entries(view, asked.query)
        return answer(found, headers=next_link(request, found.next_cursor)).response()

    return router
