"""A messy device list becomes a plan in one command, and a plan without conflicts after a few corrections."""

from __future__ import annotations

import csv
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netcheck.errors import UsageError
from netcheck.intake.device_list import intake_from, plan_files, sheets_of, to_text
from netcheck.intake.titles import mapping_from
from netcheck.plan.model import Plan
from netcheck.plan.read import read_plan
from netcheck.plan.write.new_plan import workbook_of
from tests.command_line import netcheck
from tests.intake.messy_list import write


@pytest.fixture(scope="module", params=["plan", "plan.xlsx"])
def made(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, str]:
    """Return the plan of the messy list as a folder and as a workbook, and the printed text."""
    folder = tmp_path_factory.mktemp("list")
    write(folder / "list.xlsx")
    run = netcheck("new", request.param, "--from", "list.xlsx", cwd=folder)
    assert (run.returncode, run.stderr) == (0, "")
    return read_plan(folder / request.param), run.stdout


def test_no_row_is_lost(made: tuple[Plan, str]) -> None:
    """The sheets have 34, 22 and 9 rows of devices.

    One row has two addresses in a cell, and four rows have an address in each of two columns. The cover, which has
    addresses, is no list of devices.
    """
    plan, printed = made
    assert len(plan.interfaces) == 70
    assert "70 interfaces of 64 devices, 3 without an address, in 3 subnets" in printed
    assert 'sheet "Cover": it has no row with titles of a device list; it is left out' in printed
    assert 'sheet "Contacts": it has no row with titles of a device list; it is left out' in printed
    assert '"Filling line" is a heading' in printed


def test_columns_are_recognised_in_two_languages(made: tuple[Plan, str]) -> None:
    """Tags of IEC 81346 are kept as they are; further columns are kept under their titles, and so is the heading."""
    drive = made[0].interface_named["=F1+UH2-T3/lan"]
    assert (drive.kind, drive.location, drive.description) == ("drive", "+UH2", "Drive 3")
    assert drive.host_name is not None
    assert drive.switch_port is not None
    assert (drive.host_name.text, drive.switch_port.text) == ("drive-3", "sw-2/3")
    assert drive.extra == (("Kabel", "W3"), ("group", "Filling line"))
    plc = made[0].interface_named["=F1+UH1-K1/lan"]
    assert (str(plc.mac and plc.mac.value), plc.remark) == ("00-00-5E-00-53-01", "spare in store")


def test_subnets_are_made_of_addresses_masks_and_gateways(made: tuple[Plan, str]) -> None:
    """A single wrong mask makes no subnet; it is kept, and the check reports it."""
    found = [(str(one.prefix.value), str(one.gateway.value) if one.gateway else "") for one in made[0].subnets]
    assert found == [("10.62.20.0/24", "10.62.20.1"), ("10.62.30.0/24", "10.62.30.1"), ("192.168.5.0/24", "")]
    robot = made[0].interface_named["=P1+UH3-K2/lan"]
    assert robot.mask is not None
    assert robot.mask.text == "255.255.0.0"


def test_two_addresses_are_two_interfaces(made: tuple[Plan, str]) -> None:
    """The second address is in a row without a device, in the same cell, or in a column that names the interface."""
    named = made[0].interface_named
    texts = {subject: one.address.text for subject, one in named.items() if one.address}
    assert (texts["=F1+UH1-K1/lan"], texts["=F1+UH1-K1/lan-2"]) == ("10.62.20.61", "10.62.30.61")
    assert (texts["=F1+UH1-K2/lan"], texts["=F1+UH1-K2/lan-2"]) == ("10.62.20.62", "10.62.30.62")
    assert (texts["U-01/pn"], texts["U-01/office"]) == ("10.62.20.201", "192.168.5.1")
    assert "U-05/office" not in named


def test_typed_notations_of_values(made: tuple[Plan, str]) -> None:
    """DHCP, unknown values, decimal commas and a length after the address are read; ambiguous values are kept."""
    named = made[0].interface_named
    assert (named["=F1+UH1-A1/lan"].dhcp, named["=F1+UH1-A1/lan"].address) == (True, None)
    assert (named["=F1+UH1-A2/lan"].address, named["=F1+UH1-A3/lan"].address, named["U-21/pn"].address) == (None,) * 3
    printer, packer, camera = (named[one] for one in ("=F1+UH1-A5/lan", "=P1+UH3-K1/lan", "=F1+UH1-A4/lan"))
    assert str(printer.address and printer.address.value) == "10.62.20.65"
    assert (str(packer.address and packer.address.value), packer.mac) == ("10.62.30.70", None)
    assert camera.address is not None
    assert (camera.address.text, camera.address.value) == ("10.62.20.064", None)


