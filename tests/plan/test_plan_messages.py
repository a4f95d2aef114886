"""Messages about a plan's structure name the line and the correction."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from netcheck.errors import PlanError
from netcheck.plan.read import read_plan

TOP = 'format = 1\n[site]\nname = "x"\n[[subnet]]\nname = "process"\nprefix = "10.62.20.0/24"\n'


def refusal(folder: Path, text: str) -> list[str]:
    """Return the messages about a plan with this text below its subnet, which ends in line 6."""
    (folder / "plan.toml").write_text(TOP + text)
    with pytest.raises(PlanError) as caught:
        read_plan(folder)
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '[[device]]\nname = "a"\n  [[device.interfaces]]\n  name = "l"\n  subnet = "process"\n',
            "plan.toml line 9: unknown table [[device.interfaces]]. Did you mean [[device.interface]]?",
        ),
        ('[[devices]]\nname = "a"\n', "plan.toml line 7: unknown table [[devices]]. Did you mean [[device]]?"),
        (
            '[[interface]]\nname = "a"\n',
            "plan.toml line 7: unknown table [[interface]]. Did you mean [[device.interface]]?",
        ),
        ('[[subnets]]\nname = "p"\n', "plan.toml line 7: unknown table [[subnets]]. Did you mean [[subnet]]?"),
        (
            '[device]\nname = "a"\n',
            "plan.toml line 7: the table [device] must be written [[device]]. Correct the brackets",
        ),
        (
            '[[device]]\nname = "a"\n\n[device] # b\nname = "b"\n',
            "plan.toml line 10: [device] does not fit [[device]] in line 7. Write [[device]] above each entry",
        ),
        (
            '[device]\nname = "a"\n[device]\nname = "b"\n',
            "plan.toml line 9: the table [device] is there twice, first in line 7. "
            "Write [[device]] if it is another entry",
        ),
        (
            "[site]\nrevision = 'A'\n",
            "plan.toml line 7: the table [site] is there twice, first in line 2. Join the two tables",
        ),
        (
            '[[device]]\nname = "a"\nkind = """\n[[x]]\nname = "b"\n"""\nname = "c"\n',
            'plan.toml line 13: the key "name" is there twice in the same table, first in line 8. Remove one of them',
        ),
    ],
    ids=["interfaces", "devices", "interface", "subnets", "single", "both", "twice", "site", "key"],
)
def test_a_wrong_table_is_named_with_its_line(tmp_path: Path, text: str, message: str) -> None:
    """The message names the table that was probably meant, or the line of the first one."""
    assert refusal(tmp_path, text)[0] == message


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('starts = "plc/x1"', 'key "starts": expected "from", "to" or "both", found "plc/x1"'),
        ('services = "tcp 502"', 'key "services": expected a list in square brackets, such as ["tcp 502"], found'),
        (
            'services = ["tcp 65536"]',
            'key "services", item 1: expected a transport protocol, alone or with a port or a range of ports up to '
            '65535, such as "tcp 502", found "tcp 65536"',
        ),
        ('services = ["modbus"]', 'key "services", item 1: expected a transport protocol, alone or with a port'),
    ],
)
def test_the_expected_words_of_a_conversation_are_named(tmp_path: Path, line: str, message: str) -> None:
    """The message about each key with a pattern says what fits; a port has 16 bits (RFC 9293 section 3.1)."""
    found = refusal(tmp_path, f'[[conversation]]\nfrom = "a/x1"\nto = "b/x1"\n{line}\n')
    assert any(message in one for one in found), found


def test_an_unknown_decision_is_answered_with_the_known_ones(tmp_path: Path) -> None:
    """The message lists the words that the pattern accepts."""
    text = '[[remark]]\nrule = "too-near"\nsubject = "a/b"\ndecision = "maybe"\nby = "IT"\ntext = "x"\n'
    assert any('"question", "change it to" or "use the proposal"' in one for one in refusal(tmp_path, text))


@pytest.mark.parametrize(
    ("line", "right"),
    [
        ("name = a-plc  # the first", 'name = "a-plc"'),
        ("name = 10.62.20.5", 'name = "10.62.20.5"'),
        ("name = \u201ca\u201d", 'name = "a"'),
        ("name = True", "name = true"),
        ('name: "a"', 'name = "a"'),
    ],
)
def test_a_line_that_is_not_toml_is_answered_with_the_right_line(tmp_path: Path, line: str, right: str) -> None:
    """People forget quotes, or type curly quotes, a colon or a capital letter."""
    (found,) = refusal(tmp_path, f"[[device]]\n{line}\n")
    assert found.startswith("plan.toml line 8: this is not TOML: ")
    assert found.endswith(f". Write {right}")


def test_a_table_with_a_missing_bracket_is_answered_with_the_right_line(tmp_path: Path) -> None:
    """The brackets of `[site]` are single ones."""
    missing = "plan.toml line 7: this is not TOML: a bracket is missing. Write "
    assert refusal(tmp_path, '[[device]\nname = "a"\n') == [f"{missing}[[device]]"]
    assert refusal(tmp_path, "[site\n") == [f"{missing}[site]"]


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("ip", "address"),
        ("netmask", "mask"),
        ("default-gateway", "gateway"),
        ("hostname", "host-name"),
        ("note", "remark"),
    ],
)
def test_another_word_for_a_key_is_answered_with_the_key(tmp_path: Path, word: str, key: str) -> None:
    """The message knows the words of spreadsheets and devices."""
    text = f'[[device]]\nname = "a"\n[[device.interface]]\nname = "x"\nsubnet = "process"\n{word} = "y"\n'
    assert refusal(tmp_path, text)[0].endswith(f'key "{word}" is not known; did you mean "{key}"?')


def test_a_question_does_not_get_a_full_stop(tmp_path: Path) -> None:
    """The correction follows a question mark directly."""
    book = openpyxl.Workbook()
    book.worksheets[0].title = "intefaces"
    book.save(tmp_path / "p.xlsx")
    with pytest.raises(PlanError) as caught:
        read_plan(tmp_path / "p.xlsx")
    assert "?." not in str(caught.value)


def test_a_sheet_that_is_not_part_of_the_plan_stays(tmp_path: Path) -> None:
    """The user's workbook may have further sheets of any name: they are listed and not refused."""
    book = openpyxl.Workbook()
    book.worksheets[0].title = "subnets"
    for row in (["name", "prefix"], ["process", "10.62.20.0/24"]):
        book.worksheets[0].append(row)
    for name in ("Notes", "Drives", "Switches", "interfaces", "routers 2", "guide"):
        book.create_sheet(name).append(["anything"] if name != "interfaces" else ["device", "interface", "subnet"])
    book.save(tmp_path / "p.xlsx")
    assert read_plan(tmp_path / "p.xlsx").other_sheets == ("Notes", "Drives", "Switches", "routers 2")
    command = [sys.executable, "-m", "netcheck", "check", str(tmp_path / "p.xlsx")]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    names = '"Notes", "Drives", "Switches" and "routers 2"'
    assert run.stderr == f"netcheck: p.xlsx: sheets {names} are not part of the plan: not read and not changed\n"


