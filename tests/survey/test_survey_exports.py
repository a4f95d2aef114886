"""Exports of an IT department: ARP tables of routers and switches, DHCP, DNS as CSV, cells with two addresses."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from netcheck.errors import SurveyError
from netcheck.plan.model import Position, SurveyEntry
from netcheck.report.text.merged_survey import Merging, to_csv
from netcheck.survey.model import Survey
from netcheck.survey.read import read_survey


def read(folder: Path, text: str, name: str = "export.txt") -> Survey:
    """Return the survey of a file with this text."""
    (folder / name).write_text(text, "utf-8")
    return read_survey(SurveyEntry(file=name, position=Position("plan.toml")), folder)


def hosts(survey: Survey) -> list[tuple[str, str, str]]:
    """Return address, MAC and name of each host."""
    return [(str(host.address), str(host.mac) if host.mac else "", host.name) for host in survey.hosts]


CAMERA = ("10.62.20.71", "00-00-5E-00-53-71", "")
SCALE = ("10.62.20.72", "00-00-5E-00-53-72", "")
# In the columns in which common command lines print ARP tables; written from memory, names and addresses invented.
ARP_TABLES = {
    "dotted": """core-1#show arp
Protocol  Address          Age (min)  Hardware Addr   Type   Interface
Internet  10.62.20.71             5   0000.5e00.5371  ARPA   Vlan20
Internet  10.62.20.72             -   0000.5e00.5372  ARPA   Vlan20
Internet  10.62.20.73             0   Incomplete      ARPA
""",
    "grouped": """<core-1>display arp
IP ADDRESS      MAC ADDRESS     EXPIRE(M) TYPE        INTERFACE   VPN-INSTANCE
------------------------------------------------------------------------------
10.62.20.71     0000-5e00-5371            I -         Vlanif20
10.62.20.72     0000-5e00-5372  18        D-0         GE0/0/1
""",
    "mac first": """MAC Address       Address         Interface           Flags
00:00:5e:00:53:71 10.62.20.71     ge-0/0/1.0          none
00:00:5e:00:53:72 10.62.20.72     ge-0/0/2.0          none
""",
    "halves": """IP Address       MAC Address       Type    Port
---------------- ----------------- ------- ----
10.62.20.71      00005e-005371     dynamic 12
10.62.20.72      00005e-005372     static  14
""",
    "vlan first": """VLAN  IP address    MAC address        Age
20    10.62.20.71   00:00:5e:00:53:71  00:04:11
20    10.62.20.72   00:00:5e:00:53:72  00:00:02
""",
    "bare": "10.62.20.71 00:00:5e:00:53:71 20 dynamic\n10.62.20.72 00:00:5e:00:53:72 20 dynamic\n",
}


@pytest.mark.parametrize("text", ARP_TABLES.values(), ids=ARP_TABLES)
def test_arp_tables_of_routers_and_switches(tmp_path: Path, text: str) -> None:
    """An entry is a line with one address and one MAC, whatever the columns; an incomplete entry gives no host."""
    survey = read(tmp_path, text)
    assert survey.kind == "neighbours"
    assert hosts(survey) == [CAMERA, SCALE]
    assert survey.skipped.count == 0


DNS_TABLES = {
    "console": """Name,Type,Data,Timestamp
(same as parent folder),Start of Authority (SOA),"[12], ns.plant.example., admin.plant.example.",static
(same as parent folder),Host (A),10.62.20.5,static
camera-1,Host (A),10.62.20.71,static
scale,IPv6 Host (AAAA),2001:db8::72,static
10.62.20.71,Pointer (PTR),camera-1.plant.example.,static
hmi,Alias (CNAME),camera-1.plant.example.,static
broken,Host (A),10.62.20.710,static
""",
    "plain": """name;ttl;type;content
