"""Plants: their set-up, and a plant whole, taken apart into what is kept of it and put together again."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any, TypeVar, cast
from zoneinfo import ZoneInfo

from sqlalchemy import RowMapping, insert, select, update

from app.contracts.base import Contract, at_site
from app.contracts.plant import (
    Consumable,
    Cylinder,
    Delivery,
    Die,
    Line,
    Plant,
    Roll,
    Site,
    StockedWidth,
    Substrate,
)
from app.contracts.plant_setup import PlantSetup
from app.contracts.stock_items import PostedDelivery, PostedRoll, PostedSubstrate, WidthOnHand
from app.contracts.stored import Stored
from app.contracts.tooling_items import PostedConsumable, PostedCylinder, PostedDie
from app.errors import VersionConflict
from app.store import audit, lines, records
from app.store.audit import Action, Change
from app.store.kinds import CONSUMABLES, CYLINDERS, DELIVERIES, DIES, ROLLS, SUBSTRATES
from app.store.store import View, Work
from app.store.tables import Base

PLANTS = "plants"
TABLE = Base.metadata.tables["plants"]

_BESIDE_SITE = tuple(name for name in PlantSetup.model_fields if name != "site")
_LONGEST_PART, _LONGEST_CODE = 40, 80

OtherT = TypeVar("OtherT", bound=Contract)

InWidth = tuple[str, Decimal]


def names(view: View) -> tuple[str, ...]:
    """All plants of the database, by name."""
    return tuple(view.connection.execute(select(TABLE.c.name).order_by(TABLE.c.name)).scalars())


def create(work: Work, name: str, plant: Plant) -> None:
    """Make a plant; what the transaction does from here on is done in it.

    Raises
    ------
    VersionConflict
        If there is one of that name.
    """
    work.hold(PLANTS, [name])
    version = work.connection.execute(select(TABLE.c.version).where(TABLE.c.name == name)).scalar()
    if version is not None:
        raise VersionConflict(PLANTS, name, None, version)
    setup = _setup_of(plant)
    first = {"name": name, "setup_version": 1, "version": 1, "created_at": work.at, "updated_at": work.at}
    made = work.connection.execute(insert(TABLE).values({**_row(setup), **first}).returning(TABLE.c.pk))
    work.plant_name, work.plant_or_none = name, made.scalar_one()
    audit.record(work, PLANTS, [Change(Action.CREATED, name, None, _json(setup))])
    _put_parts(work, plant)


def put(work: Work, plant: Plant) -> None:
    """Afterwards the plant is as this one says, stock and tools too: what it does not have is removed."""
    work.hold_setup()
    replace_setup(work, _setup_of(plant), read_setup(work).version)
    _put_parts(work, plant)


def setup_version(view: View) -> int:
    """One more with every change of set-up, stock or tooling: by it one knows what is out of date."""
    version: int = _there(view)["setup_version"]
    return version


def read_setup(view: View) -> Stored[PlantSetup]:
    """What the plant has besides lines, stock and tools.

    Raises
    ------
    NotStored
        If there is no such plant.
    """
    row = _there(view)
    return Stored[PlantSetup].model_construct(
        item=_setup(row), version=row["version"], updated_at=row["updated_at"]
    )


def replace_setup(work: Work, setup: PlantSetup, if_version: int) -> Stored[PlantSetup]:
    """Change what the plant has besides lines, stock and tools.

    Raises
    ------
    VersionConflict
        If it is of another version.
    """
    work.hold_setup()
    row = _there(work)
    if row["version"] != if_version:
        raise VersionConflict(PLANTS, row["name"], if_version, row["version"])
    setup = _with_offset(setup)
    before, after = _json(_setup(row)), _json(setup)
    if before != after:
        changed = {**_row(setup), "version": if_version + 1, "updated_at": work.at}
        work.connection.execute(update(TABLE).where(TABLE.c.pk == work.plant).values(changed))
        audit.record(work, PLANTS, [Change(Action.UPDATED, row["name"], before, after)])
        work.raise_setup()
    return read_setup(work)


def whole(view: View) -> Plant:
    """The plant with its lines, stock and tools, moments on the site's clock.

    Raises
    ------
    NotStored
        If there is no such plant.
    """
    setup = read_setup(view).item
    parts: dict[str, Any] = {name: getattr(setup, name) for name in PlantSetup.model_fields}
    return Plant.model_construct(
        **parts,
        lines=tuple(_only(Line, stored.item) for stored in lines.read_all(view)),
        substrates=tuple(_substrates(view, setup.site.zone_info)),
        dies=tuple(_only(Die, die) for die in records.read_all(view, DIES)),
        cylinders=tuple(_only(Cylinder, cylinder) for cylinder in records.read_all(view, CYLINDERS)),
        consumables=tuple(_only(Consumable, item) for item in records.read_all(view, CONSUMABLES)),
    )


def _there(view: View) -> RowMapping:
    return view.connection.execute(select(TABLE).where(TABLE.c.pk == view.plant)).mappings().one()


def _row(setup: PlantSetup) -> dict[str, Any]:
    beside = {name: getattr(setup, name) for name in _BESIDE_SITE}
    site = setup.site
    return {**beside, "site_name": site.name, "zone": site.zone, "plan_from": site.plan_from}


def _setup(row: RowMapping) -> PlantSetup:
    begins = row["plan_from"]
    site = Site.model_construct(
        name=row["site_name"],
        zone=row["zone"],
        plan_from=begins and begins.astimezone(ZoneInfo(row["zone"])),
    )
    parts: dict[str, Any] = {name: row[name] for name in _BESIDE_SITE}
    return PlantSetup.model_construct(site=site, **parts)


def _setup_of(plant: Plant) -> PlantSetup:
    parts: dict[str, Any] = {name: getattr(plant, name) for name in PlantSetup.model_fields}
    return _with_offset(PlantSetup.model_construct(**parts))


def _with_offset(setup: PlantSetup) -> PlantSetup:
    """The set-up with its usual start on the site's clock."""
    site = setup.site
    if site.plan_from is None:
        return setup
    begins = at_site(site.plan_from, site.zone_info).astimezone(site.zone_info)
    return setup.model_copy(update={"site": site.model_copy(update={"plan_from": begins})})


