"""Tests of a sweep as a survey: rounds, owners and proxy ARP, the covered prefixes, and the file that a plan reads."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from netaddr import IPNetwork, IPSet

from netcheck.addr import Prefix, mac_text, quad
from netcheck.errors import LinkError, UsageError
from netcheck.field.discovery import prefixes_of
from netcheck.field.sweep import Sweeping, claim, prefix_to_sweep, sender_for
from netcheck.plan.read import read_plan
from netcheck.report.text.hosts import to_csv, to_entry, to_json, to_table, to_text
from netcheck.survey.read import read_surveys
from netcheck.wire.frames import arp_from_wire
from netcheck.wire.link import Adapter, Carrier, Heard, Lost
from tests.field.test_field_sweep import DEVICE, ROUTER, STATION, STATION_IP, Wire, says

DAY = date(2026, 11, 20)
NET = Prefix.from_text("192.0.2.0/26")
BASE = 0xC0000200


class Segment(Wire):
    """Devices that answer every request, and a router that answers only those with a sender (proxy ARP, RFC 1027)."""

    def __init__(self, owners: dict[int, list[int]], relayed: range = range(0), loses: int = 0) -> None:
        super().__init__({})
        self.adapters = (Adapter("eth0", STATION, ((STATION_IP, 26),)),)
        self._owners, self._relayed, self._loses = owners, relayed, loses

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        at = super().send(frame, adapter)
        assert at is not None
        arp = arp_from_wire(frame)
        assert arp is not None
        answers = [(0.01, says(mac, arp.target_ip)) for mac in self._owners.get(arp.target_ip, ())]
        if arp.sender_ip and arp.target_ip in self._relayed:
            answers.append((0.02, says(ROUTER, arp.target_ip)))
        if answers and self._loses:
            self._loses -= 1
            return at
        self._coming += [Heard(at + delay, 0, answer) for delay, answer in answers]
        return at


def swept(wire: Segment, sender: int = STATION_IP, rounds: int = 2, planned: frozenset[int] = frozenset()) -> Sweeping:
    """Return a completed sweep of the /26."""
    work = Sweeping(wire, NET, sender, 500.0, rounds, planned)
    work.run(lambda words, done, of: None)
    return work


def test_owners_are_listed_and_all_of_it_is_covered() -> None:
    """Two owners are listed, an address whose reply was lost is asked again, and the whole prefix is covered."""
    work = swept(Segment({BASE + 20: [DEVICE], BASE + 30: [DEVICE + 1, DEVICE + 2]}, loses=1))
    found = work.findings(DAY, 3.0)
    assert [(quad(host.address), host.mac) for host in found.hosts] == [
        ("192.0.2.20", DEVICE), ("192.0.2.30", DEVICE + 1), ("192.0.2.30", DEVICE + 2),
    ]  # fmt: skip
    assert found.twice == {BASE + 30: (DEVICE + 1, DEVICE + 2)}
    assert found.covers == (NET,)
    assert found.has_faults
    assert found.relays == ()


def test_proxy_arp_is_not_listed_as_an_owner() -> None:
    """A router answers for other addresses only if the request has a sender (RFC 1027).

    These addresses are not hosts.
    """
    work = swept(Segment({BASE + 2: [ROUTER], BASE + 20: [DEVICE]}, relayed=range(BASE + 33, BASE + 63)))
    found = work.findings(DAY, 3.0)
    assert [(quad(host.address), host.mac) for host in found.hosts] == [("192.0.2.2", ROUTER), ("192.0.2.20", DEVICE)]
    (relay,) = found.relays
    assert relay.mac == ROUTER
    assert set(relay.addresses) == set(range(BASE + 33, BASE + 63))
    covered = IPSet(map(str, found.covers))
    assert IPSet([IPNetwork("192.0.2.20/32")]).issubset(covered)
    assert not covered & IPSet([f"192.0.2.{n}" for n in range(33, 63)])


def test_a_device_with_several_addresses_is_no_proxy() -> None:
    """A device that also answers requests without a sender owns all its addresses (RFC 5227 section 2.1.1)."""
    work = swept(Segment({BASE + n: [DEVICE] for n in (20, 21, 22)}))
    found = work.findings(DAY, 3.0)
    assert found.relays == ()
    assert len(found.hosts) == 3


def test_our_own_address_is_not_asked_and_a_note_says_so() -> None:
    """A request for the own address would look like a conflict (RFC 5227)."""
    wire = Segment({})
    found = swept(wire).findings(DAY, 3.0)
    assert STATION_IP not in {arp.target_ip for _, frame in wire.sent if (arp := arp_from_wire(frame))}
    assert any("192.0.2.1 is this computer's own" in note for note in found.notes)


def test_planned_addresses_are_not_asked_without_a_sender() -> None:
    """A device that checks its own address must treat such a request as a conflict (RFC 5227 section 2.1.1)."""
    wire = Segment({})
    wire.adapters = (Adapter("eth0", STATION),)
    found = swept(wire, sender=0, planned=frozenset({BASE + 20})).findings(DAY, 3.0)
    assert BASE + 20 not in {arp.target_ip for _, frame in wire.sent if (arp := arp_from_wire(frame))}
    assert not any(prefix.first.value <= BASE + 20 <= prefix.last.value for prefix in found.covers)


def test_a_cable_that_comes_out_covers_only_what_was_asked() -> None:
    """The list is marked as incomplete, and the survey covers only the addresses that were asked."""
    wire = Segment({BASE + 2: [DEVICE]})
    wire._coming.append(Carrier(100.05, 0, False))
    work = Sweeping(wire, NET, STATION_IP, 100.0)
    work.run(lambda words, done, of: None)
    found = work.findings(DAY, 0.1)
    assert not found.complete
    assert found.has_faults
    assert sum(prefix.size for prefix in found.covers) < 16
    assert "the cable came out" in to_text(found, lambda mac: None, lambda host: "")


@pytest.mark.parametrize("asked", [5, 11, 40, 62])
def test_an_interrupted_sweep_covers_no_address_that_may_still_answer(asked: int) -> None:
    """Addresses that were asked in the last second may still answer, so they are not covered."""
    work = Sweeping(Segment({}), NET, STATION_IP, 10.0)

    def stop(words: str, done: int, of: int) -> None:
        if done == asked:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        work.run(stop)
    found = work.findings(DAY, 1.0, "interrupted")
    held = IPSet(str(prefix) for prefix in found.covers)
    assert len(held & IPSet(str(quad(one)) for one in work.all)) == max(0, asked - 11)
    assert not found.complete


@pytest.mark.parametrize("width", [80, 140])
def test_the_table_fits_the_terminal(width: int) -> None:
    """Addresses and MACs are not broken; the other columns wrap."""
    found = swept(Segment({BASE + 20: [DEVICE], BASE + 30: [DEVICE + 1]})).findings(DAY, 3.0)
    words = "planned for a device with a long name; the plan gives its address to another"
    table = to_table(found, lambda mac: "a vendor with a name of many words", lambda host: words, width)
    assert max(map(len, table.splitlines())) <= width
    assert mac_text(DEVICE) in table
    assert "192.0.2.20" in table


def test_what_this_computer_cannot_hear_is_not_covered() -> None:
    """This computer's address on another interface is not asked and not covered, and the note names the interface."""
    wire = Segment({})
    work = Sweeping(wire, NET, STATION_IP, 500.0, elsewhere={BASE + 9: "wlan0", 0x0A000001: "wlan0"})
    work.run(lambda words, done, of: None)
    found = work.findings(DAY, 3.0)
    assert BASE + 9 not in {arp.target_ip for _, frame in wire.sent if (arp := arp_from_wire(frame))}
    covered = IPSet(map(str, found.covers))
    assert IPSet([str(NET)]) - covered == IPSet(["192.0.2.9/32"])
    assert [note for note in found.notes if "wlan0" in note] == [
        "192.0.2.9 is this computer's own on wlan0: whether another host has it cannot be heard"
    ]