camera-1;3600;A;10.62.20.71
scale;3600;AAAA;2001:db8::72
71.20.62.10.in-addr.arpa;3600;PTR;camera-1.plant.example.
hmi;3600;CNAME;camera-1.plant.example
broken;3600;A;10.62.20.710
plant.example.;3600;SOA;ns.plant.example.
plant.example.;3600;MX;10 mail.plant.example.
""",
}


@pytest.mark.parametrize("text", DNS_TABLES.values(), ids=DNS_TABLES)
def test_dns_records_as_a_table(tmp_path: Path, text: str) -> None:
    """Each row becomes a DNS record or an alias; a broken record becomes a remark."""
    survey = read(tmp_path, text, "dns.csv")
    assert [(str(one.kind), one.name, str(one.address)) for one in survey.records] == [
        ("A", "camera-1", "10.62.20.71"),
        ("AAAA", "scale", "2001:db8::72"),
        ("PTR", "camera-1.plant.example", "10.62.20.71"),
    ]
    assert [(one.name, one.target) for one in survey.aliases] == [("hmi", "camera-1.plant.example")]
    assert (survey.skipped.count, survey.addressless.count) == (1, 2)
    assert {host.where for host in survey.hosts} == {str(one.position) for one in survey.records}


def test_a_table_with_a_type_of_device_is_no_dns(tmp_path: Path) -> None:
    """The column with the type of device does not make the rows DNS records."""
    survey = read(tmp_path, "name,type,ip\ncamera,A,10.62.20.71\nscale,big,10.62.20.72\n", "list.csv")
    assert (len(survey.hosts), len(survey.records)) == (2, 0)


@pytest.mark.parametrize("cell", ["10.62.20.71 / 10.62.20.72", "10.62.20.71/10.62.20.72", '"10.62.20.71\n10.62.20.72"'])
def test_two_addresses_in_one_cell(tmp_path: Path, cell: str) -> None:
    """Both addresses become hosts."""
    survey = read(tmp_path, f"name;address\ncamera;{cell}\n", "list.csv")
    assert [str(host.address) for host in survey.hosts] == ["10.62.20.71", "10.62.20.72"]


def test_a_mask_behind_an_address_is_no_second_address(tmp_path: Path) -> None:
    """Router configurations write the mask after the address."""
    survey = read(tmp_path, "name;address\ncamera;10.62.20.71/255.255.255.0\nscale;10.62.20.72/24\n", "list.csv")
    assert [str(host.address) for host in survey.hosts] == ["10.62.20.71", "10.62.20.72"]


# The four notations, written from memory with invented names and addresses.
DHCP = {
    "blocks": """subnet 10.62.20.0 netmask 255.255.255.0 {
  range 10.62.20.200 10.62.20.239;
  option routers 10.62.20.1;
  # host old { fixed-address 10.62.20.9; }
  host camera-1 { hardware ethernet 00:00:5e:00:53:71; fixed-address 10.62.20.71; }
  host scale {
    hardware ethernet 00:00:5e:00:53:72;
    fixed-address 10.62.20.72;
  }
  host broken { fixed-address 10.62.20.720; }
}
""",
    "commands": """Dhcp Server \\\\dhcp.plant.example add scope 10.62.20.0 255.255.255.0 "process" ""
Dhcp Server \\\\dhcp.plant.example Scope 10.62.20.0 Add iprange 10.62.20.200 10.62.20.239
Dhcp Server \\\\dhcp.plant.example Scope 10.62.20.0 Add reservedip 10.62.20.71 00005e005371 "camera-1" "hall" "BOTH"
Dhcp Server \\\\dhcp.plant.example Scope 10.62.20.0 Add reservedip 10.62.20.72 00005e005372 "scale" "" "BOTH"
Dhcp Server \\\\dhcp.plant.example Scope 10.62.20.0 Add reservedip 10.62.20.720 00005e005373 "broken" "" "BOTH"
""",
    "settings": """domain=plant.example
