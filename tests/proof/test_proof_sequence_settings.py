"""Tests of mask, gateway and LLDP within a whole run on the rig, in virtual time: evidence, pace and interruption."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from ipaddress import IPv4Address, IPv4Interface

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.proof.events import Key, RunOptions, What
from netcheck.proof.port.connector import names_port
from netcheck.proof.prober import Prober
from netcheck.proof.targets import Scope, TakenSpace
from netcheck.rig.devices import VirtualDevice
from netcheck.rig.network import Jack, Rig
from netcheck.wire.frames import Lldp, arp_from_wire, arp_request, echo_from_wire
from tests.rig.scenes import MACS, OWN, Ran, Scene, forbidden_frames, ip

ASKED = RunOptions(hands_free=True, direct=True, typed=True, overhears=True)


class TypedDevice(VirtualDevice):
    """A device that decides by its mask, with the standard library, which address it resolves to answer a source."""

    typed: str = "192.0.2.20/24"
    gateway: str = ""

    def __init__(self, rig: Rig, addresses: dict[Jack, set[int]]) -> None:
        """Start with an empty ARP cache."""
        super().__init__(rig, addresses)
        self.known: dict[int, int] = {}

    def hear(self, jack: Jack, frame: bytes) -> None:
        """Learn the sender of an ARP request (RFC 826), then answer."""
        arp = arp_from_wire(frame)
        if arp is not None and arp.sender_ip and arp.target_ip in self.addresses[jack]:
            self.known[arp.sender_ip] = arp.sender_mac
        super().hear(jack, frame)

    def _answer_echo(self, jack: Jack, frame: bytes) -> None:
        echo = echo_from_wire(frame)
        assert echo is not None
        if echo.source_ip in self.known:
            super()._answer_echo(jack, frame)
            return
        inside = IPv4Address(echo.source_ip) in IPv4Interface(self.typed).network
        hop = echo.source_ip if inside else int(IPv4Address(self.gateway)) if self.gateway else None
        if hop is not None:
            self.rig.transmit(jack, arp_request(jack.mac, ip(20), hop))


class TypedScene(Scene):
    """A direct cable, one device with ports 1 and 2, and a plan that reserves some addresses."""

    def scope(self) -> Scope:
        """Return the scope, with the addresses that the plan keeps."""
        kept = TakenSpace(frozenset({ip(20), ip(254), ip(240), ip(30)}), ((ip(100), ip(180)),))
        return replace(super().scope(), kept=kept, surveyed=lambda address: address >> 7 == 0xC00003 << 1)


def scene(typed: str = "192.0.2.20/24", gateway: str = "192.0.2.254", settings: RunOptions = ASKED) -> TypedScene:
    """Return a scene with the device at the far end of a direct cable."""
    made = TypedScene(direct=True, options=settings, only=("alpha/cpu:1",))
    made.plan("alpha/cpu", 20, ports=2)
    jack = made.segment.join(Jack(MACS + 20))
    device = TypedDevice(made.rig, {jack: {ip(20)}})
    device.typed, device.gateway = typed, gateway
    made.jacks["alpha/cpu"] = jack
    made.hand.jacks.update({"alpha/cpu:1": jack, "alpha/cpu:2": jack})
    return made


def sources(ran: Ran) -> set[int]:
    """Return the sources of echo requests that are not the station's own address."""
    echoes = [echo_from_wire(frame) for _, _, frame in ran.rig.sent]
    return {echo.source_ip for echo in echoes if echo is not None} - {OWN}


