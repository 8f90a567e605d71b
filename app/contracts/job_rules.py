"""What a job must not say: values that contradict each other, and codes that a plant does not have."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from app.contracts.contradiction import Contradiction
from app.contracts.jobs import INKJET, MOST_LAYERS, Job, Layer, SpliceRule


def with_inkjet(groups: tuple[tuple[Layer, ...], ...], printed: bool) -> tuple[tuple[Layer, ...], ...]:
    """The inkjet comes first unless its place is marked."""
    return ((Layer(kind=INKJET),), *groups) if printed and not _marks(groups) else groups


def contradictions(job: Job) -> Iterator[Contradiction]:
    """What in a job contradicts something else in it."""
    seen: set[str] = set()
    for idx, version in enumerate(job.versions):
        if version.version in seen:
            yield Contradiction(
                f"versions[{idx}].version", version.version, "should be there once in the job"
            )
        seen.add(version.version)
        if version.max_quantity is not None and version.max_quantity < version.quantity:
            yield Contradiction(
                f"versions[{idx}].max_quantity",
                str(version.max_quantity),
                f"should be at least the quantity, {version.quantity}",
            )
    if job.full_reels and job.labels_per_reel is None:
        yield Contradiction("labels_per_reel", None, "must be given where only full reels are taken")
    if job.splice_rule is SpliceRule.NEVER and job.most_splices_a_reel:
        yield Contradiction(
            "most_splices_a_reel",
            str(job.most_splices_a_reel),
            "should be 0 or absent where a splice may never lie",
        )
    if job.core_mm is not None and job.largest_reel_mm is not None and job.largest_reel_mm <= job.core_mm:
        yield Contradiction(
            "largest_reel_mm",
            str(job.largest_reel_mm),
            f"should be larger than the core, {job.core_mm} mm",
        )
    yield from _times(job)
    yield from _layering(job)


def _times(job: Job) -> Iterator[Contradiction]:
    if job.ready is None or job.due is None or (job.ready.tzinfo is None) != (job.due.tzinfo is None):
        return
    if job.due < job.ready:
        right = f"should not be before the job's own ready time, {job.ready.isoformat()}"
        yield Contradiction("due", job.due.isoformat(), right)


def _layering(job: Job) -> Iterator[Contradiction]:
    marks = _marks(job.finishes)
    if marks > 1:
        yield Contradiction("finishes", None, "should mark the inkjet's place once")
    elif marks and not job.colours:
        right = "should not mark the inkjet's place where colours is empty"
        yield Contradiction("finishes", None, right)
    if sum(map(len, with_inkjet(job.finishes, bool(job.colours)))) > MOST_LAYERS:
        right = f"should hold at most {MOST_LAYERS} layers, the inkjet's among them"
        yield Contradiction("finishes", None, right)


def _marks(groups: tuple[tuple[Layer, ...], ...]) -> int:
    return sum(layer.kind == INKJET for group in groups for layer in group)


@dataclass(frozen=True, slots=True)
class KnownCodes:
    """What a plant has that jobs name."""

    substrates: Collection[str]
    dies: Collection[str]
    consumables: Collection[str]
    layer_kinds: Collection[str]

    def missing_of(self, job: Job) -> tuple[str, ...]:
        """What the job names and the plant does not have, in words; none: it has all of it."""
        return tuple(self._missing(job))

    def _missing(self, job: Job) -> Iterator[str]:
        if job.substrate not in self.substrates:
            yield f"substrate {job.substrate} is not known"
        if job.die not in self.dies:
            yield f"die {job.die} is not known"
        told: set[str] = set()
        for layer in (layer for group in job.finishes for layer in group):
            if layer.kind not in self.layer_kinds and layer.kind != INKJET and layer.kind not in told:
                told.add(layer.kind)
                yield f"no station of the plant does {layer.kind}"
            if layer.consumable is not None and layer.consumable not in self.consumables:
                yield f"consumable {layer.consumable} is not known"
