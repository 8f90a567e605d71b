"""What is told of the running service: log lines with the request's id, and figures for Prometheus.

No line holds a key: whatever looks like one, and whatever stands under a name such as authorization, is cut
before a line is written, in messages, fields and stack traces alike.
"""

from __future__ import annotations

import logging
import re
import sys
from collections.abc import Mapping, MutableMapping
from typing import Any, TextIO

import structlog
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest
from structlog.typing import Processor

from app.security import SECRET_IN_TEXT

_SECRET_NAMES = frozenset(
    {"authorization", "proxy-authorization", "cookie", "set-cookie", "password", "secret"}
)
_AUTHORIZATION = re.compile(
    r"(?i)(authorization[\"']?\s*[:=,]\s*[\"']?(?:bearer\s+|basic\s+)?)[^\s\"',;)\]}]+"
)
_URL_PASSWORD = re.compile(r"(://[^\s:/@]+:)[^\s@/]+(@)")

CUT = "…"


def without_secrets(text: str) -> str:
    """A text without keys, Authorization values and passwords in addresses."""
    if "rw_" in text:
        text = SECRET_IN_TEXT.sub(rf"\1{CUT}", text)
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
            foreign_pre_chain=[*_CHAIN, structlog.stdlib.ExtraAdder()],
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


_DURATIONS_S = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30)


class RequestFigures:
    """Requests by route, method and status, how long they took, and how many are being answered."""

    def __init__(self, registry: CollectorRegistry | None = None) -> None:
        self.registry = registry or CollectorRegistry(auto_describe=True)
        self._requests = Counter(
            "runwright_requests",
            "Requests answered.",
            ("route", "method", "status"),
            registry=self.registry,
        )
        self._durations = Histogram(
            "runwright_request_seconds",
            "From a request's first byte to its answer's last.",
            ("route", "method"),
            buckets=_DURATIONS_S,
            registry=self.registry,
        )
        self._in_flight = Gauge(
            "runwright_requests_in_flight", "Requests being answered.", registry=self.registry
        )
        self._children: dict[tuple[str, str, int], tuple[Counter, Histogram]] = {}

    def begin(self) -> None:
        """A request has arrived."""
        self._in_flight.inc()

    def end(self, route: str, method: str, status: int, seconds: float) -> None:
        """It was answered. `route` is a template, never an address: figures stay few."""
        self._in_flight.dec()
        found = self._children.get((route, method, status))
        if found is None:
            found = (self._requests.labels(route, method, str(status)), self._durations.labels(route, method))
            self._children[(route, method, status)] = found
        counter, histogram = found
        counter.inc()
        histogram.observe(seconds)

    def text(self) -> bytes:
        """All figures in Prometheus' text format."""
        return generate_latest(self.registry)

    media_type = CONTENT_TYPE_LATEST
