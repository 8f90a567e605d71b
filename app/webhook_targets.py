"""Where messages may be sent to: what whoever runs the service has named, and nothing inside its network
that was not.

An address is looked at twice: its host when a webhook is made, and what that host resolves to whenever a
message is sent. The connection then goes to the very address that was looked at, so a name that resolves to
something else a moment later leads nowhere.
"""

from __future__ import annotations

import re
import socket
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import Final

from app.errors import RunwrightError

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network
Resolve = Callable[[str, int], Iterable[str]]
"""Addresses of a name, for a port."""

USUAL_PORTS: Final = {"https": 443, "http": 80}

_LABEL = r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?"
_NAME = re.compile(rf"(?=.{{1,253}}$)(?:{_LABEL}\.)*{_LABEL}")
_URL = re.compile(
    r"""(?P<scheme>https?)://
        (?:\[(?P<six>[0-9a-f:.]+)\]|(?P<host>[a-z0-9.-]+))
        (?::(?P<port>[0-9]{1,5}))?
        (?P<path>/[!$-;=@-\[\]_a-z~]*)?
        (?P<query>\?[!$-;=?-\[\]_a-z~]*)?""",
    re.VERBOSE | re.IGNORECASE,
)
_PLACE = re.compile(
    r"(?:\[(?P<six>[0-9a-f:.]+(?:/[0-9]+)?)\]|(?P<place>[^:\[\]]+))(?::(?P<port>[0-9]{1,5}))?"
)
_LIKE_A_NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*")
"""Last part of a host that some systems take for an address: 127.1, 0x7f000001, 2130706433."""

_NUMBERED_FROM_FOUR = IPv6Network("64:ff9b::/96")
"""What a gateway between the two kinds of networks sends on to the IPv4 address at its end."""

_INSIDE = tuple(
    ip_network(text)
    for text in (
        "192.0.0.0/24",
        "192.88.99.0/24",
        "168.63.129.16",
        "2001::/32",
        "2002::/16",
        "64:ff9b:1::/48",
    )
)
"""Neither are these out in the internet, though not every version of Python knows: protocols' own numbers,
the inside of a large cloud, ways through IPv4 that nobody needs any more.
"""

_RIGHT = (
    "should be a host such as mis.example.com, *.example.com for all below it, or a network such as "
    "10.1.0.0/16, each with its port behind it if that is not the usual one: mis.example.com:8443, "
    "[fd00::/8]:8443"
)


class TargetRefused(RunwrightError):
    """Nothing may be sent there; the message says what would be right."""


@dataclass(frozen=True, slots=True)
class Target:
    """A URL taken apart. `address` is its host where that is an address and no name."""

    scheme: str
    host: str
    port: int
    path: str
    address: Address | None = None

    @property
    def is_encrypted(self) -> bool:
        return self.scheme == "https"


@dataclass(frozen=True, slots=True)
class Allowed:
    """An entry of the list: a name, all names below one, or a network; None: the usual port."""

    port: int | None
    name: str | None = None
    suffix: str | None = None
    network: Network | None = None

    def names(self, target: Target) -> bool:
        """Whether it names the host of a URL, whatever the port."""
        if target.address is not None:
            return self.has(target.address)
        return target.host == self.name or (self.suffix is not None and target.host.endswith(self.suffix))

    def has(self, address: Address) -> bool:
        """Whether it is a network with this address."""
        return (
            self.network is not None and address.version == self.network.version and address in self.network
        )

    def has_port(self, target: Target) -> bool:
        return target.port == (USUAL_PORTS[target.scheme] if self.port is None else self.port)


def read_allowed(text: str) -> Allowed:
    """An entry of the list.

    Raises
    ------
    ValueError
        Saying what would be right.
    """
    place, port = _with_port(text.strip().lower())
    network = _network(place)
    if network is not None:
        return Allowed(port, network=network)
    name = place.removeprefix("*.")
    if not _NAME.fullmatch(name) or _is_like_a_number(name):
        raise ValueError(_RIGHT)
    return Allowed(port, suffix=f".{name}") if place != name else Allowed(port, name=name)


def _with_port(text: str) -> tuple[str, int | None]:
    if _network(text) is not None:
        return text, None
    found = _PLACE.fullmatch(text)
    if found is None:
        raise ValueError(_RIGHT)
    port = None if found["port"] is None else int(found["port"])
    if port is not None and not _is_port(port):
        raise ValueError(_RIGHT)
    return found["six"] or found["place"], port


