"""Tests of mask and gateway by behaviour, with a device model in virtual time that uses the standard library's
ipaddress.
"""

from __future__ import annotations

from collections.abc import Callable
from ipaddress import IPv4Address, IPv4Interface, IPv4Network
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.proof.settings.exchange import MOST, REUSE, Sources, level_of
from netcheck.proof.settings.inquiry import Inquiry
from netcheck.proof.settings.model import SettingsFound, SettingsQuestion, differs, to_evidence, to_words
from netcheck.wire.frames import arp_from_wire, echo_from_wire
from netcheck.wire.link import Heard
from tests.proof.typed_device import DEVICE, STATION, Bench, Device

LONGEST = 200.0  # virtual seconds


def ip(text: str) -> int:
    """Return an address as an integer."""
    return int(IPv4Address(text))


def ask(
    device: Device,
    planned: int = 24,
    *,
    seed: int = 1,
    overhears: bool = True,
    free: Callable[[int], bool] = lambda address: True,
    station: str = "",
    peers: tuple[str, ...] = (),
    others: tuple[str, ...] = (),
    before: int = 25,
) -> tuple[SettingsFound, Bench]:
    """Ask a device for its settings, and assert that every frame keeps the limits."""
    run = Bench(device, seed, overhears, map(ip, others))
    kept = {device.address, *map(ip, others), *([ip(station)] if station else [])}
    question = SettingsQuestion(
        address=device.address, mac=DEVICE, station_mac=STATION, planned=planned,
        free=lambda one: one not in kept and free(one),
        station=ip(station) if station else None, ours=frozenset([ip(station)] if station else []),
        peers=frozenset(map(ip, peers)),
        probed=before, answered=sum(run.random.random() >= device.loss for _ in range(before)), overhears=overhears,
    )  # fmt: skip
    inquiry = Inquiry(question, Random(seed))
    began = run.now
    while inquiry.found is None:
        for frame in inquiry.turn(run.now):
            run.send(frame)
        for heard in run.until(run.now + 0.02):
            inquiry.hear(heard)
        assert run.now < began + LONGEST
    assert_limits(run, question, began)
    return inquiry.found, run


def assert_limits(run: Bench, question: SettingsQuestion, began: float) -> None:
    """Assert the limits of every frame: a bounded number, a slow pace, an ARP probe first, free sources only, and no
    reuse within seconds.
    """
    probed: dict[int, float] = {}
    used: dict[int, float] = {}
    for at, frame in run.sent:
        if (arp := arp_from_wire(frame)) is not None:
            assert (arp.op, arp.sender_ip, arp.sender_mac) == (1, 0, STATION)
            probed[arp.target_ip] = at
            continue
        echo = echo_from_wire(frame)
        assert echo is not None
        assert (echo.target_ip, echo.destination) == (question.address, DEVICE)
        assert question.free(echo.source_ip)
        assert 0.3 <= at - probed[echo.source_ip] < 1
        assert at - used.get(echo.source_ip, 0.0) >= REUSE
        used[echo.source_ip] = at
    assert len(used) <= MOST
    assert len(run.sent) / max(1.0, run.now - began) <= 5
    assert not used.keys() & run.others


@pytest.mark.parametrize("gateway", [True, False], ids=["with gateway", "without"])
@pytest.mark.parametrize("length", range(8, 30))
def test_every_length_is_found(length: int, gateway: bool) -> None:
    """Every length from /8 to /29 is found, with and without gateway, whatever the plan says."""
    network = IPv4Network(f"10.62.20.61/{length}", strict=False)
    router = str(network.network_address + 1 + (network.network_address + 1 == IPv4Address("10.62.20.61")))
    for planned in (24, length):
        device = Device(f"10.62.20.61/{length}", router if gateway else "")
        found, run = ask(device, planned, free=lambda one: one != ip(router), seed=length)
        assert found == (SettingsFound(length, ip(router)) if gateway else SettingsFound(length, none_set=True))
        assert run.now < 110


