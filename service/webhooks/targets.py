"""Where webhooks may be sent to: listed hosts only, and of these only addresses that are no inside ones by surprise.

Whoever may name a target could make this server ask for what only it can reach (OWASP API Security Top 10, 2023,
API7: server side request forgery). So the operator lists the targets, https is asked for, and a listed name that
turns out to be a private, link-local or loopback address is refused, unless the list says so.
"""

import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlsplit

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

_DEFAULT_PORT = {"https": 443, "http": 80}
_LOCALHOST = "localhost"
_NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052, 2.1: the last 32 bits are an IPv4 address


class TargetRefused(ValueError):
    """Why nothing is sent there."""


@dataclass(frozen=True, slots=True)
class Target:
    """An address of the web, taken apart; `host` in lower case and without brackets."""

    scheme: str
    host: str
    port: int
    path: str

    @property
    def netloc(self) -> str:
        """As it stands in the Host header."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == _DEFAULT_PORT[self.scheme] else f"{host}:{self.port}"

    def at(self, address: Address) -> str:
        """The same, asked at this very address and no other."""
        host = f"[{address}]" if address.version == 6 else str(address)
        return f"{self.scheme}://{host}:{self.port}{self.path}"


@dataclass(frozen=True, slots=True)
class _Listed:
    host: str
    port: int | None  # None: the usual one of the scheme
    inside: tuple[Network, ...] = ()


class Targets:
    """The operator's list: `host`, `host:port` or `https://host:port`; `host=10.1.2.0/24` for a name that is inside.

    >>> targets = Targets(["erp.mill.example", "10.1.2.3:8443", "bus.mill.example=10.1.0.0/16"])
    >>> targets.check("https://erp.mill.example/hooks?of=press").port
    443
    >>> targets.check("https://erp.mill.example:444/")
    Traceback (most recent call last):
    ...
    service.webhooks.targets.TargetRefused: erp.mill.example:444 is not on the list of targets
    """

    def __init__(self, listed: Iterable[str]) -> None:
        """Raises ValueError for an entry that cannot be read."""
        self._listed = tuple(_entry(each) for each in listed if each)

    def check(self, url: str) -> Target:
        """The target that `url` is: a listed one, by https unless it is this machine. Raises TargetRefused."""
        if not self._listed:
            raise TargetRefused("no target is allowed here: list some in ELEMENTDUE_WEBHOOK_TARGETS")
        target = _read(url)
        if not self._entries_of(target):
            raise TargetRefused(f"{target.netloc} is not on the list of targets")
        if target.scheme != "https" and not _is_loopback(target.host):
            raise TargetRefused(f"{target.netloc} is not this machine, so it takes https")
        return target

    def check_address(self, target: Target, address: Address) -> None:
        """Of what the target's name turned out to be, at the moment of sending. Raises TargetRefused."""
        listed = self._entries_of(target)
        if not listed:
            raise TargetRefused(f"{target.netloc} is no longer on the list of targets")
        real = _unwrapped(address)
        if real.is_global and not real.is_multicast:
            return
        is_named = target.host == str(address) or (target.host == _LOCALHOST and real.is_loopback)
        inside = [network for each in listed for network in each.inside if network.version == real.version]
        if not is_named and not any(real in network for network in inside):
            raise TargetRefused(f"{target.host} is {address}, which is inside, and the list does not say so")

    def _entries_of(self, target: Target) -> list[_Listed]:
        usual = _DEFAULT_PORT[target.scheme]
        return [each for each in self._listed if each.host == target.host and (each.port or usual) == target.port]


def _entry(listed: str) -> _Listed:
    origin, _, networks = listed.strip().partition("=")
    has_scheme = "://" in origin
    target = _read(origin if has_scheme else f"https://{_bracketed(origin)}")
    if target.path != "/":
        raise ValueError(f"'{listed}' has a path; a target is listed as host, host:port or https://host:port")
    says_port = has_scheme or urlsplit(f"//{_bracketed(origin)}").port is not None
    inside = (ipaddress.ip_network(networks.strip()),) if networks else ()
    return _Listed(target.host, target.port if says_port else None, inside)


def _bracketed(origin: str) -> str:
    return f"[{origin}]" if origin.count(":") > 1 and not origin.startswith("[") else origin


def _read(url: str) -> Target:
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise TargetRefused(f"the address cannot be read: {error}") from None
    host = (parts.hostname or "").rstrip(".")
    if parts.scheme not in _DEFAULT_PORT or not host or not url.isascii() or any(each <= " " for each in url):
        raise TargetRefused("expected an address like https://erp.mill.example/hooks")
    if "@" in parts.netloc or "#" in url or "\\" in url:
        raise TargetRefused("an address of a target has no user, no '#' and no backslash")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Target(parts.scheme, host, port or _DEFAULT_PORT[parts.scheme], path)


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == _LOCALHOST


def _unwrapped(address: Address) -> Address:
    """The IPv4 address inside an IPv6 one that only wraps it."""
    if isinstance(address, ipaddress.IPv6Address):
        if address in _NAT64:
            return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
        return address.ipv4_mapped or address.sixtofour or address
    return address
