"""Tests of the requests to IT: every kind, requests that wait, and zone lines read by an independent reader."""

from __future__ import annotations

import csv
import io
import ipaddress
import json
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import dns.name
import dns.rdatatype
import dns.zonefile
import pytest

from netcheck.caution import CAUTION
from netcheck.plan.read import read_plan
from netcheck.report.build import report_of
from netcheck.report.csv_tables import REQUEST_COLUMNS, requests_to_csv
from netcheck.report.model import Report
from netcheck.report.text_report import to_markdown, to_text
from netcheck.requests.build import WITHDRAWN, asked_of, changed_since, switch_and_port
from netcheck.requests.model import Asked, RequestKind
from netcheck.rules.engine import Checked, check, propose_addresses
from netcheck.survey.read import read_surveys
from netcheck.tables.delimited import unguarded
from tests.plans import device

TODAY = date(2026, 11, 20)
HEAD = """format = 1
[site]
name = "Tarn Hollow creamery"
domain = "creamery.example"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
gateway = "10.62.20.1"
vlan = 620
pools = ["10.62.20.100-10.62.20.109"]
[[subnet]]
name = "packing"
prefix = "10.62.30.0/24"
gateway = "10.62.30.1"
[[subnet]]
name = "six"
prefix = "2001:db8:20::/64"
[[router]]
name = "site-router"
interfaces = ["10.62.20.1/24", "10.62.30.1/24"]
"""
DEVICES = (
    device(
        *("filler-plc", "cpu"),
        subnet="process",
        address="10.62.20.103",
        address6="2001:db8:20::67",
        mac="00-00-5E-00-53-21",
        host_name="filler-plc",
        switch_port="sw-1/3",
        granted="site IT",
    )
    + device("line-panel", "lan", subnet="packing", address="10.62.30.7", host_name="panel.hall-2.example")
    + device("capper-drive", "lan", subnet="packing", address="10.62.31.7", host_name="capper")
    + device("packer-drive", "lan", subnet="packing", address="10.62.30.8")
    + """[[conversation]]
from = "line-panel/lan"
to = "filler-plc/cpu"
why = "operator screens"
[[conversation]]
from = "line-panel/lan"
to = "packer-drive/lan"
"""
)


@pytest.fixture
def checked(tmp_path: Path) -> Callable[[str], Checked]:
    """Return the check of a plan given as text."""

    def run(text: str) -> Checked:
        (tmp_path / "plan.toml").write_text(text, "utf-8")
        plan = read_plan(tmp_path)
        return check(plan, read_surveys(plan), TODAY)

    return run


@pytest.fixture
def asked(checked: Callable[[str], Checked]) -> Asked:
    """Return the requests of the plan."""
    return asked_of(checked(HEAD + DEVICES))


def test_a_reservation_has_every_value_for_it(asked: Asked) -> None:
    """A reservation has the address (IPv4 and IPv6 separately), MAC, name, VLAN and switch port, or waits."""
    first, six, panel, capper, _ = asked.of(RequestKind.RESERVATION)
    assert (first.subject, first.address, first.mac) == ("filler-plc/cpu", "10.62.20.103", "00-00-5E-00-53-21")
    assert (first.host_name, first.subnet, first.vlan, first.switch_port) == ("filler-plc", "process", "620", "sw-1/3")
    assert first.note == "granted by site IT"
    assert (six.subject, six.address, six.subnet) == ("filler-plc/cpu", "2001:db8:20::67", "six")
    assert (panel.address, panel.note) == ("10.62.30.7", "")
    assert capper.note.startswith("wait until resolved: outside-subnet")
    assert capper.address.startswith("10.62.30.")
    assert "proposed instead of 10.62.31.7, which the plan still has" in capper.note


def test_requests_have_the_addresses_that_suggest_writes(tmp_path: Path) -> None:
    """No request has an address that `suggest --write` would change."""
    devices = DEVICES.replace('address = "10.62.30.7"\n', "").replace('address = "10.62.30.8"', 'address = "8.8.8.8"')
    (tmp_path / "plan.toml").write_text(HEAD + devices, "utf-8")
    plan = read_plan(tmp_path)
    surveys = read_surveys(plan)
    asked = asked_of(check(plan, surveys, TODAY)).of(RequestKind.RESERVATION)
    requested = {(one.subject, one.address) for one in asked if one.address}
    proposals = propose_addresses(plan, surveys, TODAY).proposals
    proposed = {(one.subject, str(one.address)) for one in proposals if one.address}
    assert len(proposed) == 3
    assert proposed <= requested
    notes = {one.address: one.note for one in asked if one.note.startswith("wait until resolved: unplaced")}
    assert [note.split("; ")[1] for note in notes.values()] == ["proposed, because the plan has no address yet"]
    left = {subject for subject, _ in proposed}
    assert not {pair for pair in requested if pair[0] in left} - proposed


