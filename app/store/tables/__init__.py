"""The tables, one subject a module. Attributes are called as contracts call them, columns by what is kept."""

from app.store.tables.actuals import ActualRow
from app.store.tables.audit import AuditRow
from app.store.tables.base import Base
from app.store.tables.idempotency import AnswerRow
from app.store.tables.jobs import JobRow, JobVersionRow
from app.store.tables.people import KeyRow, UserRow
from app.store.tables.plants import LineRow, PlantRow
from app.store.tables.releases import ReleaseLineRow, ReleaseRow
from app.store.tables.requests import RequestEventRow, RequestInputRow, RequestRow
from app.store.tables.sequences import SequenceRow, SequenceRunRow
from app.store.tables.stock import DeliveryRow, RollRow, StockedWidthRow, SubstrateRow
from app.store.tables.tooling import ConsumableRow, CylinderRow, DieRow
from app.store.tables.webhooks import WebhookDeliveryRow, WebhookMessageRow, WebhookRow

__all__ = [
    "ActualRow",
    "AnswerRow",
    "AuditRow",
    "Base",
    "ConsumableRow",
    "CylinderRow",
    "DeliveryRow",
    "DieRow",
    "JobRow",
    "JobVersionRow",
    "KeyRow",
    "LineRow",
    "PlantRow",
    "ReleaseLineRow",
    "ReleaseRow",
    "RequestEventRow",
    "RequestInputRow",
    "RequestRow",
    "RollRow",
    "SequenceRow",
    "SequenceRunRow",
    "StockedWidthRow",
    "SubstrateRow",
    "UserRow",
    "WebhookDeliveryRow",
    "WebhookMessageRow",
    "WebhookRow",
]
