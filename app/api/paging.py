"""Pages of a list: where the next one is."""

from __future__ import annotations

from urllib.parse import urlencode

from starlette.requests import Request


def next_link(request: Request, next_cursor: str | None) -> dict[str, str]:
    """The `Link` header to the next page (RFC 8288), with all filters as they were; empty on the last one."""
    if next_cursor is None:
        return {}
    kept = [(name, value) for name, value in request.query_params.multi_items() if name != "cursor"]
    return {"Link": f'<{request.url.path}?{urlencode([*kept, ("cursor", next_cursor)])}>; rel="next"'}
