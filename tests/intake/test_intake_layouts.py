"""Device lists in further layouts: titles in two rows or none, numbered titles, masks under "Subnet", several machines.

The layouts are common practice, no source. Names and addresses are invented.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from netcheck.errors import UsageError
from netcheck.intake.device_list import Intake, intake_from, to_text


def netcheck(*words: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run the command line in a folder."""
    command = [sys.executable, "-m", "netcheck", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd, timeout=120)


def listed(folder: Path, text: str, mapped: dict[str, str] | None = None) -> Intake:
    """Return the intake of a list in CSV form."""
    (folder / "list.csv").write_text(text, "utf-8")
    return intake_from([folder / "list.csv"], mapped or {})


def rows(intake: Intake) -> list[tuple[str, str, str]]:
    """Return device, interface and address of each interface."""
    return [(one.interface.device, one.interface.interface, one.interface.address) for one in intake.interfaces]


def subnets(intake: Intake) -> list[tuple[str, str]]:
    """Return name and prefix of each subnet."""
    return [(one.name, str(one.prefix)) for one in intake.subnets]


def test_titles_in_two_rows(tmp_path: Path) -> None:
    """The upper row has more known titles than the lower one, and the lower one is shorter."""
    text = (
        "No.,Device,Network,,,,Place,Remark\n,,IP,Mask,Gateway,VLAN\n"
        "1,plc,10.70.4.20,23,10.70.4.1,70,S1,\n2,hmi,10.70.5.21,23,10.70.4.1,70,S1,new\n"
    )
    found = listed(tmp_path, text)
    assert rows(found) == [("plc", "lan", "10.70.4.20"), ("hmi", "lan", "10.70.5.21")]
    assert subnets(found) == [("vlan-70", "10.70.4.0/23")]
    assert found.interfaces[1].interface.values == {"place": "S1", "vlan": "70", "remark": "new"}


@pytest.mark.parametrize("title", ["Subnet", "Subnetz", "Network"])
def test_a_column_subnet_with_masks(tmp_path: Path, title: str) -> None:
    """The masks are not taken for names: a /25 must not become a /24."""
    found = listed(tmp_path, f"Device,IP,{title}\na,10.5.0.10,255.255.255.128\nb,,255.255.255.128\n")
    assert subnets(found) == [("net-10-5-0-0", "10.5.0.0/25")]
    assert [one.interface.mask for one in found.interfaces] == ["255.255.255.128"] * 2


def test_a_column_network_with_prefixes(tmp_path: Path) -> None:
    """The prefixes give the length, even if a row has no address."""
    found = listed(tmp_path, "Device,IP,Network\na,10.5.0.10,10.5.0.0/22\nb,,10.6.0.0/25\n")
    assert [prefix for _, prefix in subnets(found)] == ["10.5.0.0/22", "10.6.0.0/25"]


def test_a_column_network_with_addresses(tmp_path: Path) -> None:
    """Without another column of addresses, they are the addresses of the devices."""
    assert rows(listed(tmp_path, "Device,Network\na,10.5.0.10\nb,10.5.0.11\n"))[0] == ("a", "lan", "10.5.0.10")


def test_numbered_titles(tmp_path: Path) -> None:
    """With titles `IP 1`, `IP 2` and so on, each address has the mask and the MAC with the same number."""
    text = (
        "Device;IP 1;IP 2;Mask 1;Mask 2;MAC X1;MAC X2\n"
        "plc;10.5.0.10;10.6.0.10;24;25;00-00-5E-00-53-01;00-00-5E-00-53-02\nhmi;10.5.0.11;;24;;;\n"
    )
    found = listed(tmp_path, text)
    assert rows(found) == [("plc", "1", "10.5.0.10"), ("plc", "2", "10.6.0.10"), ("hmi", "1", "10.5.0.11")]
    assert [one.interface.mac[-1:] for one in found.interfaces] == ["1", "2", ""]
    assert [prefix for _, prefix in subnets(found)] == ["10.5.0.0/24", "10.6.0.0/25"]


def test_a_further_column_of_addresses_of_another_kind(tmp_path: Path) -> None:
    """If there is a column `IP`, a column `Address` with station numbers of a fieldbus is no column of addresses."""
    found = listed(tmp_path, "Device,Address,IP\na,5,10.5.0.10\nb,6,10.5.0.11\n")
    assert rows(found) == [("a", "lan", "10.5.0.10"), ("b", "lan", "10.5.0.11")]
    assert found.interfaces[0].interface.extra == (("Address", "5"),)


