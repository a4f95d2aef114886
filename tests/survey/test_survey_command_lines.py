"""ARP tables, DHCP configurations and lease lists in the layouts of further command lines.

The layouts are written from memory of the usual command lines (common practice, no source). Names and addresses are
invented.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest

from netcheck.errors import SurveyError
from netcheck.plan.model import Position, SurveyEntry
from netcheck.report.text.merged_survey import Merging, to_csv
from netcheck.survey.model import Survey
from netcheck.survey.read import read_survey
from tests.plans import write_workbook


def read(folder: Path, text: str, name: str = "export.txt") -> Survey:
    """Return the survey of a file with this text."""
    (folder / name).write_text(text, "utf-8")
    return read_survey(SurveyEntry(file=name, position=Position("plan.toml")), folder)


def hosts(survey: Survey) -> list[tuple[str, str, str]]:
    """Return address, MAC and name of each host."""
    return [(str(host.address), str(host.mac) if host.mac else "", host.name) for host in survey.hosts]


def ranges(survey: Survey) -> list[str]:
    """Return the ranges that a DHCP server assigns, with their positions."""
    return [f"{one.span} {one.position.at}" for one in survey.served]


FIVE = ("10.9.0.5", "00-00-5E-00-53-05", "")
SIX = ("10.9.0.6", "00-00-5E-00-53-06", "")
WITH_LEGENDS = {
    "counts and flags": """core# show ip arp vrf all

Flags: * - Adjacencies learnt on a standby router
       + - Adjacencies synced
IP ARP Table for all contexts
Total number of entries: 3
Address         Age       MAC Address     Interface       Flags
10.9.0.5        00:12:33  0000.5e00.5305  Vlan9
10.9.0.6        00:00:04  0000.5e00.5306  Vlan9           *
10.9.0.7        00:00:04  INCOMPLETE      Vlan9
core#
""",
    "interface first, indented": "\tinside 10.9.0.5 0000.5e00.5305 12\n\tinside 10.9.0.6 0000.5e00.5306 153\n",
    "limits above": """maximum of entries supported :      1500
default timeout:                    1800 seconds
total ARP entries in table :        3
status: s - static, c - complete, e - expiring, i - incomplete

interface         ip address      hw address        port              status   ttl
--------------------------------------------------------------------------------
ethernet1/1       10.9.0.5        00:00:5e:00:53:05 ethernet1/1         c      1234
ethernet1/1       10.9.0.6        00:00:5e:00:53:06 ethernet1/1         c      34
ethernet1/1       10.9.0.9        (incomplete)      ethernet1/1         i      1
""",
    "numbered, with an entry without MAC": """Flags: X - disabled, I - invalid, H - DHCP, D - dynamic, C - complete
 #    ADDRESS         MAC-ADDRESS       INTERFACE
 0 DC 10.9.0.5        00:00:5E:00:53:05 bridge-plant
 1 DC 10.9.0.6        00:00:5E:00:53:06 bridge-plant
 2 D  10.9.0.7                          bridge-plant
""",
    "counts below": """VR            Destination      Mac                Age  Static  VLAN          VID   Port
VR-Default    10.9.0.5         00:00:5e:00:53:05    3      NO  plant         9     1:3
VR-Default    10.9.0.6         00:00:5e:00:53:06   12     YES  plant         9     1:4

Dynamic Entries  :           2             Static Entries            :          1
Pending Entries  :           0
ARP address check: Enabled     ARP refresh               : Enabled
""",
    "wrapped lines": """<core>display arp
IP ADDRESS      MAC ADDRESS     EXPIRE(M) TYPE        INTERFACE   VPN-INSTANCE
                                          VLAN/CEVLAN PVC
------------------------------------------------------------------------------
10.9.0.5        0000-5e00-5305            I -         Vlanif9
10.9.0.6        0000-5e00-5306  17        D-0         GE0/0/3
                                          9/-
10.9.0.8        Incomplete      1         D-0         GE0/0/3
------------------------------------------------------------------------------
Total:3         Dynamic:2       Static:0     Interface:1
""",
    "the address as name": """MAC Address       Address         Name                      Interface           Flags
