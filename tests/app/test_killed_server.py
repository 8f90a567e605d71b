"""The service is killed while clients post, on both databases: `python -m tests.bench kill` in short."""

from __future__ import annotations

import pytest
from sqlalchemy import URL, delete, insert, select

from app.contracts.exact_json import exact_json
from app.contracts.posted_jobs import PostedJob
from app.store import records
from app.store.kinds import JOBS as JOB_KIND
from app.store.store import Actor, Store
from tests.bench.load_rows import AUDIT, VERSIONS, engine_of
from tests.bench.service_jobs import single
from tests.bench.service_kill import CLIENTS, LostWorkError, Post, kept_jobs, killed
from tests.bench.service_plant import PLANT, with_plant

JOBS_A_POST, VERSIONS_A_JOB, KILLS = 25, 3, 1


def test_what_was_acknowledged_is_there_once_after_a_kill(database: URL) -> None:
    found = killed(database, with_plant(database), KILLS, jobs_a_post=JOBS_A_POST, versions=VERSIONS_A_JOB)
    assert found.kills == KILLS
    assert found.acknowledged >= KILLS * CLIENTS
    assert found.open_posts > 0
    assert found.jobs == (found.acknowledged + found.open_posts) * JOBS_A_POST


@pytest.fixture
def stored(database: URL) -> Post:
    """A post of two jobs that is stored."""
    with_plant(database)
    store = Store(database)
    jobs = [PostedJob.model_validate(exact_json(single(job, VERSIONS_A_JOB).decode())) for job in (1, 2)]
    with store.writing(Actor("tests", PLANT)) as work:
        records.upsert(work, JOB_KIND, jobs)
    store.close()
    return Post.of([1, 2], VERSIONS_A_JOB, "")


def test_jobs_that_are_whole_are_counted(database: URL, stored: Post) -> None:
    with engine_of(database) as engine:
        assert kept_jobs(engine, stored) == 2
        assert kept_jobs(engine, Post.of([2, 3], VERSIONS_A_JOB, "")) == 1


def test_a_job_without_one_of_its_versions_is_half(database: URL, stored: Post) -> None:
    with engine_of(database) as engine:
        with engine.begin() as connection:
            connection.execute(delete(VERSIONS).where(VERSIONS.c.position == 3, VERSIONS.c.job_pk == 1))
        with pytest.raises(LostWorkError, match="have not 3 versions"):
            kept_jobs(engine, stored)


def test_a_change_that_is_audited_twice_was_done_twice(database: URL, stored: Post) -> None:
    with engine_of(database) as engine:
        with engine.begin() as connection:
            chosen = select(AUDIT).where(AUDIT.c.resource == "jobs").limit(1)
            row = connection.execute(chosen).mappings().one()
            connection.execute(insert(AUDIT), {name: value for name, value in row.items() if name != "pk"})
        with pytest.raises(LostWorkError, match="not a row a job"):
            kept_jobs(engine, stored)
