"""`ETag`, `If-Match`, `If-None-Match` (RFC 9110): who changes something names the version that was read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Header

from app.api.problems import MALFORMED, UNCONDITIONAL, VERSION, Refusal

_TAG = re.compile(r'\s*(W/)?"([\x21\x23-\x7e\x80-\xff]*)"\s*(?:,|$)')
_TAGS_PATTERN = r'^(\*|(W/)?"[!#-~]*"(, ?(W/)?"[!#-~]*")*)$'
"""Such a list for who reads OpenAPI."""


def etag(version: int) -> str:
    """The `ETag` of a stored version."""
    return f'"{version}"'


@dataclass(frozen=True, slots=True)
class Tags:
    """What a conditional header names: any version, or some."""

    any: bool = False
    strong: frozenset[str] = frozenset()
    weak: frozenset[str] = frozenset()

    def match(self, version: int | None) -> bool:
        """Whether the stored version is one of them and no weak one (strong comparison)."""
        return version is not None and (self.any or str(version) in self.strong)

    def match_weakly(self, version: int | None) -> bool:
        """Whether it is one of them, weak ones too (weak comparison)."""
        return self.match(version) or (version is not None and str(version) in self.weak)


def read_tags(header: str, text: str) -> Tags:
    """A list of entity tags, or `*`.

    Raises
    ------
    Refusal
        400, if it is neither.
    """
    if text.strip() == "*":
        return Tags(any=True)
    strong: set[str] = set()
    weak: set[str] = set()
    at = 0
    while at < len(text):
        match = _TAG.match(text, at)
        if match is None:
            break
        (weak if match[1] else strong).add(match[2])
        at = match.end()
    if at < len(text) or not (strong or weak):
        raise Refusal(MALFORMED, f'{header} should be * or ETags in quotation marks, such as "7".')
    return Tags(strong=frozenset(strong), weak=frozenset(weak))


@dataclass(frozen=True, slots=True)
class Condition:
    """Under which condition a request is to be done."""

    if_match: Tags | None = None
    if_none_match: Tags | None = None

    def require(self, stored: int | None) -> int | None:
        """Check the condition of a change against the version that is stored, None where nothing is.

        Gives the version back, to be changed only if it still is that one.

        Raises
        ------
        Refusal
            428, if something is stored and no version is named; 412, if it is at another one.
        """
        if self.if_match is not None and not self.if_match.match(stored):
            now = "Nothing is stored here" if stored is None else f"It is at version {stored} now"
            raise Refusal(VERSION, f"{now}; read it again, then repeat the change.")
        if self.if_none_match is not None and self.if_none_match.match_weakly(stored):
            raise Refusal(VERSION, f"It is there already, at version {stored}.")
        if self.if_match is None and self.if_none_match is None and stored is not None:
            raise Refusal(
                UNCONDITIONAL, f"Send If-Match with the ETag that was read; stored is version {stored}."
            )
        return stored

    def wanted(self) -> int | None:
        """The one version that the change is meant for; None: it must not be there yet.

        For a change that the store checks by itself, where `require` would have to read first.

        Raises
        ------
        Refusal
            428, if no condition is sent or it names no single version; 412, for a weak tag or one that is
            not of ours, which match nothing.
        """
        if self.if_none_match is not None and self.if_match is None and self.if_none_match.any:
            return None
        if self.if_match is None or self.if_match.any or len(self.if_match.strong | self.if_match.weak) != 1:
            raise Refusal(UNCONDITIONAL, "Send If-Match with the one ETag that was read.")
        tag = next(iter(self.if_match.strong), "")
        if not tag.isdecimal() or len(tag) > _LONGEST_VERSION:
            raise Refusal(VERSION, "If-Match names no version of this; read it again.")
        return int(tag)

    def unchanged(self, stored: int) -> bool:
        """Whether who reads has this version already: the answer is then 304."""
        return self.if_none_match is not None and self.if_none_match.match_weakly(stored)


_LONGEST_VERSION = 18


def _condition_of_change(
    if_match: Annotated[
        str | None,
        Header(
            description='The ETag that was read, such as "7"; needed to change what is stored.',
            json_schema_extra={"pattern": _TAGS_PATTERN},
        ),
    ] = None,
    if_none_match: Annotated[
        str | None,
        Header(
            description="* to make it anew: refused if it is there already.",
            json_schema_extra={"pattern": _TAGS_PATTERN},
        ),
    ] = None,
) -> Condition:
    return _condition(if_match, if_none_match)


def _condition_of_reading(
    if_none_match: Annotated[
        str | None,
        Header(
            description="ETags that one has; the answer is 304 if one of them still holds.",
            json_schema_extra={"pattern": _TAGS_PATTERN},
        ),
    ] = None,
) -> Condition:
    return _condition(None, if_none_match)


def _condition(if_match: str | None, if_none_match: str | None) -> Condition:
    return Condition(
        None if if_match is None else read_tags("If-Match", if_match),
        None if if_none_match is None else read_tags("If-None-Match", if_none_match),
    )


def condition_of_change() -> Any:
    """Declare that a route changes a version: `only_if: Annotated[Condition, condition_of_change()]`."""
    return Depends(_condition_of_change)


def condition_of_reading() -> Any:
    """Declare that a route answers 304: `known: Annotated[Condition, condition_of_reading()]`."""
    return Depends(_condition_of_reading)