00:00:5e:00:53:05 10.9.0.5        10.9.0.5                  ge-0/0/1.0           none
00:00:5e:00:53:06 10.9.0.6        hmi6.plant.example        irb.9 [ge-0/0/2.0]   none
Total entries: 2
""",
    "objects of a shell": """
ifIndex IPAddress                                          LinkLayerAddress      State       PolicyStore
------- ---------                                          ----------------      -----       -----------
7       10.9.0.255                                         FF-FF-FF-FF-FF-FF     Permanent   ActiveStore
7       10.9.0.5                                           00-00-5E-00-53-05     Reachable   ActiveStore
7       10.9.0.6                                           00-00-5E-00-53-06     Stale       ActiveStore
7       10.9.0.7                                           00-00-00-00-00-00     Unreachable ActiveStore
1       ff02::16                                                                 Permanent   ActiveStore
""",
    "framed": """===============================================================================
ARP Table (Router: Base)
===============================================================================
IP Address      MAC Address       Expiry    Type   Interface
-------------------------------------------------------------------------------
10.9.0.5        00:00:5e:00:53:05 03h59m58s Dyn[I] plant
10.9.0.6        00:00:5e:00:53:06 00h00m00s Oth[I] plant
-------------------------------------------------------------------------------
No. of ARP Entries: 2
""",
    "bindings of snooping": """Binding Table has 2 entries, 2 dynamic (limit 200000)
Codes: L - Local, S - Static, ND - Neighbor Discovery, ARP - Address Resolution Protocol
    Network Layer Address       Link Layer Address Interface  vlan  prlvl  age  state     Time left
ARP 10.9.0.5                    0000.5e00.5305     Gi1/0/3    9     0005   3mn  REACHABLE 100 s
DH4 10.9.0.6                    0000.5e00.5306     Gi1/0/4    9     0024   3mn  STALE     86 s
""",
    # RFC 2132 section 9.14: the identifier of a client on Ethernet begins with 01
    "bindings of a DHCP server": """Bindings from all pools not associated with VRF:
IP address          Client-ID/              Lease expiration        Type
                    Hardware address/
                    User name
10.9.0.5            0100.005e.0053.05       Nov 28 2026 10:11 AM    Automatic
10.9.0.6            0000.5e00.5306          Infinite                Manual
""",
}


@pytest.mark.parametrize("text", WITH_LEGENDS.values(), ids=WITH_LEGENDS)
def test_legends_and_counts_do_not_hide_the_entries(tmp_path: Path, text: str) -> None:
    """Lines without an address do not count against the recognition; an entry without a MAC is no host."""
    survey = read(tmp_path, text)
    assert survey.kind == "neighbours"
    assert hosts(survey) == [FIVE, SIX]
    assert survey.skipped.count == survey.unread.count == 0


def test_a_name_file_with_macs_in_comments_stays_a_name_file(tmp_path: Path) -> None:
    """The entries of an ARP table have no comments, so a file with comments is a file of names."""
    survey = read(tmp_path, "# plant\n10.9.0.5 plc # 00:00:5e:00:53:05\n10.9.0.6 hmi # 00:00:5e:00:53:06\n")
    assert survey.kind == "hosts"
    assert [name for _, _, name in hosts(survey)] == ["plc", "hmi"]


def test_a_reservation_keeps_its_mac_whatever_the_order(tmp_path: Path) -> None:
    """Without the MAC the device's own reservation would be a host with an unknown MAC."""
    text = """subnet 10.9.0.0 netmask 255.255.255.0 { range 10.9.0.100 10.9.0.199; }
host plc { fixed-address 10.9.0.5; hardware ethernet 00:00:5e:00:53:05; }
host hmi {
  fixed-address 10.9.0.6;
  option host-name "hmi";
  hardware ethernet 00:00:5e:00:53:06;
}
"""
    assert hosts(read(tmp_path, text)) == [(*FIVE[:2], "plc"), (*SIX[:2], "hmi")]