def _network(text: str) -> Network | None:
    try:
        return ip_network(text)
    except ValueError:
        return None


def addresses_of(host: str, port: int) -> list[str]:
    """What the system's resolver says; may take as long as that does.

    Raises
    ------
    OSError
        If it knows no such name.
    """
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return [str(place[0]) for *_, place in found]


@dataclass(frozen=True, slots=True)
class Targets:
    """Where messages may be sent to.

    Parameters
    ----------
    allowed
        The list; empty: nowhere.
    plain_http
        Whether without encryption too.
    """

    allowed: tuple[Allowed, ...] = ()
    plain_http: bool = False

    def target(self, url: str) -> Target:
        """The parts of a URL that is on the list.

        Raises
        ------
        TargetRefused
            If it is none, or not on the list.
        """
        target = _read(url)
        if not target.is_encrypted and not self.plain_http:
            raise TargetRefused("should begin with https://: http is not allowed here")
        named = [entry for entry in self.allowed if entry.names(target)]
        if not named:
            raise TargetRefused("should be of a host that RUNWRIGHT_WEBHOOK_TARGETS names")
        if not any(entry.has_port(target) for entry in named):
            raise TargetRefused(
                f"should be of a port that RUNWRIGHT_WEBHOOK_TARGETS names, not {target.port}"
            )
        return target

    def addresses(self, target: Target, resolve: Resolve = addresses_of) -> Sequence[Address]:
        """Addresses that may be connected to for a URL, in the order in which they are told.

        Raises
        ------
        TargetRefused
            If there are none among those that its host has.
        OSError
            If the name is not known.
        """
        if target.address is not None:
            return (target.address,)
        found = [_plain(ip_address(text)) for text in resolve(target.host, target.port)]
        open_to_us = [address for address in dict.fromkeys(found) if self._may_reach(address, target)]
        if not open_to_us:
            told = ", ".join(sorted({str(address) for address in found})) or "nothing"
            raise TargetRefused(
                f"{target.host} resolves to {told}, which is not public and in no network that "
                "RUNWRIGHT_WEBHOOK_TARGETS names"
            )
        return open_to_us

    def _may_reach(self, address: Address, target: Target) -> bool:
        if is_public(address):
            return True
        return any(entry.has(address) and entry.port in (None, target.port) for entry in self.allowed)


def is_public(address: Address) -> bool:
    """Whether an address is out in the internet: neither of this machine, nor of a network of one's own, nor
    of those that clouds keep their secrets at, nor one that leads to such an address.
    """
    address = _plain(address)
    if address in _NUMBERED_FROM_FOUR:
        return is_public(IPv4Address(int(address) & 0xFFFF_FFFF))
    return address.is_global and not (
        address.is_multicast
        or address.is_reserved
        or address.is_unspecified
        or (isinstance(address, IPv6Address) and address.is_site_local)
        or any(address in network for network in _INSIDE)
    )


def _plain(address: Address) -> Address:
    """An IPv4 address that is written as one of IPv6 is the former."""
    mapped = address.ipv4_mapped if isinstance(address, IPv6Address) else None
    return mapped or address


def _read(url: str) -> Target:
    found = _URL.fullmatch(url)
    if found is None:
        raise TargetRefused(
            "should be a URL such as https://mis.example.com/hooks, in ASCII, without user, password or #"
        )
    scheme, host = found["scheme"].lower(), (found["six"] or found["host"]).lower()
    port = int(found["port"]) if found["port"] else USUAL_PORTS[scheme]
    if not _is_port(port):
        raise TargetRefused("should have a port from 1 to 65535")
    path = (found["path"] or "/") + (found["query"] or "")
    address = _address(IPv6Address if found["six"] else IPv4Address, host)
    if address is None and (found["six"] or not _NAME.fullmatch(host) or _is_like_a_number(host)):
        raise TargetRefused("should be of a host by its name, or by its address as it is usually written")
    return Target(scheme, host, port, path, address)


def _address(kind: type[IPv4Address | IPv6Address], host: str) -> Address | None:
    try:
        return _plain(kind(host))
    except ValueError:
        return None


def _is_like_a_number(host: str) -> bool:
    return _LIKE_A_NUMBER.fullmatch(host.rpartition(".")[2]) is not None


def _is_port(number: int) -> bool:
    return 0 < number < 65536
