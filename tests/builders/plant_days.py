"""Days of a label shop, drawn from a seed, in contracts: families of jobs, vans to catch, stock to last.

A shop's queue is not noise. A customer orders the same label again and again: few stocks, few dies, one
colour set, one or two ways to finish it; orders come in batches that share a van; some wait for plates or
artwork. The lines, stocks and tools are those of `sample_data/day/plant.json`, its lines repeated or left
out. Every name is invented.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from decimal import Decimal
from pathlib import Path

from app.contracts.jobs import INKJET, Job, Layer, Version
from app.contracts.plant import (
    Cylinder,
    Delivery,
    Die,
    Line,
    LoadedTooling,
    Plant,
    PresentState,
    StockedWidth,
    Substrate,
)
from app.translation.plant import slit_layout_of
from tests.builders.trades import BRAND_INKS, TRADES, Trade

SAMPLE_DATA = Path(__file__).parents[2] / "sample_data"
SAMPLE_SEED, SAMPLE_JOBS = 19, 64
MM_PER_TOOTH = Decimal("3.175")
"""Of 1/8 inch circular pitch, which all cylinders of the sample plant have."""

VANS = (time(11), time(14), time(17))
WORKING_DAY_MIN = 16 * 60
MEAN_JOB_MIN = 33
"""What a job takes a line about, its changeover with it: decides how far ahead vans are booked."""
NOT_READY_SHARE = 0.2
SHORT_SHARE = 0.1
"""Share of stocked widths of which a part is still to be delivered."""

WASTE_ALLOWANCE, SPARE_M = Decimal("1.2"), 600
"""Stock is the metres that the queue sells, a share for waste and spoilage, and some to spare."""
LARGEST_SHOP = 8
"""Lines."""


@dataclass(frozen=True)
class Customer:
    """A customer and the few ways its labels are made; what comes first comes most often."""

    name: str
    trade: Trade
    substrates: tuple[str, ...]
    dies: tuple[str, ...]
    colours: str
    finishes: tuple[str, ...]


@dataclass(frozen=True)
class Day:
    """A plant and the queue of a day."""

    plant: Plant
    jobs: tuple[Job, ...]

    @property
    def start(self) -> datetime:
        """When its plan begins."""
        if self.plant.site.plan_from is None:
            raise ValueError("a drawn day has a start of its own")
        return self.plant.site.plan_from


def sample_plant() -> Plant:
    """The plant of the sample day."""
    return Plant.model_validate_json((SAMPLE_DATA / "day" / "plant.json").read_text(encoding="utf-8"))


def sample_day() -> Day:
    """The sample day: its plant as it stands, and a queue with two jobs that no line can run."""
    plant = sample_plant()
    jobs = list(_Drawing(plant, random.Random(SAMPLE_SEED)).jobs(SAMPLE_JOBS))
    jobs[17] = _on_thick_liner_with_a_film_die(jobs[17])
    jobs[41] = _on_reels_too_large(jobs[41])
    return Day(plant, tuple(jobs))


def drawn_day(seed: int, jobs: int = 64, lines: int = 3) -> Day:
    """A day; the same for the same seed and size.

    Parameters
    ----------
    jobs
        How many, 1 to some thousand.
    lines
        1 to 8: a buffered hybrid, a hybrid, a plain line, and again.
    """
    rng = random.Random(f"{seed}/{jobs}/{lines}")
    plant = _with_lines(sample_plant(), lines, rng)
    queue = tuple(_Drawing(plant, rng).jobs(jobs))
    return Day(_with_stock(plant, queue, rng), queue)


class _Drawing:
    """Draws the queue of one plant."""

    def __init__(self, plant: Plant, rng: random.Random) -> None:
        self._plant = plant
        self._rng = rng
        if plant.site.plan_from is None:
            raise ValueError("a queue is drawn for a start of its own")
        self._start = plant.site.plan_from

    def jobs(self, count: int) -> list[Job]:
        """Jobs in the order they were entered: batch by batch, as customers send them."""
        customers = self._customers(max(4, math.ceil(count / 5)))
        batches: list[tuple[Customer, int]] = []
        while sum(size for _, size in batches) < count:
            batches.append((self._rng.choice(customers), self._rng.choice((1, 1, 2, 3))))
        days = max(1.7, count * MEAN_JOB_MIN / len(self._plant.lines) / WORKING_DAY_MIN + 1)
        jobs: list[Job] = []
        for customer, size in batches:
            due = self._van(days)
            for _ in range(min(size, count - len(jobs))):
                jobs.append(self._job(f"J-{3101 + len(jobs)}", customer, due))
        return jobs

    def _customers(self, count: int) -> list[Customer]:
        chosen: list[Customer] = []
        names: dict[str, int] = {}
        for idx in range(count):
            trade = TRADES[idx % len(TRADES)] if idx < len(TRADES) else self._rng.choice(TRADES)
            name = self._rng.choice(trade.names)
            names[name] = names.get(name, 0) + 1
            suffix = f", works {names[name]}" if names[name] > 1 else ""
            chosen.append(self._customer(name + suffix, trade))
        return chosen

    def _customer(self, name: str, trade: Trade) -> Customer:
        substrates = self._some(trade.substrates, 2)
        ink = self._rng.choice(BRAND_INKS)
        colours = self._rng.choice(trade.colours)
        return Customer(
            name=name,
            trade=trade,
            substrates=substrates,
            dies=self._some(self._dies_for(substrates), 3),
            colours=colours,
            finishes=tuple(text.replace("brand", ink) for text in self._some(trade.finishes, 2)),
        )

    def _dies_for(self, substrates: Iterable[str]) -> tuple[str, ...]:
        stocks = [substrate for substrate in self._plant.substrates if substrate.code in substrates]
        return tuple(die.id for die in self._plant.dies if all(_cuts(die, stock) for stock in stocks))

    def _some(self, values: tuple[str, ...], most: int) -> tuple[str, ...]:
        return tuple(self._rng.sample(values, min(most, len(values))))

    def _mostly_first(self, values: tuple[str, ...]) -> str:
        return values[0] if self._rng.random() < 0.65 else self._rng.choice(values)

    def _job(self, number: str, customer: Customer, due: datetime) -> Job:
        rng, trade = self._rng, customer.trade
        names = sorted(rng.sample(range(len(trade.versions)), rng.choice((1, 2, 3, 4, 4, 5, 6))))
        return Job(
            job=number,
            customer=customer.name,
            substrate=self._mostly_first(customer.substrates),
            die=self._mostly_first(customer.dies),
            colours=tuple(sorted(customer.colours)),
            finishes=tuple(
                (layer,) for layer in _layers(self._mostly_first(customer.finishes), customer.colours)
            ),
            due=due,
            ready=self._ready(due),
            labels_per_reel=rng.choice(trade.labels_per_reel),
            core_mm=Decimal(76),
            versions=tuple(
                Version(version=trade.versions[idx], quantity=self._quantity(trade)) for idx in names
            ),
        )

    def _quantity(self, trade: Trade) -> int:
        low, high = trade.quantity
        drawn = low * math.pow(high / low, self._rng.random())
        return round(drawn / 500) * 500

    def _van(self, days: float) -> datetime:
        """The van a batch is to catch: the first is tight, the later ones are booked evenly."""
        ahead = self._rng.random() * days
        while True:
            day = self._start + timedelta(days=int(ahead))
            vans = [
                van
                for hour in VANS
                if (van := datetime.combine(day.date(), hour, self._start.tzinfo)) > self._start
            ]
            if day.weekday() < 5:
                return vans[min(len(vans) - 1, int(ahead % 1 * len(vans)))]
            ahead += 1

    def _ready(self, due: datetime) -> datetime | None:
        """None, or some hours into the day, in time for the van if all goes well."""
        if self._rng.random() >= NOT_READY_SHARE:
            return None
        ready = self._start + timedelta(minutes=30 * self._rng.randrange(3, 14))
        return ready if ready + timedelta(hours=3) < due else None


def _layers(text: str, colours: str) -> Iterator[Layer]:
    """Layers from their text; a code by inkjet goes on last where no place is named."""
    laid = text.split()
    if colours and INKJET not in laid:
        laid.insert(1, INKJET)
    for part in laid:
        kind, _, consumable = part.partition(":")
        yield Layer(kind=kind, consumable=consumable or None)


def _cuts(die: Die, substrate: Substrate) -> bool:
    liner_um = substrate.liner_thickness_um or 0
    return (die.min_liner_um or 0) <= liner_um <= (die.max_liner_um or liner_um)


def _on_thick_liner_with_a_film_die(job: Job) -> Job:
    return job.model_copy(update={"substrate": "PAPER-WINE", "die": "D-253"})


def _on_reels_too_large(job: Job) -> Job:
    """The whole of a version on one reel, which no rewinder holds."""
    return job.model_copy(update={"labels_per_reel": 20_000})


def _with_lines(plant: Plant, count: int, rng: random.Random) -> Plant:
    """The plant with so many lines, as they stand after another day, and tools enough for them."""
    if not 1 <= count <= LARGEST_SHOP:
        raise ValueError(f"a shop has 1 to {LARGEST_SHOP} lines, not {count}")
    shops = math.ceil(count / len(plant.lines))
    cylinders = tuple(
        tool.model_copy(update={"copies": _copies(tool.copies, shops)}) for tool in plant.cylinders
    )
    dies = tuple(die.model_copy(update={"copies": _copies(die.copies, shops)}) for die in plant.dies)
    lines: list[Line] = []
    for idx, die in enumerate(_standing(dies, cylinders, count, rng)):
        kind = plant.lines[idx % len(plant.lines)]
        present = _present(plant, kind, die, rng)
        number = 1 + idx // len(plant.lines)
        lines.append(kind.model_copy(update={"id": f"{kind.id[0]}{number}", "present": present}))
    return plant.model_copy(update={"lines": tuple(lines), "cylinders": cylinders, "dies": dies})


def _standing(
    dies: tuple[Die, ...], cylinders: tuple[Cylinder, ...], count: int, rng: random.Random
) -> list[Die]:
    """Dies that stand on the lines, no cylinder of them on more lines than there are copies."""
    left = {cylinder.id: cylinder.copies for cylinder in cylinders}
    standing: list[Die] = []
    for die in rng.sample(dies, len(dies)):
        copies = left.get(die.cylinder or "")
        if copies is None or copies > 0:
            standing.append(die)
            left[die.cylinder or ""] = None if copies is None else copies - 1
    return standing[:count]


def _copies(copies: int | None, shops: int) -> int | None:
    return None if copies is None else copies * shops


def _present(plant: Plant, line: Line, die: Die, rng: random.Random) -> PresentState:
    """A cold line with a die, a varnish, knives and cores on it, some stock threaded."""
    substrate = rng.choice([stock for stock in plant.substrates if _cuts(die, stock)])
    varnishing = [station.id for station in line.stations if "varnish" in _does(plant, line, station.id)]
    loaded = {
        varnishing[-1]: LoadedTooling(
            cylinder=die.print_cylinder,
            consumable=rng.choice(("varnish-gloss", "varnish-matt")),
            anilox="A-140",
        ),
        "die": LoadedTooling(cylinder=die.cylinder, die=die.id),
        "slitter": LoadedTooling(slit_layout=slit_layout_of(die)),
        "rewinder": LoadedTooling(core_mm=Decimal(76)),
    }
    width = _stocked_width(plant, substrate, die)
    return PresentState(loaded=loaded, substrate=substrate.code, width_mm=width.width_mm, cold=True)


def _does(plant: Plant, line: Line, station_id: str) -> tuple[str, ...]:
    station = next(station for station in line.stations if station.id == station_id)
    return station.does if station.does is not None else plant.station_kinds[station.kind].does or ()


def _stocked_width(plant: Plant, substrate: Substrate, die: Die) -> StockedWidth:
    """The narrowest stocked width that holds a die's labels on every line."""
    trim_mm = max(line.edge_trim_mm for line in plant.lines)
    needed_mm = die.across * die.label_width_mm + (die.across - 1) * die.gap_across_mm + 2 * trim_mm
    return min(
        (stocked for stocked in substrate.widths if stocked.width_mm >= needed_mm),
        key=lambda stocked: stocked.width_mm,
    )


