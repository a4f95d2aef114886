"""Tests of a used device that is heard by its MAC alone: which planned device it is, and the settings to try its
address.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from scapy.layers.inet6 import ICMPv6ND_NS, IPv6, IPv6ExtHdrHopByHop
from scapy.layers.l2 import Ether

from netcheck.addr import Address, Mac, mac_text, quad
from netcheck.app.identify import _expected, _shape, _text
from netcheck.app.survey import Known
from netcheck.field.discovery import DiscoveredHost, Discovery
from netcheck.field.listen import Listener

PLANT = Path(__file__).parents[2] / "plans" / "tarn-hollow-mended"
MAC = "00:00:5e:00:53:30"  # planned for filler-plc/cpu, 10.62.30.70
TO_ALL = Ether(dst="33:33:00:00:00:01", src=MAC)
CHECK = IPv6(src="::", dst="ff02::1:ff00:5330") / ICMPv6ND_NS(tgt="fe80::200:5eff:fe00:5330")


@pytest.mark.parametrize(
    ("frame", "heard"),
    [
        (bytes(TO_ALL / CHECK), True),
        (bytes(TO_ALL / IPv6(src="fe80::1", dst="ff02::16") / IPv6ExtHdrHopByHop()), True),
        (bytes(TO_ALL / CHECK)[:53], False),  # shorter than its header
        (bytes(TO_ALL / CHECK).replace(b"\x86\xdd\x60", b"\x86\xdd\x40"), False),  # another version
        (bytes(Ether(dst="33:33:00:00:00:01", src="01:00:5e:00:53:30") / CHECK), False),  # sent by a group
        (bytes(TO_ALL)[:12] + b"\x88\x92" + bytes(46), False),
    ],
)
def test_the_sender_of_ipv6_is_heard_by_its_mac(frame: bytes, heard: bool) -> None:
    """A whole IPv6 header counts, whatever follows it. Its address is not recorded as the address of the device."""
    listener = Listener(frozenset())
    listener.hear(frame)
    assert listener.found() == ()
    assert [(mac_text(host.mac), host.by) for host in listener.nameless()] == (
        [("00-00-5E-00-53-30", ("IPv6",))] if heard else []
    )


def test_the_planned_device_is_named_by_its_mac() -> None:
    """A planned MAC names its interface and its planned address with what to set; an unknown one does not."""
    known = Known.by(PLANT)
    macs = [Mac.from_text(text).value for text in (MAC, "00-00-5E-00-53-FE")]
    planned, strange = (DiscoveredHost(0, mac, by=("IPv6",)) for mac in macs)
    found = Discovery(interface="eth0", day=date(2026, 11, 20), hosts=(), nameless=(planned, strange))
    expected = _expected(found, (), known)
    assert list(expected) == [planned]
    text = _text(found, expected, known)
    assert (
        "00-00-5E-00-53-30 is planned for filler-plc/cpu, but sent no address; to try its planned address "
        f"10.62.30.70: set {quad(expected[planned].address)}"
    ) in text
    free = Address(4, expected[planned].address)
    assert free.value not in known.planned
    assert known.base is not None
    assert any(
        net.holds(free.value) and net.holds(Address.from_text("10.62.30.70").value) for net in known.base.aim.nets
    )
    first, second = _shape(found, {}, known)["without_address"]
    assert (first["planned"], first["planned_address"]) == ("filler-plc/cpu", "10.62.30.70")
    assert (second["planned"], second["planned_address"]) == (None, None)