def test_pools_of_a_router(tmp_path: Path) -> None:
    """The network of a pool is assigned without the excluded addresses; a pool with `host` is a reservation."""
    text = """hostname core
!
ip dhcp excluded-address 10.9.0.1 10.9.0.99
ip dhcp excluded-address 10.9.0.150
ip dhcp excluded-address 10.9.0.200 10.9.0.254
!
ip dhcp pool PLANT
 network 10.9.0.0 255.255.255.0
 default-router 10.9.0.1
!
ip dhcp pool PLC
 host 10.9.0.5 255.255.255.0
 client-identifier 0100.005e.0053.05
 client-name plc
!
ip dhcp pool HMI
 host 10.9.0.6 /24
 hardware-address 0000.5e00.5306
!
interface Vlan9
 ip address 10.9.0.1 255.255.255.0
"""
    survey = read(tmp_path, text)
    assert hosts(survey) == [(*FIVE[:2], "plc"), (*SIX[:2], "HMI")]
    assert ranges(survey) == ["10.9.0.100-10.9.0.149 line 8", "10.9.0.151-10.9.0.199 line 8"]
    assert survey.skipped.count == survey.unread.count == 0


def test_comments_in_a_json_configuration(tmp_path: Path) -> None:
    """Servers accept comments in their JSON; `//` inside a text is no comment, and positions keep their lines."""
    text = """// plant server
{ # all of it
"Dhcp4": { /* one
   subnet */ "subnet4": [ { "id": 1, "subnet": "10.9.0.0/24", "comment": "http://plant.example # no comment",
     "pools": [ { "pool": "10.9.0.100 - 10.9.0.199" } ],
     "reservations": [ { "hw-address": "00:00:5e:00:53:05", "ip-address": "10.9.0.5", "hostname": "plc" } ] } ]
} }
"""
    survey = read(tmp_path, text, "server.json")
    assert hosts(survey) == [(*FIVE[:2], "plc")]
    assert [(host.file, host.line) for host in survey.hosts] == [("server.json", 6)]
    assert ranges(survey) == ["10.9.0.100-10.9.0.199 line 5"]


def test_leases_of_one_line_each(tmp_path: Path) -> None:
    """Each line has the end in seconds since 1970, MAC, address, name and client; its host is a lease with its name."""
    text = (
        "1764240000 00:00:5e:00:53:05 10.9.0.5 plc 01:00:00:5e:00:53:05\n"
        "0 00:00:5e:00:53:06 10.9.0.6 * *\n"
        "1764240000 00:00:5e:00:53:07 10.9.0.7\n"
    )
    survey = read(tmp_path, text)
    assert (survey.kind, hosts(survey)) == ("leases", [(*FIVE[:2], "plc"), SIX])
    assert survey.skipped.count == 1


def test_a_client_identifier_gives_the_mac(tmp_path: Path) -> None:
    """Hardware type 1 is Ethernet (RFC 2132 section 9.14)."""
    assert hosts(read(tmp_path, "dhcp-host=id:01:00:00:5e:00:53:05,10.9.0.5\n")) == [FIVE]


RANGE_TABLES = {
    "scopes": (
        '"ScopeId","SubnetMask","Name","State","StartRange","EndRange","LeaseDuration"\n'
        '"10.9.0.0","255.255.255.0","Plant","Active","10.9.0.100","10.9.0.199","8.00:00:00"\n',
        ["10.9.0.100-10.9.0.199 row 2"],
    ),
    "address pool": (
        "Start IP Address\tEnd IP Address\tDescription\t\n"
        "10.9.0.100\t10.9.0.199\tAddress range for distribution\t\n"
        "10.9.0.150\t10.9.0.159\tIP Addresses excluded from distribution\t\n",
        ["10.9.0.100-10.9.0.149 row 2", "10.9.0.160-10.9.0.199 row 2"],
    ),
    "German": (
        "Start-IP-Adresse;End-IP-Adresse;Beschreibung\n10.9.0.100;10.9.0.199;Adressbereich für die Verteilung\n"
        "10.9.0.180;10.9.0.250;Von der Verteilung ausgeschlossene IP-Adressen\n",
        ["10.9.0.100-10.9.0.179 row 2"],
    ),
}


