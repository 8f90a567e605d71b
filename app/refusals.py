"""What the command line refuses: messages on stderr, and exit codes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import typer

from app.errors import BadInput, NothingCanRun, RunwrightError

BAD_INPUT = 2
NOTHING_CAN_RUN = 3
REFUSED = 4
"""Whatever else is refused: a database of another version, one that does not answer …"""


@contextmanager
def refusals() -> Iterator[None]:
    """Turn refusals into messages on stderr and exit codes."""
    try:
        yield
    except BadInput as error:
        for fault in error.faults:
            typer.echo(str(fault), err=True)
        raise typer.Exit(BAD_INPUT) from None
    except NothingCanRun as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(NOTHING_CAN_RUN) from None
    except RunwrightError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(REFUSED) from None
