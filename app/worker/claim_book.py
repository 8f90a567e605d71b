"""The claims of one worker, as its supervisor makes and keeps them."""

from __future__ import annotations

from typing import Protocol

from app.contracts.planning_requests import RequestProgress
from app.store import claims
from app.store.claims import Beat, Claim, Ended
from app.store.store import Actor, Store


class ClaimBook(Protocol):
    """What is written of claims. Every call is a transaction of its own, and may wait.

    All of them raise `Unavailable` where the database does not answer: what they were to write may be
    written or not.
    """

    def claim(self) -> Claim | None:
        """Take the next request, if one waits."""
        ...

    def beat(self, claim: Claim, progress: RequestProgress | None, incumbent: bytes | None) -> Beat | None:
        """Keep a claim and tell how far it is; None: it is not ours any more."""
        ...

    def finish(self, claim: Claim, ended: Ended) -> bool:
        """End a request; False: it is not ours any more."""
        ...

    def hand_back(self, claim: Claim) -> bool:
        """Put a request back as if it had never been taken; False: it is not ours any more."""
        ...

    def crashed(self, claim: Claim, why: str) -> bool:
        """Say that an attempt came to nothing; False: the request is not ours any more."""
        ...

    def reap(self) -> int:
        """Take back what was lost with other workers; how many requests."""
        ...


class StoredClaims:
    """Claims in a store.

    Parameters
    ----------
    worker
        A name that no other worker has or had.
    lease_s
        How long a claim lasts without a heartbeat.
    """

    def __init__(self, store: Store, worker: str, lease_s: float) -> None:
        self._store = store
        self._worker = worker
        self._lease_s = lease_s
        self._actor = Actor(f"worker {worker}")

    def claim(self) -> Claim | None:
        with self._store.writing(self._actor) as work:
            return claims.claim(work, self._worker, self._lease_s)

    def beat(self, claim: Claim, progress: RequestProgress | None, incumbent: bytes | None) -> Beat | None:
        with self._store.writing(self._of(claim)) as work:
            return claims.beat(work, claim, self._lease_s, progress, incumbent)

    def finish(self, claim: Claim, ended: Ended) -> bool:
        # Worked out while nobody waits for the transaction.
        prepared = claims.prepared(claim, ended)
        with self._store.writing(self._of(claim)) as work:
            return claims.finish(work, claim, prepared)

    def hand_back(self, claim: Claim) -> bool:
        with self._store.writing(self._of(claim)) as work:
            return claims.hand_back(work, claim)

    def crashed(self, claim: Claim, why: str) -> bool:
        with self._store.writing(self._of(claim)) as work:
            return claims.crashed(work, claim, why)

    def reap(self) -> int:
        with self._store.writing(self._actor) as work:
            return claims.reap(work)

    def _of(self, claim: Claim) -> Actor:
        return Actor(self._actor.name, plant=claim.plant)