@pytest.mark.parametrize(("text", "expected"), RANGE_TABLES.values(), ids=RANGE_TABLES)
def test_ranges_of_a_dhcp_server_as_a_table(tmp_path: Path, text: str, expected: list[str]) -> None:
    """Each row has a first and a last address; excluded ranges are subtracted."""
    survey = read(tmp_path, text, "ranges.csv")
    assert (ranges(survey), hosts(survey)) == (expected, [])


def test_ranges_that_may_be_exclusions_are_not_guessed(tmp_path: Path) -> None:
    """A list that contains only exclusions has the same titles as a list of ranges."""
    with pytest.raises(
        SurveyError, match=r"row 2: 10\.9\.0\.150-10\.9\.0\.159 could be a range.*or one that it excludes"
    ):
        read(tmp_path, "ScopeId,StartRange,EndRange\n10.9.0.0,10.9.0.150,10.9.0.159\n", "exclusions.csv")


def test_a_number_in_the_column_type_does_not_hide_dns_records(tmp_path: Path) -> None:
    """A shell's export of a zone has a column `Type` with numbers in addition to `RecordType`."""
    text = (
        "HostName,RecordType,Type,Timestamp,TimeToLive,RecordData\nplc,A,1,0,01:00:00,10.9.0.5\n"
        "hmi,CNAME,5,0,01:00:00,plc.plant.example.\n"
    )
    survey = read(tmp_path, text, "records.csv")
    assert (len(list(survey.records)), [one.name for one in survey.aliases]) == (1, ["hmi"])
    assert survey.skipped.count == 0


LEASE_TABLES = {
    "console": "Client IP Address\tName\tLease Expiration\tType\tUnique ID\tDescription\t\n"
    "10.9.0.5\tplc.plant.example\tReservation (inactive)\tDHCP\t00005e005305\t\t\n"
    "10.9.0.6\tpc\t11/28/2026 10:11:12 AM\tDHCP\t00005e005306\t\t\n",
    "shell": "IPAddress,ScopeId,ClientId,HostName,AddressState,LeaseExpiryTime\n"
    "10.9.0.5,10.9.0.0,00-00-5e-00-53-05,plc.plant.example,InactiveReservation,\n"
    "10.9.0.6,10.9.0.0,00-00-5e-00-53-06,pc,Active,11/28/2026 10:11:12 AM\n",
}


@pytest.mark.parametrize("text", LEASE_TABLES.values(), ids=LEASE_TABLES)
def test_leases_as_a_table_are_leases(tmp_path: Path, text: str) -> None:
    """Reservations in the same list are no leases: their addresses may be outside the pools."""
    survey = read(tmp_path, text, "leases.csv")
    assert hosts(survey) == [(*FIVE[:2], "plc.plant.example"), (*SIX[:2], "pc")]
    assert [survey.is_lease(host) for host in survey.hosts] == [False, True]
    assert [host.note for host in survey.hosts] == ["DHCP reservation", "DHCP lease until 11/28/2026 10:11:12 AM"]


def test_a_mac_address_table_is_distinguished_from_an_arp_table(tmp_path: Path) -> None:
    """A MAC address table has no IP addresses; the message says what to export instead."""
    text = """          Mac Address Table
Vlan    Mac Address       Type        Ports
----    -----------       --------    -----
   9    0000.5e00.5305    DYNAMIC     Gi1/0/3
"""
    with pytest.raises(
        SurveyError, match=r"no IP addresses; it may be the MAC address table of a switch.*ARP table of"
    ):
        read(tmp_path, text)


@pytest.mark.parametrize("text", [*LEASE_TABLES.values(), *(text for text, _ in RANGE_TABLES.values())])
def test_the_merged_file_keeps_leases_and_ranges(tmp_path: Path, text: str) -> None:
    """A check finds the same with the merged file as with the list."""
    survey = read(tmp_path, text, "list.csv")
    merged = to_csv(Merging((survey,), (survey.hosts,), (), 0, None))
    again = read(tmp_path, merged, "merged.csv")
    assert (hosts(again), ranges(again)) == (hosts(survey), ranges(survey))
    assert [again.is_lease(host) for host in again.hosts] == [survey.is_lease(host) for host in survey.hosts]


