"""This computer's interfaces on Windows, by the names that Windows shows, such as "Ethernet 3"."""

from __future__ import annotations

import sys

assert sys.platform == "win32", "for Windows only"

from collections.abc import Callable, Sequence  # noqa: E402  # the type checker reads the rest for Windows only

from netcheck.wire.link import NetworkInterface  # noqa: E402
from netcheck.wire.links.base import AdapterState, PolledCarrier  # noqa: E402
from netcheck.wire.linux.netlink import MAIN, KernelRoute  # noqa: E402
from netcheck.wire.windows import iphlpapi  # noqa: E402


def interfaces() -> list[NetworkInterface]:
    """Return all interfaces that are enabled, by index; Windows does not list the others."""
    return [_interface(adapter) for adapter in iphlpapi.adapters()]


def _interface(adapter: iphlpapi.WindowsAdapter) -> NetworkInterface:
    """Return one interface. A tunnel is always enabled, so it counts as switched on only while it is connected."""
    ethernet = adapter.type in (iphlpapi.ETHERNET, iphlpapi.WIRELESS) and bool(adapter.mac)
    return NetworkInterface(
        index=adapter.index,
        name=adapter.name,
        mac=adapter.mac,
        up=ethernet or adapter.connected,
        carrier=adapter.connected,
        ethernet=ethernet,
        loopback=adapter.type == iphlpapi.LOOPBACK,
        addresses=adapter.addresses,
        wireless=adapter.type == iphlpapi.WIRELESS,
        description=adapter.description,
    )


def routes() -> tuple[KernelRoute, ...]:
    """Return the IPv4 routes; a metric is the sum of the route's and the interface's, as Windows compares them."""
    metrics = {adapter.index: adapter.metric for adapter in iphlpapi.adapters()}
    return tuple(
        KernelRoute(
            index=route.index,
            first=route.first,
            length=route.length,
            gateway=0,
            metric=route.metric + metrics.get(route.index, 0),
            table=MAIN,
        )
        for route in iphlpapi.routes()
        if route.length < 32 or route.first == 0
    )


def index_of(name: str) -> int | None:
    """Return the index of the interface with this name; None if there is none."""
    return next((adapter.index for adapter in iphlpapi.adapters() if adapter.name == name), None)


def carrier_of(parts: Sequence[NetworkInterface], reopen: Callable[[int, int], bool]) -> PolledCarrier:
    """Return the object that reports the carrier of these interfaces."""
    return PolledCarrier(parts, reopen, _state_of, index_of)


def _state_of(index: int) -> AdapterState:
    """Return the state of an adapter. Windows does not list an adapter that is switched off, so it is GONE."""
    connected = iphlpapi.connected(index)
    return AdapterState.GONE if connected is None else AdapterState.CABLE if connected else AdapterState.NO_CABLE