def table(folder: Path, rows: str) -> Path:
    """Return a plan whose interfaces are these rows."""
    (folder / "plan.toml").write_text(TOP.replace("format = 1", 'format = 1\ninterfaces = "i.csv"'))
    (folder / "i.csv").write_text(rows)
    return folder


def test_one_missing_title_is_one_message(tmp_path: Path) -> None:
    """A missing title causes no message about single rows or about references to them."""
    rows = "".join(f"d{n},lan,process\n" for n in range(57))
    folder = table(tmp_path, "device,interfac,subnet\n" + rows)
    text = (folder / "plan.toml").read_text()
    talk = '[[conversation]]\nfrom = "d1/lan"\nto = "d2/lan"\n'
    (folder / "plan.toml").write_text(text + talk * 57)
    with pytest.raises(PlanError) as caught:
        read_plan(folder)
    assert [one.what for one in caught.value.problems] == [
        'column "interfac" is not known; did you mean "interface"?',
        'column "interface" is missing',
    ]


def test_a_column_that_is_empty_in_every_row_is_one_message(tmp_path: Path) -> None:
    """The message names the first row and the number of further ones."""
    rows = "".join(f"d{n},lan,\n" for n in range(57))
    with pytest.raises(PlanError) as caught:
        read_plan(table(tmp_path, "device,interface,subnet\n" + rows))
    assert str(caught.value) == 'i.csv: row 2 and 56 more rows: column "subnet" is empty'


