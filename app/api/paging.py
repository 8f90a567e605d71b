"""Pages of a list: how many items, from where on, and where the next page is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import Depends, Query
from starlette.requests import Request

USUAL_ITEMS = 50
MOST_ITEMS = 200


@dataclass(frozen=True, slots=True)
class PageAsked:
    """Which page of a list is asked for.

    Parameters
    ----------
    limit
        Items at most.
    cursor
        The cursor of the page before, as it was told; None for the first page. The service checks it.
    """

    limit: int = USUAL_ITEMS
    cursor: str | None = None


def _page(
    limit: Annotated[int, Query(ge=1, le=MOST_ITEMS, description="Items at most.")] = USUAL_ITEMS,
    cursor: Annotated[
        str | None,
        Query(
            max_length=2000, description="Where to go on: `next` of the page before. Absent: the first page."
        ),
    ] = None,
) -> PageAsked:
    return PageAsked(limit, cursor)


def page_asked() -> Any:
    """Declare that a route lists: `page: Annotated[PageAsked, page_asked()]`."""
    return Depends(_page)


def next_link(request: Request, next_cursor: str | None) -> dict[str, str]:
    """The `Link` header to the next page (RFC 8288), with all filters as they were; empty on the last one."""
    if next_cursor is None:
        return {}
    kept = [(name, value) for name, value in request.query_params.multi_items() if name != "cursor"]
    return {"Link": f'<{request.url.path}?{urlencode([*kept, ("cursor", next_cursor)])}>; rel="next"'}
