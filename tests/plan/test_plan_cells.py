"""Typed values: a value with one meaning is read, one with two meanings is explained, an empty one is not known yet."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from netcheck.plan.cells import address_from, mac_from, mask_from, prefix_from, range_from
from netcheck.plan.model import Interface
from netcheck.plan.read import read_plan

TOP = """format = 1
interfaces = "i.csv"
[site]
name = "x"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
"""


def interfaces(folder: Path, rows: str) -> tuple[Interface, ...]:
    """Return the interfaces of a CSV table."""
    (folder / "plan.toml").write_text(TOP)
    (folder / "i.csv").write_text(rows)
    return read_plan(folder).interfaces


@pytest.mark.parametrize(
    ("read", "text", "value"),
    [
        (address_from, "10,62,20,81", "10.62.20.81"),
        (address_from, "\uff11\uff10.62.20.81", "10.62.20.81"),
        (mask_from, "24", "255.255.255.0"),
        (mask_from, "\uff0f24", "255.255.255.0"),
        (mask_from, "255,255,255,0", "255.255.255.0"),
        (prefix_from, "10.0.0.0/255.255.255.0", "10.0.0.0/24"),
        (prefix_from, "10.0.0.0 255.255.255.0", "10.0.0.0/24"),
        (range_from, "10.62.20.200-239", "10.62.20.200-10.62.20.239"),
        (range_from, "10.62.20.200-.239", "10.62.20.200-10.62.20.239"),
        (range_from, "10.62.20.200 \u2013 10.62.20.239", "10.62.20.200-10.62.20.239"),
        (mac_from, "00\u201300\u20135E\u201300\u201353\u201321", "00-00-5E-00-53-21"),
    ],
)
def test_a_value_with_one_meaning_is_read(read: object, text: str, value: str) -> None:
    """Spreadsheets and keyboards produce these notations."""
    assert callable(read)
    assert str(read(text)) == value


def test_a_range_is_completed_by_its_subnet() -> None:
    """A shortened range is completed only if the subnet fixes the first three octets."""
    assert str(range_from(".200-.239", prefix_from("10.62.20.0/24"))) == "10.62.20.200-10.62.20.239"
    assert str(range_from("200-239", prefix_from("10.62.20.128/25"))) == "10.62.20.200-10.62.20.239"
    with pytest.raises(ValueError, match="is not a range"):
        range_from(".200-.239", prefix_from("10.62.20.0/22"))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("10.62.20.081", "; if it is decimal, write 10.62.20.81"),
        ("10.62.20.82, 10.62.20.83", "contains 2 addresses; give each its own interface"),
        ("10.62.20.101-103", "is a range of 3 addresses; give each interface its own row with one of them"),
        (
            "10.62.20.101 \u2013 10.62.20.103",
            "is a range of 3 addresses; give each interface its own row with one of them",
        ),
        ("10.62.20.82 255.255.255.0", "is not an address of four decimal octets"),
        ("10.62.20.82 / 10.62.20.83", "contains 2 addresses; give each its own interface"),
        ("10.62.20.82/255.255.255.0", "has a prefix length; an address alone is expected"),
        ("10.62.20.82/10.62.20.83", "contains 2 addresses; give each its own interface"),
        ("10.62.20.82\n10.62.20.83", "contains 2 addresses; give each its own interface"),
    ],
)
def test_a_value_with_two_meanings_is_explained(text: str, why: str) -> None:
    """The message says what to write."""
    with pytest.raises(ValueError, match="10") as caught:
        address_from(text)
    assert str(caught.value).endswith(why)


@pytest.mark.parametrize("sign", ["tbd", "TBD", "-", "n/a", "N/A", "?", "\u2013"])
def test_a_sign_is_a_value_not_known_yet(tmp_path: Path, sign: str) -> None:
    """The same holds for a table read by columns and a table read row by row."""
    head = "device,interface,subnet,address,mask,gateway,mac,host-name,switch-port\n"
    row = f"a,lan,process,{sign},{sign},{sign},{sign},{sign},{sign}\n"
    for rows in (row, row + "b,lan,process,10.62.20.81,,,,,\n", row + "\n\n"):
        found = interfaces(tmp_path, head + rows)[0]
        cells = (found.address, found.mask, found.gateway, found.mac, found.host_name, found.switch_port)
        assert cells == (None,) * 6


def test_dhcp_in_place_of_an_address(tmp_path: Path) -> None:
    """`dhcp` is read in a table by columns, in a table by rows and in TOML."""
    rows = "device,interface,subnet,address\na,lan,process,DHCP\nb,lan,process,10.62.20.81\n"
    assert [(one.dhcp, one.address is None) for one in interfaces(tmp_path, rows)] == [(True, True), (False, False)]
    entry = '[[device]]\nname = "a"\n[[device.interface]]\nname = "lan"\nsubnet = "process"\naddress = "dhcp"\n'
    (tmp_path / "plan.toml").write_text(TOP.replace('interfaces = "i.csv"\n', "") + entry)
    (one,) = read_plan(tmp_path).interfaces
    assert (one.dhcp, one.address) == (True, None)


def test_further_columns_are_kept(tmp_path: Path) -> None:
    """Description and remark are fields; any other column is kept under its own title."""
    head = "device,interface,subnet,address,Description,Remark,Cabinet no.\n"
    rows = "a,lan,process,10.62.20.81,Filler PLC,spare part ordered,+UH1\n"
    expected = ("Filler PLC", "spare part ordered", (("Cabinet no.", "+UH1"),))
    for text in (head + rows, head + rows + ",,,,,,\n"):  # by columns, and row by row
        found = interfaces(tmp_path, text)[0]
        assert (found.description, found.remark, found.extra) == expected


def test_a_list_may_be_separated_by_commas(tmp_path: Path) -> None:
    """Commas separate a list like spaces and semicolons."""
    rows = 'device;interface;subnet;ports\na;lan;process;"1, 2,3"\n'
    assert interfaces(tmp_path, rows)[0].ports == ("1", "2", "3")


@pytest.mark.parametrize("text", ["2026-07-01", "01.07.2026", "7-Jan", "Jan-07", "1/7/2026", "01. Jul"])
def test_a_label_that_became_a_date_is_unreadable(tmp_path: Path, text: str) -> None:
    """A spreadsheet turns the switch port 1/7 into a date, which becomes an unreadable value."""
    (one,) = interfaces(tmp_path, f"device,interface,subnet,switch-port,slot\na,lan,process,{text},{text}\n")
    assert [title for title, _ in one.damaged] == ["switch-port", "slot"]
    assert (one.switch_port, one.slot) == (None, "")
    assert "spreadsheets turn values such as 1/7 into dates" in one.damaged[0][1].why


@pytest.mark.parametrize("text", ["1/7", "sw-3/7", "Gi1/0/7", "X1", "2", "1.2", "A-01"])
def test_a_label_is_kept(tmp_path: Path, text: str) -> None:
    """Labels of switches and modules in other notations are kept."""
    (one,) = interfaces(tmp_path, f"device,interface,subnet,switch-port,slot\na,lan,process,{text},{text}\n")
    assert one.damaged == ()
    assert one.slot == text


def test_a_decimal_number_in_a_workbook_is_no_label(tmp_path: Path) -> None:
    """The ports 1,2 become the number 1.2 if the comma is the decimal sign; whole numbers are labels."""
    book = openpyxl.Workbook()
    book.worksheets[0].title = "subnets"
    for row in (["name", "prefix"], ["process", "10.62.20.0/24"]):
        book.worksheets[0].append(row)
    sheet = book.create_sheet("interfaces")
    for cells in (["device", "interface", "subnet", "ports", "slot"], ["a", "lan", "process", 1.2, 3]):
        sheet.append(cells)
    book.save(tmp_path / "p.xlsx")
    (one,) = read_plan(tmp_path / "p.xlsx").interfaces
    assert [(title, cell.text) for title, cell in one.damaged] == [("ports", "1.2")]
    assert one.slot == "3"


def test_a_mask_may_be_a_bare_number(tmp_path: Path) -> None:
    """`mask = 24` needs no quotes."""
    text = 'format = 1\n[site]\nname = "x"\n[[subnet]]\nname = "s"\nprefix = "10.62.20.0/24"\n'
    text += '[[device]]\nname = "a"\n[[device.interface]]\nname = "x"\nsubnet = "s"\nmask = 24\n'
    (tmp_path / "plan.toml").write_text(text)
    mask = read_plan(tmp_path).interfaces[0].mask
    assert mask is not None
    assert str(mask.value) == "255.255.255.0"
