"""The problem: plant, jobs and locks together, validated once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from solver.checks import Checks
from solver.in_force import InForce
from solver.jobs import Job, Layer
from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together
from solver.plant import Consumable, Cylinder, Die, Line, Plant, StockedWidth, Substrate, tool_key
from solver.sequence import ChosenRolls, RollEnds, Stock
from solver.stub_cost import StubCost


@dataclass(frozen=True, eq=False)
class Problem:
    """A queue to be ordered: every name in it is known, so nothing later checks again.

    Parameters
    ----------
    in_force
        The sequence that runs until another takes its place; it may hold jobs that are done. None: there is
        none, and no run is ever moved.
    chosen_rolls
        Rolls chosen for an order: runs whose roll ends it does not have are taken to be made of usual rolls.
        What the rolls cost is a part of the cost of whatever order is costed. None: none are chosen.

    Raises
    ------
    ValueError
        With every unknown or doubled name, one a line.
    """

    plant: Plant
    jobs: tuple[Job, ...]
    locks: tuple[Lock, ...] = ()
    in_force: InForce | None = None
    chosen_rolls: ChosenRolls | None = None

    def __post_init__(self) -> None:
        checks = Checks("problem")
        checks.unique("jobs", (job.id for job in self.jobs))
        self._check_plant(checks)
        for job in self.jobs:
            self._check_job(checks, job)
        for lock in self.locks:
            self._check_lock(checks, lock)
        if self.in_force is not None:
            lines, ordered = len(self.plant.lines), len(self.in_force.lines)
            checks.that(ordered == lines, f"sequence in force: has {ordered} lines, the plant has {lines}")
        checks.done()

    @cached_property
    def substrates(self) -> dict[str, Substrate]:
        return {substrate.code: substrate for substrate in self.plant.substrates}

    @cached_property
    def dies(self) -> dict[str, Die]:
        return {die.id: die for die in self.plant.dies}

    @cached_property
    def cylinders(self) -> dict[str, Cylinder]:
        return {cylinder.id: cylinder for cylinder in self.plant.cylinders}

    @cached_property
    def consumables(self) -> dict[str, Consumable]:
        return {consumable.id: consumable for consumable in self.plant.consumables}

    @cached_property
    def copies(self) -> dict[str, int]:
        """How many there are of every die and cylinder that is counted, by `tool_key`."""
        counted = {tool_key("die", die.id): die.copies for die in self.plant.dies}
        counted |= {tool_key("cylinder", tool.id): tool.copies for tool in self.plant.cylinders}
        return {key: copies for key, copies in counted.items() if copies is not None}

    @cached_property
    def line_idx(self) -> dict[str, int]:
        return {line.id: line_idx for line_idx, line in enumerate(self.plant.lines)}

    @cached_property
    def job_idx(self) -> dict[str, int]:
        return {job.id: job_idx for job_idx, job in enumerate(self.jobs)}

    @cached_property
    def followed_stocks(self) -> dict[Stock, StockedWidth]:
        """Stocks whose amount is followed."""
        return {
            Stock(substrate.code, stocked.width_um): stocked
            for substrate in self.plant.substrates
            for stocked in substrate.widths
            if stocked.on_hand_um is not None
        }

    @cached_property
    def followed(self) -> dict[tuple[int, int], frozenset[int | None]]:
        """By line and job: the jobs directly behind which the sequence in force has its runs there; None
        stands for no run before.
        """
        if self.in_force is None:
            return {}
        return {
            (line_idx, self.job_idx[job]): frozenset(
                None if before is None else self.job_idx[before] for before in jobs_before
            )
            for (line_idx, job), jobs_before in self.in_force.followed(self.job_idx).items()
        }

    @cached_property
    def jobs_in_force(self) -> frozenset[int]:
        """The jobs of the queue that the sequence in force has, but those that have started."""
        started = {lock.job for lock in self.locks if isinstance(lock, Started)}
        return frozenset(job_idx for _, job_idx in self.followed if self.jobs[job_idx].id not in started)

    def is_moved(self, line_idx: int, job_idx: int, before_idx: int | None) -> bool:
        """Whether a run of a job, directly behind one of another job on a line or first there, stands
        elsewhere than the sequence in force has it. What that does not have, and what has started, is not
        moved.
        """
        if job_idx not in self.jobs_in_force:
            return False
        return before_idx not in self.followed.get((line_idx, job_idx), ())

    @property
    def roll_ends(self) -> RollEnds:
        """Where chosen rolls end; a run that is not in it is taken to be made of usual rolls."""
        return {} if self.chosen_rolls is None else self.chosen_rolls.ends

    @property
    def stub_cost(self) -> StubCost | None:
        """What the chosen rolls cost; None: none are chosen."""
        return None if self.chosen_rolls is None else self.chosen_rolls.cost

    @cached_property
    def seats(self) -> dict[tuple[int, int], tuple[tuple[int, ...], ...]]:
        """By line and job, the station choices that `feasibility` has found so far."""
        return {}

    @cached_property
    def able(self) -> set[tuple[int, int, tuple[int, ...]]]:
        """Line, job and stations of placements that were found to have no fault so far."""
        return set()

    def eur_per_um(self, stock: Stock) -> Fraction:
        """Price of a µm of web of a stock."""
        return self.substrates[stock.substrate].eur_per_m2 * stock.width_um / 10**12

    def _check_plant(self, checks: Checks) -> None:
        for die in self.plant.dies:
            for cylinder_id in (die.cylinder, die.print_cylinder):
                if cylinder_id is None:
                    continue
                cylinder = self.cylinders.get(cylinder_id)
                checks.that(cylinder is not None, f"die {die.id} names an unknown cylinder {cylinder_id!r}")
                if cylinder is not None:
                    checks.that(
                        cylinder.repeat_um == die.repeat_um,
                        f"die {die.id} has repeat {die.repeat_um} µm, its cylinder {cylinder_id} "
                        f"{cylinder.repeat_um} µm",
                    )
        for line in self.plant.lines:
            self._check_present(checks, line)
        self._check_copies(checks)

    def _check_copies(self, checks: Checks) -> None:
        """No more copies may be loaded than there are."""
        loaded = Counter(
            (aspect, tool)
            for line in self.plant.lines
            for station in line.present.loaded
            for aspect, tool in station.tooling.items()
            if aspect in ("die", "cylinder")
        )
        for (aspect, tool), count in loaded.items():
            known: Die | Cylinder | None = (
                self.dies.get(tool) if aspect == "die" else self.cylinders.get(tool)
            )
            copies = known.copies if known else None
            checks.that(
                copies is None or count <= copies,
                f"present state: {aspect} {tool} is loaded {count} times, there are {copies}",
            )

    def _check_present(self, checks: Checks, line: Line) -> None:
        stations = {station.id: station for station in line.stations}
        present = line.present
        where = f"present state of line {line.id}"
        if present.substrate is not None:
            checks.that(
                present.substrate in self.substrates, f"{where}: unknown substrate {present.substrate!r}"
            )
        for station_id in sorted({loaded.station for loaded in present.loaded} | present.thrown_off):
            checks.that(station_id in stations, f"{where}: unknown station {station_id!r}")
        for loaded in present.loaded:
            station = stations.get(loaded.station)
            if station is None:
                continue
            aspects = {aspect.name for aspect in station.aspects}
            for aspect, value in loaded.tooling.items():
                checks.that(aspect in aspects, f"{where}: station {station.id} has no aspect {aspect!r}")
                checks.that(
                    aspect != "consumable" or not value or value in self.consumables,
                    f"{where}: unknown consumable {value!r}",
                )

    def _check_job(self, checks: Checks, job: Job) -> None:
        checks.that(job.substrate in self.substrates, f"job {job.id}: unknown substrate {job.substrate!r}")
        checks.that(job.die in self.dies, f"job {job.id}: unknown die {job.die!r}")
        for layer in job.layers:
            self._check_layer(checks, job, layer)

    def _check_layer(self, checks: Checks, job: Job, layer: Layer) -> None:
        if layer.consumable is not None:
            checks.that(
                layer.consumable in self.consumables,
                f"job {job.id}: unknown consumable {layer.consumable!r}",
            )

    def _check_lock(self, checks: Checks, lock: Lock) -> None:
        for job_id in lock_jobs(lock):
            checks.that(job_id in self.job_idx, f"lock “{lock}”: unknown job {job_id!r}")
        if isinstance(lock, Started | OnLine):
            checks.that(lock.line in self.line_idx, f"lock “{lock}”: unknown line {lock.line!r}")
        if isinstance(lock, Started):
            checks.that(
                lock.changeover_start_ms <= lock.print_start_ms <= lock.end_ms
                and lock.changeover_start_ms <= 0 <= lock.end_ms,
                f"lock “{lock}”: must have started by the plan's start and end after it",
            )
        if isinstance(lock, FixedStart):
            checks.not_negative(f"lock “{lock}”: start_ms", lock.start_ms)
        if isinstance(lock, AtPosition):
            checks.that(lock.position >= 1, f"lock “{lock}”: positions count from 1")
        if isinstance(lock, Together):
            checks.unique(f"lock “{lock}”", lock.jobs)


def lock_jobs(lock: Lock) -> Iterable[str]:
    """Ids of the jobs a lock speaks of."""
    if isinstance(lock, Together):
        return lock.jobs
    if isinstance(lock, Before):
        return (lock.job, lock.then)
    return (lock.job,)
