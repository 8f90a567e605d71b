"""Actuals by their senders' numbers."""

from __future__ import annotations

from collections.abc import Sequence

from app.contracts.actuals import PostedActual
from app.store.kinds import ACTUALS
from app.store.rows import among, items_where
from app.store.store import View

_C = ACTUALS.table.c


def by_id(view: View, ids: Sequence[str]) -> dict[str, PostedActual]:
    """Those of these runs that are stored."""
    named = among(view.connection, _C.id, ids)
    found = items_where(view.connection, ACTUALS, _C.plant_pk == view.plant, named)
    return {item.id: item for _, item in found}
