"""Every resource that is kept under an external key."""

from __future__ import annotations

import operator
from collections.abc import Mapping
from typing import Any, Final

from sqlalchemy import Table

from app.contracts.actuals import PostedActual
from app.contracts.jobs import Version
from app.contracts.people import User
from app.contracts.posted_jobs import JobStatus, PostedJob, StoredJob
from app.contracts.stock_items import PostedDelivery, PostedRoll, PostedSubstrate, WidthOnHand
from app.contracts.stored import Stored
from app.contracts.tooling_items import PostedConsumable, PostedCylinder, PostedDie
from app.store.kind import Child, Filter, Kind
from app.store.tables import Base

CHANGED: Final[Mapping[str, Filter]] = {"changed_since": Filter("updated_at", operator.ge)}
BY_CHANGE: Final = {"updated_at": "updated_at"}


def _table(name: str) -> Table:
    return Base.metadata.tables[name]


def _folded(key: str) -> dict[str, Any]:
    """A search by key alone."""
    return {"folded": {f"{key}_folded": key}, "searched": (f"{key}_folded",)}


JOBS: Final = Kind(
    name="jobs",
    contract=PostedJob,
    stored=StoredJob,
    table=_table("jobs"),
    key="job",
    children=(Child("versions", Version, _table("job_versions"), "job_pk"),),
    folded={"job_folded": "job", "customer_folded": "customer"},
    searched=("job_folded", "customer_folded"),
    kept={"status": JobStatus.OPEN, "cancel_reason": ""},
    shown=("status",),
    filters={
        "status": Filter("status"),
        "customer": Filter("customer_folded", folded=True),
        "substrate": Filter("substrate"),
        "die": Filter("die"),
        "due_from": Filter("due", operator.ge),
        "due_before": Filter("due", operator.lt),
        "ready_before": Filter("ready", operator.lt),
        **CHANGED,
    },
    sorts={"due": "due", "customer": "customer_folded", **BY_CHANGE},
)

SUBSTRATES: Final = Kind(
    name="substrates",
    contract=PostedSubstrate,
    stored=Stored[PostedSubstrate],
    table=_table("substrates"),
    key="code",
    children=(Child("widths", WidthOnHand, _table("stocked_widths"), "substrate_pk"),),
    filters={"material_class": Filter("material_class"), **CHANGED},
    sorts=BY_CHANGE,
    raises_setup=True,
    **_folded("code"),
)

ROLLS: Final = Kind(
    name="rolls",
    contract=PostedRoll,
    stored=Stored[PostedRoll],
    table=_table("rolls"),
    key="id",
    filters={
        "substrate": Filter("substrate"),
        "width_mm": Filter("width_mm"),
        "on_unwind": Filter("on_unwind"),
        "reserved_for": Filter("reserved_for"),
        **CHANGED,
    },
    sorts={"substrate": "substrate", **BY_CHANGE},
    raises_setup=True,
    **_folded("id"),
)

DELIVERIES: Final = Kind(
    name="deliveries",
    contract=PostedDelivery,
    stored=Stored[PostedDelivery],
    table=_table("deliveries"),
    key="id",
    filters={
        "substrate": Filter("substrate"),
        "at_from": Filter("at", operator.ge),
        "at_before": Filter("at", operator.lt),
        **CHANGED,
    },
    sorts={"at": "at", "substrate": "substrate", **BY_CHANGE},
    raises_setup=True,
    **_folded("id"),
)

DIES: Final = Kind(
    name="dies",
    contract=PostedDie,
    stored=Stored[PostedDie],
    table=_table("dies"),
    key="id",
    filters={"cylinder": Filter("cylinder"), **CHANGED},
    sorts=BY_CHANGE,
    raises_setup=True,
    **_folded("id"),
)

CYLINDERS: Final = Kind(
    name="cylinders",
    contract=PostedCylinder,
    stored=Stored[PostedCylinder],
    table=_table("cylinders"),
    key="id",
    filters=CHANGED,
    sorts=BY_CHANGE,
    raises_setup=True,
    **_folded("id"),
)

CONSUMABLES: Final = Kind(
    name="consumables",
    contract=PostedConsumable,
    stored=Stored[PostedConsumable],
    table=_table("consumables"),
    key="id",
    filters=CHANGED,
    sorts=BY_CHANGE,
    raises_setup=True,
    **_folded("id"),
)

ACTUALS: Final = Kind(
    name="actuals",
    contract=PostedActual,
    stored=Stored[PostedActual],
    table=_table("actuals"),
    key="id",
    filters={
        "line": Filter("line"),
        "job": Filter("job"),
        "started_from": Filter("started", operator.ge),
        "started_before": Filter("started", operator.lt),
        **CHANGED,
    },
    sorts={"started": "started", **BY_CHANGE},
    **_folded("id"),
)

USERS: Final = Kind(
    name="users",
    contract=User,
    stored=Stored[User],
    table=_table("users"),
    key="name",
    filters={"role": Filter("role")},
)
