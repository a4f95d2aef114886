"""Tests of the requests before the first pull: which addresses are asked, how fast, and what the warnings say."""

from __future__ import annotations

import ipaddress
from dataclasses import replace

import pytest
from scapy.layers.l2 import ARP, Ether

from netcheck.field import first_look
from netcheck.field.first_look import FirstLook, look, sample, silent_nets, warnings
from netcheck.proof.targets import Net, Scope, Target
from netcheck.wire.link import Heard, NetworkInterface
from tests.field.test_field_sweep import STATION, Wire, says

DYE, CUT = Net("dye", 0xC0000200, 24, gateway=0xC00002FE), Net("cut", 0xC6336400, 24)
GATEWAY_MAC = 0x00005E0053FE


def port(name: str, net: Net, last: int, barred: str = "") -> Target:
    """Return a port of the device of this name."""
    address = net.first + last
    return Target(
        interface=f"{name}/lan", port="1", device=name, address=0 if barred else address,
        address_text=str(ipaddress.IPv4Address(address)), subnet=net.name, barred=barred,
    )  # fmt: skip


def scope(*targets: Target) -> Scope:
    """Return a scope that asks for all these ports."""
    return Scope(targets=targets, asked=targets, nets=(DYE, CUT))


def mac(last: int) -> int:
    """Return the MAC of the device with this last octet."""
    return 0x00005E005300 + last


def answers(*targets: Target) -> dict[int, list[tuple[float, bytes]]]:
    """Return a reply of each of these devices."""
    return {one.address: [(0.002, says(mac(one.address & 0xFF), one.address))] for one in targets}


A, B, C = port("a", DYE, 20), port("b", DYE, 21), port("c", CUT, 22)


@pytest.fixture(autouse=True)
def own_address(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give the computer an address in every subnet."""
    monkeypatch.setattr(first_look, "_sender", lambda link, address: 0xC00002FA)


def test_a_healthy_plant_is_asked_a_few_times() -> None:
    """One request to each of two devices is enough.

    It is broadcast, padded, and has this computer's address as its sender. No request is sent in the second after the
    last one.
    """
    aim = scope(A, B, *(port(f"d{n}", DYE, 30 + n) for n in range(50)))
    wire = Wire(answers(*aim.targets))
    seen = look(wire, aim)
    assert warnings(seen, aim, "eth0", ()) == []
    assert len(wire.sent) == 2
    assert seen.spent < 1.5
    assert wire.now() >= wire.sent[-1][0] + 1.0
    for _, frame in wire.sent:
        read = Ether(frame)
        assert (read.dst, read[ARP].op, read[ARP].psrc) == ("ff:ff:ff:ff:ff:ff", 1, "192.0.2.250")


def test_nobody_answers() -> None:
    """At most ten requests a second are sent, for five seconds at most.

    The warning names the subnet, the interface, and another interface that has an address in the subnet.
    """
    aim = scope(A, B, *(port(f"d{n}", DYE, 30 + n) for n in range(50)))
    wire = Wire({})
    seen = look(wire, aim)
    assert seen.spent < 5
    times = [at for at, _ in wire.sent]
    assert len(times) == 24
    assert all(times[n + 10] - times[n] >= 1.0 for n in range(len(times) - 10))
    office = NetworkInterface(
        name="eth1", index=3, mac=1, up=True, carrier=True, ethernet=True, loopback=False,
        addresses=((DYE.first + 5, 24),),
    )  # fmt: skip
    assert warnings(seen, aim, "eth0", (office,)) == [
        "No device of subnet dye (192.0.2.0/24) answers on eth0; eth1 has 192.0.2.5 there: is it the right interface?"
    ]
    assert warnings(seen, aim, "eth0", ()) == [
        "No device of subnet dye (192.0.2.0/24) answers on eth0: is it the right interface and cable?"
    ]


def test_one_of_two_subnets_is_silent() -> None:
    """Each subnet is asked, and only the silent one is named."""
    aim = scope(A, B, C)
    seen = look(Wire(answers(A, B)), aim)
    assert [net.name for net in silent_nets(seen, aim)] == ["cut"]
    (said,) = warnings(seen, aim, "eth0", ())
    assert said.startswith("No device of subnet cut (198.51.100.0/24)")


def test_one_device_alone_looks_like_a_direct_cable() -> None:
    """If only one MAC answers, for one address or for several, the warning names it and `--direct`.

    With a gateway it is not the only one.
    """
    aim = scope(A, B)
    both = {one.address: [(0.01, says(mac(20), one.address))] for one in (A, B)}
    for replies, where in ((answers(A), "a/lan (192.0.2.20)"), (both, "a/lan (192.0.2.20) and b/lan (192.0.2.21)")):
        (said,) = warnings(look(Wire(replies), aim), aim, "eth0", ())
        assert f"Only one device answers on eth0: 00-00-5E-00-53-14, for {where}." in said
        assert "--direct" in said
    gateway = {DYE.gateway or 0: [(0.01, says(GATEWAY_MAC, DYE.gateway or 0))]}
    assert warnings(look(Wire(answers(A) | gateway), aim), aim, "eth0", ()) == []


def test_a_host_that_only_sends_arp_counts_as_another_device() -> None:
    """A device that was not asked and sends ARP by itself counts. A forged sender with a group bit does not."""
    aim = scope(A)
    for source, lines in ((mac(99), 0), (0x01005E005399, 1)):
        wire = Wire(answers(A), [Heard(100.05, 0, says(source, 0xC0000263))])
        assert len(warnings(look(wire, aim), aim, "eth0", ())) == lines
    wire = Wire(answers(A), [Heard(100.05, 1, says(mac(99), 0xC0000263)), Heard(100.06, 0, says(STATION, 1))])
    assert len(warnings(look(wire, aim), aim, "eth0", ())) == 1  # another interface, and this station itself


def test_the_sample_covers_every_subnet_and_device() -> None:
    """Every subnet has its turn, and every device one address. Ports that cannot be probed are not asked."""
    crowd = [port(f"d{n}", DYE, 30 + n) for n in range(50)]
    second = replace(A, port="2", ordinal=1)
    asked = sample(scope(A, second, *crowd, C, port("x", CUT, 0, "it has no address")))
    assert len(asked) == len(set(asked)) == 12
    assert C.address in asked
    assert DYE.gateway in asked
    assert 0 not in asked


def test_every_frame_is_given_to_the_capture() -> None:
    """The capture of a run contains these frames too."""
    kept: list[tuple[float, int, bytes, bool]] = []
    aim = scope(A, B)
    look(Wire(answers(A, B)), aim, lambda *frame: kept.append(frame))
    assert [outbound for *_, outbound in kept] == [True, False, True, False]


@pytest.mark.parametrize("name", ["a\x1b[2Jb", "\u202eevil"])
def test_names_from_the_plan_are_escaped(name: str) -> None:
    """A control sequence in a name does not reach the terminal."""
    net = replace(DYE, name=name)
    aim = Scope(targets=(replace(A, subnet=name),), asked=(replace(A, subnet=name),), nets=(net,))
    (said,) = warnings(FirstLook([A.address]), aim, "eth0", ())
    assert not set(said) & set("\x1b\u202e")