def test_a_list_by_address(tmp_path: Path) -> None:
    """The device follows the address; an address without a device is no second interface of the device above."""
    text = "IP address;Used by;Remark\n10.5.0.1;Gateway;\n10.5.0.2;;free\n10.5.0.3;PLC;\n10.5.0.4;;\n10.5.0.5;HMI;\n"
    found = listed(tmp_path, text)
    assert rows(found) == [("Gateway", "lan", "10.5.0.1"), ("PLC", "lan", "10.5.0.3"), ("HMI", "lan", "10.5.0.5")]
    assert found.remarks.unread == [
        "row 3: it has an address but no device; it is left out: 10.5.0.2 free",
        "row 5: it has an address but no device; it is left out: 10.5.0.4",
    ]


@pytest.mark.parametrize(
    ("titles", "address", "earlier"),
    [
        ("Device;IP old;IP new", "10.5.0.11", "IP old"),
        ("Device;IP-Adresse neu;IP-Adresse alt", "10.5.0.10", "IP-Adresse alt"),
        ("Device;IP;IP (planned)", "10.5.0.11", "IP"),
        ("Device;IP Ist;IP Soll", "10.5.0.11", "IP Ist"),
    ],
)
def test_earlier_addresses_are_no_interfaces(tmp_path: Path, titles: str, address: str, earlier: str) -> None:
    """They are kept under their titles, and the report says so."""
    found = listed(tmp_path, f"{titles}\na;10.5.0.10;10.5.0.11\n")
    assert rows(found) == [("a", "lan", address)]
    assert [title for title, _ in found.interfaces[0].interface.extra] == [earlier]
    assert any(f'the column "{earlier}" has earlier values' in one for one in found.remarks.guessed)


def test_columns_of_masks_and_devices_are_recognised_by_their_cells(tmp_path: Path) -> None:
    """If no title is known, a /25 must not become a /24, and the devices must keep their names."""
    text = "IP,Sub Mask,Wer\n10.5.0.10,255.255.255.128,plc\n10.5.0.11,255.255.255.128,hmi\n"
    found = listed(tmp_path, text)
    assert subnets(found) == [("net-10-5-0-0", "10.5.0.0/25")]
    assert [device for device, _, _ in rows(found)] == ["plc", "hmi"]


def test_switch_and_port_in_two_columns(tmp_path: Path) -> None:
    """Both columns together give the switch port; the port is no interface of the device."""
    found = listed(tmp_path, "Device,IP,Switch,Port\na,10.5.0.10,SW-A,1/3\nb,10.5.0.11,SW-A,1/4\n")
    assert [one.interface.values["switch-port"] for one in found.interfaces] == ["SW-A/1/3", "SW-A/1/4"]
    assert rows(found)[0] == ("a", "lan", "10.5.0.10")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("10.5.0.10,plc,255.255.255.128\n10.5.0.11,hmi,255.255.255.128\n", ["plc", "hmi"]),
        ("1;plc;10.5.0.10;10.5.0.1;24\n2;hmi;10.5.0.11;10.5.0.1;24\n", ["plc", "hmi"]),
        ("List of October\nplc\t00:00:5e:00:53:01\t10.5.0.10\nhmi\t\t10.5.0.11\n", ["plc", "hmi"]),
    ],
    ids=["mask", "gateway", "tabs"],
)
def test_a_list_without_titles(tmp_path: Path, text: str, expected: list[str]) -> None:
    """Columns are recognised by their cells, and the report shows each guess with the option that overrules it."""
    found = listed(tmp_path, text)
    placed = [row for row in rows(found) if row[2]]
    assert [device for device, _, _ in placed] == expected
    assert [address for _, _, address in placed] == ["10.5.0.10", "10.5.0.11"]
    assert any("no row of titles" in one and '--map "' in one for one in found.remarks.guessed)


def test_a_list_without_titles_and_a_map(tmp_path: Path) -> None:
    """`--map` names the columns by number."""
    found = listed(tmp_path, "x,tag,10.5.0.10\ny,tag2,10.5.0.11\n", {"2": "device", "1": "-"})
    assert rows(found) == [("tag", "lan", "10.5.0.10"), ("tag2", "lan", "10.5.0.11")]
    assert found.interfaces[0].interface.extra == ()


