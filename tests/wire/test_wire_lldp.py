"""LLDP frames: a published vector, frames from scapy's builder, and hand-made ones at the standard's limits."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.contrib.lldp import (
    LLDPDU,
    LLDPDUChassisID,
    LLDPDUEndOfLLDPDU,
    LLDPDUPortDescription,
    LLDPDUPortID,
    LLDPDUSystemName,
    LLDPDUTimeToLive,
)
from scapy.layers.l2 import Ether

from netcheck.wire.frames import Lldp, arp_request, lldp_from_wire, padded

DEVICE = 0x00005E005314
# Built with scapy 2.8.0: chassis by MAC, port p1, 120 s, system name plc-a.
VECTOR_LLDP = bytes.fromhex(
    "0180 c200 000e 0000 5e00 5314 88cc 0207 0400 005e 0053 1404 0305 7031 0602 0078 0a05 706c 632d 6100 0000"
).ljust(60, b"\0")


def test_lldp_vector_is_read() -> None:
    """Chassis by MAC, port by interface name, 120 s, system name: IEEE 802.1AB."""
    assert lldp_from_wire(VECTOR_LLDP) == Lldp(
        source=DEVICE, chassis="00-00-5E-00-53-14", port="p1", ttl=120, port_description="", system_name="plc-a"
    )


names = st.text(st.characters(codec="utf-8"), min_size=1, max_size=60)


@settings(deadline=None)
@given(names, names, st.integers(0, 0xFFFF), names, names)
def test_lldp_built_by_scapy_is_read(chassis: str, port: str, ttl: int, description: str, system: str) -> None:
    """LLDP from scapy's builder gives the values that were put in; the first of two system names counts."""
    LLDPDU.disable_strict = True
    frame = bytes(
        Ether(dst="01:80:c2:00:00:0e", src="00:00:5e:00:53:14", type=0x88CC)
        / LLDPDUChassisID(subtype=7, id=chassis.encode())
        / LLDPDUPortID(subtype=7, id=port.encode())
        / LLDPDUTimeToLive(ttl=ttl)
        / LLDPDUPortDescription(description=description.encode())
        / LLDPDUSystemName(system_name=system.encode())
        / LLDPDUSystemName(system_name=b"again")
        / LLDPDUEndOfLLDPDU()
    )
    assert lldp_from_wire(padded(frame)) == Lldp(
        source=DEVICE, chassis=chassis, port=port, ttl=ttl, port_description=description, system_name=system
    )


def lldp(*parts: tuple[int, bytes]) -> bytes:
    """Return an LLDP frame of these TLVs: 7 bits of type, 9 of length (IEEE 802.1AB)."""
    body = b"".join((kind << 9 | len(value)).to_bytes(2, "big") + value for kind, value in parts)
    return VECTOR_LLDP[:14] + body


CHASSIS, PORT, TTL = (1, b"\x07here"), (2, b"\x07p1"), (3, b"\0\x78")


@pytest.mark.parametrize(
    ("frame", "seen"),
    [
        pytest.param(
            lldp(CHASSIS, PORT, TTL), Lldp(source=DEVICE, chassis="here", port="p1", ttl=120), id="no end mark"
        ),
        pytest.param(
            lldp(CHASSIS, PORT, TTL, (0, b""), (5, b"x")),
            Lldp(source=DEVICE, chassis="here", port="p1", ttl=120),
            id="after the end",
        ),
        pytest.param(
            lldp((1, b"\x05\x01\xc0\0\x02\x14"), PORT, TTL),
            Lldp(source=DEVICE, chassis="192.0.2.20", port="p1", ttl=120, address=0xC0000214),
            id="IPv4",
        ),
        pytest.param(
            lldp(CHASSIS, PORT, TTL, (8, b"\x05\x01\xc0\0\x02\x15\x01\0\0\0\0\0")),
            Lldp(source=DEVICE, chassis="here", port="p1", ttl=120, address=0xC0000215),
            id="management address",
        ),
        pytest.param(
            lldp(CHASSIS, PORT, TTL, (8, b"\x11\x02" + b"\0" * 16), (8, b"\x05\x01\xc0")),
            Lldp(source=DEVICE, chassis="here", port="p1", ttl=120),
            id="management address of IPv6, and one cut short",
        ),
        pytest.param(
            lldp(CHASSIS, (2, b"\x04\x01\xc0\0\x02\x14"), TTL),
            Lldp(source=DEVICE, chassis="here", port="192.0.2.20", ttl=120),
            id="IP",
        ),
        pytest.param(
            lldp(CHASSIS, (2, b"\x03\0\0\x5e\0\x53\x14"), TTL),
            Lldp(source=DEVICE, chassis="here", port="00-00-5E-00-53-14", ttl=120),
            id="MAC",
        ),
        pytest.param(
            lldp(CHASSIS, PORT, TTL, (127, b"\0" * 511)),
            Lldp(source=DEVICE, chassis="here", port="p1", ttl=120),
            id="longest part",
        ),
        pytest.param(
            lldp(CHASSIS, PORT, (3, b"\0\0")), Lldp(source=DEVICE, chassis="here", port="p1", ttl=0), id="leaving"
        ),
        pytest.param(
            lldp((1, b"\x07\xff\xfe"), PORT, TTL),
            Lldp(source=DEVICE, chassis="\ufffd\ufffd", port="p1", ttl=120),
            id="no UTF-8",
        ),
        pytest.param(lldp(PORT, CHASSIS, TTL), None, id="wrong order"),
        pytest.param(lldp(CHASSIS, PORT), None, id="no time to live"),
        pytest.param(lldp((1, b"\x07"), PORT, TTL), None, id="empty chassis id"),
        pytest.param(lldp(CHASSIS, PORT, (3, b"\x01")), None, id="time to live of one byte"),
        pytest.param(lldp(CHASSIS, PORT, TTL) + b"\x0a\xff", None, id="part longer than the frame"),
        pytest.param(padded(arp_request(1, 2, 3)), None, id="arp"),
    ],
)
def test_lldp_by_hand(frame: bytes, seen: Lldp | None) -> None:
    """Mandatory TLVs in order, lengths within the frame, text by subtype (IEEE 802.1AB)."""
    assert lldp_from_wire(frame) == seen