dhcp-range=10.62.20.200,10.62.20.239,12h
dhcp-host=00:00:5e:00:53:71,camera-1,10.62.20.71,infinite
dhcp-host=00:00:5e:00:53:72,10.62.20.72,scale
""",
    "json": """{"Dhcp4": {"subnet4": [{"subnet": "10.62.20.0/24", "pools": [{"pool": "10.62.20.200 - 10.62.20.239"}],
"reservations": [{"hw-address": "00:00:5e:00:53:71", "ip-address": "10.62.20.71", "hostname": "camera-1"},
{"hw-address": "00:00:5e:00:53:72", "ip-address": "10.62.20.72", "hostname": "scale"},
{"ip-address": "10.62.20.720"}]}]}}
""",
}


@pytest.mark.parametrize("kind", DHCP)
def test_reservations_and_ranges_of_a_dhcp_server(tmp_path: Path, kind: str) -> None:
    """A reservation becomes a host, a range becomes a remark, and a broken address a row that cannot be read."""
    survey = read(tmp_path, DHCP[kind])
    assert survey.kind == "dhcp"
    assert hosts(survey) == [(*CAMERA[:2], "camera-1"), (*SCALE[:2], "scale")]
    assert all(host.note.startswith("DHCP reservation") for host in survey.hosts)
    (remark,) = [one for one in survey.addressless.first if "range" in one.why]
    assert remark.why.startswith("the range 10.62.20.200-10.62.20.239 of a DHCP server belongs in `pools`")
    assert survey.skipped.count == (0 if kind == "settings" else 1)


@pytest.mark.parametrize("kind", DHCP)
def test_ranges_of_a_dhcp_server_are_kept(tmp_path: Path, kind: str) -> None:
    """The ranges keep their positions, also after they were written to the merged file."""
    survey = read(tmp_path, DHCP[kind])
    assert [str(one.span) for one in survey.served] == ["10.62.20.200-10.62.20.239"]
    merging = Merging((survey,), (survey.hosts,), (), 0, None)
    again = read(tmp_path, to_csv(merging), "merged.csv")
    assert again.served == survey.served
    assert to_csv(Merging((again,), (again.hosts,), (), 0, None)) == to_csv(merging)


@pytest.mark.parametrize(
    ("text", "ranges"),
    [
        ("subnet 10.0.0.0 netmask 255.0.0.0 { range 10.0.0.5 10.0.0.9; range 10.0.0.20; }", "5-9 20"),
        ("Scope 10.0.0.0 Add iprange 10.0.0.1 10.0.0.99\n Scope 10.0.0.0 Add excluderange 10.0.0.1 10.0.0.49", "50-99"),
        (
            "a iprange 10.0.0.1 10.0.0.9\na excluderange 10.0.0.5 10.0.0.6\na excluderange 10.0.0.3 10.0.0.3",
            "1-2 4-4 7-9",
        ),
        ("dhcp-range=set:hall,10.0.0.5,10.0.0.9,255.255.255.0,12h", "5-9"),
        ('{"subnet4": [{"pools": [{"pool": "10.0.0.8/30"}]}]}', "8-11"),
        ("dhcp-host=00:00:5e:00:53:71,10.0.0.7\ndhcp-range=10.0.0.9,10.0.0.5", ""),
    ],
    ids=["one line", "excluded after", "excluded inside", "tagged", "prefix", "reversed"],
)
def test_notations_of_ranges(tmp_path: Path, text: str, ranges: str) -> None:
    """Several ranges, excluded addresses and a mask after a range are read; an invalid range becomes a remark."""
    survey = read(tmp_path, f"{text}\n")
    assert survey.kind == "dhcp"
    spans = [f"{one.span.low & 255}-{one.span.high & 255}" for one in survey.served]
    assert spans == [one if "-" in one else f"{one}-{one}" for one in ranges.split()]
    assert survey.unread.count == (not ranges)


def test_a_broken_dhcp_configuration_in_json(tmp_path: Path) -> None:
    """The refusal says what to do."""
    with pytest.raises(SurveyError, match=r"it is not valid JSON: .*Export it again"):
        read(tmp_path, '{"Dhcp4": {"subnet4": [oops]}}')


def test_one_file_that_cannot_be_read_does_not_stop_the_others(tmp_path: Path) -> None:
    """The other files are merged; the merged file and the exit code report that one list is missing."""
    (tmp_path / "good.csv").write_text("address,name\n10.62.20.71,camera-1\n")
    (tmp_path / "bad.xlsx").write_bytes(b"PK\x03\x04broken")
    command = [sys.executable, "-m", "netcheck", "survey", "read", "bad.xlsx", "good.csv", "--out", "merged.csv"]
    run = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert run.returncode == 2
    assert "bad.xlsx: it cannot be read as a workbook" in run.stderr
    merged = read_survey(SurveyEntry(file="merged.csv", position=Position("plan.toml")), tmp_path)
    assert hosts(merged) == [("10.62.20.71", "", "camera-1")]
    assert [str(one.position) for one in merged.skipped.first] == ["bad.xlsx"]
    assert "no host of this list is known" in merged.skipped.first[0].why


def test_columns_are_named_before_there_is_a_plan(tmp_path: Path) -> None:
    """`--map` names the columns if no title is known; the message about unknown columns says so."""
    (tmp_path / "list.csv").write_text("Wer;Wo;Wohin\ncamera;10.62.20.71;10.62.20.1\nscale;10.62.20.72;10.62.20.1\n")
    command = [sys.executable, "-m", "netcheck", "survey", "read", "list.csv"]
    run = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert '--map "its title=address"' in run.stderr
    words = ["--map", "Wo=address", "--map", "Wer=name", "--out", "merged.csv"]
    again = subprocess.run([*command, *words], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert again.returncode == 0, again.stderr
    merged = read_survey(SurveyEntry(file="merged.csv", position=Position("plan.toml")), tmp_path)
    assert [(host.name, str(host.address)) for host in merged.hosts] == [
        ("camera", "10.62.20.71"),
        ("scale", "10.62.20.72"),
    ]