def test_a_text_with_few_addresses_is_no_list(tmp_path: Path) -> None:
    """If less than half of the rows have an address, nothing is guessed."""
    with pytest.raises(UsageError, match="no recognisable table of devices"):
        listed(tmp_path, "Range,10.5.0.0/24\nContact,x\nDay,y\nGateway,10.5.0.1\nHall,3\n")


@pytest.mark.parametrize(
    ("cell", "address", "mask", "remark"),
    [
        ("10.5.0.10 255.255.255.128", "10.5.0.10", "255.255.255.128", ""),
        ("10.5.0.10 (reserved)", "10.5.0.10", "", "list: 10.5.0.10 (reserved)"),
        ("10.5.0.10?", "10.5.0.10", "", "list: 10.5.0.10?"),
        ("via DHCP", "dhcp", "", "list: via DHCP"),
        ("DHCP 10.5.0.10", "dhcp", "", "list: DHCP 10.5.0.10"),
        ("kein DHCP", "kein DHCP", "", ""),
        ("n.v.", "", "", ""),
        ("noch offen", "", "", ""),
        ("10.5.0.101-103", "10.5.0.101-103", "", ""),
    ],
)
def test_words_around_an_address(tmp_path: Path, cell: str, address: str, mask: str, remark: str) -> None:
    """No part of a cell is lost, and a mask does not become an interface or a subnet."""
    found = listed(tmp_path, f"Device,IP,Remark\na,{cell},\nb,10.5.0.9,\n")
    first = found.interfaces[0].interface
    assert (first.address, first.mask, first.values.get("remark", "")) == (address, mask, remark)
    assert len(found.interfaces) == 2
    assert len(found.subnets) == 1


def test_a_range_of_addresses_says_what_to_do(tmp_path: Path) -> None:
    """The message has the number of addresses."""
    found = listed(tmp_path, "Device,IP\na,10.5.0.101-103\nb,10.5.0.9\n")
    assert any("is a range of 3 addresses; give each interface its own row" in one for one in found.remarks.unread)


def test_one_tag_in_several_machines(tmp_path: Path) -> None:
    """A tag is unique only in its machine; the column of machines, filled from the row above, completes it."""
    text = (
        "Anlage;BMK;IP;Maske\nL5;-A1;10.3.5.10;24\n;-A2;10.3.5.11;24\n;;10.3.6.11;24\n"
        "L6;-A1;10.3.7.10;24\n;-A2;10.3.7.11;24\n"
    )
    found = listed(tmp_path, text)
    names = ["L5-A1", "L5-A2", "L5-A2", "L6-A1", "L6-A2"]
    assert [device for device, _, _ in rows(found)] == names
    assert ("Anlage", "L5") in found.interfaces[2].interface.extra
    assert any(
        'several machines have a device "-A1"; this one is called "L6-A1"' in one for one in found.remarks.guessed
    )


def test_two_interfaces_of_one_device_in_two_areas(tmp_path: Path) -> None:
    """Adjacent rows with addresses of two subnets are one device, even if their areas have different names."""
    text = "Tag,Area,IP,Mask\nK1,Process,10.1.0.5,24\nK1,Office,192.168.0.5,24\nK2,Process,10.1.0.6,24\n"
    assert [device for device, _, _ in rows(listed(tmp_path, text))] == ["K1", "K1", "K2"]
    apart = text.replace("192.168.0.5", "10.1.0.7")
    assert [device for device, _, _ in rows(listed(tmp_path, apart))] == ["Process K1", "Office K1", "K2"]


def test_one_name_under_several_headings(tmp_path: Path) -> None:
    """In one subnet the rows are two devices; in two subnets they are two interfaces of one device."""
    text = "Device;IP;Mask\nLine 1\nPLC;10.5.0.10;24\nLine 2\nPLC;{};24\n"
    apart = [device for device, _, _ in rows(listed(tmp_path, text.format("10.5.0.20")))]
    assert apart == ["Line 1 PLC", "Line 2 PLC"]
    assert rows(listed(tmp_path, text.format("10.6.0.10"))) == [
        ("PLC", "lan", "10.5.0.10"),
        ("PLC", "lan-2", "10.6.0.10"),
    ]


