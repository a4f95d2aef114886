"""Tests of the request for a device's identity, with a small server in a namespace: one connection, eleven bytes."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

from netcheck.field.modbus_identity import Unknown, ask_modbus, holder, to_evidence
from netcheck.wire.modbus import Identity
from tests.lab.netns import Lab

SERVER = Path(__file__).with_name("identity_server.py")
STATION_IP, DEVICE_IP, ABSENT_IP, FAR_IP = 0xC0000201, 0xC0000214, 0xC0000263, 0xCB007101
DEVICE = 0x00005E005314
SAID = Identity("Company identification", "Product code XX", "V2.11")


@pytest.fixture(scope="module")
def bench(field_lab: Lab) -> tuple[Lab, str, str]:
    """A station and a device on one cable; the station has a second interface with a gateway."""
    lab = field_lab
    station, device, other = lab.namespace("station"), lab.namespace("device"), lab.namespace("other")
    lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.veth((station, "eth1"), (other, "eth0"))
    lab.address(station, "eth0", "192.0.2.1/24")
    lab.address(station, "eth1", "198.51.100.1/24")
    lab.address(device, "eth0", "192.0.2.20/24")
    lab.run(station, ["ip", "route", "add", "default", "via", "198.51.100.2"])
    return lab, station, device


def served(bench: tuple[Lab, str, str], how: str, timeout: float = 1.0) -> tuple[Identity | Unknown, bytes]:
    """Ask a server that behaves as `how` says; return the result and the bytes that the server received."""
    lab, station, device = bench
    words = [sys.executable, str(SERVER), "192.0.2.20", how]
    server = lab.start(device, words, stdout=subprocess.PIPE)
    assert server.stdout is not None
    assert server.stdout.readline() == b"ready\n"
    with lab.inside(station):
        said = ask_modbus("eth0", STATION_IP, DEVICE_IP, timeout)
    return said, bytes.fromhex(server.stdout.readline().decode())


@pytest.mark.lab
@pytest.mark.parametrize(
    ("how", "said"),
    [
        pytest.param("answer", SAID, id="answers"),
        pytest.param("exception", Unknown("it does not offer its identity (exception 1)"), id="does not offer it"),
        pytest.param("silent", Unknown("it did not answer on TCP port 502 within 1 s"), id="silent"),
        pytest.param("drip", Unknown("it did not answer on TCP port 502 within 1 s"), id="drips"),
        pytest.param("flood", Unknown("what answers on its TCP port 502 does not speak Modbus"), id="floods"),
        pytest.param("closes", Unknown("what answers on its TCP port 502 does not speak Modbus"), id="hangs up"),
        pytest.param("web", Unknown("what answers on its TCP port 502 does not speak Modbus"), id="a web server"),
    ],
)
def test_each_reply_gives_its_result(bench: tuple[Lab, str, str], how: str, said: Identity | Unknown) -> None:
    """Each reply gives its result in time, and only one request is sent."""
    began = time.monotonic()
    learned, received = served(bench, how)
    assert learned == said
    assert time.monotonic() - began < 3
    assert (len(received), received[2:]) == (11, bytes.fromhex("0000 0005 ff 2b0e 0100"))


@pytest.mark.lab
@pytest.mark.parametrize(
    ("source", "target", "why"),
    [
        pytest.param(STATION_IP, DEVICE_IP, "nothing listens on its TCP port 502", id="nobody listens"),
        pytest.param(STATION_IP, ABSENT_IP, "it did not answer on TCP port 502 within 0.3 s", id="nobody there"),
        pytest.param(STATION_IP, FAR_IP, "it did not answer on TCP port 502 within 0.3 s", id="never by a gateway"),
        pytest.param(DEVICE_IP, DEVICE_IP, "the system says: Cannot assign requested address", id="not our address"),
    ],
)
def test_each_obstacle_gives_a_reason(bench: tuple[Lab, str, str], source: int, target: int, why: str) -> None:
    """Each obstacle gives a reason and raises no error."""
    lab, station, _ = bench
    with lab.inside(station):
        assert ask_modbus("eth0", source, target, 0.3) == Unknown(why)
        assert ask_modbus("eth9", source, target, 0.3) == Unknown("the system says: No such device")


@pytest.mark.lab
def test_the_mac_of_the_connection_is_known(bench: tuple[Lab, str, str]) -> None:
    """The neighbour table has the MAC that the connection went to."""
    served(bench, "answer")
    lab, station, _ = bench
    with lab.inside(station):
        assert holder("eth0", DEVICE_IP) == DEVICE
        assert holder("eth0", ABSENT_IP) is None
        assert holder("eth9", DEVICE_IP) is None


@pytest.mark.parametrize(
    ("answer", "reached", "evidence"),
    [
        pytest.param(
            SAID,
            DEVICE,
            (
                ("modbus vendor", "Company identification"),
                ("modbus product", "Product code XX"),
                ("modbus revision", "V2.11"),
            ),
            id="told",
        ),
        pytest.param(
            Identity(" \x1b[31mred", "", "x" * 999),
            None,
            (
                ("modbus vendor", "\\x1b[31mred"),
                ("modbus product", "not told"),
                ("modbus revision", "x" * 200 + "\u2026"),
            ),
            id="hostile",
        ),
        pytest.param(Unknown("it is shy"), DEVICE, (("modbus", "not known: it is shy"),), id="not known"),
        pytest.param(
            SAID, DEVICE + 1, (("modbus", "not counted: the connection went to 00-00-5E-00-53-15"),), id="another"
        ),
    ],
)
def test_evidence(answer: Identity | Unknown, reached: int | None, evidence: tuple[tuple[str, str], ...]) -> None:
    """Texts are made safe; the identity of another MAC than the proven one does not count."""
    assert to_evidence(answer, DEVICE, reached) == evidence
