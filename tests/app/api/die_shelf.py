"""A small resource in memory, written as routers are: for what is tested of no resource in particular."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query
from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from app.api.access import access, require_line
from app.api.answers import Answer, answer, not_modified
from app.api.bodies import body
from app.api.conditions import Condition, condition_of_change, condition_of_reading
from app.api.idempotency import KeptAnswer, Repeatable, answered, repeatable
from app.api.listing import ListAsked
from app.api.paging import next_link
from app.api.problems import CONFLICT, problems
from app.contracts.base import ZERO, Code, Contract, Count, Metres, Millimetres
from app.contracts.cursors import Cursor, read_cursor
from app.errors import NotStored, VersionConflict
from app.security import Holder, Role

EXAMPLE = {"code": "D-17", "repeat_mm": 304.8, "across": 3}
DIES = "/api/v1/dies"


class ShelfDie(Contract):
    """A die of the shelf."""

    code: Code = Field(description="Its code.")
    repeat_mm: Millimetres = Field(description="Its circumference.")
    across: Count = Field(default=1, description="Labels side by side.")
    worn_m: Metres = Field(default=ZERO, description="Metres it has cut.")


class StoredShelfDie(ShelfDie):
    """A die as it is kept."""

    version: Count = Field(description="Ours, raised by every change.")


class ShelfDiePage(Contract):
    """A page of dies."""

    items: tuple[StoredShelfDie, ...]
    next: str | None = Field(default=None, description="Cursor of the next page.")


class ShelfDies(Contract):
    """Many dies at once."""

    items: tuple[ShelfDie, ...] = Field(max_length=1000, description="Up to 1,000 dies.")


class ShelfDieCount(Contract):
    """How many dies were taken."""

    taken: int


class AnswersInMemory:
    """Kept answers to one holder."""

    def __init__(self) -> None:
        self.answers: dict[str, KeptAnswer] = {}

    def kept(self, key: str) -> KeptAnswer | None:
        return self.answers.get(key)

    def keep(self, key: str, kept: KeptAnswer) -> None:
        self.answers[key] = kept


class DieShelf:
    """Dies in memory."""

    def __init__(self) -> None:
        self.dies: dict[str, StoredShelfDie] = {}
        self.answers = AnswersInMemory()

    def read(self, code: str) -> StoredShelfDie:
        if code not in self.dies:
            raise NotStored("dies", code)
        return self.dies[code]

    def create(self, die: ShelfDie) -> StoredShelfDie:
        if die.code in self.dies:
            raise VersionConflict("dies", die.code, None, self.dies[die.code].version)
        return self._put(die, 1)

    def replace(
        self, code: str, die: ShelfDie, require: Callable[[int | None], int | None]
    ) -> StoredShelfDie:
        stored = self.dies.get(code)
        version = require(stored.version if stored else None)
        return self._put(die, (version or 0) + 1)

    def listed(self, page: ListAsked) -> ShelfDiePage:
        search = page.search or ""
        listed = f"dies by code, {search}"
        after = str(read_cursor(page.cursor, listed).after[0]) if page.cursor else ""
        found = [die for code, die in sorted(self.dies.items()) if code.startswith(search) and code > after]
        items = tuple(found[: page.limit])
        more = len(found) > page.limit
        return ShelfDiePage(items=items, next=Cursor(listed, (items[-1].code,)).text() if more else None)

    def _put(self, die: ShelfDie, version: int) -> StoredShelfDie:
        self.dies[die.code] = StoredShelfDie(**die.model_dump(), version=version)
        return self.dies[die.code]


def die_routes(shelf: DieShelf) -> APIRouter:
    router = APIRouter(prefix=DIES, tags=["dies"])

    @router.get("", operation_id="list_dies", response_model=ShelfDiePage)
    def list_dies(
        request: Request,
        who: Annotated[Holder, access(Role.INTEGRATION, Role.PRESS)],
        page: Annotated[ListAsked, Query()],
    ) -> Response:
        found = shelf.listed(page)
        return answer(found, headers=next_link(request, found.next)).response()

    @router.get("/{code}", operation_id="read_die", response_model=StoredShelfDie)
    def read_die(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        code: Code,
        known: Annotated[Condition, condition_of_reading()],
    ) -> Response:
        stored = shelf.read(code)
        if known.unchanged(stored.version):
            return not_modified(stored.version).response()
        return answer(stored, version=stored.version).response()

    @router.put("/{code}", operation_id="replace_die", response_model=StoredShelfDie)
    def replace_die(
        who: Annotated[Holder, access(Role.SUPERVISOR)],
        code: Code,
        only_if: Annotated[Condition, condition_of_change()],
        die: Annotated[ShelfDie, body(ShelfDie, examples={"flexible": EXAMPLE})],
    ) -> Response:
        stored = shelf.replace(code, die, only_if.require)
        return answer(stored, version=stored.version).response()

    @router.post("", operation_id="create_die", status_code=201, response_model=StoredShelfDie)
    def create_die(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        once: Annotated[Repeatable, repeatable()],
        die: Annotated[ShelfDie, body(ShelfDie, examples={"flexible": EXAMPLE})],
    ) -> Response:
        def act() -> Answer:
            stored = shelf.create(die)
            where = f"{DIES}/{quote(stored.code, safe='')}"
            return answer(stored, 201, version=stored.version, location=where)

        return answered(once, shelf.answers, act).response()

    @router.post(
        "/bulk",
        operation_id="post_dies",
        response_model=ShelfDieCount,
        responses=problems(CONFLICT),
    )
    def post_dies(
        who: Annotated[Holder, access(Role.INTEGRATION)],
        dies: Annotated[ShelfDies, body(ShelfDies)],
    ) -> Response:
        for die in dies.items:
            shelf.create(die)
        return answer(ShelfDieCount(taken=len(dies.items))).response()

    @router.get("/on/{line}", operation_id="dies_on", response_model=ShelfDiePage)
    def dies_on(who: Annotated[Holder, access(Role.PRESS, Role.SCHEDULER)], line: Code) -> Response:
        require_line(who, line)
        return answer(ShelfDiePage(items=())).response()

    @router.get("/broken/now", operation_id="break", response_model=ShelfDieCount)
    def break_down(who: Annotated[Holder, access(Role.ADMIN)]) -> Response:
        raise ZeroDivisionError("secret inner working")

    return router
