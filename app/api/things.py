"""Routes of a resource that is posted and kept under a key of its sender's: the same for every one of them.

Annotations are read when the routes are made, from the resource at hand, so they are not postponed here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Generic, TypeVar
from urllib.parse import quote

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from app.api.access import access
from app.api.answers import Answer, answer, not_modified
from app.api.bodies import body
from app.api.conditions import Condition, condition_of_change, condition_of_reading
from app.api.idempotency import Repeatable, answered, repeatable
from app.api.kept_answers import NewAnswers
from app.api.listing import ListAsked
from app.api.paging import next_link
from app.api.problems import CONFLICT, problems
from app.api.requests import actor
from app.contracts.base import Code, Contract
from app.contracts.stored import Bulk, BulkOutcome, Page, Stored
from app.errors import BadInput, Fault, NotStored
from app.security import Holder, Role
from app.services import records as things
from app.services.workshop import Workshop
from app.store import records
from app.store.kind import Kind
from app.store.listing import Query as Listing
from app.store.store import View, Work

Item = TypeVar("Item", bound=Contract)
Key = Annotated[Code, Path(description="Its number or name; it may have slashes.")]


@dataclass(frozen=True)
class Thing(Generic[Item]):
    """A resource as its routes offer it.

    Parameters
    ----------
    one
        One of it, in words: die.
    asked
        What its list may be asked for.
    example
        One of it, as it is posted.
    writes, reads
        Who may write it and read it.
    """

    kind: Kind[Item]
    one: str
    asked: type[ListAsked]
    example: Mapping[str, object]
    writes: tuple[Role, ...] = (Role.INTEGRATION,)
    reads: tuple[Role, ...] = (Role.INTEGRATION,)

    @property
    def router(self) -> APIRouter:
        """A router at its address, still without routes."""
        return APIRouter(prefix=self.path, tags=[self.kind.name])

    @property
    def path(self) -> str:
        return f"/api/v1/{self.kind.name}"

    def address(self, key: str) -> str:
        """Where one of it is read."""
        return f"{self.path}/{quote(key)}"

    def take(self, shop: Workshop, work: Work, items: Sequence[Item], *, each: bool) -> BulkOutcome:
        """Take many of it."""
        return things.take(shop, work, self.kind, items, each=each)

    def create(self, shop: Workshop, work: Work, item: Item) -> Stored[Item]:
        """Make one."""
        return things.create(shop, work, self.kind, item)

    def put(self, shop: Workshop, work: Work, item: Item, only_if: things.Condition) -> Stored[Item]:
        """Put one in place of another version, or make it."""
        return things.put(shop, work, self.kind, item, only_if)

    @property
    def shown(self) -> type[Contract]:
        """What a list shows of one of it."""
        return self.kind.stored

    def listed(self, view: View, query: Listing) -> Page[Any]:
        """A page of its list."""
        return records.listed(view, self.kind, query)

    def query(self, who: Holder, asked: ListAsked) -> Listing:
        """What of it a holder may list."""
        return asked.query

    def refuse_unreadable(self, who: Holder, item: Item) -> None:
        """Refuse a holder who may not read this one; raises `NotAllowed`."""

    def refuse_unwritable(self, view: View, who: Holder, items: Sequence[Item]) -> None:
        """Refuse a holder who may not write these; raises `NotAllowed`."""


def thing_routes(shop: Workshop, thing: Thing[Item]) -> APIRouter:
    """All routes of a resource about which there is nothing special."""
    router = thing.router
    add_many(shop, thing, router)
    add_list(shop, thing, router)
    add_create(shop, thing, router)
    add_read(shop, thing, router)
    add_put(shop, thing, router)
    add_remove(shop, thing, router)
    return router


def add_list(shop: Workshop, thing: Thing[Item], router: APIRouter) -> None:
    """The route that lists."""
    kind = thing.kind
    page: Any = Page[thing.shown]  # type: ignore[name-defined]
    asked_for: Any = Annotated[thing.asked, Query()]

    @router.get("", operation_id=f"list_{kind.name}", summary=f"List {kind.name}", response_model=page)
    def listed(request: Request, who: Annotated[Holder, access(*thing.reads)], asked: asked_for) -> Response:
        with shop.store.reading(who.plant) as view:
            found = thing.listed(view, thing.query(who, asked))
        return answer(found, headers=next_link(request, found.next_cursor)).response()


def add_read(shop: Workshop, thing: Thing[Item], router: APIRouter) -> None:
    """The route that reads one."""
    kind, one = thing.kind, thing.one

    @router.get(
        "/{key:path}", operation_id=f"read_{one}", summary=f"Read a {one}", response_model=kind.stored
    )
    def read(
        who: Annotated[Holder, access(*thing.reads)],
        key: Key,
        known: Annotated[Condition, condition_of_reading()],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            stored = records.read(view, kind, key)
        if stored is None:
            raise NotStored(kind.name, key)
        thing.refuse_unreadable(who, stored.item)
        if known.unchanged(stored.version):
            return not_modified(stored.version).response()
        return answer(stored, version=stored.version).response()


def add_many(shop: Workshop, thing: Thing[Item], router: APIRouter) -> None:
    """The route that takes many at once."""
    kind = thing.kind
    many: Any = Bulk[kind.contract]  # type: ignore[name-defined]
    examples = {"all or nothing": {"each": False, "items": [thing.example]}}

    @router.post(
        "/bulk",
        operation_id=f"take_{kind.name}",
        summary=f"Create or change many {kind.name}",
        description=f"Each is made if its {kind.key} is new, else changed. One whose revision is older than "
        "the stored one's is refused, one of the same revision changes nothing. What is not sent stays.",
        response_model=BulkOutcome,
        responses=problems(CONFLICT),
    )
    def take(
        request: Request,
        who: Annotated[Holder, access(*thing.writes)],
        once: Annotated[Repeatable, repeatable()],
        sent: Annotated[Any, body(many, examples=examples, only_offsets=True)],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            thing.refuse_unwritable(work, who, sent.items)

            def act() -> Answer:
                return answer(thing.take(shop, work, sent.items, each=sent.each))

            return answered(once, NewAnswers(work, who), act).response()


def add_create(shop: Workshop, thing: Thing[Item], router: APIRouter) -> None:
    """The route that makes one."""
    kind, one = thing.kind, thing.one

    @router.post(
        "",
        operation_id=f"create_{one}",
        summary=f"Create a {one}",
        status_code=201,
        response_model=kind.stored,
        responses=problems(CONFLICT),
    )
    def create(
        request: Request,
        who: Annotated[Holder, access(*thing.writes)],
        once: Annotated[Repeatable, repeatable()],
        sent: Annotated[Any, body(kind.contract, examples={one: thing.example}, only_offsets=True)],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            thing.refuse_unwritable(work, who, [sent])

            def act() -> Answer:
                stored = thing.create(shop, work, sent)
                location = thing.address(kind.key_of(sent))
                return answer(stored, 201, version=stored.version, location=location)

            return answered(once, NewAnswers(work, who), act).response()


def add_put(shop: Workshop, thing: Thing[Item], router: APIRouter) -> None:
    """The route that puts one in place of another version, or makes it."""
    kind, one = thing.kind, thing.one

    @router.put(
        "/{key:path}",
        operation_id=f"put_{one}",
        summary=f"Change a {one}, or create it",
        response_model=kind.stored,
        responses=problems(CONFLICT),
    )
    def put(
        request: Request,
        who: Annotated[Holder, access(*thing.writes)],
        key: Key,
        only_if: Annotated[Condition, condition_of_change()],
        sent: Annotated[Any, body(kind.contract, examples={one: thing.example}, only_offsets=True)],
    ) -> Response:
        refuse_other_key(kind, key, sent)
        with shop.store.writing(actor(who, request)) as work:
            thing.refuse_unwritable(work, who, [sent])
            stored = thing.put(shop, work, sent, only_if.require)
        return answer(stored, version=stored.version).response()


def add_remove(shop: Workshop, thing: Thing[Item], router: APIRouter) -> None:
    """The route that removes one."""
    kind, one = thing.kind, thing.one

    @router.delete(
        "/{key:path}",
        operation_id=f"remove_{one}",
        summary=f"Remove a {one}",
        status_code=204,
        responses=problems(CONFLICT),
    )
    def remove(
        request: Request,
        who: Annotated[Holder, access(*thing.writes)],
        key: Key,
        only_if: Annotated[Condition, condition_of_change()],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            things.remove(shop, work, kind, key, only_if.require)
        return Response(status_code=204)


def refuse_other_key(kind: Kind[Item], key: str, item: Item) -> None:
    """Refuse an item that calls itself otherwise than its address.

    Raises
    ------
    BadInput
        Naming the key.
    """
    if kind.key_of(item) != key:
        raise BadInput(
            [Fault(f"should be {key}, as in the address", field=kind.key, value=kind.key_of(item))]
        )