@pytest.mark.parametrize("gateway", ["10.62.20.49", ""], ids=["with gateway", "without"])
@pytest.mark.parametrize("length", [28, 26, 24, 22, 16])
def test_a_device_that_answered_nothing_before(length: int, gateway: str) -> None:
    """If a device never answered this station because its mask is too long, sources near to it find the mask."""
    device = Device(f"10.62.20.61/{length}", gateway)
    found, _ = ask(device, before=0, free=lambda one: one != ip("10.62.20.49"))
    assert found == (SettingsFound(length, ip(gateway)) if gateway else SettingsFound(length, none_set=True))


@pytest.mark.parametrize("planned", [24, 30])
def test_a_slash_30_is_found_from_its_only_free_source(planned: int) -> None:
    """In a /30 the only other host is the only near source: a free one shows the mask, the gateway does not."""
    assert ask(Device("10.62.20.61/30"), planned)[0] == SettingsFound(30, none_set=True)
    found, _ = ask(Device("10.62.20.61/30", "10.62.20.62"), planned, free=lambda one: one != ip("10.62.20.62"))
    assert (found.length, found.gateway) == (None, ip("10.62.20.62"))


@given(
    address=st.integers(0x0A000000, 0x0AFFFFFF),
    length=st.integers(8, 30),
    planned=st.integers(8, 30),
    gateway=st.booleans(),
    seed=st.integers(0, 1000),
)
@settings(max_examples=150, deadline=None)
def test_no_false_length_or_gateway_for_any_device(
    address: int, length: int, planned: int, gateway: bool, seed: int
) -> None:
    """For any device in 10.0.0.0/8, the length and the gateway that are found are the true ones."""
    network = IPv4Interface((address, length)).network
    hosts = [network.network_address + 1, network.network_address + 2, network.broadcast_address - 1]
    mine, router = (hosts[0], hosts[1]) if address % 2 else (hosts[-1], hosts[0])
    device = Device(f"{mine}/{length}", str(router) if gateway and mine != router else "")
    found, _ = ask(device, planned, seed=seed)
    assert found.length == length
    assert found.gateway == (int(router) if device.gateway else None)


PLAIN = "192.0.2.20/24"


@pytest.mark.parametrize(
    ("device", "planned", "found"),
    [
        pytest.param(Device(PLAIN, "192.0.2.1", echo=False), 24, "it asks for no free address", id="echo ignored"),
        pytest.param(Device("192.0.2.20/31", "192.0.2.21"), 24, "it asks for no free address", id="/31"),
        pytest.param(Device("192.0.2.20/32"), 24, "it asks for no free address", id="/32"),
        pytest.param(Device(PLAIN), 31, "a /31 cannot be told", id="/31 planned"),
        pytest.param(Device(PLAIN, reflex=True), 24, "it answers without asking for the source", id="reflex"),
        pytest.param(Device(PLAIN, deaf_after=2), 24, "it fell silent while it was asked", id="dies after two"),
        pytest.param(Device(PLAIN, deaf_after=0), 24, "it asks for no free address", id="dies at once"),
        pytest.param(
            Device("10.62.20.20/24", "10.62.20.1", more=("10.62.20.21/1",)), 24, "it takes every address", id="on-link"
        ),
        pytest.param(
            Device(PLAIN, allows=lambda source: source == 0xC00002F0), 24, "it asks for no free", id="one may ask"
        ),
        pytest.param(Device(PLAIN, loss=1.0), 24, "or too many are lost", id="all lost"),
    ],
)
def test_an_ambiguous_device_gives_no_result(device: Device, planned: int, found: str) -> None:
    """Ambiguous behaviour gives neither a length nor "none set", and the reason is given."""
    typed, _ = ask(device, planned)
    assert typed.length is None
    assert found in typed.mask_why
    assert not typed.none_set