@pytest.mark.parametrize(
    ("typed", "gateway", "mask", "said"),
    [
        pytest.param(
            "192.0.2.20/24", "192.0.2.254", "mask as planned", "gateway is 192.0.2.254, as planned", id="as planned"
        ),
        pytest.param("192.0.2.20/24", "", "mask as planned", "no gateway set, planned 192.0.2.254", id="no gateway"),
        pytest.param(
            "192.0.2.20/20", "192.0.2.9",
            "mask is /20, planned /24", "gateway is 192.0.2.9, planned 192.0.2.254", id="wrong",
        ),
    ],
)  # fmt: skip
def test_mask_and_gateway_are_evidence_of_a_proof(typed: str, gateway: str, mask: str, said: str) -> None:
    """Mask and gateway are evidence of the port.

    A wrong one decides the verdict. Only free sources are used, at the set pace.
    """
    ran = scene(typed, gateway).prove()
    assert ran.proof.verdict == ("wrong-settings" if "planned 192" in said else "proven")
    assert dict(ran.proof.evidence) == {"mask": mask, "gateway": said}
    borrowed = sources(ran)
    assert 4 <= len(borrowed) <= 30
    assert not borrowed & {ip(20), ip(254), ip(240), ip(30), *range(ip(100), ip(181))}
    assert not any(source >> 7 == 0xC00003 << 1 for source in borrowed)  # a survey lists all of 192.0.3.0/25
    expected = {f"{IPv4Address(source)} was {what}" for source in borrowed for what in ("asked", "used as sender")}
    assert set(forbidden_frames(ran)) <= expected
    warned = [event.text for event in ran.log if event.what is What.WARN]
    assert bool(warned) == ("planned 192" in said)
    assert not any("match no probe" in note for note in ran.proof.notes)


@pytest.mark.parametrize("changes", [{"typed": False}, {"direct": False, "typed": False}], ids=["direct", "switch"])
def test_without_the_option_no_source_is_borrowed(changes: dict[str, bool]) -> None:
    """Without the option, only the station's own address is used as a source."""
    ran = scene(settings=replace(ASKED, **changes)).prove()
    assert sources(ran) == set()
    assert ran.proof.evidence == ()


def at_inquiry(made: TypedScene, then: Callable[[], None]) -> None:
    """Call *then* three seconds after the questions about mask and gateway begin."""
    told = made.hand.told

    def listening(event: object) -> None:
        told(event)  # type: ignore[arg-type]
        if "mask and gateway by" in getattr(event, "text", ""):
            made.rig.after(3.0, then)

    made.hand.told = listening  # type: ignore[method-assign]


def test_the_cable_comes_out_during_the_questions() -> None:
    """If the cable comes out during the questions, mask and gateway are unknown, and the proof goes on in phase out."""
    made = scene()
    at_inquiry(made, lambda: made.rig.plug(made.jacks["alpha/cpu"], False))
    ran = made.prove()
    assert ran.proof.verdict == "proven"
    assert dict(ran.proof.evidence) == dict.fromkeys(("mask", "gateway"), "cannot tell: the cable came out")


def test_the_port_is_skipped_during_the_questions() -> None:
    """Key s ends the port at once, and nothing more is sent to it."""
    made = scene()
    made.options = replace(ASKED, hands_free=False)
    at_inquiry(made, lambda: made.hand.press(Key.SKIP))
    ran = made.prove()
    assert (ran.proof.verdict, ran.proof.evidence) == ("skipped", ())
    assert "skipped" in ran.proof.why


# LLDP


def lldp(port: str, name: str = "alpha", ttl: int = 120) -> bytes:
    """Return an LLDP frame: chassis and port by local name, lifetime, system name (IEEE 802.1AB)."""
    parts = [(1, b"\x07alpha"), (2, b"\x07" + port.encode()), (3, ttl.to_bytes(2, "big")), (5, name.encode()), (0, b"")]
    body = b"".join((kind << 9 | len(value)).to_bytes(2, "big") + value for kind, value in parts)
    return bytes.fromhex("0180c200000e 00005e005314 88cc") + body


def announcing(made: TypedScene, port: str, name: str = "alpha", ttl: int = 120) -> None:
    """Let the device send LLDP every five seconds."""
    made.rig.transmit(made.jacks["alpha/cpu"], lldp(port, name, ttl))
    made.rig.after(5.0, lambda: announcing(made, port, name, ttl))


PLAIN = replace(ASKED, typed=False)


@pytest.mark.parametrize(
    ("port", "said", "direct", "verdict", "connector"),
    [
        pytest.param("2", "2", True, "proven", "lldp", id="names it"),
        pytest.param("2", "port-002", True, "proven", "lldp", id="by number"),
        pytest.param("2", "1", True, "unsettled", "assumed", id="names the other"),
        pytest.param("2", "eth2", True, "unsettled", "assumed", id="some other numbering"),
        pytest.param("1", "1", True, "proven", "lldp", id="first port"),
        pytest.param("1", "2", True, "unsettled", "assumed", id="first port, names the second"),
        pytest.param("1", "eth0", True, "proven", "assumed", id="first port, names none"),
    ],
)
def test_lldp_tells_the_connector(port: str, said: str, direct: bool, verdict: str, connector: str) -> None:
    """Hands-free, a second port is proven only if LLDP names it."""
    made = scene(settings=PLAIN)
    made.only = (f"alpha/cpu:{port}",)
    announcing(made, said, "alpha\x1b[31m")
    ran = made.prove()
    assert (ran.proof.verdict, ran.proof.connector) == (verdict, connector)
    assert dict(ran.proof.evidence) == {"lldp system name": "alpha\\x1b[31m", "lldp port": said}