def test_a_pool_is_requested_without_the_planned_address(asked: Asked) -> None:
    """A pool is requested without the planned address in it; that address is granted, so it need not change."""
    (pool,) = asked.of(RequestKind.POOL)
    assert pool.what == "10.62.20.100-10.62.20.109 becomes 10.62.20.100-10.62.20.102 and 10.62.20.104-10.62.20.109"
    assert (pool.subject, pool.address, pool.note) == ("filler-plc/cpu", "10.62.20.103", "")


@pytest.mark.parametrize(
    ("low", "high", "becomes"),
    [
        ("10.62.20.103", "10.62.20.110", "10.62.20.104-10.62.20.110"),
        ("10.62.20.100", "10.62.20.103", "10.62.20.100-10.62.20.102"),
        ("10.62.20.103", "10.62.20.103", "nothing"),
        ("10.62.20.102", "10.62.20.104", "10.62.20.102 and 10.62.20.104"),
    ],
)
def test_the_rest_of_a_pool(low: str, high: str, becomes: str, checked: Callable[[str], Checked]) -> None:
    """The rest of a pool equals that of the standard library.

    The address is at either end, in the middle, or the pool has no other address.
    """
    text = (HEAD + DEVICES).replace("10.62.20.100-10.62.20.109", f"{low}-{high}")
    (pool,) = asked_of(checked(text)).of(RequestKind.POOL)
    assert pool.what.split(" becomes ")[1] == becomes
    whole = int(ipaddress.ip_address(high)) - int(ipaddress.ip_address(low)) + 1
    parts = [part.split("-") for part in becomes.split(" and ")] if becomes != "nothing" else []
    assert whole - 1 == sum(int(ipaddress.ip_address(p[-1])) - int(ipaddress.ip_address(p[0])) + 1 for p in parts)


def test_only_routed_conversations_are_requested(asked: Asked) -> None:
    """Only conversations between subnets are requested, with both addresses."""
    (one,) = asked.of(RequestKind.CONVERSATION)
    assert (one.subject, one.address) == ("line-panel/lan", "10.62.30.7")
    assert one.what == "filler-plc/cpu 10.62.20.103 (process), both ways"
    assert one.note == "operator screens"


BOTH = """
[[subnet]]
name = "six-packing"
prefix = "2001:db8:30::/64"
[[subnet]]
name = "cell"
prefix = "192.168.0.0/24"
island = "cell-1"
[[router]]
name = "cell-router"
interfaces = ["10.62.20.2/24", "192.168.0.1/24"]
[[translation]]
outside = "10.62.20.99"
inside = "192.168.0.10"
island = "cell-1"
at = "cell-router"
[[device]]
name = "dual-panel"
[[device.interface]]
name = "lan"
subnet = "packing"
address = "10.62.30.9"
address6 = "2001:db8:30::9"
subnet6 = "six-packing"
[[device]]
name = "six-sensor"
[[device.interface]]
name = "lan"
subnet = "six-packing"
address = "2001:db8:30::99"
[[device]]
name = "cell-plc"
[[device.interface]]
name = "cpu"
subnet = "cell"
address = "192.168.0.10"
[[conversation]]
from = "dual-panel/lan"
to = "filler-plc/cpu"
[[conversation]]
from = "six-sensor/lan"
to = "filler-plc/cpu"
[[conversation]]
from = "dual-panel/lan"
to = "cell-plc/cpu"
[[conversation]]
from = "cell-plc/cpu"
to = "dual-panel/lan"
"""


