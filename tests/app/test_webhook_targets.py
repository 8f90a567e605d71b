"""Messages go where the service's keeper allows, however an address is spelled, whatever a name becomes."""

from __future__ import annotations

from ipaddress import ip_address

import pytest

from app.webhook_targets import Target, TargetRefused, Targets, is_public, read_allowed

LIST = (
    "mis.example.com, *.hooks.example.com, erp.example.com:8443, 10.1.0.0/16, [fd12::/16]:8443, 203.0.113.7"
)


def targets(listed: str = LIST, plain_http: bool = False) -> Targets:
    return Targets(tuple(read_allowed(entry) for entry in listed.split(",")), plain_http)


def resolving(*addresses: str) -> list[str]:
    """Where mis.example.com would be connected to if it resolved to these."""
    target = targets().target("https://mis.example.com/")
    return [str(address) for address in targets().addresses(target, lambda _host, _port: addresses)]


@pytest.mark.parametrize(
    ("url", "host", "port", "path"),
    [
        ("https://mis.example.com", "mis.example.com", 443, "/"),
        ("https://MIS.Example.com/hooks?of=press", "mis.example.com", 443, "/hooks?of=press"),
        ("https://mis.example.com?of=press", "mis.example.com", 443, "/?of=press"),
        ("https://mis.example.com:443/%C3%A9/@", "mis.example.com", 443, "/%C3%A9/@"),
        ("https://a.hooks.example.com/", "a.hooks.example.com", 443, "/"),
        ("https://b.a.hooks.example.com/", "b.a.hooks.example.com", 443, "/"),
        ("https://erp.example.com:8443/", "erp.example.com", 8443, "/"),
        ("https://10.1.2.3/", "10.1.2.3", 443, "/"),
        ("https://[::ffff:10.1.2.3]/", "::ffff:10.1.2.3", 443, "/"),
        ("https://[fd12::7]:8443/", "fd12::7", 8443, "/"),
        ("https://203.0.113.7/", "203.0.113.7", 443, "/"),
    ],
)
def test_what_is_on_the_list_may_be_sent_to(url: str, host: str, port: int, path: str) -> None:
    target = targets().target(url)
    assert (target.scheme, target.host, target.port, target.path) == ("https", host, port, path)


@pytest.mark.parametrize(
    "url",
    [
        "https://other.example.com/",
        "https://example.com/",
        "https://hooks.example.com/",
        "https://evilhooks.example.com/",
        "https://mis.example.com.evil.example/",
        "https://mis.example.com:8443/",
        "https://erp.example.com/",
        "https://10.2.0.1/",
        "https://[fd12::7]/",
        "https://127.0.0.1/",
        "https://169.254.169.254/",
        "http://mis.example.com/",
    ],
)
def test_what_is_not_on_the_list_is_refused(url: str) -> None:
    with pytest.raises(TargetRefused):
        targets().target(url)


@pytest.mark.parametrize(
    "host",
    [
        "167837953",  # 10.1.1.1 as one number
        "0x0a010101",
        "0xa.1.1.1",
        "012.1.1.1",
        "10.1.257",
        "10.1",
        "010.1.1.1",
        "10.1.1.1.",
        "mis.example.com.",
        "me@mis.example.com",
        "me:pw@mis.example.com",
        "mis.example.com@10.2.0.1",
        "mis.example.com\\@10.2.0.1",
        "mis.example.com#@10.2.0.1",
        "mis.example.com%2e",
        "mis.example.com:0",
        "mis.example.com:65536",
        "mis.example.com:",
        "mis..example.com",
        "mís.example.com",
        "mis.example。com",
        "10.１.1.1",
        "[fd12::7%25eth0]:8443",
        "[10.1.1.1]",
        "",
        " mis.example.com",
    ],
)
def test_a_host_is_spelled_in_one_way_alone(host: str) -> None:
    listed = f"{LIST}, 127.0.0.0/8, 0.0.0.0/0"
    with pytest.raises(TargetRefused):
        targets(listed).target(f"https://{host}/")


