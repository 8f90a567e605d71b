"""`kill -9` of the service while many clients post: what was acknowledged is there, and nothing by halves."""

from __future__ import annotations

import argparse
import asyncio
import itertools
import json
import random
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import Any

from rich.console import Console
from sqlalchemy import URL, Engine, func, select, text

from app.store.engine import is_sqlite
from tests.bench.entry import OURS
from tests.bench.load_rows import AUDIT, JOBS, VERSIONS, engine_of
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.service_client import Answer, Ask, Line, answered, ask
from tests.bench.service_databases import KINDS, databases
from tests.bench.service_jobs import bulk, number_of
from tests.bench.service_plant import with_plant
from tests.bench.service_process import Process, running, served
from tests.bench.tables import FigureTable, seconds
from tests.bench.versions import SERVICE_PACKAGES, circumstances

NAME = "kill"
HELP = (
    "kill -9 of the service under clients that post in bulk: nothing acknowledged is lost, nothing is half."
)
CLIENTS = 8
SHORTEST_S, LONGEST_S = 0.05, 0.6
"""How long after the first acknowledged post of all clients the service is killed."""


class LostWorkError(RuntimeError):
    """Something acknowledged is not there, or something is there by halves or twice."""


@dataclass(frozen=True)
class Post:
    """A bulk request under a key of its own, which may be sent again."""

    jobs: tuple[int, ...]
    versions: int
    ask: Ask

    @classmethod
    def of(cls, jobs: Sequence[int], versions: int, key: str) -> Post:
        once = {"Idempotency-Key": f"jobs-from-{jobs[0]}"}
        return cls(
            tuple(jobs), versions, ask("POST", "/api/v1/jobs/bulk", key, bulk(jobs, versions), 200, once)
        )


@dataclass
class Killed:
    """What came of some kills.

    Parameters
    ----------
    acknowledged
        Posts that were answered.
    open_posts
        Posts that were on their way when the service was killed; of them `landed` were done all the same.
    """

    kills: int = 0
    acknowledged: int = 0
    open_posts: int = 0
    landed: int = 0
    jobs: int = 0
    restart_s: list[float] = field(default_factory=list)

    def add(self, posting: _Posting, landed: int) -> None:
        """Count one kill more."""
        self.kills += 1
        self.acknowledged += len(posting.acknowledged)
        self.open_posts += len(posting.open_posts)
        self.landed += landed
        self.jobs += sum(len(post.jobs) for post in (*posting.acknowledged, *posting.open_posts))


def killed(url: URL, key: str, times: int, *, jobs_a_post: int, versions: int, seed: int = 0) -> Killed:
    """Have clients post, kill the service, start it again and look; so many times on one database.

    Raises
    ------
    LostWorkError
        If anything is not as it was acknowledged.
    """
    found, rng, numbers = Killed(), random.Random(seed), itertools.count(1)
    done: list[Post] = []
    with ExitStack() as stack:
        engine = stack.enter_context(engine_of(url))
        process = stack.enter_context(running(served(url)))
        for _ in range(times):
            posting = _Posting(process, _posts(numbers, jobs_a_post, versions, key))
            asyncio.run(posting.until_killed(rng.uniform(SHORTEST_S, LONGEST_S)))
            begun_s = time.perf_counter()
            process = stack.enter_context(running(served(url)))
            found.restart_s.append(time.perf_counter() - begun_s)
            found.add(posting, _check(engine, posting))
            _resend(process, posting.open_posts)
            _resend(process, rng.sample(posting.acknowledged, min(CLIENTS, len(posting.acknowledged))))
            done += (*posting.acknowledged, *posting.open_posts)
            _require_all(engine, done)
    return found


class _Posting:
    """Clients that post without a pause until nobody answers any more."""

    def __init__(self, process: Process, posts: Iterator[Post]) -> None:
        self._process = process
        self._posts = posts
        self.acknowledged: list[Post] = []
        self.open_posts: list[Post] = []

    async def until_killed(self, after_s: float) -> None:
        """Post; kill the service so many seconds after as many posts as clients are acknowledged."""
        clients = [asyncio.create_task(self._client()) for _ in range(CLIENTS)]
        while len(self.acknowledged) < CLIENTS:
            await asyncio.sleep(0.005)
            if all(client.done() for client in clients):
                break
        await asyncio.sleep(after_s)
        self._process.kill()
        await asyncio.gather(*clients)

    async def _client(self) -> None:
        line = await Line.to(self._process.port)
        try:
            while True:
                post = next(self._posts)
                try:
                    answer = await line.send(post.ask.wire)
                except (OSError, EOFError):
                    self.open_posts.append(post)
                    return
                _require_done(post, answer)
                self.acknowledged.append(post)
        finally:
            await line.close()


def _posts(numbers: Iterator[int], jobs: int, versions: int, key: str) -> Iterator[Post]:
    while True:
        yield Post.of(list(itertools.islice(numbers, jobs)), versions, key)


def _require_done(post: Post, answer: Answer) -> None:
    if answer.status != post.ask.right_status:
        raise LostWorkError(f"a post was answered with {answer.status}: {answer.body[:300]!r}")
    if answer.json["created"] != len(post.jobs):
        told = {name: answer.json[name] for name in ("created", "updated", "unchanged", "refused")}
        raise LostWorkError(f"of {len(post.jobs)} new jobs were {told}")


def _check(engine: Engine, posting: _Posting) -> int:
    """Look at all posts of a round; how many of those on their way were done."""
    for post in posting.acknowledged:
        if kept_jobs(engine, post) != len(post.jobs):
            raise LostWorkError(f"jobs from {post.jobs[0]} were acknowledged and are not all there")
    landed = 0
    for post in posting.open_posts:
        kept = kept_jobs(engine, post)
        if kept not in (0, len(post.jobs)):
            raise LostWorkError(
                f"of the post of jobs from {post.jobs[0]} on, {kept} of {len(post.jobs)} are there"
            )
        landed += kept > 0
    return landed


