"""Whether the database can be worked with."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy.exc import SQLAlchemyError

from app.errors import NotMigrated
from app.store.migrating import require_current
from app.store.store import Store


class StoreReadiness:
    """Whether the database answers and has the program's tables."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def faults(self) -> Sequence[str]:
        """What keeps the service from answering, in words."""
        try:
            require_current(self._store.engine)
        except NotMigrated as error:
            return [str(error)]
        except SQLAlchemyError:
            return ["The database does not answer."]
        return []
