"""The reader of each kind reads published examples exactly and handles the special cases of its format."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netcheck.errors import NetcheckError
from netcheck.plan.model import Position, SurveyEntry
from netcheck.survey.model import Survey
from netcheck.survey.read import read_survey
from netcheck.survey.readers.zone_records import MOST_INCLUDED

# RFC 1035 section 5.3, word for word; the text of the RFC gives its origin, ISI.EDU.
ISI = r"""@   IN  SOA     VENERA      Action\.domains (
                                 20     ; SERIAL
                                 7200   ; REFRESH
                                 600    ; RETRY
                                 3600000; EXPIRE
                                 60)    ; MINIMUM

        NS      A.ISI.EDU.
        NS      VENERA
        NS      VAXA
        MX      10      VENERA
        MX      20      VAXA

A       A       26.3.0.103

VENERA  A       10.1.0.52
        A       128.9.0.32

VAXA    A       10.2.0.27
        A       128.9.0.33


$INCLUDE <SUBSYS>ISI-MAILBOXES.TXT
"""
MAILBOXES = """MOE     MB      A.ISI.EDU.
LARRY   MB      A.ISI.EDU.
CURLEY  MB      A.ISI.EDU.
STOOGES MG      MOE
        MG      LARRY
        MG      CURLEY
"""
# In the form of dhcpd.leases(5), with other statements that such files contain.
LEASES = r"""failover peer "dhcp" state {
  my state normal at 4 2026/01/15 08:00:00;
}
lease 192.0.2.150 {
  starts 4 2026/01/15 08:00:00;
  ends 4 2026/01/15 20:00:00;
  binding state active;
  hardware ethernet 00:00:5e:00:53:96;
  uid "\001\000\000^\000S\226";
  client-hostname "hmi-a";
}
lease 192.0.2.151 { binding state active; hardware ethernet 00:00:5e:00:53:97; }
lease 192.0.2.152 { binding state abandoned; next binding state free; }
lease 192.0.2.151 { binding state free; next binding state active; }
lease 192.0.2.153 { cltt epoch 1768464000; # Thu
  binding state active; on expiry { set x = "}"; } client-hostname "a}\"b\101"; }
