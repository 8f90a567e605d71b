"""What the checker works out for itself about a run."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from solver.jobs import Job
from solver.plant import Line
from solver.sequence import Interruption, Mode, Placement, Stock, Task, VersionRun
from tests.checker.geometry import Outcome


@dataclass(frozen=True)
class ExpectedChangeover:
    """A changeover, or a roll end, as it should be."""

    mode: Mode
    cold: bool
    outcome: Outcome
    hidden: tuple[Task, ...] = ()
    reengaged: tuple[str, ...] = ()
    clean_down_ms: int = 0
    joined: bool = False


@dataclass(frozen=True)
class ExpectedRun:
    """A run as it should be; `changeover` is None for one that had started."""

    job: Job
    line: Line
    line_idx: int
    placement: Placement
    stock: Stock
    outgoing: Stock | None
    versions: tuple[VersionRun, ...]
    speed_um_min: int
    doffs: int
    foil_reel_ends: int
    run_ms: int
    roll_ends: list[int]
    roll_end: ExpectedChangeover
    strip_end: ExpectedChangeover
    changeover: ExpectedChangeover | None
    wait_ms: int
    start_ms: int
    print_start_ms: int
    end_ms: int
    interruptions: tuple[Interruption, ...]
    press_due_ms: int | None

    @property
    def name(self) -> str:
        lot = self.placement.lot
        return self.job.id if lot is None else f"{self.job.id} {lot.first}-{lot.last}"

    @property
    def web_um(self) -> int:
        return sum(version.web_um for version in self.versions)

    @property
    def lateness_ms(self) -> int:
        return 0 if self.press_due_ms is None else max(0, self.end_ms - self.press_due_ms)

    @property
    def changeover_ms(self) -> int:
        return self.changeover.outcome.duration_ms if self.changeover else 0

    @property
    def roll_end_ms(self) -> int:
        return sum(end.outcome.duration_ms for end in self.ends)

    @property
    def roll_end_waste_um(self) -> int:
        return sum(end.outcome.waste_um for end in self.ends)

    @property
    def ends(self) -> list[ExpectedChangeover]:
        """What each roll end costs: on the strip nothing but the splice."""
        return [self.roll_end if at_um > 0 else self.strip_end for at_um in self.roll_ends]

    @property
    def interruption_ms(self) -> int:
        return sum(interruption.duration_ms for interruption in self.interruptions)

    @property
    def work_ms(self) -> int:
        """Open time the run keeps its line busy."""
        return self.changeover_ms + self.run_ms + self.roll_end_ms + self.interruption_ms

    def waste_by_stock(self) -> Counter[Stock | None]:
        """Wasted µm of every stock; spoilage allowance is none of it."""
        waste: Counter[Stock | None] = Counter()
        if self.changeover is not None:
            waste[self.outgoing] += self.changeover.outcome.outgoing_um
            waste[self.stock] += self.changeover.outcome.incoming_um
        waste[self.stock] += self.roll_end_waste_um
        waste[self.stock] += sum(interruption.waste_um for interruption in self.interruptions)
        return waste

    def taken_by_stock(self) -> Counter[Stock]:
        """What the run takes from the store; a started run has drawn what it needs."""
        taken: Counter[Stock] = Counter()
        if self.changeover is None:
            return taken
        taken[self.stock] += self.web_um
        for stock, length_um in self.waste_by_stock().items():
            if stock is not None and length_um:
                taken[stock] += length_um
        return taken