def test_a_sheet_of_another_layout_and_language(made: tuple[Plan, str]) -> None:
    """It has titles in two rows, host names in place of tags, separate switch and port, and words around an address."""
    named = made[0].interface_named
    drive, plc, scanner = (named[f"rob-{one}/lan"] for one in ("drv-03", "plc", "scanner"))
    assert drive.address is not None
    assert drive.switch_port is not None
    assert (drive.address.text, drive.subnet, drive.switch_port.text) == ("10.62.30.153", plc.subnet, "SW-R/1/3")
    assert plc.address is not None
    assert (plc.address.text, plc.remark) == ("10.62.30.160", "see mail of October; list: 10.62.30.160 (changed)")
    assert (scanner.dhcp, scanner.remark) == (True, "list: via DHCP")
    assert drive.extra == (("No.", "3"), ("Order no.", "X-103"))
    assert 'sheet "Robot cell (supplier)", no column names the devices; "Station name" is used' in made[1]


def test_the_list_becomes_a_clean_plan_with_five_corrections(tmp_path: Path) -> None:
    """One command makes the plan; five cells are corrected and a MAC is added.

    One command then gives addresses to the other interfaces and to the second of two with the same address. No conflict
    is left.
    """
    write(tmp_path / "list.xlsx")
    assert netcheck("new", "plan", "--from", "list.xlsx", cwd=tmp_path).returncode == 0
    first = netcheck("check", "plan", "--format", "csv", cwd=tmp_path)
    conflicts = [row for row in csv.DictReader(first.stdout.splitlines()) if row["severity"] == "conflict"]
    assert len(conflicts) == 7
    table = tmp_path / "plan" / "interfaces.csv"
    text = table.read_text("utf-8")
    for wrong, right in (
        ("10.62.20.064", "10.62.20.64"),
        ("2026-07-01", "sw-1/7"),
        ("255.255.0.0", "255.255.255.0"),
        ("10.62.20.2222", "10.62.20.222"),
        ("10.62.30.16l", "10.62.30.161"),
        ("dhcp,,,,rob-scanner", "dhcp,,,00-00-5E-00-53-08,rob-scanner"),
    ):
        assert text.count(wrong) == 1
        text = text.replace(wrong, right)
    table.write_text(text, "utf-8")
    moved = netcheck("suggest", "plan", "--write", cwd=tmp_path)
    assert (moved.returncode, "rob-gate/lan" in moved.stdout) == (0, True)
    clean = netcheck("check", "plan", cwd=tmp_path)
    assert (clean.returncode, "0 conflicts" in clean.stdout) == (0, True)


def listed(folder: Path, text: str, *maps: str) -> Plan:
    """Return the plan of a list in CSV form."""
    (folder / "list.csv").write_text(text, "utf-8")
    words = [word for one in maps for word in ("--map", one)]
    run = netcheck("new", "plan", "--from", "list.csv", *words, cwd=folder)
    assert run.returncode == 0, run.stderr
    return read_plan(folder / "plan")


GERMAN = """IP-Liste Linie 3;;;;;;;;;;
;;;;;;;;;;
BMK;Bezeichnung;Gerätetyp;Schaltschrank;IP-Adresse;Subnetzmaske;Standardgateway;MAC-Adresse;Switch/Port;Bemerkung;Firma
Abfüllung;;;;;;;;;;
=A1+S1-K1;Steuerung;SPS;+S1;10.20.3.10;255.255.255.0;10.20.3.1;00:00:5E:00:53:01;SW1/1;;intern
=A1+S1-K2;Panel;Bediengerät;;.11;24;10.20.3.1;;SW1/2;bestellt;
=A1+S1-T2;FU 2;Antrieb;+S2;10.20.3.013;255.255.255.0;;;;;
=A1+S1-T3;FU 3;Antrieb;;frei;;;;;;
=A1+S1-T4;FU 4;Antrieb;;DHCP;;;00-00-5E-00-53-04;;;
=A1+S1-T5;FU 5;Antrieb;;10.20.3.15/24;;;;;;
=A1+S1-R1;Router;Router;+S9;10.20.3.1;255.255.255.0;;;;;
;Router, außen;;;10.20.4.7;255.255.255.0;10.20.4.1;;;;
Summe;8;;;;;;;;;
"""


