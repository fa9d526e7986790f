"""The list of targets: what may be sent to, and what a listed name must not turn out to be.

The addresses are those set aside for documentation (RFC 5737, RFC 3849) and the special ones of RFC 6890.
"""

import ipaddress
from urllib.parse import urlsplit

import pytest
from pydantic import ValidationError

from service.settings import Settings
from service.webhooks.targets import TargetRefused, Targets

pytestmark = pytest.mark.one_database_is_enough

LIST = Targets(
    [
        *("erp.mill.example", "bus.mill.example:8443", "https://hub.mill.example:9000", "10.1.2.3"),
        *("http://127.0.0.1:9001", "localhost:9002", "[::1]:9003", "plc.mill.example=10.1.0.0/16"),
    ]
)


@pytest.mark.parametrize(
    ("url", "netloc"),
    [
        ("https://erp.mill.example", "erp.mill.example"),
        ("https://ERP.mill.example./hooks?of=press", "erp.mill.example"),
        ("https://erp.mill.example:443/", "erp.mill.example"),
        ("https://bus.mill.example:8443/", "bus.mill.example:8443"),
        ("https://hub.mill.example:9000/", "hub.mill.example:9000"),
        ("https://10.1.2.3/", "10.1.2.3"),
        ("http://127.0.0.1:9001/", "127.0.0.1:9001"),
        ("http://localhost:9002/", "localhost:9002"),
        ("http://[::1]:9003/", "[::1]:9003"),
    ],
)
def test_a_listed_target_is_taken(url: str, netloc: str) -> None:
    assert LIST.check(url).netloc == netloc


@pytest.mark.parametrize(
    "url",
    [
        *("https://erp.mill.example:444/", "https://bus.mill.example/", "https://x.erp.mill.example/"),
        *(
            "https://erp.mill.example.evil.example/",
            "https://mill.example/",
            "https://127.0.0.1/",
            "https://10.1.2.4/",
        ),
        *(
            "http://erp.mill.example/",
            "http://erp.mill.example:443/",
            "http://10.1.2.3/",
            "http://bus.mill.example:8443/",
        ),
        *("ftp://erp.mill.example/", "file:///etc/passwd", "//erp.mill.example/", "erp.mill.example", "", "https://"),
        *("https://user@erp.mill.example/", "https://erp.mill.example@evil.example/", "https://erp.mill.example/#x"),
        *("https://evil.example\\@erp.mill.example/", "https://erp.mill.example\t/", "https://erp.mill.example /"),
        *("https://erp.mill.exámple/", "https://[::1/", "https://erp.mill.example:99999/", "https://0x7f000001/"),
        *("http://2130706433:9001/", "http://0177.0.0.1:9001/", "http://127.1:9001/", "https://[::ffff:10.1.2.3]/"),
    ],
)
def test_anything_else_is_refused(url: str) -> None:
    with pytest.raises(TargetRefused):
        LIST.check(url)


def test_without_a_list_nothing_is_taken() -> None:
    with pytest.raises(TargetRefused, match="ELEMENTDUE_WEBHOOK_TARGETS"):
        Targets([]).check("https://erp.mill.example/")


@pytest.mark.parametrize(
    ("url", "address", "taken"),
    [
        ("https://erp.mill.example/", "8.8.8.8", True),
        ("https://erp.mill.example/", "2606:4700:4700::1111", True),
        ("https://erp.mill.example/", "127.0.0.1", False),
        ("https://erp.mill.example/", "10.1.2.3", False),
        ("https://erp.mill.example/", "172.16.0.1", False),
        ("https://erp.mill.example/", "192.168.1.1", False),
        ("https://erp.mill.example/", "169.254.169.254", False),
        ("https://erp.mill.example/", "100.64.0.1", False),
        ("https://erp.mill.example/", "0.0.0.0", False),  # noqa: S104 - an address to refuse
        ("https://erp.mill.example/", "224.0.0.1", False),
        ("https://erp.mill.example/", "192.0.2.1", False),
        ("https://erp.mill.example/", "::1", False),
        ("https://erp.mill.example/", "::", False),
        ("https://erp.mill.example/", "fe80::1", False),
        ("https://erp.mill.example/", "fd00::1", False),
        ("https://erp.mill.example/", "ff02::1", False),
        ("https://erp.mill.example/", "2001:db8::1", False),
        ("https://erp.mill.example/", "::ffff:127.0.0.1", False),
        ("https://erp.mill.example/", "::ffff:8.8.8.8", True),
        ("https://erp.mill.example/", "64:ff9b::a01:203", False),  # 10.1.2.3 behind NAT64
        ("https://erp.mill.example/", "2002:7f00:1::", False),  # 127.0.0.1 in 6to4
        ("https://10.1.2.3/", "10.1.2.3", True),
        ("https://10.1.2.3/", "10.1.2.4", False),
        ("http://127.0.0.1:9001/", "127.0.0.1", True),
        ("http://localhost:9002/", "127.0.0.1", True),
        ("http://localhost:9002/", "::1", True),
        ("http://localhost:9002/", "10.1.2.3", False),
        ("https://plc.mill.example/", "10.1.200.7", True),
        ("https://plc.mill.example/", "::ffff:10.1.200.7", True),
        ("https://plc.mill.example/", "10.2.0.1", False),
        ("https://plc.mill.example/", "127.0.0.1", False),
    ],
)
def test_what_a_name_turns_out_to_be_is_looked_at_again(url: str, address: str, taken: bool) -> None:
    target, found = LIST.check(url), ipaddress.ip_address(address)
    if taken:
        LIST.check_address(target, found)
        assert ipaddress.ip_address(str(urlsplit(target.at(found)).hostname)) == found
    else:
        with pytest.raises(TargetRefused, match="inside"):
            LIST.check_address(target, found)


@pytest.mark.parametrize(
    "entry", ["https://erp.mill.example/hooks", "a@b", "erp.mill.example=10.1.2.3/8", "x y", "=10.0.0.0/8"]
)
def test_a_list_that_cannot_be_read_is_refused_at_the_start(entry: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ELEMENTDUE_WEBHOOK_TARGETS", f"erp.mill.example, {entry}")
    with pytest.raises(ValidationError, match="webhook_targets"):
        Settings()


def test_the_list_is_read_from_the_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ELEMENTDUE_WEBHOOK_TARGETS", " erp.mill.example , plc.mill.example=10.1.0.0/16,")
    assert Targets(Settings().webhook_targets).check("https://plc.mill.example/").port == 443
