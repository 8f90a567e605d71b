"""`runwright worker` that tells when it has claimed a request, beats, and writes a result: for chaos alone.

The program itself is as it is; what it calls is wrapped here, in this process. While a result is written it
waits a moment in the middle of the transaction, so that it can be killed there.
"""

from __future__ import annotations

import json
import os
import socket
import sys
import time
from collections.abc import Callable
from typing import Any

from app import cli
from app.store import claims, sequences
from app.worker.claim_book import StoredClaims

CLAIMED, BEATS, WRITES, WRITTEN = "claimed", "beats", "writes", "written"
WAITS_S = 0.1
"""So long between the result's row and its sequences, both of one transaction."""


class Teller:
    """Sends what happens to whoever listens, and never waits for that."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.setblocking(False)

    def tell(self, kind: str, claim: claims.Claim) -> None:
        told = {"kind": kind, "pid": os.getpid(), "request": claim.id, "attempt": claim.attempt}
        try:
            self._socket.sendto(json.dumps(told).encode(), self._path)
        except OSError:
            return  # nobody listens any more, or has no time: chaos goes on without


def tell_all(teller: Teller, waits_s: float) -> None:
    """Wrap the calls of a worker's claims.

    Parameters
    ----------
    waits_s
        How long a result is being written, at least.
    """
    claim, beat, finish = StoredClaims.claim, StoredClaims.beat, StoredClaims.finish
    keep = sequences.keep_prepared
    writing: list[claims.Claim] = []

    def claimed(book: StoredClaims) -> claims.Claim | None:
        found = claim(book)
        if found is not None:
            teller.tell(CLAIMED, found)
        return found

    def beats(book: StoredClaims, held: claims.Claim, *told: Any) -> claims.Beat | None:
        heard = beat(book, held, *told)
        teller.tell(BEATS, held)
        return heard

    def finishes(book: StoredClaims, held: claims.Claim, ended: claims.Ended) -> bool:
        writing[:] = [held]
        is_ours = finish(book, held, ended)
        teller.tell(WRITTEN, held)
        return is_ours

    def keeps(*arguments: Any) -> Any:
        if writing:
            teller.tell(WRITES, writing.pop())
            time.sleep(waits_s)
        return keep(*arguments)

    wrapped: tuple[tuple[Any, str, Callable[..., Any]], ...] = (
        (StoredClaims, "claim", claimed),
        (StoredClaims, "beat", beats),
        (StoredClaims, "finish", finishes),
        (sequences, "keep_prepared", keeps),
    )
    for owner, name, call in wrapped:
        setattr(owner, name, call)


if __name__ == "__main__":
    path, waits_s = sys.argv.pop(1), float(sys.argv.pop(1))
    tell_all(Teller(path), waits_s)
    sys.argv[0] = "runwright"
    cli.main()
