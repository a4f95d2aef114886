"""What systems other than Linux say about their interfaces, by way of scapy and libpcap."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable, Sequence
from typing import Any

from netcheck.addr import Mac
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Carrier

FLAGS_EVERY = 0.5  # seconds between looks at libpcap's flags, each of which lists all interfaces


class PolledCarrier:
    """Carrier changes by asking `connected(name)` now and then; None from it counts as connected."""

    def __init__(self, parts: Sequence[NetworkInterface], connected: Callable[[str], bool | None]) -> None:
        self._names = [part.name for part in parts]
        self._connected = connected
        self._up = [self._ask(way) for way in range(len(parts))]
        self.due = float("-inf")

    def look(self, now: float) -> list[Carrier]:
        """Return what has changed since the last look."""
        self.due = now + FLAGS_EVERY
        before, self._up = self._up, [self._ask(way) for way in range(len(self._names))]
        return [Carrier(now, way, up) for way, up in enumerate(self._up) if up != before[way]]

    def carrier(self, way: int, now: float) -> bool:
        """What the last look found."""
        return self._up[way]

    def close(self) -> None:
        """Nothing is held."""

    def _ask(self, way: int) -> bool:
        return self._connected(self._names[way]) is not False


def connected_by_libpcap(name: str) -> bool | None:
    """Whether libpcap says that an interface has a cable; None where it does not know, or is not there."""
    from scapy.config import conf

    try:
        from scapy.arch.libpcap import load_winpcapy

        load_winpcapy()
        there = conf.cache_pcapiflist[conf.ifaces.dev_from_name(name).network_name]
    except (ImportError, OSError, KeyError, ValueError):
        return None
    said = str(there[2]).split("+")
    return False if "DISCONNECTED" in said else True if "OK" in said else None


def interfaces_by_scapy() -> list[NetworkInterface]:
    """All interfaces as scapy lists them; the prefix lengths are those of the routes to them."""
    import scapy.route  # noqa: F401  # makes conf.route
    from scapy.config import conf

    conf.ifaces.reload()
    conf.route.resync()
    return [
        NetworkInterface(
            one.index,
            one.name,
            Mac.from_text(one.mac).value if one.mac else 0,
            up="UP" in str(one.flags).split("+") or not one.flags,
            carrier="DISCONNECTED" not in str(one.flags),
            ethernet=bool(one.mac) and one.mac != "00:00:00:00:00:00",
            loopback="LOOPBACK" in str(one.flags),
            addresses=tuple((int(ipaddress.IPv4Address(ip)), _length(conf, ip)) for ip in one.ips[4]),
        )
        for one in conf.ifaces.values()
    ]


def _length(conf: Any, ip: str) -> int:
    """The prefix length of the narrowest route without gateway that holds an address and is no single host's."""
    value = int(ipaddress.IPv4Address(ip))
    masks = [
        mask for net, mask, gateway, _, _, _ in conf.route.routes
        if gateway == "0.0.0.0" and 0 < mask < 0xFFFFFFFF and value & mask == net
    ]  # fmt: skip
    return max(masks, default=0xFFFFFFFF).bit_count()
