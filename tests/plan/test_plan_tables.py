"""CSV tables give the same model as TOML, and messages name file, row and column."""

from __future__ import annotations

from pathlib import Path
from typing import get_origin

import pytest

from netcheck.addr import Address, Range
from netcheck.errors import PlanError
from netcheck.plan import shapes
from netcheck.plan.forms.csv_table import LISTS
from netcheck.plan.model import Plan
from netcheck.plan.read import read_plan
from netcheck.plan.shapes import hyphened

TOP = 'format = 1\ninterfaces = "interfaces.csv"\n[site]\nname = "Filler line"\n'
SUBNET = '[[subnet]]\nname = "packing"\nprefix = "10.62.30.0/24"\n'
HEAD = "device,kind,place,interface,slot,subnet,address,mask,gateway,mac,host-name,switch-port,ports\n"
ROW = "filler-plc,controller,filler,cpu,1,packing,10.62.30.70,/24,10.62.30.1,00005e005330,filler-plc,sw-2/2,{ports}\n"


def plan_of(folder: Path, table: str | bytes, top: str = TOP + SUBNET, **tables: str) -> Plan:
    """Write a plan with a table of interfaces, and read it."""
    (folder / "plan.toml").write_text(top)
    (folder / "interfaces.csv").write_bytes(table if isinstance(table, bytes) else table.encode())
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text)
    return read_plan(folder)


def problems_of(folder: Path, table: str | bytes, **tables: str) -> list[str]:
    """Return the problems of a plan, which must have some."""
    with pytest.raises(PlanError) as caught:
        plan_of(folder, table, **tables)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize("ports", ["1 2", "1;2", "1; 2"])
def test_a_row_is_an_interface(tmp_path: Path, ports: str) -> None:
    """Every documented column is in the model; lists are separated by spaces, semicolons or commas."""
    (interface,) = plan_of(tmp_path, HEAD + ROW.format(ports=ports)).interfaces
    assert interface.subject == "filler-plc/cpu"
    assert (interface.kind, interface.location, interface.slot) == ("controller", "filler", "1")
    assert interface.address is not None
    assert interface.address.value == Address.from_text("10.62.30.70")
    assert str(interface.address.position) == "interfaces.csv: row 2"
    assert interface.mac is not None
    assert str(interface.mac.value) == "00-00-5E-00-53-30"
    assert interface.ports == ("1", "2")


def test_a_plan_may_have_rows_and_devices(tmp_path: Path) -> None:
    """Devices of `plan.toml` come first; a device may have interfaces in both."""
    device = '[[device]]\nname = "filler-plc"\n[[device.interface]]\nname = "link"\nsubnet = "packing"\n'
    plan = plan_of(tmp_path, HEAD + ROW.format(ports=""), TOP + SUBNET + device)
    assert [one.subject for one in plan.interfaces] == ["filler-plc/link", "filler-plc/cpu"]
    assert plan.interfaces[1].ports == ("1",)


TABLE = HEAD + ROW.format(ports="1 2") + "\n" + 'cam,"a ""quoted"", note",,lan,,packing,10.62.30.9,,,,,,\n'


@pytest.mark.parametrize(
    "data",
    [
        TABLE.encode(),
        TABLE.encode("utf-8-sig"),
        TABLE.encode("utf-16"),
        TABLE.replace("\n", "\r\n").encode(),
        TABLE.replace("\n", "\r").encode(),
        TABLE.encode("utf-16-le"),
        TABLE.replace(",", ";").replace("quoted;", "quoted,").encode(),
        TABLE.replace(",", "\t").encode(),
        TABLE.replace(",", "|").encode("cp1252"),
        TABLE.replace("host-name", " Host Name ").replace("device,", "DEVICE,").encode(),
    ],
    ids=["utf-8", "mark", "utf-16", "crlf", "cr", "utf-16-no-mark", "semicolon", "tab", "bar", "titles"],
)
def test_every_file_form_of_a_spreadsheet_reads_the_same(tmp_path: Path, data: bytes) -> None:
    """Encoding, delimiter, line ends and the notation of titles make no difference."""
    plan = plan_of(tmp_path, data)
    assert [one.subject for one in plan.interfaces] == ["filler-plc/cpu", "cam/lan"]
    assert [str(one.position) for one in plan.interfaces] == ["interfaces.csv: row 2", "interfaces.csv: row 4"]
    assert plan.interfaces[1].kind.startswith('a "quoted"')


def test_windows_1252_text_is_read(tmp_path: Path) -> None:
    """A table in the old Windows code page keeps its letters."""
    plan = plan_of(tmp_path, (HEAD + ROW.format(ports="").replace(",filler,", ",Süd,")).encode("cp1252"))
    assert plan.interfaces[0].location == "Süd"


