"""A database that does not answer, told in words of ours whatever driver it is reached through."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DataError, DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as NoConnectionLeft

from app.errors import BadInput, Fault, Unavailable


@contextmanager
def answering() -> Iterator[None]:
    """Raise `Unavailable` where a database cannot be reached, is kept busy or is full, and `BadInput` where
    it cannot keep what it was given.
    """
    try:
        yield
    except NoConnectionLeft:
        raise Unavailable("All connections to the database are in use; ask again.", again_s=1) from None
    except (OperationalError, InterfaceError) as error:
        if getattr(error.orig, "sqlite_errorcode", None) == sqlite3.SQLITE_ERROR:
            raise  # it answers that what was asked makes no sense: a mistake of ours
        raise _unavailable(error) from error
    except DataError as error:
        right = f"should be what a database can keep, without NUL characters: {error.orig}"
        raise BadInput([Fault(right)]) from error
    except DBAPIError as error:
        if not error.connection_invalidated:
            raise
        raise _unavailable(error) from error  # it ended the connection, whatever it calls that


def _unavailable(error: DBAPIError) -> Unavailable:
    reason = str(error.orig or error).strip().splitlines()
    return Unavailable(f"The database does not answer: {reason[0] if reason else 'no reason'}")
