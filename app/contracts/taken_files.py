"""What became of a file that was sent."""

from __future__ import annotations

from pydantic import Field

from app.contracts.base import Code, Contract


class FileTaken(Contract):
    """What a file changed, and what was assumed in reading it."""

    created: int = Field(ge=0, description="Things that were new.")
    updated: int = Field(ge=0, description="Things that were changed.")
    removed: int = Field(ge=0, description="Things that are there no more.")
    jobs: tuple[Code, ...] = Field(default=(), description="Of a job list: the jobs it names, in its order.")
    notes: tuple[str, ...] = Field(description="What was assumed, and what is still missing.")