def kept_jobs(engine: Engine, post: Post) -> int:
    """Jobs of a post that are there, each with all versions and one audit row; nothing of the others.

    Raises
    ------
    LostWorkError
        If a job is there by halves or twice.
    """
    keys = [number_of(job) for job in post.jobs]
    versions = (
        select(JOBS.c.job, func.count(VERSIONS.c.position))
        .join(VERSIONS, VERSIONS.c.job_pk == JOBS.c.pk, isouter=True)
        .where(JOBS.c.job.in_(keys))
        .group_by(JOBS.c.pk, JOBS.c.job)
    )
    audit = select(AUDIT.c.key, func.count()).where(AUDIT.c.resource == "jobs", AUDIT.c.key.in_(keys))
    with engine.connect() as connection:
        rows = connection.execute(versions).all()
        by_job: dict[str, int] = {job: count for job, count in rows}
        audits = connection.execute(audit.group_by(AUDIT.c.key))
        audited: dict[str, int] = {job: count for job, count in audits}
    if len(by_job) != len(rows):
        raise LostWorkError(f"a job of {keys[0]} to {keys[-1]} is there twice")
    wrong = {job: count for job, count in by_job.items() if count != post.versions}
    if wrong:
        raise LostWorkError(f"these jobs have not {post.versions} versions: {wrong}")
    if audited != dict.fromkeys(by_job, 1):
        raise LostWorkError(f"the audit of {keys[0]} to {keys[-1]} is not a row a job: {audited}")
    return len(by_job)


def _resend(process: Process, posts: Sequence[Post]) -> None:
    """Send posts again under their keys: each is answered as if it had come once."""
    for post in posts:
        _require_done(post, answered(process.port, post.ask))


def _require_all(engine: Engine, posts: Sequence[Post]) -> None:
    """All posts are there once, and nothing else is."""
    if any(kept_jobs(engine, post) != len(post.jobs) for post in posts):
        raise LostWorkError("a post that was sent again is not there")
    expected = sum(len(post.jobs) for post in posts)
    with engine.connect() as connection:
        jobs = connection.execute(select(func.count()).select_from(JOBS)).scalar_one()
        sound = connection.execute(text("PRAGMA integrity_check")).scalar() if is_sqlite(engine) else "ok"
    if jobs != expected:
        raise LostWorkError(f"{jobs} jobs are stored, {expected} were posted")
    if sound != "ok":
        raise LostWorkError(f"the file is damaged: {sound}")


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=3600.0, help="After which no other database begins.")
    parser.add_argument("--seeds", type=int, default=1, help="Runs on each kind of database.")
    parser.add_argument("--times", type=int, default=20, help="Kills of each run.")
    parser.add_argument("--jobs", type=int, default=200, help="Of a bulk request.")
    parser.add_argument("--versions", type=int, default=3, help="Of each job.")
    parser.add_argument("--databases", nargs="+", choices=KINDS, default=list(KINDS), help="Kinds of them.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every kind of database with every seed; ends with an error where work was lost."""
    file, begun_s = RowFile(asked.json, asked.command), time.perf_counter()
    for kind, seed in itertools.product(asked.databases, range(asked.seeds)):
        key = _key(kind, seed, asked)
        if file.has(**key) or time.perf_counter() - begun_s > asked.seconds:
            continue
        with databases(kind) as made:
            url, row_begun_s = made.new(), time.perf_counter()
            api_key = with_plant(url)
            found = killed(
                url, api_key, asked.times, jobs_a_post=asked.jobs, versions=asked.versions, seed=seed
            )
            row = key | _row(kind, found, time.perf_counter() - row_begun_s) | circumstances(SERVICE_PACKAGES)
            file.add(row)
            console.print(f"{kind}, seed {seed}: {json.dumps(_told(found))}")
    return [row for row in file.rows if row["bench"] == NAME]


def _key(kind: str, seed: int, asked: argparse.Namespace) -> JsonRow:
    return {
        "bench": NAME,
        "instance": f"{kind}, {asked.times} kills",
        "solver": OURS,
        "seed": seed,
        "seconds": asked.seconds,
        "threads": CLIENTS,
    }


def _told(found: Killed) -> dict[str, Any]:
    return {
        "kills": found.kills,
        "acknowledged": found.acknowledged,
        "open": found.open_posts,
        "landed": found.landed,
        "jobs": found.jobs,
    }


def _row(kind: str, found: Killed, wall_s: float) -> dict[str, Any]:
    more = {"restart_s": round(max(found.restart_s), 2), "wall_s": round(wall_s, 1)}
    return {"value": found.kills, "database": kind} | _told(found) | more


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """What was posted, acknowledged and found."""
    yield FigureTable(
        f"kill: kill -9 of the service under {CLIENTS} clients that post in bulk",
        ("database", "kills", "acknowledged", "on their way", "of them done", "jobs", "restart s", "wall s"),
        tuple(_line(row) for row in rows),
        (
            "After every kill: all acknowledged jobs are there with their versions and one audit row each; a "
            "post on its way is done or not there at all; sent again under its Idempotency-Key it is done "
            "once.",
        ),
    )


def _line(row: JsonRow) -> tuple[str, ...]:
    return (
        f"{row['database']}, seed {row['seed']}",
        *(f"{row[field]:,}" for field in ("kills", "acknowledged", "open", "landed", "jobs")),
        seconds(row["restart_s"]),
        seconds(row["wall_s"]),
    )
