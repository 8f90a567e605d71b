"""An answer is kept with its effect, for whoever asked."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy.exc import IntegrityError

from app.store import idempotency, records
from app.store.idempotency import GivenAnswer
from app.store.kinds import JOBS
from app.store.store import Store
from tests.app.store.things import ELSEWHERE, MIS, NOON, job

ANSWER = GivenAnswer("POST /api/v1/jobs", "hash", 201, (("ETag", '"1"'),), b'{"job": "J-1"} \x00\xff')


def test_an_answer_comes_back_as_it_was_given(store: Store) -> None:
    with store.writing(MIS) as work:
        assert idempotency.given(work, "MIS", "k") is None
        idempotency.give(work, "MIS", "k", ANSWER)
    with store.writing(MIS) as work:
        assert idempotency.given(work, "MIS", "k") == ANSWER
        assert idempotency.given(work, "other", "k") is None
    with store.writing(ELSEWHERE) as work:
        assert idempotency.given(work, "MIS", "k") is None


def test_an_answer_is_gone_where_its_effect_is(store: Store) -> None:
    def fail_after_answering() -> None:
        with store.writing(MIS) as work:
            records.upsert(work, JOBS, [job()])
            idempotency.give(work, "MIS", "k", ANSWER)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_after_answering()
    with store.writing(MIS) as work:
        assert idempotency.given(work, "MIS", "k") is None
        assert records.read(work, JOBS, "J-1") is None


def test_a_key_has_one_answer(store: Store) -> None:
    with store.writing(MIS) as work:
        idempotency.give(work, "MIS", "k", ANSWER)
    with pytest.raises(IntegrityError), store.writing(MIS) as work:
        idempotency.give(work, "MIS", "k", ANSWER)


def test_old_answers_are_forgotten(store: Store) -> None:
    with store.writing(MIS) as work:
        idempotency.give(work, "MIS", "k", ANSWER)
        assert idempotency.forget_before(work, NOON) == 0
        assert idempotency.forget_before(work, NOON + timedelta(days=1)) == 1
        assert idempotency.given(work, "MIS", "k") is None