def test_nothing_is_covered_if_frames_were_dropped() -> None:
    """Nothing is covered, because the dropped frames may have contained a reply."""
    wire = Segment({BASE + 20: [DEVICE]})
    wire._coming.append(Lost(100.05, 0, 3))
    found = swept(wire).findings(DAY, 3.0)
    assert [quad(host.address) for host in found.hosts] == ["192.0.2.20"]
    assert (found.covers, found.complete, found.has_faults) == ((), False, True)
    assert any("dropped 3 frames" in note for note in found.notes)


@given(st.sets(st.integers(0, 255), max_size=60))
def test_prefixes_hold_exactly_what_was_asked(gaps: set[int]) -> None:
    """The prefixes contain exactly the addresses asked, by netaddr's sets."""
    spans, low = [], 0
    for gap in [*sorted(gaps), 256]:
        spans += [(BASE + low, BASE + gap - 1)] if low < gap else []
        low = gap + 1
    prefixes = prefixes_of(spans, most=200)
    assert IPSet(map(str, prefixes)) == IPSet(["192.0.2.0/24"]) - IPSet([f"192.0.2.{gap}" for gap in gaps])


@pytest.mark.parametrize(
    ("text", "really", "told"),
    [
        ("10.0.0.0/19", False, "Add --really to sweep more than a /20"),
        ("10.0.0.0/7", True, "nothing larger than a /8 is swept"),
        ("2001:db8::/64", True, "IPv6"),
        ("10.0.0.1/24", True, "host bits set"),
        ("nonsense", False, "nonsense"),
    ],
)
def test_prefixes_that_are_not_swept(text: str, really: bool, told: str) -> None:
    """Each message says what was expected instead."""
    with pytest.raises(UsageError, match=told):
        prefix_to_sweep(text, really)


