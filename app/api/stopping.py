"""When a process is told to stop: whoever goes on answering without end hears of it and ends.

The server waits until all that is being answered has ended, and tells nobody that it waits.
"""

from __future__ import annotations

import asyncio
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

SIGNALS = (signal.SIGTERM, signal.SIGINT)


@contextmanager
def told_to_stop(tell: Callable[[], None]) -> Iterator[None]:
    """Have something called by the running event loop as soon as the process gets a signal to stop, beside
    what the server does then. Where nobody awaits signals, such as in another thread than the main one,
    nothing is called.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    loop = asyncio.get_running_loop()
    servers = {number: signal.getsignal(number) for number in SIGNALS}

    def hear(number: int, frame: FrameType | None) -> None:
        loop.call_soon_threadsafe(tell)
        server = servers[signal.Signals(number)]
        if callable(server):
            server(number, frame)

    heard = [number for number in SIGNALS if callable(servers[number])]
    for number in heard:
        signal.signal(number, hear)
    try:
        yield
    finally:
        for number in heard:
            if signal.getsignal(number) is hear:
                signal.signal(number, servers[number])