def test_a_repeated_row_of_titles_is_no_interface(tmp_path: Path) -> None:
    """Printed lists repeat the titles on every page."""
    rows = "Device,interface,subnet\na,lan,process\nDevice,interface,subnet\nb,lan,process\n"
    assert list(read_plan(table(tmp_path, rows)).interface_named) == ["a/lan", "b/lan"]


def test_a_workbook_gets_advice_for_workbooks(tmp_path: Path) -> None:
    """A cell to the right of the titles is named by the letter of its column."""
    book = openpyxl.Workbook()
    book.worksheets[0].title = "subnets"
    for row in (["name", "prefix"], ["process", "10.62.20.0/24", None, "why?"]):
        book.worksheets[0].append(row)
    book.save(tmp_path / "p.xlsx")
    with pytest.raises(PlanError) as caught:
        read_plan(tmp_path / "p.xlsx")
    assert str(caught.value) == (
        "p.xlsx: sheet subnets, row 2: column D contains a value and has no title. "
        "Give the column a title, or clear the cell"
    )


@pytest.mark.parametrize(
    ("title", "key"),
    [("IP", "address"), ("IP-Adresse", "address"), ("Netmask", "mask"), ("GW", "gateway"), ("MAC address", "mac")],
)
def test_a_column_that_holds_values_of_the_plan_is_no_further_column(tmp_path: Path, title: str, key: str) -> None:
    """Otherwise its addresses would be kept unchecked, and the interfaces would have none."""
    (tmp_path / "i.csv").write_text(f"device,interface,subnet,{title}\na,x,process,10.62.20.5\n")
    (tmp_path / "plan.toml").write_text(TOP.replace("[site]", 'interfaces = "i.csv"\n[site]'))
    with pytest.raises(PlanError, match=rf'i\.csv: row 1: column "{title.casefold().replace(" ", "-")}" is not known'):
        read_plan(tmp_path)
    (tmp_path / "i.csv").write_text(f"device,interface,subnet,{title},{key}\na,x,process,1,\n")
    assert read_plan(tmp_path).interfaces[0].extra == ((title, "1"),)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b'format = 1\r[site]\rname = "x"\r', "line 1: its lines end in CR alone, and TOML needs LF or CR LF. Save it"),
        (b"format = 1\x00\n", "line 1: this is not TOML: it has the control character U+0000 at position 11. Delete"),
        (
            b'format = 1\r\n[site]\r\nname = "\x1bx"\r\n',
            "line 3: this is not TOML: it has the control character U+001B",
        ),
    ],
    ids=["CR", "NUL", "ESC"],
)
def test_a_character_that_toml_forbids_is_named(tmp_path: Path, data: bytes, words: str) -> None:
    """Nobody sees these characters in an editor, so the message must not ask for quotes (TOML 1.0.0, "Newline")."""
    (tmp_path / "plan.toml").write_bytes(data)
    with pytest.raises(PlanError) as caught:
        read_plan(tmp_path)
    assert f"plan.toml {words}" in str(caught.value)
