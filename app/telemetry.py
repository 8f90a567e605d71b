"""What is told of the running service: log lines with the request's id, and figures for Prometheus.

No line holds a key: whatever looks like one, and whatever stands under a name such as authorization, is cut
before a line is written, in messages, fields and stack traces alike.
"""

from __future__ import annotations

import json
import logging
import re
import sys
from bisect import bisect_left
from collections.abc import Iterator, Mapping, MutableMapping
from datetime import UTC, datetime
from functools import lru_cache
from itertools import accumulate
from typing import Any, TextIO

import structlog
from prometheus_client import CollectorRegistry
from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.metrics_core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    Metric,
)
from prometheus_client.registry import Collector
from structlog.typing import EventDict, Processor

from app.security import SECRET_IN_TEXT

_SECRET_NAMES = frozenset(
    {"authorization", "proxy-authorization", "cookie", "set-cookie", "password", "secret"}
)
_AUTHORIZATION = re.compile(
    r"(?i)(authorization[\"']?\s*[:=,]\s*[\"']?(?:bearer\s+|basic\s+)?)[^\s\"',;)\]}]+"
)
_SIGNING_SECRET = re.compile(r"(whsec_)[0-9A-Za-z+/=]{8,}")
_URL_PASSWORD = re.compile(r"(://[^\s:/@]+:)[^\s@/]+(@)")

CUT = "…"


def without_secrets(text: str) -> str:
    """A text without keys, secrets of webhooks, Authorization values and passwords in addresses."""
    if "rw_" in text:
        text = SECRET_IN_TEXT.sub(rf"\1{CUT}", text)
    if "whsec_" in text:
        text = _SIGNING_SECRET.sub(rf"\1{CUT}", text)
    if "://" in text:
        text = _URL_PASSWORD.sub(rf"\1{CUT}\2", text)
    if "uthorization" in text or "UTHORIZATION" in text:
        text = _AUTHORIZATION.sub(rf"\1{CUT}", text)
    return text


def cut_secrets(_logger: object, _method: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """A structlog processor: the last one before a line is written."""
    for name, value in event.items():
        event[name] = _cut(name, value)
    return event


def _cut(name: str, value: Any) -> Any:
    if name.lower() in _SECRET_NAMES:
        return CUT
    match value:
        case str():
            return without_secrets(value)
        case bool() | int() | float() | None:
            return value
        case bytes():
            return without_secrets(value.decode(errors="replace"))
        case Mapping():
            return {str(inner): _cut(str(inner), what) for inner, what in value.items()}
        case list() | tuple() | set() | frozenset():
            return [_cut_item(what) for what in value]
        case _:
            return without_secrets(str(value))


def _cut_item(value: Any) -> Any:
    """An item of a list; one of a list of headers, (name, value), is cut by its name."""
    match value:
        case (str() | bytes() as name, str() | bytes() as what):
            plain = name.decode(errors="replace") if isinstance(name, bytes) else name
            return [plain, _cut(plain, what)]
        case _:
            return _cut("", value)


def log(name: str = "runwright") -> structlog.stdlib.BoundLogger:
    """A logger; fields are given by name: `log().info("answered", status=200)`.

    Its chain is its own and not structlog's usual one, which prints the variables of every frame of a stack
    trace, keys among them, where nobody has set up logs.
    """
    logger: structlog.stdlib.BoundLogger = structlog.wrap_logger(
        logging.getLogger(name),
        processors=[
            structlog.stdlib.filter_by_level,
            *_CHAIN,
            structlog.processors.format_exc_info,
            cut_secrets,
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )
    return logger


_CHAIN: tuple[Processor, ...] = (
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.stdlib.PositionalArgumentsFormatter(),
    structlog.processors.TimeStamper(fmt="iso", utc=True, key="at"),
)


def _without_colours(_logger: object, _method: str, event: EventDict) -> EventDict:
    """uvicorn says some lines twice, once in colours for a terminal."""
    event.pop("color_message", None)
    return event


def set_up_logs(level: str = "info", as_json: bool = True, stream: TextIO | None = None) -> None:
    """Send every log line, uvicorn's and other libraries' too, through one chain to one stream.

    Parameters
    ----------
    level
        From which weight on: debug, info, warning, error.
    as_json
        One JSON object a line; else lines for people.
    stream
        Where to; standard error if None.
    """
    target = stream or sys.stderr
    renderer: Processor = (
        structlog.processors.JSONRenderer(ensure_ascii=False)
        if as_json
        else structlog.dev.ConsoleRenderer(colors=target.isatty())
    )
    handler = logging.StreamHandler(target)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=[*_CHAIN, structlog.stdlib.ExtraAdder(), _without_colours],
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.format_exc_info,
                cut_secrets,
                renderer,
            ],
        )
    )
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.getLevelNamesMapping()[level.upper()])
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access", "uvicorn.asgi"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True
    # Requests are lines of our own, with id and holder.
    logging.getLogger("uvicorn.access").disabled = True