def test_which_prefixes_are_swept() -> None:
    """A /20 is swept; a larger prefix only with --really."""
    assert prefix_to_sweep("10.0.0.0/20", False).length == 20
    assert prefix_to_sweep("10.0.0.0/16", True).length == 16


def test_the_sender_is_ours_inside_or_around() -> None:
    """An address inside the prefix comes before one of a subnet around it. Other addresses are not used."""
    prefix = Prefix.from_text("192.0.2.64/26")
    assert sender_for(Adapter("eth0", STATION, ((BASE + 1, 24), (BASE + 70, 26))), prefix) == BASE + 70
    assert sender_for(Adapter("eth0", STATION, ((BASE + 1, 24),)), prefix) == BASE + 1
    assert sender_for(Adapter("eth0", STATION, ((0x0A000001, 24),)), prefix) == 0


def test_an_address_is_borrowed_only_where_nobody_has_it() -> None:
    """Three probes without a sender are sent (RFC 5227 section 2.1.1).

    If a host has the address, the error names it.
    """
    wire = Segment({})
    claim(wire, BASE + 9)
    assert [(arp.sender_ip, arp.target_ip) for _, frame in wire.sent if (arp := arp_from_wire(frame))] == [
        (0, BASE + 9)
    ] * 3
    with pytest.raises(LinkError, match="belongs to 00-00-5E-00-53-14"):
        claim(Segment({BASE + 9: [DEVICE]}), BASE + 9)


def test_the_file_is_a_survey(tmp_path: Path) -> None:
    """The printed entry in a plan reads the hosts and the covered prefixes back."""
    found = swept(Segment({BASE + 20: [DEVICE], BASE + 30: [DEVICE + 1]})).findings(DAY, 3.0)
    file = tmp_path / "site-hosts.csv"
    file.write_text(to_csv(found), "utf-8")
    rows = list(csv.DictReader(io.StringIO(to_csv(found))))
    assert [(row["address"], row["mac"], row["seen"]) for row in rows] == [
        ("192.0.2.20", mac_text(DEVICE), "2026-11-20"), ("192.0.2.30", mac_text(DEVICE + 1), "2026-11-20"),
    ]  # fmt: skip
    assert to_entry(found, "site-hosts.csv").splitlines() == [
        "[[survey]]", 'file = "site-hosts.csv"', "taken = 2026-11-20", 'covers = ["192.0.2.0/26"]',
    ]  # fmt: skip
    head = 'format = 1\n[site]\nname = "x"\n[[subnet]]\nname = "lan"\nprefix = "192.0.2.0/24"\n'
    (tmp_path / "plan.toml").write_text(head + to_entry(found, "site-hosts.csv"), "utf-8")
    (survey,) = read_surveys(read_plan(tmp_path))
    assert (survey.taken, survey.covers, len(survey.hosts)) == (DAY, (NET,), 2)
    shape = to_json(found, "site-hosts.csv", lambda mac: None)
    assert shape["survey"]["covers"] == ["192.0.2.0/26"]
    assert [host["address"] for host in shape["hosts"]] == ["192.0.2.20", "192.0.2.30"]