host x { hardware ethernet 00:00:5e:00:53:99; }
lease 192.0.2.154 { binding state active; hardware ethernet 0:0:5e:0:53:9a; }
lease 192.0.2.150 {
  binding st"""
IP = """192.0.2.23 dev eth0 FAILED
192.0.2.22 dev eth0 lladdr 00:00:5e:00:53:16 PERMANENT
192.0.2.20 dev eth0 lladdr 00:00:5e:00:53:14 REACHABLE
2001:db8::20 dev eth0 lladdr 00:00:5e:00:53:14 router STALE
192.0.2.99 dev eth0 proxy
192.0.2.24 dev eth0 lladdr 00:00:5e:00:53:18 NOARP proto static
192.0.2.21 dev eth0 lladdr 00:00:5e:00:53:15  used 0/60/0probes 0 STALE
"""
IP_JSON = """[{"dst":"192.0.2.23","dev":"eth0","state":["FAILED"]},
 {"dst":"192.0.2.20","dev":"eth0","lladdr":"00:00:5e:00:53:14","state":["REACHABLE"]},
 {"dst":"2001:db8::20","dev":"eth0","lladdr":"00:00:5e:00:53:14","router":null,"state":["STALE"]}]
"""
ARP_LINUX = """? (192.0.2.23) at <incomplete> on eth0
? (192.0.2.22) at 00:00:5e:00:53:16 [ether] PERM on eth0
? (192.0.2.99) at <from_interface> PERM PUB on eth0
"""
ARP_COLUMNS = """192.0.2.23                       (incomplete)                              eth0
192.0.2.20               ether   00:00:5e:00:53:14   C                     eth0
"""
PROC = "192.0.2.22       0x1         0x6         00:00:5e:00:53:16     *        eth0\n"
WINDOWS = """
Schnittstelle: 192.0.2.10 --- 0xb
  Internetadresse       Physische Adresse     Typ
  192.0.2.20            00-00-5e-00-53-14     dynamisch
  192.0.2.21            00-00-5e-00-53-15     statisch
  192.0.2.255           ff-ff-ff-ff-ff-ff     statisch
  224.0.0.22            01-00-5e-00-00-16     statisch
"""
MACOS = """? (192.0.2.20) at 0:0:5e:0:53:14 on en0 ifscope [ethernet]
? (192.0.2.9) at (incomplete) on en0 ifscope [ethernet]
? (224.0.0.251) at 1:0:5e:0:0:fb on en0 ifscope permanent [ethernet]
"""
BSD = "? (192.0.2.20) at 00:00:5e:00:53:14 on em0 expires in 1187 seconds [ethernet]\n"


def survey_of(folder: Path, text: str | bytes, kind: str = "", name: str = "list.txt") -> Survey:
    """Return the survey of a file with this text."""
    (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_survey(SurveyEntry(file=name, position=Position("plan.toml"), kind=kind), folder)


def rows(survey: Survey) -> list[tuple[str, str, int]]:
    """Return address, last octet of the MAC if any, and line of every host, in the order of the lines."""
    found = [(str(host.address), str(host.mac)[-2:] if host.mac else "", host.line) for host in survey.hosts]
    return sorted(found, key=lambda row: row[2])


def test_the_zone_of_rfc_1035(tmp_path: Path) -> None:
    """RFC 1035 section 5.3: an owner with the name of a type, blank owners, parentheses, and an included file."""
    (tmp_path / "<SUBSYS>ISI-MAILBOXES.TXT").write_text(MAILBOXES)
    survey = survey_of(tmp_path, "$ORIGIN ISI.EDU.\n" + ISI)
    assert survey.kind == "zone"
    assert [(one.kind, one.name, str(one.address), one.absolute, one.position.at) for one in survey.records] == [
        ("A", "A.ISI.EDU", "26.3.0.103", True, "line 15"),
        ("A", "VENERA.ISI.EDU", "10.1.0.52", True, "line 17"),
        ("A", "VENERA.ISI.EDU", "128.9.0.32", True, "line 18"),
        ("A", "VAXA.ISI.EDU", "10.2.0.27", True, "line 20"),
        ("A", "VAXA.ISI.EDU", "128.9.0.33", True, "line 21"),
    ]
    assert [host.name for host in survey.hosts] == [f"{one}.ISI.EDU" for one in ("VENERA", "VAXA", "A", *"VV")[:3]] + [
        "VENERA.ISI.EDU",
        "VAXA.ISI.EDU",
    ]
    assert survey.skipped.count == 0


def test_without_an_origin_names_stay_as_they_are(tmp_path: Path) -> None:
    """The file of section 5.3 does not contain its origin, and no origin is guessed."""
    survey = survey_of(tmp_path, ISI)
    assert [(one.name, one.absolute) for one in survey.records][:2] == [("A", False), ("VENERA", False)]


@pytest.mark.parametrize(
    ("owner", "address"),
    [
        ("103.0.3.26.in-addr.arpa.", "26.3.0.103"),  # RFC 1035 section 3.5 has 52.0.0.10-like names of this form
        ("5.0/25.2.0.192.in-addr.arpa.", "192.0.2.5"),  # RFC 2317 section 4
        (
            "b.a.9.8.7.6.5.0.4.0.0.0.3.0.0.0.2.0.0.0.1.0.0.0.0.0.0.0.1.2.3.4.ip6.arpa.",  # RFC 3596 section 2.5
            "4321:0:1:2:3:4:567:89ab",
        ),
    ],
    ids=["in-addr", "classless", "ip6"],
)
def test_pointers(tmp_path: Path, owner: str, address: str) -> None:
    """The address of a PTR record is its owner."""
    (record,) = survey_of(tmp_path, f"{owner} 3600 IN PTR plc-a.line1.example.\n").records
    assert (record.kind, record.name, str(record.address)) == ("PTR", "plc-a.line1.example", address)


@pytest.mark.parametrize("link", [False, True], ids=["path", "symbolic-link"])
def test_include_does_not_leave_the_folder(tmp_path: Path, link: bool) -> None:
    """A file outside the zone's folder is not opened; its `$INCLUDE` becomes a remark."""
    folder = tmp_path / "zones"
    folder.mkdir()
    (tmp_path / "secret").write_text("x A 192.0.2.9\n")
    if link:
        (folder / "inside").symlink_to(tmp_path / "secret")
    survey = survey_of(folder, f"$INCLUDE {'inside' if link else '../secret'}\ny.example. A 192.0.2.5\n")
    assert [str(host.address) for host in survey.hosts] == ["192.0.2.5"]
    assert "leads out of the zone's folder" in survey.skipped.first[0].why


def test_includes_in_a_circle_end(tmp_path: Path) -> None:
    """A file that includes itself is not followed."""
    survey = survey_of(tmp_path, "$INCLUDE list.txt\ny.example. A 192.0.2.5\n")
    assert (len(survey.hosts), survey.skipped.count) == (1, 1)


def test_a_large_file_is_not_included_again_and_again(tmp_path: Path) -> None:
    """Its bytes count each time it is included; the records of the zone itself are still read."""
    with (tmp_path / "large").open("wb") as stream:
        stream.truncate(MOST_INCLUDED + 1)  # a hole, which takes no space on the disk
    survey = survey_of(tmp_path, "$ORIGIN x.\n$INCLUDE large\na A 192.0.2.20\n")
    assert rows(survey) == [("192.0.2.20", "", 3)]
    assert "256 MiB" in survey.skipped.first[0].why


def test_a_broken_entry_does_not_affect_the_others(tmp_path: Path) -> None:
    """An open parenthesis or quote, an unknown type and a bad address each become a remark with the line."""
    text = '$ORIGIN x.\na A 192.0.2.1\nb SOA (\nc A 192.0.2.3\nd TXT "open\ne A 192.0.2.05\nf BOGUS 1\ng A 192.0.2.7\n'
    survey = survey_of(tmp_path, text)
    assert [row[0] for row in rows(survey)] == ["192.0.2.1", "192.0.2.3", "192.0.2.7"]
    assert [one.position.at for one in survey.skipped.first] == ["line 3", "line 5", "line 6", "line 7"]


def test_leases(tmp_path: Path) -> None:
    """The last block of an address counts, `next` states do not; quotes and unknown blocks may contain braces."""
    survey = survey_of(tmp_path, LEASES)
    assert survey.kind == "leases"
    assert rows(survey) == [
        ("192.0.2.150", "96", 4),
        ("192.0.2.152", "", 13),
        ("192.0.2.153", "", 15),
        ("192.0.2.154", "9A", 18),
    ]
    by_line = {host.line: host for host in survey.hosts}
    assert (by_line[4].name, by_line[4].note) == ("hmi-a", "DHCP lease until 2026-01-15")
    assert "suspect" in by_line[13].note
    assert (by_line[15].name, str(by_line[15].seen)) == ('a}"bA', "2026-01-15")
    assert [str(one) for one in survey.skipped.first] == [
        "list.txt: line 19: the block of lease 192.0.2.150 is not closed"
    ]


DHCPV6 = r"""lease 192.0.2.150 { starts 4 2026/01/15 08:00:00; ends 4 2026/01/15 20:00:00; binding state active; }
ia-na "\001\000\000\000\000\001\000\001" {
  cltt 4 2026/02/15 08:00:00;
  iaaddr 2001:db8::20 {
    binding state active;
    preferred-life 375;
    ends never;
  }
  iaaddr 2001:db8::21 { binding state expired; }
}
ia-pd "x" { iaprefix 2001:db8:1::/48 { binding state active; } }
lease 192.0.2.151 { starts 0 2026/02/15 08:00:00; ends 0 2026/02/16 08:00:00; binding state active; }
"""


def test_leases_of_ipv6_and_leases_that_ran_out(tmp_path: Path) -> None:
    """Addresses inside `ia-na` blocks are leases, delegated prefixes are not (dhcpd.leases(5)).

    A lease that expired before the last entry of the list still names a host (RFC 2131 section 2.2).
    """
    survey = survey_of(tmp_path, DHCPV6)
    assert [str(host.address) for host in survey.hosts] == ["192.0.2.150", "192.0.2.151", "2001:db8::20"]
    notes = [host.note for host in survey.hosts]
    assert notes[0] == "DHCP lease that expired on 2026-01-15: the address may still be in use"
    assert notes[1] == "DHCP lease until 2026-02-16"
    assert survey.skipped.count == 0


def test_generated_records_become_a_remark(tmp_path: Path) -> None:
    """`$GENERATE` names whole pools without hosts; it becomes a remark with its line."""
    survey = survey_of(tmp_path, "$ORIGIN line1.example.\n$GENERATE 10-20 pool-$ A 192.0.2.$\nplc-a A 192.0.2.5\n")
    assert [row[0] for row in rows(survey)] == ["192.0.2.5"]
    assert [str(one)[:45] for one in survey.skipped.first] == ["list.txt: line 2: $GENERATE is not supported;"]


@pytest.mark.parametrize("encoding", ["latin-1", "utf-8", "utf-8-sig", "utf-16", "utf-16-le"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
def test_names_beyond_ascii(tmp_path: Path, encoding: str, delimiter: str) -> None:
    """Latin-1, which older office programs write, and both Unicode encodings keep every letter of a name."""
    text = "IP-Adresse,Hostname,MAC-Adresse\r\n192.0.2.5,k\u00fchlraum-t\u00fcr,0:0:5e:0:53:14\r\n".replace(
        ",", delimiter
    )
    (host,) = survey_of(tmp_path, text.encode(encoding), name="list.csv").hosts
    assert (host.name, str(host.mac), host.line) == ("k\u00fchlraum-t\u00fcr", "00-00-5E-00-53-14", 2)


def test_merged_title_rows_above_a_workbooks_header(tmp_path: Path) -> None:
    """A merged title and a blank row above the header become remarks."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Hosts of the plant, as of week 44"])
    sheet.merge_cells("A1:C1")
    sheet.append(["Hall 2", None, "Hall 3"])
    sheet.merge_cells("A2:B2")
    sheet.append([])
    sheet.append(["IP address", "MAC", "Host name"])
    sheet.append(["192.0.2.5", "0:0:5e:0:53:14", "cam-1"])
    sheet.append(["192.0.2.6", "unknown", None])
    book.save(tmp_path / "list.xlsx")
    survey = survey_of(tmp_path, (tmp_path / "list.xlsx").read_bytes(), name="list.xlsx")
    assert (survey.kind, rows(survey)) == ("xlsx", [("192.0.2.5", "14", 5), ("192.0.2.6", "", 6)])
    assert [one.position.at for one in survey.addressless.first] == ["sheet Sheet, row 1", "sheet Sheet, row 2"]


# Lines captured on Linux; the shapes of Windows and macOS are from public samples.
@pytest.mark.parametrize(
    ("text", "found"),
    [
        (
            IP,
            [
                ("192.0.2.22", "16", 2),
                ("192.0.2.20", "14", 3),
                ("2001:db8::20", "14", 4),
                ("192.0.2.99", "", 5),
                ("192.0.2.24", "18", 6),
            ],
        ),
        (IP_JSON, [("192.0.2.20", "14", 2), ("2001:db8::20", "14", 3)]),
        (ARP_LINUX, [("192.0.2.22", "16", 2), ("192.0.2.99", "", 3)]),
        (ARP_COLUMNS, [("192.0.2.20", "14", 2)]),
        (PROC, [("192.0.2.22", "16", 1)]),
        (WINDOWS, [("192.0.2.20", "14", 4), ("192.0.2.21", "15", 5)]),
        (MACOS, [("192.0.2.20", "14", 1)]),
        (BSD, [("192.0.2.20", "14", 1)]),
    ],
    ids=["ip", "ip-json", "arp-linux", "arp-columns", "proc", "windows-german", "macos", "bsd"],
)
def test_neighbours(tmp_path: Path, text: str, found: list[tuple[str, str, int]]) -> None:
    """Entries without an answer, multicast and broadcast addresses are no hosts; short octets are padded."""
    survey = survey_of(tmp_path, text)
    assert survey.kind == "neighbours"
    assert rows(survey)[: len(found)] == found
    assert len(survey.hosts) == len(found) + (text is IP)
    assert survey.skipped.count == survey.unread.count == 0


@pytest.mark.parametrize(
    ("text", "address"),
    [(IP, "192.0.2.22"), (IP, "192.0.2.99"), (IP, "192.0.2.24"), (ARP_LINUX, "192.0.2.22"), (WINDOWS, "192.0.2.21")],
)
def test_a_static_entry_is_no_evidence(tmp_path: Path, text: str, address: str) -> None:
    """The note says that an entry is permanent, published or static."""
    notes = {str(host.address): host.note for host in survey_of(tmp_path, text).hosts}
    assert "no evidence" in notes[address]
    assert "no evidence" not in notes.get("192.0.2.20", "")


def test_windows_in_utf_16(tmp_path: Path) -> None:
    """Windows PowerShell redirects into UTF-16; common practice, no source."""
    survey = survey_of(tmp_path, WINDOWS.replace("\n", "\r\n").encode("utf-16"))
    assert rows(survey) == [("192.0.2.20", "14", 4), ("192.0.2.21", "15", 5)]


def test_hosts_file(tmp_path: Path) -> None:
    """hosts(5): further names and the comment become the note; the computer's own addresses are no hosts."""
    text = "127.0.0.1 localhost\nfe80::1%lo0 localhost\n192.0.2.20 plc-a.line1.example plc-a # panel 3\n"
    text += "192.0.2.21\thmi-a\n2001:db8::20 plc-a\n"
    survey = survey_of(tmp_path, text)
    assert (survey.kind, [row[0] for row in rows(survey)]) == ("hosts", ["192.0.2.20", "192.0.2.21", "2001:db8::20"])
    first = next(iter(survey.hosts))
    assert (first.name, first.note, first.where) == ("plc-a.line1.example", "alias plc-a; panel 3", "list.txt: line 3")


_SAMPLES = {
    "zone": "$ORIGIN x.\n" + ISI,
    "leases": LEASES,
    "neighbours": IP + WINDOWS + MACOS + PROC,
    "json": IP_JSON,
    "hosts": "192.0.2.20 plc-a # x\n",
}


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(sorted(_SAMPLES)), st.integers(0, 1500), st.integers(0, 40), st.binary(max_size=40))
def test_mutated_files_are_read_or_refused(tmp_path: Path, kind: str, at: int, gone: int, junk: bytes) -> None:
    """A file that is cut, padded or changed anywhere gives a refusal or remarks, whatever kind is recognised."""
    data = _SAMPLES[kind].encode()
    try:
        survey = survey_of(tmp_path, data[:at] + junk + data[at + gone :], "neighbours" if kind == "json" else kind)
    except NetcheckError as error:
        assert str(error)  # noqa: PT017 - both outcomes are correct, each is checked
        return
    assert len(list(survey.hosts)) == len(survey.hosts)


def test_json_that_nests_without_end_is_refused(tmp_path: Path) -> None:
    """Deep nesting gives a message, not a stack overflow."""
    with pytest.raises(NetcheckError, match="an object in it is broken"):
        survey_of(tmp_path, '[{"dst": ' + "[" * 200_000, "neighbours")