@pytest.mark.parametrize(
    ("device", "overhears", "peers", "why"),
    [
        pytest.param(
            Device(PLAIN, "192.0.2.1", cached=True), True, (),
            "sends to 00-00-5E-00-53-FE, which it remembers", id="cached",
        ),
        pytest.param(
            Device(PLAIN, "192.0.2.1", cached=True), False, (),
            "or sends to a MAC that it remembers", id="not overheard",
        ),
        pytest.param(Device(PLAIN), False, (), "or sends to a MAC that it remembers", id="none, not overheard"),
        pytest.param(
            Device(PLAIN, "192.0.2.1", chats=("192.0.2.1",)), True, (), "asks for 192.0.2.1 all the time", id="chatter"
        ),
        pytest.param(
            Device(PLAIN, chats=("192.0.2.9", "192.0.2.1")), True, ("192.0.2.9",),
            "for 192.0.2.1 all", id="one is a peer",
        ),
    ],
)  # fmt: skip
def test_the_mask_is_found_and_the_gateway_is_not(
    device: Device, overhears: bool, peers: tuple[str, ...], why: str
) -> None:
    """A gateway that the device has cached or asks for anyway is not found; the mask still is."""
    typed, _ = ask(device, overhears=overhears, peers=peers)
    assert (typed.length, typed.gateway, typed.none_set) == (24, None, False)
    assert why in typed.gateway_why


@pytest.mark.parametrize("seed", range(8))
def test_several_routers(seed: int) -> None:
    """Of two routers that serve different routes, one confirmed router is named, or neither."""
    routes = {"192.0.3.0/25": "192.0.2.2", "192.0.3.128/25": "192.0.2.3"}
    typed, _ = ask(Device(PLAIN, "192.0.2.1", routes=routes), seed=seed)
    assert typed.length == 24
    assert typed.gateway in (ip("192.0.2.2"), ip("192.0.2.3")) or "192.0.2.2 and 192.0.2.3" in typed.gateway_why


def test_a_device_that_asks_for_its_peers_has_no_gateway() -> None:
    """Planned peers that a controller polls are not taken for its gateway."""
    device = Device(PLAIN, chats=("192.0.2.70", "192.0.2.71"))
    typed, run = ask(device, peers=("192.0.2.70", "192.0.2.71"))
    assert typed == SettingsFound(24, none_set=True)
    assert not {ip("192.0.2.70"), ip("192.0.2.71")} & set(sources_of(run))


def sources_of(run: Bench) -> list[int]:
    """Return the sources of the echo requests sent, in order."""
    return [echo.source_ip for _, frame in run.sent if (echo := echo_from_wire(frame)) is not None]


@pytest.mark.parametrize("seed", range(30))
def test_loss_and_delay_give_no_false_result(seed: int) -> None:
    """With 10 % loss and replies after 0.3 s, every value that is found is true."""
    device = Device("172.16.5.20/22", "172.16.4.1" if seed % 2 else "", loss=0.1, delay=0.15)
    typed, _ = ask(device, 24, seed=seed)
    assert typed.length in (22, None)
    assert typed.gateway in (ip("172.16.4.1") if seed % 2 else None, None)
    assert not (typed.none_set and seed % 2)


def test_an_owned_source_is_not_used() -> None:
    """A source that another host owns by ARP is not used."""
    others = tuple(str(IPv4Address(ip("192.0.2.128") + last)) for last in range(1, 127, 2))
    typed, _ = ask(Device(PLAIN, "192.0.2.1"), others=others)
    assert typed == SettingsFound(24, ip("192.0.2.1"))


def test_a_second_address_is_no_source() -> None:
    """For a second address with a shorter prefix, that prefix is found; this is a known limit of the method."""
    typed, run = ask(Device("10.62.20.20/24", more=("10.62.21.20/16",)))
    assert typed.length == 16
    assert ip("10.62.21.20") not in sources_of(run)


@pytest.mark.parametrize(
    ("device", "free", "typed"),
    [
        pytest.param("192.0.2.21/30", lambda one: True, SettingsFound(30, ip("192.0.2.1")), id="/30"),
        pytest.param("192.0.2.20/24", lambda one: one >> 8 != 0xC00002, None, id="nothing free in the subnet"),
    ],
)
def test_a_station_that_is_answered_is_on_link(
    device: str, free: Callable[[int], bool], typed: SettingsFound | None
) -> None:
    """If no free source is as near as the station, a reply to the station bounds the mask, provided that the rest is
    certain.
    """
    found, _ = ask(Device(device, "192.0.2.1"), 24, station="192.0.2.22", free=free)
    assert found == typed if typed else found.length is None


