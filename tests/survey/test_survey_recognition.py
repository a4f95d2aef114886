"""The kind of a survey file is recognised in every encoding and line end, and with lines of other kinds in it."""

from __future__ import annotations

import codecs
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from netcheck.errors import NetcheckError
from netcheck.plan.model import Position, SurveyEntry
from netcheck.survey.model import Survey
from netcheck.survey.read import read_survey

A, B = "00-00-5E-00-53-14", "00-00-5E-00-53-15"
MACS = [("192.0.2.20", A), ("192.0.2.21", B)]
NAMES = [("192.0.2.20", "plc-a"), ("192.0.2.21", "hmi-a")]
TABLE = "IP Address,MAC Address,Name\n192.0.2.20,00-00-5E-00-53-14,plc-a\n192.0.2.21,00:00:5e:00:53:15,hmi-a\n"
GERMAN = TABLE.replace(",", ";").replace("IP Address;MAC Address;Name", "IP-Adresse;MAC-Adresse;Rechnername")
FRENCH = TABLE.replace(",", "\t").replace("IP Address\tMAC Address\tName", "Adresse IP\tAdresse MAC\tNom")
# Shapes: hosts(5), RFC 1035 section 5, dhcpd.leases(5), ip-neighbour(8), public samples of
# `arp -a`; the columns of OpenBSD and of `arp -l` on macOS are from memory.
SAMPLES = {
    "csv": TABLE,
    "csv, own titles": TABLE.replace("IP Address,MAC Address,Name", "address,mac,name"),
    "csv, semicolons, German": f"Netzliste Halle 3\n\n{GERMAN}",
    "csv, tabs, French": FRENCH,
    "hosts": "127.0.0.1 localhost\n192.0.2.20\tplc-a plc-a.line1.example\n192.0.2.21 hmi-a\n",
    "zone": "$TTL 3600\nplc-a 3600 IN A 192.0.2.20\nhmi-a A 192.0.2.21\n",
    "leases": r"""lease 192.0.2.20 {
  hardware ethernet 00:00:5e:00:53:14;
  uid "\001\000}\"";
  binding state active;
}
lease 192.0.2.21 {
  binding state active;
  hardware ethernet 0:0:5e:0:53:15;
}
""",
    "neighbours, ip": """192.0.2.20 dev eth0 lladdr 00:00:5e:00:53:14 STALE
192.0.2.21 dev eth0 lladdr 00:00:5e:00:53:15 DELAY
""",
    "neighbours, ip -j": """[{"dst":"192.0.2.20","dev":"eth0","lladdr":"00:00:5e:00:53:14","state":["REACHABLE"]},
{"dst":"192.0.2.21","dev":"eth0","lladdr":"00:00:5e:00:53:15","router":null,"state":["STALE"]}]
""",
    "neighbours, ip -j -p": """[ {
    "dst": "192.0.2.20",
    "lladdr": "00:00:5e:00:53:14"
  },{
    "dst": "192.0.2.21",
    "lladdr": "00:00:5e:00:53:15"
  } ]
""",
    "neighbours, Windows, Spanish": """
Interfaz: 192.0.2.10 --- 0xb
  Direcci\u00f3n de Internet          Direcci\u00f3n f\u00edsica      Tipo
  192.0.2.20            00-00-5e-00-53-14     din\u00e1mico
  192.0.2.21            00-00-5e-00-53-15     din\u00e1mico
""",
    "neighbours, macOS": """? (192.0.2.20) at 0:0:5e:0:53:14 on en0 ifscope [ethernet]
? (192.0.2.21) at 0:0:5e:0:53:15 on en0 ifscope [ethernet]
""",
    "neighbours, macOS -l": """Neighbor                Linklayer Address Expire(O) Expire(I)    Netif Refs Prbs
192.0.2.20              0:0:5e:0:53:14    1m9s      1m9s          en0    1
192.0.2.21              0:0:5e:0:53:15    expired   1m9s          en0    1
""",
    "neighbours, OpenBSD": """Host                                 Ethernet Address    Netif Expire    Flags
192.0.2.9                            (incomplete)          em0 expired
192.0.2.20                           00:00:5e:00:53:14     em0 19m58s
192.0.2.21                           00:00:5e:00:53:15     em0 permanent s
""",
    "neighbours, /proc": """IP address       HW type     Flags       HW address            Mask     Device
192.0.2.20       0x1         0x2         00:00:5e:00:53:14     *        eth0
192.0.2.21       0x1         0x2         00:00:5e:00:53:15     *        eth0
""",
}
DISGUISES: dict[str, Callable[[str], bytes]] = {
    "UTF-8 with its mark": lambda text: codecs.BOM_UTF8 + text.encode(),
    "UTF-16, little end first": lambda text: codecs.BOM_UTF16_LE + text.encode("utf-16-le"),
    "UTF-16, big end first": lambda text: codecs.BOM_UTF16_BE + text.encode("utf-16-be"),
    "UTF-16 without mark": lambda text: text.encode("utf-16-le"),
    "Windows-1252": lambda text: text.encode("cp1252"),
    "CRLF": lambda text: text.replace("\n", "\r\n").encode(),
    "blank lines above": lambda text: f"\n \n\t\n{text}".encode(),
    "no end of line": lambda text: text.rstrip().encode(),
}