@pytest.mark.parametrize(
    "cell", ["10.9.0.5-10.9.0.6", "10.9.0.5 \u2013 10.9.0.6", "10.9.0.5-6", "10.9.0.5 - .6", "10.9.0.5 bis 10.9.0.6"]
)
def test_a_range_in_a_list_of_hosts(tmp_path: Path, cell: str) -> None:
    """Each of its addresses is a host; if the row mentions DHCP, the range is one that a server assigns."""
    survey = read(tmp_path, f"IP;Name;Type\n{cell};cameras;fixed\n10.9.0.100-199;;DHCP\n", "list.csv")
    assert hosts(survey) == [("10.9.0.5", "", "cameras"), ("10.9.0.6", "", "cameras")]
    assert ranges(survey) == ["10.9.0.100-10.9.0.199 row 3"]
    assert survey.skipped.count == survey.unread.count == 0


@pytest.mark.parametrize("cell", ["10.9.0.0-10.9.255.255", "10.9.0.6-10.9.0.5", "10.9.0.5-6-7", "10.9.0.5-300"])
def test_an_invalid_or_too_large_range_is_not_read(tmp_path: Path, cell: str) -> None:
    """The remark gives the reason; a large range belongs in the plan."""
    survey = read(tmp_path, f"IP;Name\n10.9.0.9;x\n{cell};y\n", "list.csv")
    assert (len(survey.hosts), survey.skipped.count) == (1, 1)


def test_sheets_of_a_workbook_are_read_as_the_same_tables_as_text(tmp_path: Path) -> None:
    """A workbook may hold hosts, DNS records, leases and ranges; a remark names the sheet and the row."""
    sheets: dict[str, list[list[object]]] = {
        "Hosts": [["IP", "MAC", "Name"], ["10.9.0.5", "00-00-5E-00-53-05", "plc"], ["10.9.0.999", None, "bad"]],
        "DNS": [["Name", "Type", "Data"], ["hmi", "CNAME", "plc.plant.example."], ["cam", "A", "10.9.0.7"]],
        "Scopes": [["ScopeId", "SubnetMask", "StartRange", "EndRange"],
                   ["10.9.0.0", "255.255.255.0", "10.9.0.100", "10.9.0.199"]],
        "Leases": [["IP Address", "Name", "Lease Expiration"], ["10.9.0.6", "pc", "2026-12-01"]],
        "More": [["IP", "Name"], ["10.9.0.8", "last"], ["10.9.0", "short"]],
    }  # fmt: skip
    write_workbook(tmp_path / "site.xlsx", sheets)
    survey = read_survey(SurveyEntry(file="site.xlsx", position=Position("plan.toml")), tmp_path)
    assert [(host.name, host.where) for host in survey.hosts] == [
        ("plc", "site.xlsx, sheet Hosts: row 2"),
        ("pc", "site.xlsx, sheet Leases: row 2"),
        ("cam", "site.xlsx, sheet DNS: line 3"),
        ("last", "site.xlsx, sheet More: row 2"),
    ]
    assert [(one.name, one.target) for one in survey.aliases] == [("hmi", "plc.plant.example")]
    assert [str(one.kind) for one in survey.records] == ["A"]
    assert ranges(survey) == ["10.9.0.100-10.9.0.199 row 2"]
    assert [survey.is_lease(host) for host in survey.hosts] == [False, True, False, False]
    assert [str(one.position) for one in survey.skipped.first] == [
        "site.xlsx: sheet Hosts, row 3",
        "site.xlsx: sheet More, row 3",
    ]


def test_a_zone_with_the_age_of_its_records(tmp_path: Path) -> None:
    """The age is not taken for the record type; an entry without an owner belongs to the name above it."""
    text = (
        "$ORIGIN plant.example.\n@ SOA dc1 admin 1 2 3 4 5\nplc [AGE:3663212] 1200 A 10.9.0.5\n    1200 AAAA fd00::5\n"
    )
    assert [(str(one.address), one.name) for one in read(tmp_path, text).records] == [
        ("10.9.0.5", "plc.plant.example"),
        ("fd00::5", "plc.plant.example"),
    ]