def test_lldp_of_two_ports_is_no_evidence() -> None:
    """If the far end names several ports during one proof, the connector is not known."""
    made = scene(settings=PLAIN)
    made.only = ("alpha/cpu:2",)
    announcing(made, "2")
    announcing(made, "1")
    ran = made.prove()
    assert (ran.proof.verdict, ran.proof.connector) == ("unsettled", "assumed")
    assert dict(ran.proof.evidence)["lldp port"] in ("1, 2", "2, 1")
    assert "By LLDP the cable is in port 1, not in port 2." in ran.proof.why


def test_lldp_takes_precedence_over_enter() -> None:
    """LLDP takes precedence over Enter: the port is unsettled when the far end names another port."""
    made = scene(settings=replace(PLAIN, hands_free=False))
    made.only, made.hand.confirms = ("alpha/cpu:2",), True
    announcing(made, "port 1")
    ran = made.prove()
    assert ran.proof.verdict == "unsettled"
    assert "By LLDP the cable is in port 1" in ran.proof.why


def test_lldp_from_before_the_cable_came_in_does_not_count() -> None:
    """LLDP from the device that was connected before this one does not count."""
    made = scene(settings=PLAIN)
    made.only = ("alpha/cpu:2",)
    jack = made.jacks["alpha/cpu"]
    made.hand.jacks.clear()
    assert isinstance(jack.host, TypedDevice)
    jack.host.up_from = made.rig.now() + 2.0  # until then the cable of another device is in
    made.rig.after(0.1, lambda: made.rig.transmit(jack, lldp("2")))
    made.rig.after(1.0, lambda: made.rig.plug(jack, False))
    made.rig.after(3.0, lambda: made.rig.plug(jack, True))
    ran = made.prove()
    assert ran.proof.connector == "assumed"
    assert ran.proof.evidence == ()


def test_lldp_with_lifetime_zero_does_not_count() -> None:
    """LLDP with a lifetime of 0 announces that the port goes down (IEEE 802.1AB) and does not count."""
    made = scene(settings=PLAIN)
    announcing(made, "1", ttl=0)
    assert made.prove().proof.evidence == ()


@pytest.mark.parametrize(
    ("said", "description", "port", "named"),
    [
        pytest.param("1", "", "1", True, id="same"),
        pytest.param("X1 P1", "", "x1  p1", True, id="case and spaces"),
        pytest.param("00-00-5E-00-53-14", "Port 2", "2", True, id="description"),
        pytest.param("port-001", "", "1", True, id="port and number"),
        pytest.param("port10", "", "1", False, id="longer number"),
        pytest.param("eth1", "", "1", False, id="a system's numbering"),
        pytest.param("1/1", "", "1", False, id="a switch's"),
        pytest.param("", "", "1", False, id="nothing"),
    ],
)
def test_a_port_is_named_only_by_a_plain_name(said: str, description: str, port: str, named: bool) -> None:
    """A port is named only by its plain name or number."""
    assert names_port(Lldp(source=1, chassis="c", port=said, ttl=120, port_description=description), port) is named


@given(st.text(max_size=60), st.text(max_size=60), st.text(max_size=20))
def test_any_names_can_be_compared(said: str, description: str, port: str) -> None:
    """Comparing any received text raises nothing, and a port is always named by its own name."""
    names_port(Lldp(source=1, chassis="c", port=said, ttl=120, port_description=description), port)
    assert names_port(Lldp(source=1, chassis="c", port=port, ttl=120), port)


def test_neighbours_are_bounded() -> None:
    """The number of stored LLDP neighbours is limited; the oldest are dropped first."""
    made = scene(settings=PLAIN)
    for number in range(3000):
        made.rig.transmit(made.jacks["alpha/cpu"], lldp(str(number)))
    ran = made.prove()
    assert isinstance(ran.prober, Prober)
    assert len(ran.prober.run.neighbours) <= 64