def survey_of(folder: Path, data: bytes, kind: str = "") -> Survey:
    """Return the survey of a file with these bytes; its kind is recognised unless `kind` names it."""
    (folder / "list").write_bytes(data)
    return read_survey(SurveyEntry(file="list", position=Position("plan.toml"), kind=kind), folder)


@pytest.mark.parametrize("disguise", DISGUISES.values(), ids=list(DISGUISES))
@pytest.mark.parametrize("sample", SAMPLES)
def test_every_kind_in_every_encoding(sample: str, disguise: Callable[[str], bytes], tmp_path: Path) -> None:
    """The kind is recognised, and every host is read with its MAC or its name."""
    survey = survey_of(tmp_path, disguise(SAMPLES[sample]))
    assert survey.kind == sample.partition(",")[0]
    assert survey.skipped.count == 0
    if survey.kind not in {"zone", "hosts"}:
        assert [(str(host.address), str(host.mac)) for host in survey.hosts] == MACS
    if survey.kind in {"csv", "zone", "hosts"}:
        assert [(str(host.address), host.name) for host in survey.hosts] == NAMES


TRAPS = {
    "a zone's directive": "$INCLUDE /etc/passwd,,panel 3",
    "a zone's entry": "plc-b IN A 192.0.2.9,,panel 3",
    "a start of authority": "@ IN SOA ns hostmaster,,panel 3",
    "a lease": "lease 192.0.2.9 {,,\nlease 192.0.2.9\nserver-duid x,,",
    "the mark of a lease file": "authoring-byte-order little,,",
    "a neighbour": "? (192.0.2.9) at 0:0:5e:0:53:9 on en0,,",
    "Windows' heading": "Interface: 192.0.2.10 --- 0xb\n",
    "many hosts lines": "\n".join(f"192.0.3.{number} h{number}" for number in range(40)),
}


@pytest.mark.parametrize("trap", TRAPS.values(), ids=list(TRAPS))
@pytest.mark.parametrize("delimiter", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
def test_a_table_with_titles_is_a_table_whatever_its_cells_hold(trap: str, delimiter: str, tmp_path: Path) -> None:
    """Rows may begin like lines of another kind; every row of the table is still read."""
    text = (TABLE + trap + "\n").replace(",", delimiter)
    survey = survey_of(tmp_path, text.encode())
    assert survey.kind == "csv"
    assert {(str(host.address), str(host.mac)) for host in survey.hosts if host.mac} == set(MACS)


def test_a_text_that_begins_with_the_line_ends_of_pcapng_is_a_text(tmp_path: Path) -> None:
    """The mark of a pcapng section is four line ends (draft-ietf-opsawg-pcapng section 4.1); a text may have them."""
    survey = survey_of(tmp_path, b"\n\r\r\n" + TABLE.encode())
    assert survey.kind == "csv"
    assert {(str(host.address), str(host.mac)) for host in survey.hosts if host.mac} == set(MACS)


@pytest.mark.parametrize("sample", [name for name in SAMPLES if not name.startswith("csv")])
def test_a_title_row_in_a_comment_makes_no_table(sample: str, tmp_path: Path) -> None:
    """Comments, after a semicolon in zones and a number sign in hosts files, do not decide the kind."""
    mark = ";" if sample == "zone" else "#"
    text = SAMPLES[sample]
    if "-j" not in sample:  # JSON has no comments
        text = f"{mark} ip; mac; name\n{text}"
    if sample == "zone":
        text = text.replace("192.0.2.20", "192.0.2.20 ; ip address; name; note")
    survey = survey_of(tmp_path, text.encode())
    assert survey.kind == sample.partition(",")[0]
    assert [str(host.address) for host in survey.hosts] == ["192.0.2.20", "192.0.2.21"]


def test_a_title_above_the_leases_does_not_hide_a_lease(tmp_path: Path) -> None:
    """Text before the first block, and a block that lost its semicolon, do not become part of the next block."""
    survey = survey_of(
        tmp_path, f"Leases of 2026-10-28\n{SAMPLES['leases']}binding state\n{SAMPLES['leases']}".encode()
    )
    assert [(str(host.address), host.line) for host in survey.hosts] == [("192.0.2.20", 12), ("192.0.2.21", 17)]


@pytest.mark.timeout(8)
@pytest.mark.parametrize("unit", ["1", "1.", "a", ":", ",", "{", "%"], ids=ascii)
@pytest.mark.parametrize("kind", ["", "hosts", "zone", "leases", "neighbours", "csv"])
def test_a_long_line_is_recognised_quickly(kind: str, unit: str, tmp_path: Path) -> None:
    """A pattern that tries every start and end would need the square of these 100,000 letters in time."""
    line = unit * (100_000 // len(unit)) + "!\n"
    with suppress(NetcheckError):
        survey_of(tmp_path, f"192.0.2.20 {line}{line}".encode(), kind)
    assert (tmp_path / "list").stat().st_size == 2 * len(line) + 11