@pytest.mark.parametrize("name", ["plan", "plan.xlsx"])
def test_an_exported_german_list(tmp_path: Path, name: str) -> None:
    """It has semicolons, a legacy code page, short addresses, a router, words for an unknown address, and a total."""
    (tmp_path / "list.csv").write_bytes(GERMAN.encode("cp1252"))
    run = netcheck("new", name, "--from", "list.csv", cwd=tmp_path)
    assert run.returncode == 0, run.stderr
    plan = read_plan(tmp_path / name)
    assert len(plan.interfaces) == 8
    panel, open_drive, router = (plan.interface_named[f"=A1+S1-{one}/lan"] for one in ("K2", "T3", "R1"))
    assert (panel.address and panel.address.text, panel.kind, panel.location) == ("10.20.3.11", "Bediengerät", "+S1")
    assert open_drive.address is None
    assert (router.kind, plan.interface_named["=A1+S1-R1/lan-2"].kind) == ("Router", "Router")
    assert [(one.name, [cell.text for cell in one.interfaces]) for one in plan.routers] == [
        ("=A1+S1-R1", ["10.20.3.1/24", "10.20.4.7/24"])
    ]
    guessed, unread = run.stdout.partition("Guessed")[2].split("Not read:")
    for words in (
        'row 6: ".11" is completed to 10.20.3.11 from the address above',
        'row 8: "frei" is taken for an address not known yet',
        "row 7, 8, 9: no readable address; subnet",
        'row 11: "=A1+S1-R1" has the address of a gateway and is treated as a router',
    ):
        assert words in guessed
    assert "row 7: the address cannot be read and is kept as it is: '10.20.3.013' has an octet" in unread
    assert "row 13: it is taken for a total: Summe, 8" in unread
    first = netcheck("check", name, "--format", "csv", cwd=tmp_path)
    conflicts = [row for row in csv.DictReader(first.stdout.splitlines()) if row["severity"] == "conflict"]
    assert [row["rule"] for row in conflicts] == ["unreadable-value"]


def test_map_overrules_the_titles(tmp_path: Path) -> None:
    """The options name an unknown title, a title with another meaning, and a column to leave out."""
    text = "Anlagenteil;Name;Nummer;Intern\nM1;10.0.0.5;10.0.0.1;x\nM2;10.0.0.6;10.0.0.1;y\n"
    maps = ("Anlagenteil=device", "Name=address", "Nummer=gateway", "intern=-")
    plan = listed(tmp_path, text, *maps)
    first = plan.interface_named["M1/lan"]
    assert (str(first.address and first.address.value), first.extra) == ("10.0.0.5", ())
    assert str(plan.subnets[0].gateway and plan.subnets[0].gateway.value) == "10.0.0.1"


def test_columns_are_recognised_by_their_cells(tmp_path: Path) -> None:
    """Addresses and MACs are recognised without a known title."""
    text = "Tag,Erste Spalte,Zweite\na,10.0.0.5,00:00:5e:00:53:01\nb,10.0.0.6,00:00:5e:00:53:02\n"
    one = listed(tmp_path, text).interface_named["b/lan"]
    assert (str(one.address and one.address.value), str(one.mac and one.mac.value)) == ("10.0.0.6", "00-00-5E-00-53-02")


def test_a_list_without_any_address(tmp_path: Path) -> None:
    """The prefix of its subnet is not known yet, and its text for the network is kept."""
    plan = listed(tmp_path, "Tag,Description,Network\na,Filler,machine\nb,Capper,machine\n")
    assert [(one.name, one.prefix.text) for one in plan.subnets] == [("machine", "tbd")]
    assert list(plan.interface_named) == ["a/lan", "b/lan"]


def test_a_further_column_with_the_name_of_a_key(tmp_path: Path) -> None:
    """It gets another title, so that it does not become a key of the plan."""
    plan = listed(tmp_path, "Tag,IP,Behind,grant,mask6\na,10.0.0.5,b,c,d\n")
    assert plan.interfaces[0].extra == (("list: Behind", "b"), ("list: grant", "c"), ("list: mask6", "d"))


