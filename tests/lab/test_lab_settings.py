"""Finds mask and gateway of devices on a direct cable by their behaviour, on the real kernel."""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import partial
from ipaddress import IPv4Address, IPv4Interface
from pathlib import Path
from random import Random
from typing import Any

import pytest

from netcheck.proof.settings.inquiry import Inquiry
from netcheck.proof.settings.model import SettingsFound, SettingsQuestion
from netcheck.wire.link import Heard, Link
from netcheck.wire.links.raw import open_raw
from tests.lab.netns import Lab
from tests.lab.parallel import Job

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]
STATION, DEVICE = 0x00005E005301, 0x00005E005314


@dataclass(frozen=True)
class Case:
    """A device's settings and the expected result; `commands` are further `ip` commands and sysctls for the device."""

    name: str
    typed: str
    gateway: str = ""
    reverse: int = 0
    planned: int = 24
    commands: tuple[tuple[str, ...], ...] = ()
    overhears: bool = True
    length: int | None = None
    why: str = ""  # words of the reason why a value cannot be found


def sound(typed: str, gateway: bool, reverse: int, planned: int = 24) -> Case:
    """Return a case of a device without faults; only its mask may be wrong."""
    network = IPv4Interface(typed).network
    router = str(network.network_address + 1) if gateway else ""
    name = f"{typed} {'with' if gateway else 'without'} gateway, rp_filter {reverse}, planned /{planned}"
    return Case(name, typed, router, reverse, planned, length=network.prefixlen)


LENGTHS = tuple(
    sound(f"10.62.20.{host}/{length}", gateway, reverse, planned)
    for (length, host, planned), gateway, reverse in [
        ((8, 61, 24), True, 0), ((8, 61, 24), False, 1),
        ((16, 61, 24), True, 1), ((16, 61, 24), False, 2),
        ((19, 250, 24), True, 2), ((22, 7, 24), False, 0),
        ((24, 61, 24), True, 0), ((24, 61, 24), True, 1), ((24, 61, 24), False, 0), ((24, 61, 24), False, 1),
        ((25, 126, 24), True, 2), ((26, 61, 26), False, 2),
        ((28, 61, 24), True, 1), ((28, 61, 28), False, 1),
        ((29, 6, 24), True, 0), ((29, 62, 16), False, 2), ((30, 62, 24), False, 0),
    ]
)  # fmt: skip
REMEMBERED = (("ip", "neigh", "add", "10.62.20.1", "lladdr", "00:00:5e:00:53:fe", "dev", "eth0"),)
ODD = (
    Case(
        "echo ignored", "10.62.20.61/24", "10.62.20.1", why="echo ignored",
        commands=(("sh", "-c", "echo 1 > /proc/sys/net/ipv4/icmp_echo_ignore_all"),),
    ),
    Case("/31", "10.62.20.61/31", why="echo ignored, or longer than /30"),
    Case("/32", "10.62.20.61/32", why="echo ignored, or longer than /30"),
    Case(
        "on-link default route", "10.62.20.61/24", why="takes every address",
        commands=(("ip", "route", "add", "default", "dev", "eth0"),),
    ),
    Case(
        "gateway remembered", "10.62.20.61/24", "10.62.20.1", commands=REMEMBERED, length=24,
        why="sends to 00-00-5E-00-53-FE",
    ),
    Case(
        "gateway remembered, not overheard", "10.62.20.61/24", "10.62.20.1", commands=REMEMBERED, length=24,
        why="a MAC that it remembers", overhears=False,
    ),
    Case(
        "second address with a shorter prefix", "10.62.20.61/24", length=16,
        commands=(("ip", "addr", "add", "10.62.99.9/16", "dev", "eth0"),),
    ),
)  # fmt: skip
CASES = (*LENGTHS, *ODD)


def inquire(link: Link, question: SettingsQuestion, rng: Random) -> SettingsFound:
    """Run an inquiry on a link to its end."""
    inquiry = Inquiry(question, rng)
    while inquiry.found is None:
        for frame in inquiry.turn(link.now()):
            link.send(frame)
        for news in link.receive(link.now() + 0.02):
            if isinstance(news, Heard):
                inquiry.hear(news)
    return inquiry.found


@dataclass(frozen=True)
class Ended:
    """The result, its seconds, and the device's neighbour table."""

    found: SettingsFound
    seconds: float
    neighbours: str


def run(case: Case, lab: Lab, _: Path) -> Ended:
    """Build both ends of the cable and run the inquiry."""
    station, device = lab.namespace("station"), lab.namespace("device")
    lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.reverse_path(device, case.reverse)
    lab.address(device, "eth0", case.typed)
    if case.gateway:
        assert lab.run(device, ["ip", "route", "add", "default", "via", case.gateway]).returncode == 0
    for words in case.commands:
        assert lab.run(device, words).returncode == 0
    with lab.inside(station):
        link = open_raw("eth0", overhears=case.overhears)
    with link:
        address = int(IPv4Interface(case.typed).ip)
        kept = {address, int(IPv4Address(case.gateway or 0))}
        question = SettingsQuestion(
            address=address, mac=DEVICE, station_mac=STATION, planned=case.planned,
            free=lambda one: one not in kept,
            probed=25, answered=25, overhears=case.overhears,
        )  # fmt: skip
        began = time.monotonic()
        found = inquire(link, question, Random(case.name))
        seconds = time.monotonic() - began
    return Ended(found, seconds, lab.run(device, ["ip", "neigh", "show", "nud", "reachable"]).stdout)


def as_job(case: Case) -> Any:
    """Return the parameters of a test of one case."""
    return pytest.param(Job(f"settings: {case.name}", partial(run, case), 40), case, id=case.name)


@pytest.mark.parametrize(("job", "case"), [as_job(case) for case in LENGTHS])
def test_mask_and_gateway(job: Job, case: Case, outcome: Ended) -> None:
    """Prefix lengths are found with and without a gateway and with every reverse-path setting.

    The device's neighbour table gets no entry.
    """
    print(f"{case.name:60} {outcome.seconds:5.1f} s  {outcome.found}")
    gateway = int(IPv4Address(case.gateway)) if case.gateway else None
    assert outcome.found == SettingsFound(case.length, gateway, none_set=not case.gateway)
    assert outcome.neighbours == ""


@pytest.mark.parametrize(("job", "case"), [as_job(case) for case in ODD])
def test_a_value_that_cannot_be_found(job: Job, case: Case, outcome: Ended) -> None:
    """A value with two possible meanings is not reported, and the reason is given."""
    found = outcome.found
    print(f"{case.name:60} {outcome.seconds:5.1f} s  {found}")
    assert found.length == case.length
    assert case.why in found.mask_why + found.gateway_why
    assert not (found.none_set and case.gateway)
