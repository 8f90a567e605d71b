"""Webhooks: who is told what, what became of it, and what is tried again."""

# annotations of bodies are read when the routes are made, so they are not postponed here

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from app.api import examples
from app.api.access import access
from app.api.answers import answer
from app.api.bodies import body
from app.api.conditions import Condition, condition_of_change
from app.api.listing import WebhooksAsked
from app.api.paging import next_link
from app.api.problems import CONFLICT, problems
from app.api.requests import actor
from app.api.things import refuse_other_key
from app.contracts.base import Code
from app.contracts.stored import MOST_A_PAGE, USUAL_PAGE, Page
from app.contracts.webhooks import (
    DeliveryStatus,
    NewWebhook,
    Resending,
    Resent,
    SecretMade,
    StoredWebhook,
    Webhook,
    WebhookDelivery,
    WebhookDeliveryDetail,
    WebhookDetail,
    WebhookMade,
)
from app.security import Holder, Role
from app.services import webhooks as service
from app.services.workshop import Workshop
from app.store import webhooks
from app.store.listing import Query as Listing
from app.webhook_targets import Targets

PATH = "/api/v1/webhooks"


class DeliveriesToWebhookAsked(BaseModel):
    """Which deliveries are asked for."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    limit: int = Field(default=USUAL_PAGE, ge=1, le=MOST_A_PAGE, description="Deliveries at most.")
    cursor: str | None = Field(default=None, max_length=2000, description="next_cursor of the page before.")
    status: DeliveryStatus | None = Field(default=None, description="pending, delivered or dead.")

    @property
    def query(self) -> Listing:
        """The same for the store."""
        return Listing(cursor=self.cursor, limit=self.limit)


def webhook_routes(shop: Workshop, targets: Targets) -> APIRouter:
    """Routes of webhooks; messages go to `targets` alone."""
    router = APIRouter(prefix=PATH, tags=["webhooks"])
    _add_making(shop, targets, router)
    _add_reading(shop, router)
    _add_changing(shop, targets, router)
    _add_deliveries(shop, router)
    _add_resending(shop, router)
    return router


def _add_making(shop: Workshop, targets: Targets, router: APIRouter) -> None:
    @router.post(
        "",
        operation_id="create_webhook",
        summary="Have messages posted to an address",
        description="The answer holds the secret that messages are signed with, this once. Messages follow "
        "the Standard Webhooks specification: check `webhook-signature` with one of its libraries, and take "
        "each `webhook-id` once: a message may come twice, and a later one before an earlier. It hears of "
        "what happens from half a second later on.",
        status_code=201,
        response_model=WebhookMade,
    )
    def create(
        request: Request,
        who: Annotated[Holder, access(Role.ADMIN)],
        new: Annotated[NewWebhook, body(NewWebhook, examples={"MIS": examples.WEBHOOK}, only_offsets=True)],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            made = service.create(work, targets, new)
        location = f"{PATH}/{made.shown.item.id}"
        return answer(made, 201, version=made.shown.version, location=location).response()


def _add_reading(shop: Workshop, router: APIRouter) -> None:
    @router.get("", operation_id="list_webhooks", summary="List webhooks", response_model=Page[StoredWebhook])
    def listed(
        request: Request,
        who: Annotated[Holder, access(Role.ADMIN)],
        asked: Annotated[WebhooksAsked, Query()],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            found = webhooks.listed(view, asked.query)
        return answer(found, headers=next_link(request, found.next_cursor)).response()

    @router.get(
        "/{webhook}",
        operation_id="read_webhook",
        summary="Read a webhook, and how its deliveries stand",
        response_model=WebhookDetail,
    )
    def read(who: Annotated[Holder, access(Role.ADMIN)], webhook: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            found = webhooks.detail(view, webhook)
        return answer(found, version=found.version).response()


def _add_changing(shop: Workshop, targets: Targets, router: APIRouter) -> None:
    changed: Any = body(Webhook, examples={"MIS": examples.CHANGED_WEBHOOK}, only_offsets=True)

    @router.put(
        "/{webhook}",
        operation_id="put_webhook",
        summary="Change a webhook, switch it off or on again",
        description="While it is off it hears of nothing new, and what is pending waits.",
        response_model=StoredWebhook,
    )
    def put(
        request: Request,
        who: Annotated[Holder, access(Role.ADMIN)],
        webhook: Code,
        only_if: Annotated[Condition, condition_of_change()],
        sent: Annotated[Webhook, changed],
    ) -> Response:
        refuse_other_key(webhooks.WEBHOOKS, webhook, sent)
        with shop.store.writing(actor(who, request)) as work:
            stored = service.put(work, targets, sent, only_if.require)
        return answer(stored, version=stored.version).response()

    @router.delete(
        "/{webhook}",
        operation_id="remove_webhook",
        summary="Remove a webhook with all its deliveries",
        status_code=204,
    )
    def remove(
        request: Request,
        who: Annotated[Holder, access(Role.ADMIN)],
        webhook: Code,
        only_if: Annotated[Condition, condition_of_change()],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            version = webhooks.read(work, webhook).version
            only_if.require(version)
            webhooks.remove(work, webhook, version)
        return Response(status_code=204)

    @router.post(
        "/{webhook}/secret",
        operation_id="change_webhook_secret",
        summary="Sign with another secret",
        description="The answer holds it, this once. For 24 hours the one before signs too.",
        response_model=SecretMade,
    )
    def change_secret(
        request: Request, who: Annotated[Holder, access(Role.ADMIN)], webhook: Code
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            made = service.change_secret(work, webhook)
        return answer(made).response()

    @router.post(
        "/{webhook}/test",
        operation_id="test_webhook",
        summary="Send a message that tells of nothing but itself",
        description="Of the type `webhook.test`; read the delivery to see what became of it.",
        status_code=201,
        response_model=WebhookDeliveryDetail,
        responses=problems(CONFLICT),
    )
    def test(request: Request, who: Annotated[Holder, access(Role.ADMIN)], webhook: Code) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            delivery = webhooks.send_test(work, webhook)
            made = webhooks.delivery(work, webhook, delivery)
        return answer(made, 201, location=f"{PATH}/{webhook}/deliveries/{delivery}").response()


def _add_deliveries(shop: Workshop, router: APIRouter) -> None:
    @router.get(
        "/{webhook}/deliveries",
        operation_id="list_webhook_deliveries",
        summary="List deliveries to a webhook, the latest first",
        response_model=Page[WebhookDelivery],
    )
    def listed(
        request: Request,
        who: Annotated[Holder, access(Role.ADMIN)],
        webhook: Code,
        asked: Annotated[DeliveriesToWebhookAsked, Query()],
    ) -> Response:
        with shop.store.reading(who.plant) as view:
            found = webhooks.deliveries(view, webhook, asked.status, asked.query)
        return answer(found, headers=next_link(request, found.next_cursor)).response()

    @router.get(
        "/{webhook}/deliveries/{delivery}",
        operation_id="read_webhook_delivery",
        summary="Read a delivery with its message",
        response_model=WebhookDeliveryDetail,
    )
    def read(who: Annotated[Holder, access(Role.ADMIN)], webhook: Code, delivery: Code) -> Response:
        with shop.store.reading(who.plant) as view:
            return answer(webhooks.delivery(view, webhook, delivery)).response()

    @router.delete(
        "/{webhook}/deliveries/{delivery}",
        operation_id="remove_webhook_delivery",
        summary="Remove a delivery that is over",
        status_code=204,
        responses=problems(CONFLICT),
    )
    def remove(
        request: Request, who: Annotated[Holder, access(Role.ADMIN)], webhook: Code, delivery: Code
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            webhooks.remove_delivery(work, webhook, delivery)
        return Response(status_code=204)


def _add_resending(shop: Workshop, router: APIRouter) -> None:
    @router.post(
        "/{webhook}/deliveries/{delivery}/resending",
        operation_id="resend_webhook_delivery",
        summary="Try a delivery again, now",
        description="As often as a new one, whether it was given up, was delivered or waits for its next "
        "attempt. The message keeps its `webhook-id`.",
        response_model=WebhookDeliveryDetail,
    )
    def resend(
        request: Request, who: Annotated[Holder, access(Role.ADMIN)], webhook: Code, delivery: Code
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            return answer(webhooks.resend(work, webhook, delivery)).response()

    @router.post(
        "/{webhook}/resending",
        operation_id="resend_dead_webhook_deliveries",
        summary="Try again all that was given up",
        response_model=Resent,
    )
    def resend_dead(
        request: Request,
        who: Annotated[Holder, access(Role.ADMIN)],
        webhook: Code,
        asked: Annotated[
            Resending, body(Resending, examples={"since": examples.RESENDING}, only_offsets=True)
        ],
    ) -> Response:
        with shop.store.writing(actor(who, request)) as work:
            return answer(Resent(resent=webhooks.resend_dead(work, webhook, asked.since))).response()