def test_conversations_have_the_addresses_that_a_firewall_sees(checked: Callable[[str], Checked]) -> None:
    """A conversation has the addresses of each family of both ends.

    Behind a translating router it has the outside address (RFC 3022 section 2.1).
    """
    _, four, six, sensor, into, out = asked_of(checked(HEAD + DEVICES + BOTH)).of(RequestKind.CONVERSATION)
    assert (four.address, four.what) == ("10.62.30.9", "filler-plc/cpu 10.62.20.103 (process), both ways")
    assert (six.address, six.what) == ("2001:db8:30::9", "filler-plc/cpu 2001:db8:20::67 (six), both ways")
    assert (sensor.address, sensor.what) == ("2001:db8:30::99", "filler-plc/cpu 2001:db8:20::67 (six), both ways")
    assert into.what == "cell-plc/cpu 10.62.20.99 (cell, 192.168.0.10 inside), both ways"
    assert (out.address, out.subnet, out.island) == ("10.62.20.99", "cell", "cell-1")
    assert "192.168.0.10 inside cell-1" in out.note


def test_requests_wait_only_for_findings_about_their_values(checked: Callable[[str], Checked]) -> None:
    """For a wrong mask neither the reservation nor the DNS record waits; for overlapping subnets both wait."""
    wrong = (HEAD + DEVICES).replace('address = "10.62.30.7"\n', 'address = "10.62.30.7"\nmask = "255.255.0.0"\n')
    found = checked(wrong)
    assert {one.rule for one in found.findings if "line-panel/lan" in one.subjects} >= {"mask-differs"}
    asked = asked_of(found)
    assert [one.note for one in asked.of(RequestKind.RESERVATION) if one.subject == "line-panel/lan"] == [""]
    assert "panel.hall-2.example. 3600 IN A 10.62.30.7\n" in asked.zones[0].text
    overlapping = asked_of(checked(HEAD.replace("10.62.30.0/24", "10.62.30.0/23").replace(
        "[[router]]", '[[subnet]]\nname = "other"\nprefix = "10.62.31.0/24"\n[[router]]') + DEVICES))  # fmt: skip
    (note,) = (one.note for one in overlapping.of(RequestKind.RESERVATION) if one.subject == "line-panel/lan")
    assert note == "wait until resolved: subnets-overlap of subnet packing"
    assert all("10.62.30.7" not in zone.text for zone in overlapping.zones)


@pytest.mark.parametrize("name", ["a_b", "a..b", ".a", "-a", "a-", "x" * 64, "a b", "a.b.c" + ".d" * 130])
def test_an_accepted_bad_name_gives_no_zone_line(name: str, checked: Callable[[str], Checked]) -> None:
    """A name that DNS does not allow gives no zone line, even if the site has accepted it.

    The limits are in RFC 1123 section 2.1 and RFC 1035 section 2.3.4.
    """
    accepted = '[[accepted]]\nrule = "name-unusable"\nsubject = "filler-plc/cpu"\nby = "IT"\nbecause = "it is so"\n'
    text = (HEAD + DEVICES).replace('"filler-plc"\nswitch', f'"{name}"\nswitch') + accepted
    zones = asked_of(checked(text)).zones
    assert all("10.62.20.103" not in zone.text and "filler" not in zone.text for zone in zones)
    assert [zone.title for zone in zones] == ["Names and addresses", "Reverse zone 30.62.10.in-addr.arpa."]


def test_zone_lines_are_read_by_dnspython(asked: Asked) -> None:
    """Forward and reverse lines agree when dnspython reads them (RFC 1035 section 5.1, RFC 3596).

    Reverse owners equal the standard library's `reverse_pointer`, and a conflicting name has no line.
    """
    found: dict[tuple[str, str], set[str]] = {}
    for zone in asked.zones:
        for rrset in dns.zonefile.read_rrsets(zone.text, rdclass=None, origin=".", relativize=False):
            kind = dns.rdatatype.to_text(rrset.rdtype)
            found.setdefault((kind, rrset.name.to_text()), set()).update(rdata.to_text() for rdata in rrset)
            assert rrset.ttl == 3600  # no directive of a zone file: each line is complete
    assert found == {
        ("A", "filler-plc.creamery.example."): {"10.62.20.103"},
        ("AAAA", "filler-plc.creamery.example."): {"2001:db8:20::67"},
        ("A", "panel.hall-2.example."): {"10.62.30.7"},
        ("PTR", _pointer("10.62.20.103")): {"filler-plc.creamery.example."},
        ("PTR", _pointer("2001:db8:20::67")): {"filler-plc.creamery.example."},
        ("PTR", _pointer("10.62.30.7")): {"panel.hall-2.example."},
    }
    assert [zone.title for zone in asked.zones] == [
        "Names and addresses",
        "Reverse zone 20.62.10.in-addr.arpa.",
        "Reverse zone 0.0.0.0.0.2.0.0.8.b.d.0.1.0.0.2.ip6.arpa.",
        "Reverse zone 30.62.10.in-addr.arpa.",
    ]