def test_an_entry_that_cannot_be_read_keeps_its_owner_for_those_below(tmp_path: Path) -> None:
    """RFC 1035 section 5.1: an entry that begins with a blank has the last stated owner."""
    text = "$ORIGIN plant.example.\nhmi A 10.9.0.6\nplc A 10.9.0.999\n    AAAA fd00::5\n"
    survey = read(tmp_path, text)
    assert [one.name for one in survey.records] == ["hmi.plant.example", "plc.plant.example"]
    assert [str(one.position) for one in survey.skipped.first] == ["export.txt: line 3"]


@pytest.mark.timeout(8)
@pytest.mark.parametrize(
    "text",
    [
        "/**/" * 50_000 + "x",
        "#\n" * 50_000 + '{"pools": [',
        '{"subnet4": "' + '\\"' * 400_000,
        '{"subnet4": ' + "/*" * 400_000,
        '{"subnet4": ' + '"a" ' * 200_000 + "\\",
        "ip dhcp pool x\n" + " host 10.9.0.5 " * 50_000,
        "iprange 10.9.0.1 10.9.0.9 " * 20_000,
    ],
    ids=["comments", "lines", "quotes", "open comments", "strings", "pool", "ranges"],
)
def test_a_hostile_configuration_is_read_quickly(tmp_path: Path, text: str) -> None:
    """No pattern can split comments or quotes in several ways; it would try all of them."""
    with suppress(SurveyError):
        read(tmp_path, text)
    assert (tmp_path / "export.txt").stat().st_size > 50_000


@pytest.mark.timeout(20)
def test_many_ranges_and_exclusions_are_read_quickly(tmp_path: Path) -> None:
    """Each range is compared only with the exclusions near it."""
    nets = [f"10.{n >> 8}.{n & 255}" for n in range(10_000)]
    lines = (f" x iprange {net}.1 {net}.9\n x excluderange {net}.5 {net}.5\n" for net in nets)
    assert len(read(tmp_path, "".join(lines)).served) == 20_000


def test_lines_around_a_table_without_titles_are_no_rows(tmp_path: Path) -> None:
    """A scan prints lines of text above and below its table; a broken address in a row is still reported."""
    text = (
        "Interface: eth0, type: EN10MB, MAC: 00:00:5e:00:53:99, IPv4: 10.9.0.2\nStarting with 256 hosts\n"
        "10.9.0.5\t00:00:5e:00:53:05\tVendor, Inc.\n10.9.0.6\t00:00:5e:00:53:06\t(Unknown)\n10.9.0.777\t\tx\n"
        "10.9.0.888\n10.9.0.9 (spare)\n\n3 packets received, 0 packets dropped\n"
    )
    survey = read(tmp_path, text)
    assert hosts(survey) == [FIVE, SIX]
    assert [one.position.at for one in survey.skipped.first] == ["row 5", "row 6", "row 7"]


def test_addresses_between_words_are_not_taken_for_a_mac_table(tmp_path: Path) -> None:
    """Such a text is refused with the message for a text without a column of addresses."""
    with pytest.raises(SurveyError, match="no column of addresses was found"):
        read(tmp_path, "Report for plc (10.9.0.5)\nMAC Address: 00:00:5E:00:53:05 (x)\n")


@pytest.mark.parametrize(
    "note", ["x reservedip 10.9.0.1 y", "lease 10.9.0.1 {", "host a {", "10.9.0.9 00:00:5e:00:53:09", "a IN A 10.9.0.8"]
)
def test_a_merged_file_is_recognised_whatever_its_notes_hold(tmp_path: Path, note: str) -> None:
    """Only the titles decide, not the text of the notes."""
    row = f'10.9.0.5,00-00-5E-00-53-05,plc,"{note}",,a.txt: line 1,dhcp'
    survey = read(tmp_path, f"address,mac,name,note,seen,source,kind\n{row}\n", "merged.csv")
    assert (survey.kind, hosts(survey)) == ("csv", [(*FIVE[:2], "plc")])
