"""Who may do what: users, keys, and the record of what they changed."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from app.contracts.base import Code, Contract, OffsetMoment
from app.security import Role


class _OfLine(Contract):
    role: Role = Field(description="What it may do.")
    line: Code | None = Field(default=None, description="Of the role press: the line it stands at.")

    @model_validator(mode="after")
    def _line_of_press(self) -> Self:
        if (self.role is Role.PRESS) != (self.line is not None):
            raise PydanticCustomError("line", "line should be given for the role press, and for no other")
        return self


class User(_OfLine):
    """A person."""

    name: Code = Field(description="What they sign in as.")
    full_name: str = Field(default="", max_length=200, description="What people call them.")
    active: bool = Field(default=True, description="Whether their keys open anything.")


class AskedKey(_OfLine):
    """A key to be made."""

    name: Code = Field(description="What it is for, such as MIS or line screen H1.")
    user: Code | None = Field(default=None, description="Whose it is; absent: a machine's.")
    expires_at: OffsetMoment | None = Field(
        default=None, description="From when on it opens nothing; absent: it does not end by itself."
    )


class KeyShown(_OfLine):
    """A key without its secret."""

    id: str = Field(description="The part of the key that may be seen.")
    name: str = Field(description="What it is for.")
    user: str | None = Field(description="Whose it is; none: a machine's.")
    created_at: datetime = Field(description="When it was made.")
    expires_at: datetime | None = Field(description="When it ends; none: it does not by itself.")
    revoked_at: datetime | None = Field(description="When it was taken back; none: it was not.")
    last_used_at: datetime | None = Field(description="When it opened something last, to the day.")


class KeyMade(Contract):
    """A new key, with its secret: it is shown this once."""

    key: str = Field(description="What to send as Authorization: Bearer …; it cannot be read again.")
    shown: KeyShown = Field(description="What can be read of it later.")


class AuditEntry(Contract):
    """A change: who made it, of what, from what to what."""

    id: int = Field(description="Counts up.")
    at: datetime = Field(description="When.")
    actor: str = Field(description="The key or user that made it.")
    action: str = Field(description="created, updated, removed, cancelled …")
    resource: str = Field(description="jobs, rolls, dies …")
    key: str = Field(description="Which of them.")
    before: dict[str, Any] | None = Field(description="What it was; none: it was not there.")
    after: dict[str, Any] | None = Field(description="What it is; none: it is gone.")
    request_id: str | None = Field(description="The request that made it.")