def _pointer(address: str) -> str:
    return ipaddress.ip_address(address).reverse_pointer + "."


def test_without_a_domain_reverse_lines_have_a_reserved_domain(checked: Callable[[str], Checked]) -> None:
    """Without a domain, forward lines have bare names, and reverse lines have a reserved domain (RFC 2606)."""
    asked = asked_of(checked((HEAD + DEVICES).replace('domain = "creamery.example"\n', "")))
    texts = {zone.title: zone.text for zone in asked.zones}
    forward = dns.zonefile.read_rrsets(
        texts["Names and addresses"], rdclass=None, origin="plant.example.", relativize=False
    )
    assert dns.name.from_text("filler-plc.plant.example.") in {rrset.name for rrset in forward}
    reverse = dns.zonefile.read_rrsets(
        texts["Reverse zone 20.62.10.in-addr.arpa."], rdclass=None, origin=".", relativize=False
    )
    assert [rdata.to_text() for rrset in reverse for rdata in rrset] == ["filler-plc.domain-not-in-plan.invalid."]


@pytest.mark.parametrize("domain", ["a b", "-x.example", "x..example", "ex\\nample", "\\u202eexample", "a" * 64])
def test_an_invalid_domain_is_refused(domain: str, checked: Callable[[str], Checked]) -> None:
    """An invalid domain reaches no zone line (RFC 1035 section 2.3.4, RFC 1123 section 2.1)."""
    with pytest.raises(Exception, match='key "domain": expected a DNS domain'):
        checked((HEAD + DEVICES).replace("creamery.example", domain))


@pytest.mark.parametrize(("write", "fence"), [(to_markdown, "```\n"), (to_text, "")], ids=["Markdown", "text"])
def test_zone_lines_can_be_copied_from_plain_reports(
    write: Callable[[Report], bytes], fence: str, checked: Callable[[str], Checked]
) -> None:
    """Plain reports have the zone lines unchanged, under the name of their zone."""
    found = checked(HEAD + DEVICES)
    text = write(report_of(found, (), (), TODAY)).decode()
    for zone in asked_of(found).zones:
        title = re.escape(zone.title).replace("\\-", "-")
        assert re.search(f"DNS records, {title} [(][0-9]+[)]\n+{fence}{re.escape(zone.text)}", text, re.IGNORECASE)


HOSTILE = [
    "=1+1",
    "a\nb IN A 192.0.2.1",
    'x" ; drop',
    "$INCLUDE /etc/passwd",
    "@",
    "a\tb",
    "\u202eplc",
    "ä-plc",
    "x" * 64,
]


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_host_names_reach_no_zone_line_and_no_formula(name: str, checked: Callable[[str], Checked]) -> None:
    """Hostile host names give no zone line and no formula (RFC 1035 section 5.1; OWASP, CSV Injection)."""
    found = checked((HEAD + DEVICES).replace('"filler-plc"\nswitch', f"{json.dumps(name)}\nswitch"))
    lines = "".join(zone.text for zone in asked_of(found).zones)
    assert "10.62.20.103" not in lines
    assert name not in lines
    text = requests_to_csv(found).decode("utf-8-sig")
    for row in csv.reader(io.StringIO(text)):
        assert not any(cell[:1] in tuple("=+-@\t\r\n") and cell for cell in row)


@pytest.mark.parametrize(
    ("bad", "cell"),
    [('=1+2";=1+2', '"\'=1+2"";=1+2"'), ("=1+2'\" ;,=1+2", '"\'=1+2\'"" ;,=1+2"')],
    ids=["separator", "both quotes"],
)
def test_the_published_vectors_stay_text(bad: str, cell: str, checked: Callable[[str], Checked]) -> None:
    """The examples of OWASP (CSV Injection) give the outputs that it prints."""
    text = (HEAD + DEVICES).replace('"operator screens"', json.dumps(bad))
    assert f',{cell},"","","","","",' in requests_to_csv(checked(text)).decode()