def repeat_mm(plant: Plant, die: Die) -> Decimal:
    """Circumference of a die's cylinder."""
    teeth = next(tool.teeth for tool in plant.cylinders if tool.id == die.cylinder)
    if teeth is None:
        raise ValueError(f"cylinder {die.cylinder} is given by its teeth")
    return teeth * MM_PER_TOOTH


def _with_stock(plant: Plant, queue: Iterable[Job], rng: random.Random) -> Plant:
    """The plant with stock that lasts for the queue; of a few widths a part is still to come."""
    sold_m = _sold_m(plant, queue)
    substrates = tuple(
        substrate.model_copy(
            update={
                "widths": tuple(
                    _stock_for(
                        plant, stocked, sold_m.get((substrate.code, stocked.width_mm), Decimal(0)), rng
                    )
                    for stocked in substrate.widths
                )
            }
        )
        for substrate in plant.substrates
    )
    return plant.model_copy(update={"substrates": substrates})


def _sold_m(plant: Plant, queue: Iterable[Job]) -> dict[tuple[str, Decimal], Decimal]:
    """Metres that a queue sells, by substrate and width."""
    dies = {die.id: die for die in plant.dies}
    substrates = {substrate.code: substrate for substrate in plant.substrates}
    sold_m: dict[tuple[str, Decimal], Decimal] = {}
    for job in queue:
        die = dies[job.die]
        width = _stocked_width(plant, substrates[job.substrate], die)
        labels = sum(version.quantity for version in job.versions)
        metres = labels / Decimal(die.across * die.around) * repeat_mm(plant, die) / 1000
        key = (job.substrate, width.width_mm)
        sold_m[key] = sold_m.get(key, Decimal(0)) + metres
    return sold_m


def _stock_for(plant: Plant, stocked: StockedWidth, sold_m: Decimal, rng: random.Random) -> StockedWidth:
    needed_m = Decimal(math.ceil((sold_m * WASTE_ALLOWANCE + SPARE_M) / 100) * 100)
    start = plant.site.plan_from
    if start is None or rng.random() >= SHORT_SHARE:
        return stocked.model_copy(update={"on_hand_m": needed_m, "deliveries": ()})
    on_hand_m = Decimal(math.ceil(needed_m / 2 / 100) * 100)
    van = Delivery(at=start + timedelta(hours=rng.choice((4, 8, 27))), length_m=needed_m - on_hand_m)
    return stocked.model_copy(update={"on_hand_m": on_hand_m, "deliveries": (van,)})