@pytest.mark.parametrize("text", ["=cmd|'/C calc'!A0", "@SUM(A1)", "+1", "-2"])
def test_no_formula_gets_into_a_file(tmp_path: Path, text: str) -> None:
    """A tag that begins like a formula is guarded in CSV and text in a workbook; both plans have the same tag."""
    (tmp_path / "list.csv").write_text(f"Tag,IP\n{text},10.0.0.5\n")
    for name in ("plan", "plan.xlsx"):
        assert netcheck("new", name, "--from", "list.csv", cwd=tmp_path).returncode == 0
        assert [one.device for one in read_plan(tmp_path / name).interfaces] == [text]
    assert f"\n'{text}" in (tmp_path / "plan" / "interfaces.csv").read_text().replace('"', "")
    cell = openpyxl.load_workbook(tmp_path / "plan.xlsx")["interfaces"]["A2"]
    assert (cell.value, cell.data_type) == (text, "s")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no recognisable table of devices"),
        (b"Who,Phone\nx,1\n", 'Name its columns, for example --map "Tag=device"'),
        (b"\0\1\2\3" * 50, "is not text"),
        (b"PK\x03\x04broken", "cannot be read as a workbook"),
    ],
    ids=["empty", "another", "binary", "broken"],
)
def test_a_file_that_is_no_list_is_refused(tmp_path: Path, data: bytes, words: str) -> None:
    """The message says what to do, and nothing is written."""
    (tmp_path / "list.csv").write_bytes(data)
    run = netcheck("new", "plan", "--from", "list.csv", cwd=tmp_path)
    assert (run.returncode, words in run.stderr, "Traceback" in run.stderr) == (2, True, False)
    assert not (tmp_path / "plan").exists()


@pytest.mark.parametrize("text", ["Tag", "=device", "Tag=colour"])
def test_a_wrong_map_is_refused(text: str) -> None:
    """The message lists the fields."""
    with pytest.raises(UsageError, match="host-name"):
        mapping_from([text])


def test_any_text_is_read_or_refused(tmp_path: Path) -> None:
    """Rows may be longer than the titles, blank or repeated titles, and may have an open quote."""
    text = 'Tag,IP\na,10.0.0.5,surplus\n , \nTag,IP\nb,"10.0.0.6\nc,10.0.0.7\n'
    (tmp_path / "list.csv").write_text(text)
    intake = intake_from([tmp_path / "list.csv"], {})
    assert [one.interface.device for one in intake.interfaces][:2] == ["a", "b"]
    assert intake.interfaces[0].interface.extra == (("column 3", "surplus"),)


CELLS = st.sampled_from(
    [
        *("", "a", "b-1", "=A1", "Tag", "IP", "10.0.0.5", "10.0.0.6/24", "10.0.0.7 / 10.1.0.7", "fe80::1"),
        *("2001:db8::5/64", "255.255.255.0", "255.255.0.255", "24", "/33", "dhcp", "tbd", "00:00:5e:00:53:01"),
        *(
            "x/y:1",
            "Gateway",
            "VLAN",
            "\u00e9\u4e2d",
            "10.0.0.256",
            "99999",
            "0.0.0.0/0",
            '"',
            "a\nb",
            " ",
            "site",
            "vlan 20",
        ),
    ]
)
TITLES = st.sampled_from(
    [
        "Tag",
        "IP",
        "IP address",
        "Mask",
        "Gateway",
        "MAC",
        "Name",
        "VLAN",
        "Network",
        "Port",
        "Ports",
        "Slot",
        "x",
        "",
        "Behind",
    ]
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(TITLES, min_size=1, max_size=6), st.lists(st.lists(CELLS, max_size=7), max_size=8))
def test_any_list_gives_a_sound_plan_or_a_message(tmp_path: Path, titles: list[str], rows: list[list[str]]) -> None:
    """Whatever the cells hold, the plan has no structural fault, as a folder and as a workbook."""
    with (tmp_path / "list.csv").open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows([titles, *rows])
    try:
        intake = intake_from([tmp_path / "list.csv"], {})
    except UsageError:
        return
    for name, text in plan_files(intake).items():
        (tmp_path / name).write_text(text, "utf-8")
    plan = read_plan(tmp_path)
    assert len(plan.interfaces) == len(intake.interfaces)
    assert to_text(intake)
    (tmp_path / "plan.xlsx").write_bytes(workbook_of(sheets_of(intake), ["too-near"]))
    assert [one.subject for one in read_plan(tmp_path / "plan.xlsx").interfaces] == list(plan.interface_named)