def test_a_name_alone_below_the_title_of_devices_is_a_device(tmp_path: Path) -> None:
    """A heading is in the first column; if devices are in another column, a single cell there is a device."""
    found = listed(tmp_path, "No.;Device;IP\nLine 1;;\n1;PLC;10.5.0.10\n;Scanner;\n")
    assert rows(found) == [("PLC", "lan", "10.5.0.10"), ("Scanner", "lan", "")]


def test_a_total_in_one_cell_is_no_heading(tmp_path: Path) -> None:
    """The report lists it as not read."""
    found = listed(tmp_path, "Device;IP\na;10.5.0.10\nSumme Geräte: 1\n")
    assert found.remarks.unread == ["row 3: it is taken for a total: Summe Geräte: 1"]


def book(path: Path, sheets: Mapping[str, Sequence[Sequence[Any]]], hidden: str = "") -> Path:
    """Write a workbook."""
    made = openpyxl.Workbook()
    made.remove(made.worksheets[0])
    for name, lines in sheets.items():
        sheet = made.create_sheet(name)
        for line in lines:
            sheet.append(line)
        if name == hidden:
            sheet.sheet_state = "hidden"
    made.save(path)
    return path


def test_a_hidden_sheet_is_left_out_and_reported(tmp_path: Path) -> None:
    """Nobody sees a hidden sheet, and its content is often out of date."""
    sheets = {"Now": [["Device", "IP"], ["a", "10.5.0.10"]], "Old": [["Device", "IP"], ["a", "10.1.1.1"]]}
    found = intake_from([book(tmp_path / "list.xlsx", sheets, hidden="Old")], {})
    assert rows(found) == [("a", "lan", "10.5.0.10")]
    assert found.remarks.unread == ['sheet "Old": it is hidden and left out; unhide it in the workbook to read it']


def test_rows_without_a_device_in_two_sheets_are_two_devices(tmp_path: Path) -> None:
    """The numbers in generated names continue from sheet to sheet."""
    sheets: dict[str, list[list[Any]]] = {
        "A": [["Device", "IP"], [None, "10.5.0.10"]],
        "B": [["Device", "IP"], [None, "10.6.0.10"]],
    }
    found = intake_from([book(tmp_path / "list.xlsx", sheets)], {})
    assert [device for device, _, _ in rows(found)] == ["device-1", "device-2"]


def test_rows_of_several_sheets_are_not_mixed_up(tmp_path: Path) -> None:
    """A remark on several rows names the sheet of each row that is not in the sheet of the first one."""
    sheets = {
        "A": [["Device", "IP", "Mask"], ["a", "10.5.0.10", "24"], ["b1", "", ""], ["c", "tbd", ""]],
        "B": [["Device", "IP", "Mask"], ["d", "tbd", ""]],
    }
    found = intake_from([book(tmp_path / "list.xlsx", sheets)], {})
    assert any(one.startswith('sheet "A", row 3, 4, sheet "B", row 2: no readable') for one in found.remarks.guessed)


def test_several_lists_make_one_plan(tmp_path: Path) -> None:
    """Positions name the file, and a common subnet is one subnet; a list given twice or no list at all is refused."""
    book(tmp_path / "a.xlsx", {"Line": [["Tag", "IP", "Mask"], ["K1", "10.5.0.10", "24"], ["K2", "10.5.0.999", "24"]]})
    (tmp_path / "b.csv").write_text("Gerät;IP-Adresse;Maske\nT1;10.5.0.11;24\nT2;.12;24\n", "utf-8")
    run = netcheck("new", "plan", "--from", "a.xlsx", "--from", "b.csv", cwd=tmp_path)
    assert (run.returncode, run.stderr) == (0, "")
    assert "4 interfaces of 4 devices, 0 without an address, in 1 subnet: net-10-5-0-0 (10.5.0.0/24)" in run.stdout
    assert 'a.xlsx, sheet "Line", row 3: the address cannot be read' in run.stdout
    assert 'b.csv, row 3: ".12" is completed to 10.5.0.12' in run.stdout
    again = netcheck("new", "other", "--from", "a.xlsx", "--from", "a.xlsx", cwd=tmp_path)
    assert (again.returncode, again.stderr) == (2, "netcheck: a.xlsx: it is given twice. Give each list once\n")
    (tmp_path / "c.csv").write_text("Who,Phone\nx,1\n")
    wrong = netcheck("new", "other", "--from", "a.xlsx", "--from", "c.csv", cwd=tmp_path)
    assert (wrong.returncode, "c.csv: it has no recognisable table of devices" in wrong.stderr) == (2, True)
    assert not (tmp_path / "other").exists()


