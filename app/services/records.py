"""Things that are posted and stored, whatever they are: taken, put, removed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from app.contracts.base import Contract
from app.contracts.contradiction import Contradiction
from app.contracts.plant import Plant
from app.contracts.stored import BulkOutcome, Done, Outcome, Refusal, Stored
from app.errors import BadInput, Conflict, Fault, NotStored
from app.services.item_checks import ItemChecks, holders
from app.services.workshop import Workshop
from app.store import records
from app.store.kind import Kind
from app.store.kinds import ROLLS
from app.store.store import Work

Item = TypeVar("Item", bound=Contract)

Condition = Callable[[int | None], int | None]
"""Given the version that is stored, none where nothing is, the version to be changed; or it refuses."""


def take(shop: Workshop, work: Work, kind: Kind[Item], items: Sequence[Item], *, each: bool) -> BulkOutcome:
    """Take many things at once: all or none, or each by itself.

    Raises
    ------
    BadInput
        Where all are to be taken: with what is wrong with any of them, by `items[3].due`.
    OlderRevision
        Where all are to be taken and a newer revision of one is stored.
    """
    wrong = _wrong(shop, work, kind, items)
    if wrong and not each:
        raise BadInput(
            Fault(found.right, field=f"items[{idx}].{found.field}", value=found.value)
            for idx, contradictions in sorted(wrong.items())
            for found in contradictions
        )
    taken = [idx for idx in range(len(items)) if idx not in wrong]
    done = records.upsert(work, kind, [items[idx] for idx in taken], each=each)
    outcomes = dict(zip(taken, map(_of_item, done), strict=True))
    outcomes |= {idx: _refused(kind.key_of(items[idx]), found) for idx, found in wrong.items()}
    told = tuple(outcomes[idx] for idx in range(len(items)))
    counts = {done: sum(outcome.done is done for outcome in told) for done in Done}
    return BulkOutcome(
        created=counts[Done.CREATED],
        updated=counts[Done.UPDATED],
        unchanged=counts[Done.UNCHANGED],
        refused=counts[Done.REFUSED],
        outcomes=told,
    )


def create(shop: Workshop, work: Work, kind: Kind[Item], item: Item) -> Stored[Item]:
    """Store a thing that is not there yet.

    Raises
    ------
    BadInput
        With all that is wrong with it.
    VersionConflict
        Where it is there.
    """
    _refuse_wrong(shop, work, kind, item)
    return records.create(work, kind, item)


def put(shop: Workshop, work: Work, kind: Kind[Item], item: Item, only_if: Condition) -> Stored[Item]:
    """Store a thing in place of the version that its sender has read, or anew where none is.

    Raises
    ------
    BadInput
        With all that is wrong with it.
    OlderRevision
        Where its revision is older than the stored one's.
    """
    _refuse_wrong(shop, work, kind, item)
    stored = records.read(work, kind, kind.key_of(item))
    return records.replace(work, kind, item, only_if(None if stored is None else stored.version))


def remove(shop: Workshop, work: Work, kind: Kind[Item], key: str, only_if: Condition) -> None:
    """Remove a thing that nothing needs.

    Raises
    ------
    NotStored
        Where it is not there.
    Conflict
        Where something needs it.
    """
    stored = records.read(work, kind, key)
    if stored is None:
        raise NotStored(kind.name, key)
    version = only_if(stored.version)
    if kind.raises_setup:
        _refuse_needed(shop.plants.of(work).plant, stored.item)
    records.remove(work, kind, key, version)


def _refuse_wrong(shop: Workshop, work: Work, kind: Kind[Item], item: Item) -> None:
    wrong = _wrong(shop, work, kind, [item])
    if wrong:
        raise BadInput(Fault(found.right, field=found.field, value=found.value) for found in wrong[0])


def _refuse_needed(plant: Plant, item: Contract) -> None:
    needing = holders(plant, item)
    if needing:
        raise Conflict(f"It is needed: {'; '.join(needing)}.")


def _wrong(
    shop: Workshop, work: Work, kind: Kind[Item], items: Sequence[Item]
) -> dict[int, tuple[Contradiction, ...]]:
    """What is wrong with items, by their place; those without fault are not in it."""
    keys = [kind.key_of(item) for item in items]
    # what is no part of the plant is taken whatever the plant has: it need not be read then
    plant = shop.plants.of(work).plant if kind.raises_setup else None
    checks = ItemChecks(plant, frozenset(keys) if kind is ROLLS else ())
    first: dict[str, int] = {}
    found: dict[int, tuple[Contradiction, ...]] = {}
    for idx, (key, item) in enumerate(zip(keys, items, strict=True)):
        wrong = tuple(checks.of(item))
        if first.setdefault(key, idx) != idx:
            right = f"should be there once: items[{first[key]}] has it already"
            wrong = (Contradiction(kind.key, key, right), *wrong)
        if wrong:
            found[idx] = wrong
    return found


def _refused(key: str, found: Sequence[Contradiction]) -> Outcome:
    errors = tuple(Refusal(field=each.field, value=each.value, right=each.right) for each in found)
    return Outcome(key=key, done=Done.REFUSED, version=None, errors=errors)


def _of_item(outcome: Outcome) -> Outcome:
    """Fields of its errors counted from the item: the outcome tells which one that is."""
    if not outcome.errors:
        return outcome
    errors = tuple(
        error.model_copy(update={"field": (error.field or "").partition("].")[2] or error.field})
        for error in outcome.errors
    )
    return outcome.model_copy(update={"errors": errors})
