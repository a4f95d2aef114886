"""Compares the structures of iphlpapi.dll, field by field, with the Windows headers of the MinGW compiler."""

from __future__ import annotations

import ctypes
import subprocess
from pathlib import Path

import pytest

from netcheck.wire.windows import structures
from tests.windows.build import COMPILER, why_not
from tests.windows.skipping import skip_or_fail

# A structure and field here, and their names in the headers.
FIELDS: dict[tuple[type[ctypes.Structure], str], dict[str, str]] = {
    (structures.UnicastAddress, "IP_ADAPTER_UNICAST_ADDRESS_LH"): {
        "next": "Next", "address": "Address", "prefix_length": "OnLinkPrefixLength",
    },
    (structures.AdapterAddresses, "IP_ADAPTER_ADDRESSES_LH"): {
        "index": "IfIndex", "next": "Next", "first_unicast": "FirstUnicastAddress", "description": "Description",
        "friendly_name": "FriendlyName", "mac": "PhysicalAddress", "mac_length": "PhysicalAddressLength",
        "type": "IfType", "status": "OperStatus", "metric": "Ipv4Metric",
    },
    (structures.AdapterRow, "MIB_IF_ROW2"): {
        "index": "InterfaceIndex", "status": "OperStatus", "media_state": "MediaConnectState",
    },
    (structures.NeighbourRow, "MIB_IPNET_ROW2"): {
        "address": "Address", "index": "InterfaceIndex", "mac": "PhysicalAddress",
        "mac_length": "PhysicalAddressLength", "state": "State",
    },
    (structures.RouteRow, "MIB_IPFORWARD_ROW2"): {
        "index": "InterfaceIndex", "destination": "DestinationPrefix", "next_hop": "NextHop",
        "prefix_length": "DestinationPrefix.PrefixLength", "metric": "Metric",
    },
    (structures.EchoReply, "ICMP_ECHO_REPLY"): {
        "address": "Address", "status": "Status", "size": "DataSize", "data": "Data", "ttl": "Options.Ttl",
    },
}  # fmt: skip
WHOLE = (structures.AdapterRow, structures.NeighbourRow, structures.RouteRow, structures.EchoReply)
HEAD = """#define _WIN32_WINNT 0x0601
#include <stddef.h>
#include <winsock2.h>
#include <ws2tcpip.h>
#include <iphlpapi.h>
#include <icmpapi.h>
#include <netioapi.h>
"""


@pytest.mark.slow
def test_every_field_has_the_offset_of_the_headers(tmp_path: Path) -> None:
    """The test compares the offsets of all fields that are read, and the sizes of the structures that need one."""
    if reason := why_not():
        skip_or_fail(reason)
    claims = [
        f'_Static_assert(offsetof({theirs}, {there}) == {getattr(ours, here).offset}, "{theirs}.{there}");'
        for (ours, theirs), fields in FIELDS.items()
        for here, there in fields.items()
    ]
    claims += [
        f'_Static_assert(sizeof({theirs}) == {ctypes.sizeof(ours)}, "size of {theirs}");'
        for (ours, theirs) in FIELDS
        if ours in WHOLE
    ]
    source = tmp_path / "claims.c"
    source.write_text(HEAD + "\n".join(claims) + "\n", encoding="utf-8")
    compiled = subprocess.run([COMPILER, "-fsyntax-only", str(source)], capture_output=True, text=True, check=False)
    assert compiled.returncode == 0, compiled.stderr