def _put_parts(work: Work, plant: Plant) -> None:
    lines.put_all(work, plant.lines)
    zone = plant.site.zone_info
    records.make_so(work, SUBSTRATES, [_posted_substrate(substrate) for substrate in plant.substrates])
    records.make_so(work, ROLLS, list(_posted_rolls(plant.substrates, zone)))
    records.make_so(work, DELIVERIES, list(_posted_deliveries(plant.substrates, zone)))
    records.make_so(work, CYLINDERS, [_only(PostedCylinder, cylinder) for cylinder in plant.cylinders])
    records.make_so(work, DIES, [_only(PostedDie, die) for die in plant.dies])
    records.make_so(work, CONSUMABLES, [_only(PostedConsumable, item) for item in plant.consumables])


def _only(contract: type[OtherT], item: Contract) -> OtherT:
    """The fields that another contract has too."""
    shared = {name: value for name, value in item.__dict__.items() if name in contract.model_fields}
    return cast("OtherT", contract.model_construct(**shared))


def _posted_substrate(substrate: Substrate) -> PostedSubstrate:
    widths = tuple(_only(WidthOnHand, stocked) for stocked in substrate.widths)
    return _only(PostedSubstrate, substrate).model_copy(update={"widths": widths})


def _posted_rolls(substrates: Sequence[Substrate], zone: ZoneInfo) -> Iterator[PostedRoll]:
    for substrate in substrates:
        for stocked in substrate.widths:
            for roll in stocked.rolls:
                moments = {
                    name: at_site(moment, zone)
                    for name in ROLLS.moments
                    if (moment := getattr(roll, name)) is not None
                }
                lies = {"substrate": substrate.code, "width_mm": stocked.width_mm}
                yield _only(PostedRoll, roll).model_copy(update={**moments, **lies})


def _posted_deliveries(substrates: Sequence[Substrate], zone: ZoneInfo) -> Iterator[PostedDelivery]:
    for substrate in substrates:
        for stocked in substrate.widths:
            for number, delivery in enumerate(stocked.deliveries, 1):
                yield PostedDelivery.model_construct(
                    id=_delivery_id(substrate.code, stocked.width_mm, number),
                    substrate=substrate.code,
                    width_mm=stocked.width_mm,
                    at=at_site(delivery.at, zone),
                    length_m=delivery.length_m,
                )


def _delivery_id(code: str, width_mm: Decimal, number: int) -> str:
    """A number for a delivery of a plant file, which has none: it is the same whenever the file is read."""
    told = f"{code} {width_mm.normalize():f} mm {number}"
    if len(told) <= _LONGEST_CODE:
        return told
    return f"{told[:_LONGEST_PART].rstrip()} {hashlib.sha256(told.encode()).hexdigest()[:16]}"


def _substrates(view: View, zone: ZoneInfo) -> Iterator[Substrate]:
    """Stocks with their rolls and deliveries; a width that only these know comes behind the others."""
    rolls: dict[InWidth, list[Roll]] = defaultdict(list)
    for roll in records.read_all(view, ROLLS):
        rolls[roll.substrate, roll.width_mm].append(_on_clock(_only(Roll, roll), ROLLS.moments, zone))
    deliveries: dict[InWidth, list[Delivery]] = defaultdict(list)
    for delivery in records.read_all(view, DELIVERIES):
        coming = _on_clock(_only(Delivery, delivery), DELIVERIES.moments, zone)
        deliveries[delivery.substrate, delivery.width_mm].append(coming)
    for substrate in records.read_all(view, SUBSTRATES):
        code = substrate.code
        on_hand = {width.width_mm: width.on_hand_m for width in substrate.widths}
        known = [width for other, width in (*rolls, *deliveries) if other == code and width not in on_hand]
        widths = tuple(
            StockedWidth.model_construct(
                width_mm=width,
                on_hand_m=on_hand.get(width),
                deliveries=tuple(deliveries.get((code, width), ())),
                rolls=tuple(rolls.get((code, width), ())),
            )
            for width in dict.fromkeys((*on_hand, *sorted(known)))
        )
        yield _only(Substrate, substrate).model_copy(update={"widths": widths})


def _on_clock(item: OtherT, moments: Sequence[str], zone: ZoneInfo) -> OtherT:
    update = {
        name: moment.astimezone(zone) for name in moments if (moment := getattr(item, name)) is not None
    }
    return item.model_copy(update=update)


def _json(setup: PlantSetup) -> str:
    return setup.model_dump_json(by_alias=True, exclude_none=True)