@pytest.mark.parametrize(
    ("address", "private"),
    [pytest.param("10.62.20.61", "10.0.0.0/8", id="10"), pytest.param("192.168.7.5", "192.168.0.0/16", id="192.168")],
)
def test_sources_stay_in_private_space_where_the_mask_allows(address: str, private: str) -> None:
    """A device with the planned mask is asked only from private sources (RFC 1918 section 3)."""
    _, run = ask(Device(f"{address}/24", address.rsplit(".", 1)[0] + ".1"))
    assert all(IPv4Address(source) in IPv4Network(private) for source in sources_of(run))


@given(st.integers(0x01000000, 0xDFFFFFFF), st.integers(0, 30), st.integers(0, 99))
def test_sources_share_exactly_the_bits_asked_for(address: int, level: int, seed: int) -> None:
    """A source shares exactly the requested number of bits with the address, and is a host address."""
    source = Sources(address, lambda one: True, Random(seed)).fresh(level)
    if source is None:
        loopback = address >> 24 == 127  # loopback and its neighbours belong to no device
        assert loopback or level == 30 or level <= 7  # /30: no free host address; short: multicast
        return
    assert level_of(source, address) == level
    assert IPv4Address(source) in IPv4Interface((address, level)).network
    assert IPv4Address(source) not in IPv4Interface((address, level + 1)).network
    narrow = IPv4Interface((source, 30)).network
    assert IPv4Address(source) not in (narrow.network_address, narrow.broadcast_address)
    assert not IPv4Address(source).is_multicast
    assert not IPv4Address(source).is_loopback


@given(st.lists(st.binary(max_size=90), max_size=30), st.integers(0, 2))
def test_random_frames_are_ignored(noise: list[bytes], adapter: int) -> None:
    """Random frames on any interface raise nothing and are not taken as replies."""
    inquiry = Inquiry(
        SettingsQuestion(address=ip("192.0.2.20"), mac=DEVICE, station_mac=STATION, planned=24, free=lambda one: True),
        Random(1),
    )
    inquiry.turn(1.0)
    assert not any(inquiry.hear(Heard(1.0, adapter, frame)) for frame in noise)


@pytest.mark.parametrize(
    ("found", "gateway", "mask_words", "gateway_words", "wrong"),
    [
        pytest.param(
            SettingsFound(24, ip("192.0.2.1")), "192.0.2.1",
            "mask as planned", "gateway is 192.0.2.1, as planned", False, id="right",
        ),
        pytest.param(
            SettingsFound(16, ip("192.0.2.9")), "192.0.2.1",
            "mask is /16, planned /24", "gateway is 192.0.2.9, planned 192.0.2.1", True, id="both wrong",
        ),
        pytest.param(
            SettingsFound(24, none_set=True), "192.0.2.1",
            "mask as planned", "no gateway set, planned 192.0.2.1", True, id="none set",
        ),
        pytest.param(
            SettingsFound(24, none_set=True), "", "mask as planned", "no gateway set", False, id="none, none planned"
        ),
        pytest.param(
            SettingsFound(24, ip("192.0.2.9")), "",
            "mask as planned", "gateway is 192.0.2.9, none planned", True, id="none planned",
        ),
        pytest.param(
            SettingsFound(mask_why="x", gateway_why="y"), "192.0.2.1",
            "cannot tell: x", "cannot tell: y", False, id="cannot tell",
        ),
    ],
)  # fmt: skip
def test_the_evidence_is_worded(
    found: SettingsFound, gateway: str, mask_words: str, gateway_words: str, wrong: bool
) -> None:
    """The evidence is worded as expected for a planned /24."""
    planned = ip(gateway) if gateway else None
    assert to_evidence(found, 24, planned) == (("mask", mask_words), ("gateway", gateway_words))
    assert differs(found, 24, planned) is wrong
    assert mask_words in to_words(found, 24, planned)
