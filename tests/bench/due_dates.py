"""Weighted tardiness with set-ups on one machine: published instances from a file, drawn ones by the recipe.

The recipe is that of the published sets (Lee, Bhaskaran and Pinedo, IIE Transactions 29, 1997; Cicirello,
Carnegie Mellon University, CMU-RI-TR-03-42, 2003). Three numbers say how hard a queue is: τ how tight its
due dates are, R how far they spread, η how long set-ups are beside the mean process time p̄:

- process times uniform in 50 to 150, weights uniform in 0 to 10, set-ups uniform in 0 to 2·η·p̄;
- the makespan is estimated as C = n·(p̄ + β·η·p̄), β = 0.4 + 10/n² − η/7, for the shorter of the set-ups
  will be chosen;
- with d̄ = C·(1 − τ), a due date is with probability τ uniform in d̄·(1 − R) to d̄, otherwise uniform in
  d̄ to d̄ + R·(C − d̄).
"""

from __future__ import annotations

import json
import random
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

from tests.bench.instances import Instance

TIGHTNESS, SPREAD, SETUP_SHARE = (0.3, 0.6, 0.9), (0.25, 0.75), (0.25, 0.75)
"""τ, R and η of the drawn instances."""
DRAWN_JOBS = 60


class NotInstancesError(ValueError):
    """A file without instances as they are expected here."""


@dataclass(frozen=True)
class Recipe:
    """How hard a drawn queue is: τ, R and η."""

    tightness: float
    spread: float
    setup_share: float

    @property
    def name(self) -> str:
        """As its instance is called."""
        return f"drawn τ {self.tightness:g}, R {self.spread:g}, η {self.setup_share:g}"


def published_instances(path: Path) -> list[Instance]:
    """Instances of a JSON file: under `instances` by name p, w, d, init, s and, where proved, opt.

    Raises
    ------
    NotInstancesError
        Where the file has none.
    """
    found: dict[str, dict[str, Any]] = json.loads(path.read_text(encoding="utf-8")).get("instances", {})
    if not found:
        raise NotInstancesError(f"{path.name}: nothing under `instances`")
    return [
        Instance(
            name=name,
            setup=tuple(map(tuple, fields["s"])),
            initial=tuple(fields["init"]),
            process=tuple(fields["p"]),
            due=tuple(fields["d"]),
            weight=tuple(fields["w"]),
            optimum=fields.get("opt"),
        )
        for name, fields in found.items()
    ]


def drawn_instances(jobs: int = DRAWN_JOBS) -> list[Instance]:
    """One instance for every τ, R and η; the same on every machine."""
    return [drawn(Recipe(*shape), jobs) for shape in product(TIGHTNESS, SPREAD, SETUP_SHARE)]


def drawn(recipe: Recipe, jobs: int) -> Instance:
    """An instance by the recipe."""
    rng = random.Random(f"{recipe.name}, {jobs} jobs")
    process = tuple(rng.randint(50, 150) for _ in range(jobs))
    mean_process = sum(process) / jobs
    most_setup = round(2 * recipe.setup_share * mean_process)
    initial, *setup = (tuple(rng.randint(0, most_setup) for _ in range(jobs)) for _ in range(jobs + 1))
    chosen_share = 0.4 + 10 / jobs**2 - recipe.setup_share / 7
    makespan = jobs * mean_process * (1 + chosen_share * recipe.setup_share)
    return Instance(
        name=recipe.name,
        setup=tuple(setup),
        initial=initial,
        process=process,
        due=tuple(_due(rng, recipe, makespan) for _ in range(jobs)),
        weight=tuple(rng.randint(0, 10) for _ in range(jobs)),
    )


def _due(rng: random.Random, recipe: Recipe, makespan: float) -> int:
    middle = makespan * (1 - recipe.tightness)
    if rng.random() < recipe.tightness:
        return round(rng.uniform(middle * (1 - recipe.spread), middle))
    return round(rng.uniform(middle, middle + recipe.spread * (makespan - middle)))
