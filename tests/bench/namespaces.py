"""Two hosts and a server as network namespaces of this machine, all on cables to one switch."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

SERVER: Final = "server"
LEFT, RIGHT = HOSTS = ("left", "right")
NETWORK: Final = "198.18.0.0/24"
"""Addresses that are set aside for benchmarks (RFC 2544); here they are known inside the namespaces alone."""

ADDRESS: Final = "198.18.0.1"
"""The server's."""

SWITCH, UPLINK = "switch", "uplink"
NEEDED: Final = ("ip", "runuser")
FORBIDDEN: Final = ("Operation not permitted", "Permission denied")


class NoNamespacesError(RuntimeError):
    """Namespaces cannot be made here."""


class NotAllowedError(NoNamespacesError):
    """Nobody may make them here."""


class Network:
    """The server's namespace and those of the hosts. What runs in one reaches nothing but its cable. The
    server's own link stays up whatever cable is pulled: it hears no more of a host, and that is all.

    Raises
    ------
    NotAllowedError
        If this process has not the rights.
    NoNamespacesError
        If a program is missing or the system has no namespaces.
    """

    def __init__(self) -> None:
        if os.name != "posix" or os.geteuid() != 0:
            raise NotAllowedError("only root may make network namespaces")
        for program in NEEDED:
            if shutil.which(program) is None:
                raise NoNamespacesError(f"network namespaces need the program {program}, which is not there")
        self._made: list[str] = []
        try:
            self._make()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Take all down. What runs in them should have ended."""
        while self._made:
            subprocess.run(("ip", "netns", "del", self._made.pop()), check=False, capture_output=True)

    def inside(self, place: str) -> tuple[str, ...]:
        """The words before a command that run it on a host, or where the server is."""
        return ("ip", "netns", "exec", _name(place))

    def cut(self, host: str) -> None:
        """Pull a host's cable."""
        _ip("-n", _name(SERVER), "link", "set", host, "down")

    def mend(self, host: str) -> None:
        """Put it back."""
        _ip("-n", _name(SERVER), "link", "set", host, "up")

    def _make(self) -> None:
        for place in (SERVER, *HOSTS):
            _ip("netns", "add", _name(place))
            self._made.append(_name(place))
            _ip("-n", _name(place), "link", "set", "lo", "up")
        at_server = ("-n", _name(SERVER))
        _ip(*at_server, "link", "add", SWITCH, "type", "bridge")
        _ip(*at_server, "addr", "add", f"{ADDRESS}/24", "dev", SWITCH)
        _ip(*at_server, "link", "set", SWITCH, "up")
        for number, host in enumerate(HOSTS, 2):
            at_host = ("-n", _name(host))
            peer = ("peer", "name", UPLINK, "netns", _name(host))
            _ip(*at_server, "link", "add", host, "type", "veth", *peer)
            _ip(*at_server, "link", "set", host, "master", SWITCH, "up")
            _ip(*at_host, "addr", "add", f"198.18.0.{number}/24", "dev", UPLINK)
            _ip(*at_host, "link", "set", UPLINK, "up")


@contextmanager
def network() -> Iterator[Network]:
    """Namespaces for as long as they are needed."""
    made = Network()
    try:
        yield made
    finally:
        made.close()


def _name(place: str) -> str:
    """Several benchmarks may run at once."""
    return f"runwright-{os.getpid()}-{place}"


def _ip(*words: str) -> None:
    done = subprocess.run(("ip", *words), check=False, capture_output=True, text=True)
    if done.returncode == 0:
        return
    told = f"ip {' '.join(words)}: {done.stderr.strip()}"
    raise (NotAllowedError if any(word in told for word in FORBIDDEN) else NoNamespacesError)(told)