def test_the_csv_has_every_request(checked: Callable[[str], Checked]) -> None:
    """The CSV has a row for each request, and the cautions last; the same plan gives the same bytes."""
    found = checked(HEAD + DEVICES)
    *rows, last = csv.DictReader(io.StringIO(requests_to_csv(found).decode("utf-8-sig")))
    assert (last["kind"], last["note"]) == ("caution", " ".join(CAUTION))
    assert tuple(rows[0]) == REQUEST_COLUMNS
    asked = asked_of(found)
    assert [(row["kind"], unguarded(row["what"])) for row in rows] == [(one.kind, one.what) for one in asked.requests]
    assert requests_to_csv(found) == requests_to_csv(found)


OWN = '[[island]]\nname = "cell-1"\nsite = {}\n'


@pytest.mark.parametrize(("mark", "asked_for"), [("", False), (OWN.format("false"), False), (OWN.format("true"), True)])
def test_nothing_is_requested_for_a_machines_own_island(
    mark: str, asked_for: bool, checked: Callable[[str], Checked]
) -> None:
    """Addresses behind a translating router are not requested, unless the plan marks the island."""
    asked = asked_of(checked(HEAD + DEVICES + BOTH + mark))
    assert ("cell-plc/cpu" in {one.subject for one in asked.of(RequestKind.RESERVATION)}) == asked_for
    assert "cell-router/10.62.20.99" in {one.subject for one in asked.of(RequestKind.RESERVATION)}


def test_conversations_have_service_and_side(checked: Callable[[str], Checked]) -> None:
    """A conversation has its transport protocols and ports (RFC 6335) and the side that opens connections."""
    more = 'services = ["TCP 502", "udp/2222-2230"]\nstarts = "to"\nwhy = '
    found = asked_of(checked((HEAD + DEVICES).replace("why = ", more, 1))).of(RequestKind.CONVERSATION)
    assert [(one.protocol, one.port, one.opened_by) for one in found] == [
        ("tcp", "502", "filler-plc/cpu"),
        ("udp", "2222-2230", "filler-plc/cpu"),
    ]
    assert [one.what.endswith(f"{one.protocol} {one.port}, opened by filler-plc/cpu") for one in found] == [True, True]


ZONE = "$ORIGIN hall-2.example.\n$TTL 3600\npanel IN A 10.62.30.7\n"


def test_existing_records_are_not_requested(tmp_path: Path) -> None:
    """A record that the zone already has is not requested; a missing pointer is."""
    survey = '[[survey]]\nfile = "plant.zone"\ntaken = 2026-10-28\ncovers = ["10.62.30.0/24"]\n'
    (tmp_path / "plan.toml").write_text(HEAD + DEVICES + survey, "utf-8")
    (tmp_path / "plant.zone").write_text(ZONE, "utf-8")
    read = read_plan(tmp_path)
    found = [
        one.what
        for one in asked_of(check(read, read_surveys(read), date(2026, 11, 2))).of(RequestKind.DNS)
        if one.subject == "line-panel/lan"
    ]
    assert found == ["7.30.62.10.in-addr.arpa. 3600 IN PTR panel.hall-2.example."]


def test_a_reservation_that_the_site_has_made_is_named(tmp_path: Path) -> None:
    """If a list of the site has the address for the device, the note says so; nothing else changes."""
    survey = '[[survey]]\nfile = "site.csv"\ntaken = 2026-11-19\ncovers = ["10.62.30.0/24"]\n'
    (tmp_path / "plan.toml").write_text(HEAD + DEVICES + survey, "utf-8")
    (tmp_path / "site.csv").write_text("address,name\n10.62.30.7,panel.hall-2.example\n", "utf-8")
    plan = read_plan(tmp_path)
    checked = check(plan, read_surveys(plan), TODAY)
    notes = {one.subject: one.note for one in asked_of(checked).of(RequestKind.RESERVATION)}
    assert notes["line-panel/lan"] == "a list of the site already has it for this device"
    assert notes["packer-drive/lan"] == ""
    (tmp_path / "site.csv").write_text("address,name\n", "utf-8")
    assert changed_since(checked, check(plan, read_surveys(plan), TODAY)) == ()