def test_all_faults_of_a_table_with_row_and_column(tmp_path: Path) -> None:
    """Missing cells, invalid numbers, surplus cells, duplicate names and unknown subnets are reported."""
    rows = (
        ROW.format(ports="1 2")
        + ROW.format(ports="1 1")
        + "a,,,,,packing,,,,,,,\n"
        + "b,,,lan,,pakcing,,,,,,,,,surplus\n"
        + "c,,,lan,,pakcing\n"
    )
    found = problems_of(tmp_path, HEAD + rows)
    expected = [
        'interfaces.csv: row 3: interface "filler-plc/cpu" is there twice, first at interfaces.csv: row 2',
        'interfaces.csv: row 3: port "1" is there twice',
        'interfaces.csv: row 4: column "interface" is empty',
        "interfaces.csv: row 5: it has 15 cells, and the titles 13",
        'interfaces.csv: row 6: subnet "pakcing" is not in the plan; did you mean "packing"?',
    ]
    assert [words for words in expected if not any(one.startswith(words) for one in found)] == []
    assert len(found) == len(expected)


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (HEAD.replace("address", "adress"), 'column "adress" is not known; did you mean "address"?'),
        (HEAD.replace("subnet,", "segment,"), 'column "subnet" is missing'),
        (HEAD.replace("mask", "address"), 'column "address" is there twice'),
        (HEAD.replace("slot", ""), "column 5 contains a value and has no title"),
    ],
)
def test_titles_are_checked(tmp_path: Path, head: str, words: str) -> None:
    """A misspelt title is not taken for a further column."""
    assert any(words in one for one in problems_of(tmp_path, head + ROW.format(ports="")))


def test_subnets_and_conversations_may_be_tables_too(tmp_path: Path) -> None:
    """Their titles are the same keys as in TOML."""
    top = 'format = 1\nsubnets = "subnets.csv"\ninterfaces = "interfaces.csv"\nconversations = "talk.csv"\n'
    subnets = (
        "name,prefix,gateway,vlan,pools,reserved\n"
        "packing,10.62.30.0/24,10.62.30.1,630,10.62.30.180 - 10.62.30.219,10.62.30.2-10.62.30.9; 10.62.30.250\n"
    )
    talk = 'from,to,why,services,starts\nfiller-plc/cpu,filler-plc/cpu,itself,"tcp 502, udp 2222-2230",to\n'
    plan = plan_of(tmp_path, HEAD + ROW.format(ports=""), top + '[site]\nname = "x"\n', subnets=subnets, talk=talk)
    (subnet,) = plan.subnets
    assert (subnet.vlan, str(subnet.position)) == (630, "subnets.csv: row 2")
    assert [cell.value for cell in subnet.pools] == [Range.from_text("10.62.30.180-10.62.30.219")]
    assert [cell.text for cell in subnet.reserved] == ["10.62.30.2-10.62.30.9", "10.62.30.250"]
    (conversation,) = plan.conversations
    assert (conversation.why, conversation.starts) == ("itself", "to")
    assert conversation.services == ("tcp 502", "udp 2222-2230")


def test_every_list_has_a_notation_in_one_cell() -> None:
    """A key whose value is a list in TOML can be a column; every list of a table's shape has a notation in a cell."""
    names = {
        hyphened(name)
        for shape in vars(shapes).values()
        if isinstance(shape, type) and issubclass(shape, shapes.Shape) and shape is not shapes.PlanShape
        for name, field in shape.model_fields.items()
        if get_origin(field.annotation) is list
    }
    assert names - {"routes", "interface"} == LISTS  # routes have a different notation; interfaces are rows


def test_an_invalid_number_is_reported_with_its_column(tmp_path: Path) -> None:
    """The message names row and column."""
    top = TOP.replace("interfaces =", 'subnets = "subnets.csv"\ninterfaces =')
    (tmp_path / "subnets.csv").write_text("name,prefix,vlan\npacking,10.62.30.0/24,six\n")
    with pytest.raises(PlanError) as caught:
        plan_of(tmp_path, HEAD, top)
    assert str(caught.value) == 'subnets.csv: row 2: column "vlan": expected a whole number, found "six"'


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it is empty"),
        (b"\n \n", "it is empty"),
        ((HEAD + 'a,"open,,lan,,packing\nb,,,lan,,packing\n').encode(), "row 2: its quotes are not closed correctly"),
        (b"\x7fELF\0\0\0\0", "is not text"),
        (b"PK\x03\x04\0\0\0\0", "it is a workbook"),
        ((HEAD + "x" * (1 << 20) + "x").encode(), "line 2 has 1,048,577 bytes"),
        (("x" * (1 << 20)).encode("utf-16-le"), "line 1 has"),
    ],
    ids=["empty", "blank", "quotes", "binary", "workbook", "long-line", "long-wide-line"],
)
def test_a_hostile_table_is_refused_with_a_message(tmp_path: Path, data: bytes, words: str) -> None:
    """The message names the file."""
    found = problems_of(tmp_path, data)
    assert any(one.startswith("interfaces.csv") and words in one for one in found)
