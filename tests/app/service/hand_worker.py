"""A worker that does what a test says: no search is needed to see what people get of one."""

from __future__ import annotations

import zlib
from contextlib import AbstractContextManager
from dataclasses import replace

from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.planning_requests import PlanningInput, RequestProblem, RequestStatus
from app.contracts.sequences import CostedPlan, Goal, SequenceAlternative
from app.services import planning
from app.services import reasons as why
from app.store import claims
from app.store.claims import Claim, Ended, Found
from app.store.store import Actor, Store, Work
from app.translation.solving import Question
from tests.app.request_tales import progress

LEASE_S = 60.0


class HandWorker:
    """Claims requests of a store and ends them."""

    def __init__(self, store: Store, name: str = "press-1") -> None:
        self._store = store
        self._name = name

    def claim(self) -> Claim:
        """The next request."""
        claim = self.next_claim()
        assert claim is not None, "nothing waits"
        return claim

    def next_claim(self) -> Claim | None:
        with self._store.writing(Actor(f"worker {self._name}")) as work:
            return claims.claim(work, self._name, LEASE_S)

    def beat(self, claim: Claim, number: int = 1) -> bool:
        """Tell a progress; whether somebody has cancelled."""
        with self._writing(claim) as work:
            heard = claims.beat(work, claim, LEASE_S, progress(number), None)
        assert heard is not None
        return heard.cancel_requested

    def finish(
        self, claim: Claim, status: RequestStatus = RequestStatus.FINISHED, found: Found | None = None
    ) -> None:
        """End with what was found; without it with the jobs on H1 in the order in which they came, and turned
        round as an alternative.
        """
        self._end(claim, Ended(status, found or found_of(claim)))

    def cancel(self, claim: Claim) -> None:
        """End with nothing."""
        self._end(claim, Ended(RequestStatus.CANCELLED))

    def fail(self, claim: Claim, problem: RequestProblem) -> None:
        self._end(claim, Ended(RequestStatus.FAILED, problem=problem))

    def die(self, claim: Claim, why: str = "a signal ended it") -> None:
        """Crash at one attempt after the other."""
        while True:
            with self._writing(claim) as work:
                assert claims.crashed(work, claim, why)
            again = self.next_claim()
            if again is None:
                return
            claim = again

    def _end(self, claim: Claim, how: Ended) -> None:
        with self._writing(claim) as work:
            assert claims.finish(work, claim, how)

    def _writing(self, claim: Claim) -> AbstractContextManager[Work]:
        return self._store.writing(Actor(f"worker {self._name}", claim.plant))


def input_of(claim: Claim) -> PlanningInput:
    """All that a request is worked out from."""
    return PlanningInput.model_validate_json(zlib.decompress(claim.input))


def question_of(claim: Claim) -> tuple[Question, Goal]:
    """A request as it is asked of the solver."""
    asked = input_of(claim)
    return Question(asked.plant, asked.jobs, asked.start, asked.locks, asked.in_force), asked.goal


def found_of(claim: Claim) -> Found:
    """What costing makes of a request's jobs."""
    asked, question = input_of(claim), question_of(claim)[0]
    runs = tuple(OrderedRun(job=job.job) for job in asked.jobs)
    plan, other = (
        planning.cost(question, RunOrder(lines=(LineOrder(line="H1", runs=order),)), asked.goal)
        for order in (runs, runs[::-1])
    )
    beside = SequenceAlternative(name="alternative 1", trade="fewer metres", sequence=other.sequence)
    return _found(asked, question, plan.model_copy(update={"alternatives": (beside,)}))


def search(claim: Claim, is_whole: bool = True) -> Found:
    """What searching does; a search that was broken off had tried 60 changes."""
    asked, question = input_of(claim), question_of(claim)[0]
    plan = planning.plan(
        question, asked.goal, work=asked.work or 60, seed=asked.seed, alternatives=asked.alternatives
    )
    return replace(_found(asked, question, plan), is_whole=is_whole)


def _found(asked: PlanningInput, question: Question, plan: CostedPlan) -> Found:
    reasons = why.explain(question, plan) if asked.reasons else None
    alone = (CostedPlan(sequence=each.sequence, baselines=(), search=None) for each in plan.alternatives)
    return Found(
        plan=plan.model_dump_json(by_alias=True).encode(),
        alternatives=tuple(each.model_dump_json(by_alias=True).encode() for each in alone),
        reasons=None if reasons is None else reasons.model_dump_json(by_alias=True).encode(),
        is_whole=True,
    )
