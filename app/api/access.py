"""Who may call a route. Every route says so; `create_app` refuses one that does not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import Depends
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from app.api.limits import RateLimit
from app.api.visits import visit_of
from app.errors import NotAllowed, Unavailable
from app.security import Doorkeeper, Holder, KeyRefused, KeyText, Role, read_key


@dataclass(frozen=True, slots=True)
class Gate:
    """What every route's access needs.

    Parameters
    ----------
    doorkeeper
        Tells the holder of a key.
    by_key
        Requests that a key may make.
    wrong_keys
        Keys that open nothing which an address may try.
    """

    doorkeeper: Doorkeeper
    by_key: RateLimit
    wrong_keys: RateLimit

    async def holder(self, request: Request) -> Holder:
        """Whoever asks.

        Raises
        ------
        KeyRefused
            If there is no key or it opens nothing.
        Refusal
            429, if the key was used too often or the address tried too many wrong ones.
        """
        sent = _sent_key(request)
        try:
            key = read_key(sent)
            holder = await self._admit(key)
        except KeyRefused:
            self.wrong_keys.require(request.client.host if request.client else "")
            raise
        self.by_key.require(key.public_id)
        return holder

    async def still_opens(self, request: Request) -> bool:
        """Whether the key of a request that was let in opens now, while it is being answered; it does as long
        as nobody can say otherwise.
        """
        try:
            await self._admit(read_key(_sent_key(request)))
        except KeyRefused:
            return False
        except Unavailable:
            return True
        return True

    async def _admit(self, key: KeyText) -> Holder:
        kept = self.doorkeeper.remembered(key)
        if kept is None:
            kept = await run_in_threadpool(self.doorkeeper.fetch, key)
        return self.doorkeeper.admit(key, kept)


def _sent_key(request: Request) -> str:
    sent = request.headers.get("authorization")
    if sent is None:
        raise KeyRefused("Send a key: Authorization: Bearer rw_…")
    scheme, _, text = sent.partition(" ")
    if scheme.lower() != "bearer":
        raise KeyRefused("Send the key as a bearer's: Authorization: Bearer rw_…")
    return text.strip()


class Access:
    """Lets holders of some roles through, and of every role that includes one of them."""

    def __init__(self, roles: tuple[Role, ...]) -> None:
        self.roles = roles
        self.allowed = frozenset(role for role in Role if any(role.includes(one) for one in roles))

    async def __call__(self, request: Request) -> Holder:
        gate: Gate = request.app.state.gate
        holder = await gate.holder(request)
        visit_of(request.scope).holder = holder
        if holder.role not in self.allowed:
            needed = " or ".join(role.value for role in self.roles)
            raise NotAllowed(f"This needs the role {needed}; the key has {holder.role.value}.")
        return holder


def access(*roles: Role) -> Any:
    """Declare who may call a route: `who: Annotated[Holder, access(Role.SCHEDULER)]`.

    A role lets in every role that includes it. Put it before the body, so that strangers' bodies stay unread.
    """
    if not roles:
        raise ValueError("say which role may call the route")
    return Depends(Access(roles))


def require_line(holder: Holder, line: str) -> None:
    """Refuse a press key that asks for another line than its own.

    Raises
    ------
    NotAllowed
        Naming the key's line.
    """
    if holder.line is not None and holder.line != line:
        raise NotAllowed(f"This key is of line “{holder.line}”, and works for no other.")