def test_since_an_earlier_revision_only_changes_are_requested(checked: Callable[[str], Checked]) -> None:
    """Since an earlier revision, only changed addresses are requested, and the old ones are withdrawn."""
    before = checked(HEAD + DEVICES)
    after = checked((HEAD + DEVICES).replace('address = "10.62.30.7"', 'address = "10.62.30.17"'))
    assert changed_since(before, before) == ()
    found = [one for one in changed_since(after, before) if one.kind is RequestKind.RESERVATION]
    assert [(one.subject, one.address, one.note) for one in found] == [
        ("line-panel/lan", "10.62.30.17", ""),
        ("line-panel/lan", "10.62.30.7", WITHDRAWN),
    ]


def test_a_renamed_device_is_not_requested_again(checked: Callable[[str], Checked]) -> None:
    """No file requests and withdraws the same record or reservation; conversations name the device."""
    before = checked(HEAD + DEVICES)
    text = (HEAD + DEVICES).replace('"line-panel"', '"line-7-panel"').replace('"line-panel/', '"line-7-panel/')
    text = text.replace('"filler-plc"\n', '"filler-7-plc"\n', 1).replace('"filler-plc/', '"filler-7-plc/')
    after = checked(text.replace('host-name = "filler-7-plc"', 'host-name = "filler-plc"'))
    assert {one.kind for one in asked_of(after).requests} >= {RequestKind.DNS, RequestKind.CONVERSATION}
    assert any("filler-7-plc" in one.subject for one in asked_of(after).requests)
    assert changed_since(after, before) == ()


@pytest.mark.parametrize(
    ("text", "switch", "port"),
    [
        ("sw-1/5", "sw-1", "5"),
        ("sw-1 Gi1/0/12", "sw-1", "Gi1/0/12"),
        ("sw-2:7", "sw-2", "7"),
        ("sw-1, port 3", "sw-1", "port 3"),
        ("core", "core", ""),
    ],
)
def test_a_switch_port_has_switch_and_port(text: str, switch: str, port: str) -> None:
    """The common notations are split at the first separator (common practice, no source)."""
    assert switch_and_port(text) == (switch, port)


def test_switch_ports_are_listed_by_switch_in_port_order(checked: Callable[[str], Checked]) -> None:
    """Port 9 stands before port 10, whatever the order of the plan."""
    ports = ("sw-2/1", "sw-1/10", "sw-1/9", "sw-10/1")
    more = "".join(
        f'\n[[device]]\nname = "io-{number}"\n[[device.interface]]\nname = "a"\nsubnet = "process"\n'
        f'address = "10.62.20.{150 + number}"\nswitch-port = "{port}"\n'
        for number, port in enumerate(ports)
    )
    found = [one.switch_port for one in asked_of(checked(HEAD + more)).of(RequestKind.SWITCH_PORT)]
    assert found == ["sw-1/9", "sw-1/10", "sw-2/1", "sw-10/1"]


def test_a_granted_request_that_was_done_is_not_withdrawn(tmp_path: Path) -> None:
    """Since an earlier revision, a record that the zone has now and a pool that was changed are done, not withdrawn."""
    survey = '[[survey]]\nfile = "plant.zone"\ntaken = 2026-10-28\ncovers = ["10.62.30.0/24"]\n'
    (tmp_path / "plant.zone").write_text("$ORIGIN hall-2.example.\n", "utf-8")
    (tmp_path / "plan.toml").write_text(HEAD + DEVICES + survey, "utf-8")

    def run() -> Checked:
        read = read_plan(tmp_path)
        return check(read, read_surveys(read), TODAY)

    before = run()
    (tmp_path / "plant.zone").write_text(ZONE, "utf-8")
    pool = 'pools = ["10.62.20.104-10.62.20.109"]'
    text = (HEAD + DEVICES + survey).replace('pools = ["10.62.20.100-10.62.20.109"]', pool)
    (tmp_path / "plan.toml").write_text(text, "utf-8")
    assert {one.kind for one in asked_of(before).requests} >= {RequestKind.POOL, RequestKind.DNS}
    found = changed_since(run(), before)
    withdrawn = {one.kind for one in found if one.note == WITHDRAWN}
    assert not withdrawn & {RequestKind.POOL, RequestKind.DNS}
