"""Tests of `netcheck new`: new plans have no findings, in both forms, and no file is overwritten."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import openpyxl
import pytest

from netcheck.addr import Address
from netcheck.plan.forms.workbook_plan import SHEETS
from netcheck.plan.read import read_plan
from netcheck.plan.write.addresses import with_addresses
from netcheck.rules.catalogue import RULES
from tests.command_line import netcheck

FILES = {"plan.toml", "plan.schema.json", "site-hosts.csv"}


@pytest.mark.parametrize(
    ("words", "made", "files"),
    [
        (("hall",), "hall", FILES),
        (("deep/er/hall",), "deep/er/hall", FILES),
        (('a"b\\c\nd [x] {y}',), 'a"b\\c\nd [x] {y}', FILES),
        (("--xlsx", "hall.xlsx"), "hall.xlsx", set()),
        (("hall.xlsx",), "hall.xlsx", set()),
        (("hall", "--xlsx"), "hall.xlsx", set()),
    ],
    ids=["folder", "deep", "odd-name", "workbook", "by-ending", "option-behind"],
)
def test_a_new_plan_has_no_finding(tmp_path: Path, words: tuple[str, ...], made: str, files: set[str]) -> None:
    """A new plan has no finding, and only the expected files are made."""
    result = netcheck("new", *words, cwd=tmp_path)
    assert (result.returncode, result.stderr) == (0, "")
    checked = netcheck("check", made, "--strict", "--format", "json", cwd=tmp_path)
    assert checked.returncode == 0
    assert json.loads(checked.stdout)["findings"] == []
    assert json.loads(checked.stdout)["summary"]["interfaces"] >= 1
    if files:
        assert {file.name for file in (tmp_path / made).iterdir()} == files
        tomllib.loads((tmp_path / made / "plan.toml").read_text("utf-8"))


@pytest.mark.parametrize(("words", "name"), [(("hall",), "hall/site-hosts.csv"), (("--xlsx", "p.xlsx"), "p.xlsx")])
def test_nothing_is_overwritten(tmp_path: Path, words: tuple[str, ...], name: str) -> None:
    """An existing file gives exit 2 and is unchanged, and no other file is made."""
    (tmp_path / name).parent.mkdir(exist_ok=True)
    (tmp_path / name).write_text("mine")
    result = netcheck("new", *words, cwd=tmp_path)
    assert result.returncode == 2
    assert name in result.stderr
    assert [(file.name, file.read_text()) for file in (tmp_path / name).parent.iterdir()] == [(Path(name).name, "mine")]


@pytest.mark.parametrize("words", [(), ("--from", "list.csv")], ids=["example", "list"])
def test_editors_find_the_schema(tmp_path: Path, words: tuple[str, ...]) -> None:
    """The first line of a new plan names the schema in its folder, which equals that of `netcheck schema`."""
    (tmp_path / "list.csv").write_text("Tag,IP\nplc,10.0.0.5\n")
    assert netcheck("new", "hall", *words, cwd=tmp_path).returncode == 0
    first = (tmp_path / "hall" / "plan.toml").read_text("utf-8").splitlines()[0]
    directive, _, name = first.partition(" ")
    assert directive == "#:schema"
    schema = (tmp_path / "hall" / name).read_text("utf-8")
    assert schema == netcheck("schema", cwd=tmp_path).stdout
    (tmp_path / "hall" / "plan.toml").unlink()
    for file in ("interfaces.csv", "site-hosts.csv"):
        (tmp_path / "hall" / file).unlink(missing_ok=True)
    (tmp_path / "hall" / name).write_text("{}")
    assert netcheck("new", "hall", *words, cwd=tmp_path).returncode == 0
    assert (tmp_path / "hall" / name).read_text() == "{}"


def test_other_files_in_the_folder_are_kept(tmp_path: Path) -> None:
    """Other files in the folder do not change; a file in place of the folder is refused."""
    (tmp_path / "notes.txt").write_text("mine")
    assert netcheck("new", ".", cwd=tmp_path).returncode == 0
    assert (tmp_path / "notes.txt").read_text() == "mine"
    refused = netcheck("new", "notes.txt", cwd=tmp_path)
    assert refused.returncode == 2
    assert "a folder is needed" in refused.stderr


def test_a_file_within_the_path_is_refused(tmp_path: Path) -> None:
    """If a part of the path is a file, the exit code is 2 and there is no traceback."""
    (tmp_path / "file").write_text("")
    result = netcheck("new", "file/hall", cwd=tmp_path)
    assert result.returncode == 2
    assert "file/hall" in result.stderr
    assert "Traceback" not in result.stderr


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a new workbook and return its path."""
    folder = tmp_path_factory.mktemp("new")
    assert netcheck("new", "--xlsx", "hall.xlsx", cwd=folder).returncode == 0
    return folder / "hall.xlsx"


def test_the_workbook_has_a_guide_every_sheet_and_lists(book: Path) -> None:
    """The lists of the workbook offer the plan's subnets and every rule."""
    workbook = openpyxl.load_workbook(book)
    assert {"guide", "site", "site hosts", *SHEETS} == set(workbook.sheetnames)
    assert any("netcheck check" in str(cell.value) for (cell,) in workbook["guide"]["A1:A20"])
    rules = [str(cell.value) for (cell,) in workbook["guide"][f"C2:C{len(RULES) + 1}"]]
    assert rules == [rule.slug for rule in RULES]
    formulas = {each.formula1 for sheet in workbook.worksheets for each in sheet.data_validations.dataValidation}
    assert {"subnets!$A$2:$A$2000", f"guide!$C$2:$C${len(RULES) + 1}"} <= formulas
    titles = [cell.value for cell in workbook["interfaces"][1]]
    (of_subnets,) = (
        each
        for each in workbook["interfaces"].data_validations.dataValidation
        if each.formula1 == "subnets!$A$2:$A$2000"
    )
    first = str(of_subnets.sqref).split(":")[0]
    assert titles[workbook["interfaces"][first].column - 1] == "subnet"


def test_addresses_are_written_and_formats_do_not_change(book: Path) -> None:
    """The address is replaced; bold titles, fills, widths, frozen panes, formats and lists do not change."""
    before = openpyxl.load_workbook(book)
    for edit in with_addresses(book, {"example-plc/cpu": Address.from_text("192.168.10.77")}):
        edit.write()
    after = openpyxl.load_workbook(book)
    (interface,) = read_plan(book).interfaces
    assert interface.address is not None
    assert interface.address.text == "192.168.10.77"
    for old, new in zip(before.worksheets, after.worksheets, strict=True):
        assert (old.title, old.freeze_panes, old.dimensions) == (new.title, new.freeze_panes, new.dimensions)
        widths = {key: column.width for key, column in old.column_dimensions.items()}
        assert {key: column.width for key, column in new.column_dimensions.items()} == widths
        rules = [(str(each.sqref), each.formula1) for each in old.data_validations.dataValidation]
        assert [(str(each.sqref), each.formula1) for each in new.data_validations.dataValidation] == rules
        for was, cell in zip(old.iter_rows(), new.iter_rows(), strict=True):
            styles = [(one.font.b, one.fill.fgColor.rgb, one.number_format) for one in was]
            assert [(one.font.b, one.fill.fgColor.rgb, one.number_format) for one in cell] == styles