class RequestLines:
    """A line a request, written without the log's chain: that takes as long as all else around a request.

    Parameters
    ----------
    as_json
        JSON lines like all others; else lines for people, through the log.
    stream
        Where to; what is standard error at the time, if None.
    """

    def __init__(self, as_json: bool = True, stream: TextIO | None = None) -> None:
        self._as_json = as_json
        self._stream = stream
        self._log = log("runwright.requests")

    def write(
        self,
        request_id: str,
        method: str,
        route: str,
        status: int,
        ms: float,
        holder: str | None,
        plant: str | None,
    ) -> None:
        """Write the line of a request that was answered."""
        if not self._as_json:
            self._log.info(
                "answered",
                request_id=request_id,
                method=method,
                route=route,
                status=status,
                ms=round(ms, 3),
                holder=holder,
                plant=plant,
            )
            return
        at = datetime.now(UTC).isoformat(timespec="milliseconds")[:-6]
        stream = self._stream or sys.stderr
        stream.write(
            f'{{"at": "{at}Z", "level": "info", "event": "answered", "request_id": {_quoted(request_id)}, '
            f'"method": {_quoted(method)}, "route": {_quoted(route)}, "status": {status}, "ms": {ms:.3f}, '
            f'"holder": {_quoted(holder)}, "plant": {_quoted(plant)}}}\n'
        )
        stream.flush()


@lru_cache(maxsize=4096)
def _quoted(text: str | None) -> str:
    """A text as JSON, without secrets. Most are the same again and again."""
    return json.dumps(None if text is None else without_secrets(text), ensure_ascii=False)


DURATION_LIMITS_S = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)


class _Durations:
    """How long the requests of a route took."""

    __slots__ = ("counts", "sum_s")

    def __init__(self) -> None:
        self.counts = [0] * (len(DURATION_LIMITS_S) + 1)
        self.sum_s = 0.0

    def add(self, seconds: float) -> None:
        """Count one more."""
        self.counts[bisect_left(DURATION_LIMITS_S, seconds)] += 1
        self.sum_s += seconds

    def buckets(self) -> list[tuple[str, float]]:
        """Prometheus counts up to each limit."""
        limits = [*(str(limit) for limit in DURATION_LIMITS_S), "+Inf"]
        return list(zip(limits, accumulate(map(float, self.counts)), strict=True))


class RequestFigures(Collector):
    """Requests by route, method and status, how long they took, and how many are being answered.

    Written by the thread of the event loop alone, so that a request takes no lock; read by any.
    `in_flight` is how many are being answered now, `streams` how many of those only wait for something to
    tell.
    """

    media_type = CONTENT_TYPE_LATEST

    def __init__(self) -> None:
        self.registry = CollectorRegistry(auto_describe=False)
        self.registry.register(self)
        self.in_flight = 0
        self.streams = 0
        self._answered: dict[tuple[str, str, int], int] = {}
        self._took: dict[tuple[str, str], _Durations] = {}

    def begin(self) -> None:
        """A request has arrived."""
        self.in_flight += 1

    def end(self, route: str, method: str, status: int, seconds: float) -> None:
        """It was answered. `route` is a template, never an address: figures stay few."""
        self.in_flight -= 1
        method = method if method in _METHODS else "OTHER"
        key = (route, method, status)
        self._answered[key] = self._answered.get(key, 0) + 1
        took = self._took.get((route, method))
        if took is None:
            took = self._took[(route, method)] = _Durations()
        took.add(seconds)

    def collect(self) -> Iterator[Metric]:
        """The figures as Prometheus' library takes them."""
        answered = CounterMetricFamily(
            "runwright_requests", "Requests answered.", labels=("route", "method", "status")
        )
        for (route, method, status), count in list(self._answered.items()):
            answered.add_metric((route, method, str(status)), count)
        took = HistogramMetricFamily(
            "runwright_request_seconds", "How long answers took.", labels=("route", "method")
        )
        for labels, durations in list(self._took.items()):
            took.add_metric(labels, durations.buckets(), durations.sum_s)
        yield answered
        yield took
        yield GaugeMetricFamily(
            "runwright_requests_in_flight", "Requests being answered.", value=self.in_flight
        )
        yield GaugeMetricFamily("runwright_streams", "Of those streams of events.", value=self.streams)

    def text(self) -> bytes:
        """All figures in Prometheus' text format."""
        return generate_latest(self.registry)


class WorkerFigures(Collector):
    """What a worker has done: claims, how they ended, and how long they waited.

    Written by the worker's one thread, read by any. `slots` is how many requests it may work on at once,
    `running` on how many it does, `claims` how often it has taken one, `ends` how often work ended how.
    """

    def __init__(self) -> None:
        self.slots = self.running = self.claims = 0
        self.ends: dict[str, int] = {}
        self._waited = _Durations()
        self._began = _Durations()

    def waited(self, seconds: float) -> None:
        """So long a request that is taken for the first time has waited."""
        self._waited.add(seconds)

    def began(self, seconds: float) -> None:
        """So long it took from asking for a request until its search began."""
        self._began.add(seconds)

    def ended(self, how: str) -> None:
        """Work on a claim ended: a status of requests, handed back, crashed or lost."""
        self.ends[how] = self.ends.get(how, 0) + 1

    def collect(self) -> Iterator[Metric]:
        """The figures as Prometheus' library takes them."""
        yield CounterMetricFamily(
            "runwright_planning_claims", "Planning requests taken to be worked on.", value=self.claims
        )
        ended = CounterMetricFamily(
            "runwright_planning_ends", "Ends of work on planning requests.", labels=("how",)
        )
        for how, count in list(self.ends.items()):
            ended.add_metric((how,), count)
        yield ended
        for name, told, durations in (
            ("waited", "How long planning requests waited until they were taken.", self._waited),
            ("overhead", "From asking for a request until its search began.", self._began),
        ):
            family = HistogramMetricFamily(f"runwright_planning_{name}_seconds", told)
            family.add_metric((), durations.buckets(), durations.sum_s)
            yield family
        yield GaugeMetricFamily(
            "runwright_planning_running", "Planning requests being worked on.", value=self.running
        )
        yield GaugeMetricFamily(
            "runwright_planning_slots", "Planning requests worked on at once at most.", value=self.slots
        )


_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