MANY = 20_000
LONG = {
    "one device": "".join(f"d,10.{n >> 8}.{n & 255}.5\n" for n in range(MANY)),
    "a subnet each": "".join(f"d{n},10.{n >> 8}.{n & 255}.5/{n % 22 + 9}\n" for n in range(MANY)),
    "headings": "".join(f"Group {n}\nd,10.0.{n >> 8}.{n & 255}\n" for n in range(MANY)),
}


@pytest.mark.timeout(40)
@pytest.mark.parametrize("body", LONG.values(), ids=LONG)
def test_a_long_list_is_read_quickly(tmp_path: Path, body: str) -> None:
    """No step compares every row with every other row."""
    found = listed(tmp_path, f"Tag,IP\n{body}")
    assert len(found.interfaces) == MANY
    assert to_text(found)


def test_a_plan_that_is_too_large_to_read_is_not_written(tmp_path: Path) -> None:
    """A table of more than 16 MiB is refused before anything is written."""
    (tmp_path / "list.csv").write_text("Tag,IP\n" + "".join(f"d{n},10.0.0.5,{'x' * 900}\n" for n in range(20_000)))
    run = netcheck("new", "plan", "--from", "list.csv", cwd=tmp_path)
    assert (run.returncode, "larger than the 16 MiB of a table" in run.stderr) == (2, True)
    assert not (tmp_path / "plan").exists()


@pytest.mark.timeout(20)
@pytest.mark.parametrize("unit", [",", ";", "/", " ", "(", "?", "dhcp", "1.", "255.255.255.0 "])
def test_a_long_cell_is_read_quickly(tmp_path: Path, unit: str) -> None:
    """A pattern that tries every start and end would need the square of these letters in time."""
    text = f'Tag,IP\na,"10.0.0.5{unit * (200_000 // len(unit))}x"\nb,10.0.0.6\n'
    with suppress(UsageError):  # many semicolons look like their columns
        assert len(listed(tmp_path, text).interfaces) == 2
    assert (tmp_path / "list.csv").stat().st_size == len(text)


def test_a_map_of_an_unknown_title_is_refused(tmp_path: Path) -> None:
    """A misspelt title must not be ignored; the message lists the titles."""
    with pytest.raises(UsageError, match=r'no table has the title "adress"\. The titles.*are ip and tag'):
        listed(tmp_path, "Tag,IP\na,10.0.0.5\n", {"adress": "address"})
    with pytest.raises(UsageError, match=r'no table has the title "3"'):
        listed(tmp_path, "a,10.0.0.5\nb,10.0.0.6\n", {"3": "remark"})


def test_a_column_that_is_left_out_is_reported(tmp_path: Path) -> None:
    """It is not listed among the columns that are kept."""
    printed = to_text(listed(tmp_path, "Tag,IP,Cost,Cable\na,10.0.0.5,5,W1\n", {"cost": "-"}))
    assert '  left out: "Cost"' in printed
    assert '  kept under their titles: "Cable"' in printed
    assert "1 interface of 1 device, 0 without an address, in 1 subnet" in printed


TITLES = "Tag,Type,IP,Mask,Gateway,VLAN,MAC,No.\n"


def rows_of_a_subnet(third: int, vlan: int, count: int, kind: str = "drive") -> str:
    """Return CSV rows of devices in 172.20.<third>.0/25, from .20."""
    common = f"255.255.255.128,172.20.{third}.1,{vlan},"
    return "".join(f"d{third}-{n},{kind},172.20.{third}.{20 + n},{common},{n}\n" for n in range(count))


