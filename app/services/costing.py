"""Orders made by hand: what one comes to, and several side by side, while somebody waits.

An order of 200 runs takes some milliseconds once its plant and its jobs are known: from question to question
translated jobs and changeovers are remembered, for several plants. What comes out are the account's numbers.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Collection, Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from threading import Lock
from typing import Any

from app.contracts.base import at_site
from app.contracts.costings import Costing, HandMadeOrder, MoreCost, OrdersToCompare, OrderToCost
from app.contracts.jobs import Job
from app.contracts.known_names import unknown
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.errors import BadInput, Fault
from app.intake.findings import Findings
from app.intake.order_file import check_order
from app.translation.brief import brief_sequence, brief_totals, json_text
from app.translation.known_plant import Asked, KnownPlant
from app.translation.sequences import Costed
from app.translation.solving import Question

MOST_PLANTS = 8
"""Plants remembered."""
MOST_UNKNOWN = 50
"""Unknown jobs that are told one by one."""


@dataclass(frozen=True, slots=True)
class CostingSource:
    """Where a costing takes its plant and jobs from. What is known already is not loaded again.

    Parameters
    ----------
    plant_key, setup_version
        Which plant, and a number that is another one whenever anything of it is: lines, stock, tooling.
    load_plant
        Gives that plant.
    jobs
        By number, the version of every job of the queue: those that the order should speak of.
    load_jobs
        Gives the jobs of these numbers, in these versions.
    in_force
        The sequence that people work to so far.
    now
        Decides when the plan begins where neither the order nor the plant says.
    """

    plant_key: Hashable
    setup_version: int
    load_plant: Callable[[], Plant]
    jobs: Mapping[str, int]
    load_jobs: Callable[[Collection[str]], Iterable[Job]]
    now: datetime
    in_force: RunOrder | None = None


class Costings:
    """Costs orders made by hand. It may serve many threads; those of one plant wait for each other."""

    def __init__(self, most_plants: int = MOST_PLANTS) -> None:
        self._most_plants = most_plants
        self._lock = Lock()
        self._plants: OrderedDict[Hashable, _Remembered] = OrderedDict()

    def cost(self, source: CostingSource, asked: OrderToCost) -> bytes:
        """What an order comes to: a `CostedOrder` as JSON.

        Raises
        ------
        BadInput
            With every fault of the order: unknown or doubled jobs, lines and stations, jobs that cannot run
            where it has them or are missing; and where plant, jobs or locks contradict themselves.
        """
        known = self._remembered(source)
        with known.lock:
            queue = known.queue(source, asked)
            costed = known.costed(queue, asked, asked)
            return brief_sequence(costed, detail=asked.detail).encode()

    def compare(self, source: CostingSource, asked: OrdersToCompare) -> bytes:
        """Several orders of the same jobs side by side: a `ComparedOrders` as JSON.

        Raises
        ------
        BadInput
            As above, of any of them.
        """
        known = self._remembered(source)
        with known.lock:
            queue = known.queue(source, asked)
            costed = [known.costed(queue, asked, order) for order in asked.orders]
            briefs = [brief_totals(each) for each in costed]
        first = costed[0]
        return json_text(
            {
                "start": first.clock.moment(0).isoformat(),
                "goal": asked.goal.value,
                "by_usual_rolls": first.problem.chosen_rolls is None,
                "orders": [
                    {"name": order.name, **brief, "more": _more(brief["cost"], briefs[0]["cost"])}
                    for order, brief in zip(asked.orders, briefs, strict=True)
                ],
            }
        ).encode()

    def _remembered(self, source: CostingSource) -> _Remembered:
        with self._lock:
            known = self._plants.setdefault(source.plant_key, _Remembered())
            self._plants.move_to_end(source.plant_key)
            if len(self._plants) > self._most_plants:
                self._plants.popitem(last=False)
            return known


class _Remembered:
    """What is remembered of a plant; whoever asks holds its lock."""

    def __init__(self) -> None:
        self.lock = Lock()
        self._version: int | None = None
        self._known: KnownPlant | None = None

    def queue(self, source: CostingSource, asked: OrderToCost | OrdersToCompare) -> Asked:
        """The queue that is asked about; what is not known of it is loaded."""
        _refuse_unknown_jobs(asked.jobs, source.jobs)
        known = self._known
        if known is None or self._version != source.setup_version:
            known = self._known = KnownPlant(source.load_plant(), known)
            self._version = source.setup_version
        missing = known.unknown(source.jobs)
        if missing:
            known.learn(source.load_jobs(missing), source.jobs)
            known.forget_jobs(but=source.jobs)
        start = at_site(known.plant.site.begins(asked.start, source.now), known.plant.site.zone_info)
        return known.asked(start, source.jobs, asked.locks, source.in_force)

    def costed(self, queue: Asked, asked: Costing, order: HandMadeOrder) -> Costed:
        """An order of that queue."""
        if self._known is None:
            raise RuntimeError("a queue of a plant that is not known")
        return self._known.costed(queue, order, asked.goal, _refuse_faulty, rolls=asked.rolls)


def _refuse_unknown_jobs(asked: Iterable[str], known: Collection[str]) -> None:
    """The first of them alone: the nearest known job is looked for by comparing with every one."""
    named = sorted(job for job in asked if job not in known)
    if named:
        shown = [Fault(unknown("job", job, known), field="job", value=job) for job in named[:MOST_UNKNOWN]]
        further = len(named) - len(shown)
        raise BadInput([*shown, *([Fault(f"{further} more jobs are unknown")] if further else [])])


def _refuse_faulty(question: Question, order: RunOrder) -> None:
    """Refuse an order with names that nobody knows, or a job twice."""
    findings = Findings()
    check_order(order, question.plant, question.jobs, None, findings)
    if findings.faults:
        raise BadInput(findings.faults)


def _more(cost: Mapping[str, Any], than: Mapping[str, Any]) -> dict[str, float]:
    """What an order costs more than another one, part by part, in exact decimals."""
    differences = {
        part: Decimal(str(cost[part])) - Decimal(str(than[part])) for part in MoreCost.model_fields
    }
    return MoreCost(**differences).model_dump(mode="json")
