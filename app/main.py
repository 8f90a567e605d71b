"""Wiring: settings and a store become an application. The only place that chooses the real parts."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool

from app.api.actuals import actual_routes
from app.api.application import Parts, create_app
from app.api.event_stream import EventStreams
from app.api.files import file_routes
from app.api.jobs import job_routes, readiness_routes
from app.api.people import audit_routes, key_routes, user_routes
from app.api.planning_requests import planning_request_routes
from app.api.plant import line_routes, plant_routes
from app.api.releases import line_release_routes, release_routes
from app.api.request_events import event_routes
from app.api.resources import stock_and_tool_routes
from app.api.sequences import sequence_routes
from app.api.webhooks import webhook_routes
from app.contracts.messages import MESSAGES
from app.security import Doorkeeper
from app.services import tidying
from app.services.replanning import kept_of
from app.services.requests import stories
from app.services.workshop import Workshop
from app.settings import Settings
from app.store.keys import Keys
from app.store.readiness import StoreReadiness
from app.store.store import Store
from app.store.wakeup import Wakeup
from app.telemetry import RequestFigures, WorkerFigures
from app.worker.running import EmbeddedWorker, can_work


def service_of(settings: Settings, shop: Workshop, works: bool = False) -> FastAPI:
    """The application over a store that is at the program's version.

    Parameters
    ----------
    works
        Whether it also works on planning requests, as far as the settings want that.
    """
    figures, streams = RequestFigures(), EventStreams(stories(shop), settings.most_streams)
    worked = WorkerFigures() if works and settings.serving_slots and can_work() else None
    if worked is not None:
        figures.registry.register(worked)
    parts = Parts(
        doorkeeper=Doorkeeper(
            Keys(shop.store), now=shop.now, remembered_s=settings.keys_remembered.total_seconds()
        ),
        readiness=StoreReadiness(shop.store),
        figures=figures,
        tidy=lambda: tidying.forget(settings, shop.store),
        beside=(lambda: _beside(settings, shop.store, streams, worked),),
        stop=shop.store.close,
    )
    routers = (
        job_routes(shop),
        readiness_routes(shop),
        *stock_and_tool_routes(shop),
        plant_routes(shop),
        line_release_routes(shop),
        line_routes(shop),
        sequence_routes(shop),
        release_routes(shop),
        planning_request_routes(shop, settings.attempts, kept_of),
        event_routes(streams),
        actual_routes(shop),
        file_routes(shop),
        user_routes(shop),
        key_routes(shop),
        audit_routes(shop),
        webhook_routes(shop, settings.targets),
    )
    return create_app(settings, parts, routers, messages=MESSAGES)


@asynccontextmanager
async def _beside(
    settings: Settings, store: Store, streams: EventStreams, worked: WorkerFigures | None
) -> AsyncIterator[None]:
    """What runs beside the answering: streams of events, and a worker where there are figures for one. One
    connection of the process tells both what happens in the store.
    """
    wakeup = Wakeup(store.url, store.connections)
    worker = None if worked is None else EmbeddedWorker(settings, store, wakeup, worked)
    wakeup.start()
    try:
        async with streams.running(wakeup):
            if worker is not None:
                await run_in_threadpool(worker.start)
            yield
    finally:
        if worker is not None:
            await run_in_threadpool(worker.stop)
        await run_in_threadpool(wakeup.close)