def test_another_vlan_than_that_of_the_subnet_is_reported(tmp_path: Path) -> None:
    """The plan keeps one VLAN for a subnet, so a row with another one must not be lost without a word."""
    odd = "odd,drive,172.20.17.40,255.255.255.128,172.20.17.1,718,,9\n"
    found = listed(tmp_path, TITLES + rows_of_a_subnet(17, 717, 3) + odd)
    assert [(str(one.prefix), one.vlan) for one in found.subnets] == [("172.20.17.0/25", "717")]
    what = "row 5: VLAN 718 differs from VLAN 717 of the other rows of 172.20.17.0/25; the plan has 717"
    assert found.remarks.guessed == [what]


def test_a_repeated_row_is_left_out(tmp_path: Path) -> None:
    """The same device with the same values is one interface; only the running number of the list differs."""
    again = "d17-1,drive,172.20.17.21,255.255.255.128,172.20.17.1,717,,8\n"
    found = listed(tmp_path, TITLES + rows_of_a_subnet(17, 717, 3) + again)
    assert len(found.interfaces) == 3
    assert found.remarks.unread == ['row 5: it repeats row 3 ("d17-1", 172.20.17.21); left out']


def test_a_repeated_row_shows_no_escape(tmp_path: Path) -> None:
    """A remark is printed on a terminal, so a cell must not control it."""
    found = listed(tmp_path, TITLES + rows_of_a_subnet(17, 717, 3) + 2 * "x,drive,\x1b[2J10.0.0.5,,,,,\n")
    assert len(found.interfaces) == 4
    assert "\x1b" not in to_text(found)


@pytest.mark.parametrize(
    "again",
    [
        "d17-1,drive,172.20.17.41,255.255.255.128,172.20.17.1,717,,8\n",
        "d17-1,drive,172.20.17.21,255.255.255.0,172.20.17.1,717,,8\n",
        "d17-9,drive,172.20.17.21,255.255.255.128,172.20.17.1,717,,8\n",
    ],
    ids=["address", "mask", "device"],
)
def test_a_row_with_another_value_is_no_repetition(tmp_path: Path, again: str) -> None:
    """Only rows that are equal in every value are one interface."""
    found = listed(tmp_path, TITLES + rows_of_a_subnet(17, 717, 3) + again)
    assert len(found.interfaces) == 4


def test_an_address_with_exchanged_octets_stays_in_the_subnet_of_its_gateway(tmp_path: Path) -> None:
    """One row alone makes no subnet if its gateway and its VLAN are those of other rows."""
    odd = "odd,drive,172.16.20.40,255.255.255.128,172.20.16.1,716,,9\n"
    found = listed(tmp_path, TITLES + odd + rows_of_a_subnet(16, 716, 3))
    assert subnets(found) == [("vlan-716", "172.20.16.0/25")]
    assert {one.subnet for one in found.interfaces} == {"vlan-716"}
    what = "172.16.20.40 is not in 172.20.16.0/25, the subnet of its gateway 172.20.16.1"
    assert found.remarks.guessed == [f"row 2: {what}; it is kept as it is, as a device of that subnet"]


@pytest.mark.parametrize("odd", ["172.16.20.1,716", "172.20.16.1,777"], ids=["gateway", "vlan"])
def test_a_single_row_with_its_own_gateway_or_vlan_is_a_subnet(tmp_path: Path, odd: str) -> None:
    """A gateway inside the row's own prefix, or a VLAN of no other row, contradicts a mistyped address."""
    row = f"odd,drive,172.16.20.40,255.255.255.128,{odd},,9\n"
    found = listed(tmp_path, TITLES + row + rows_of_a_subnet(16, 716, 3))
    assert "172.16.20.0/25" in [prefix for _, prefix in subnets(found)]


@pytest.mark.parametrize(("kind", "routes"), [("drive", False), ("Router", True), ("L3 switch", True)])
def test_a_common_kind_of_device_is_no_router(tmp_path: Path, kind: str, routes: bool) -> None:
    """A drive with the gateway's address is a mistake, which the plan must show as a conflict."""
    odd = f"odd,{kind},172.20.16.1,255.255.255.128,172.20.16.1,716,,9\n"
    found = listed(tmp_path, TITLES + odd + rows_of_a_subnet(16, 716, 3) + rows_of_a_subnet(17, 717, 3, "L3 switch"))
    assert list(found.routers) == (["odd"] if routes else [])
    what = 'row 2: "odd" has the address of a gateway but is no router: other devices of the list are "drive" too'
    assert (what in found.remarks.guessed) is not routes