@pytest.mark.parametrize(
    "url", ["", "mis.example.com", "//mis.example.com/", "ftp://mis.example.com/", "file:///etc/passwd"]
)
def test_a_url_is_of_https(url: str) -> None:
    with pytest.raises(TargetRefused, match="should be a URL such as https://"):
        targets().target(url)


def test_a_url_without_encryption_needs_consent() -> None:
    with pytest.raises(TargetRefused, match="http is not allowed here"):
        targets().target("http://mis.example.com/")
    assert targets(plain_http=True).target("http://mis.example.com/").port == 80
    with pytest.raises(TargetRefused, match="of a port"):
        targets(plain_http=True).target("http://mis.example.com:443/")


def test_nothing_is_allowed_where_nothing_is_named() -> None:
    with pytest.raises(TargetRefused, match="RUNWRIGHT_WEBHOOK_TARGETS"):
        Targets().target("https://mis.example.com/")


INSIDE = [
    "127.0.0.1",
    "127.255.0.9",
    "0.0.0.0",
    "10.2.0.1",
    "172.16.0.1",
    "192.168.1.1",
    "100.64.0.1",
    "100.100.100.200",
    "169.254.169.254",
    "168.63.129.16",
    "192.0.0.192",
    "198.18.0.1",
    "224.0.0.1",
    "240.0.0.1",
    "255.255.255.255",
    "::",
    "::1",
    "::127.0.0.1",
    "::ffff:127.0.0.1",
    "::ffff:a9fe:a9fe",
    "64:ff9b::7f00:1",
    "64:ff9b::a9fe:a9fe",
    "64:ff9b:1::1",
    "2002:7f00:1::",
    "2001:0:4136:e378:8000:63bf:80ff:fffe",  # leads to 127.0.0.1
    "fe80::1",
    "fec0::1",
    "fd00:ec2::254",
    "ff02::1",
    "2001:db8::1",
]


@pytest.mark.parametrize("address", INSIDE)
def test_a_name_that_leads_inside_leads_nowhere(address: str) -> None:
    assert not is_public(ip_address(address))
    with pytest.raises(TargetRefused, match=r"mis\.example\.com resolves to .* not public"):
        resolving(address)


@pytest.mark.parametrize("address", ["93.184.216.34", "1.1.1.1", "2606:4700::1111", "64:ff9b::5db8:d822"])
def test_a_name_that_leads_out_is_connected_to(address: str) -> None:
    assert resolving(address) == [str(ip_address(address))]


def test_a_network_of_ones_own_may_be_named() -> None:
    assert resolving("10.1.2.3") == ["10.1.2.3"]
    assert resolving("::ffff:10.1.2.3") == ["10.1.2.3"]
    with pytest.raises(TargetRefused):
        resolving("fd12::7")  # named for another port


def test_of_several_addresses_those_that_are_allowed_are_taken() -> None:
    assert resolving("127.0.0.1", "93.184.216.34", "10.2.0.1", "10.1.0.1") == ["93.184.216.34", "10.1.0.1"]


def test_an_address_is_not_resolved() -> None:
    def resolve(host: str, port: int) -> list[str]:
        raise AssertionError(host)

    target = targets().target("https://10.1.2.3/")
    assert targets().addresses(target, resolve) == (ip_address("10.1.2.3"),)


def test_a_name_that_is_not_known_is_told_so() -> None:
    target = Target("https", "nowhere.invalid", 443, "/")
    with pytest.raises(OSError, match=r"[a-z]"):
        targets().addresses(target)


@pytest.mark.parametrize(
    "entry",
    [
        "",
        "https://mis.example.com",
        "mis.example.com/hooks",
        "mis.example.com:",
        "mis.example.com:x",
        "mis.example.com:70000",
        "mis..example.com",
        "m*s.example.com",
        "*",
        "*.",
        "a b",
        "10.1.2.3/16",
        "10.0.0.0/33",
        "127.1",
        "0x7f.1",
        "[mis.example.com]:80",
        "[fd00::/8]:",
    ],
)
def test_an_entry_that_is_none_is_told_what_would_be_right(entry: str) -> None:
    with pytest.raises(ValueError, match=r"such as mis\.example\.com"):
        read_allowed(entry)
