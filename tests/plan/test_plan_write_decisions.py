"""Accepted findings are written into a plan once, and nothing else in it changes."""

from __future__ import annotations

import difflib
import io
import tomllib
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.errors import PlanError
from netcheck.plan.model import Accepted, GrantedRequest, Position, SiteRemark
from netcheck.plan.read import read_plan
from netcheck.plan.write.decisions import (
    ACCEPTED,
    PlanDecisions,
    plan_with_entries,
    toml_with_entries,
    toml_without,
    with_decisions,
)
from netcheck.plan.write.new_plan import PREFIX, new_workbook
from netcheck.plan.write.workbook_changes import workbook_with_entries

DAY = date(2026, 12, 31)
ROW: dict[str, Any] = {"rule": "too-near", "subject": "a/b", "by": "site IT", "because": "it moves"}
ENTRY = Accepted(rule="too-near", subject="a/b", by="x", because="y", position=Position("", ""))
WRITTEN = '\n[[accepted]]\nrule = "too-near"\nsubject = "a/b"\nby = "site IT"\nbecause = "it moves"\n'


@pytest.mark.parametrize(
    ("before", "after"),
    [
        pytest.param("", WRITTEN, id="empty"),
        pytest.param("format = 1 # one\n# end\n", "format = 1 # one\n# end\n" + WRITTEN, id="end"),
        pytest.param("format = 1 # one", "format = 1 # one\n" + WRITTEN, id="no-line-end"),
        pytest.param("a = 1\r\n", "a = 1\r\n" + WRITTEN.replace("\n", "\r\n"), id="crlf"),
        pytest.param(
            '[[accepted]] # 1\nrule = "x"\n\n# devices\n[[device]]\nname = "d" # d\n',
            '[[accepted]] # 1\nrule = "x"\n' + WRITTEN + '\n# devices\n[[device]]\nname = "d" # d\n',
            id="behind-the-last",
        ),
        pytest.param(
            'x = """\n[[accepted]]\n[more]\n"""\n',
            'x = """\n[[accepted]]\n[more]\n"""\n' + WRITTEN,
            id="only-in-a-text",
        ),
        pytest.param(
            "accepted = []  # none\nb = 2\n",
            'accepted = [{rule = "too-near", subject = "a/b", by = "site IT", because = "it moves"}]  # none\nb = 2\n',
            id="list",
        ),
    ],
)
def test_a_new_entry_leaves_every_other_line(before: str, after: str) -> None:
    """The new entry follows the last one or the end of the file; comments, order and line ends are kept."""
    assert toml_with_entries(before, ACCEPTED, [ROW]) == after
    assert toml_with_entries(after, ACCEPTED, [ROW]) == after


def test_an_entry_for_the_same_finding_is_changed_in_its_place() -> None:
    """A renewed acceptance gets its new day; its comments and the other entries are kept."""
    before = (
        '[[accepted]] # first\nrule = "too-near"\nsubject = "a/b" # who\nby = "x" # asked twice\nbecause = "y"\n'
        'until = 2026-01-01\n\n[[accepted]]\nrule = "crowded"\nsubject = "s"\nby = "x"\nbecause = "y"\n'
    )
    after = toml_with_entries(before, ACCEPTED, [{**ROW, "until": DAY}])
    changed = [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[0] in "+-"]
    assert changed == [
        '- by = "x" # asked twice',
        '+ by = "site IT" # asked twice',
        '- because = "y"',
        '+ because = "it moves"',
        "- until = 2026-01-01",
        "+ until = 2026-12-31",
    ]
    assert "until" not in tomllib.loads(toml_with_entries(after, ACCEPTED, [ROW]))["accepted"][0]


def test_entries_between_other_tables_stay_there() -> None:
    """TOML allows other tables between two entries; no line but those of the changed entry changes."""
    entry = '[[accepted]]\nrule = "%s"\nsubject = "a/b"\nby = "x"\nbecause = "y"\n'
    before = f'{entry % "crowded"}# one\n[[subnet]]\nname = "s"\n\n{entry % "too-near"}# two\n[[subnet]]\nname = "t"\n'
    after = toml_with_entries(before, ACCEPTED, [ROW])
    changed = [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[0] in "+-"]
    assert sorted(changed) == ['+ because = "it moves"', '+ by = "site IT"', '- because = "y"', '- by = "x"']
    assert after.index('"site IT"') > after.index('"s"')


def test_another_address_or_party_is_another_entry() -> None:
    """An entry for an earlier clash does not apply to a new one."""
    rows = [{**ROW, "address": "192.0.2.1"}, {**ROW, "with": "camera"}, ROW]
    text = toml_with_entries("", ACCEPTED, rows)
    assert tomllib.loads(text)["accepted"] == rows
    assert toml_with_entries(text, ACCEPTED, list(reversed(rows))) == text


def test_the_last_of_two_entries_for_one_finding_counts() -> None:
    """A finding gets one entry, even if one call has two for it."""
    text = toml_with_entries("", ACCEPTED, [{**ROW, "because": "first"}, ROW])
    assert text == WRITTEN


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1), st.dates(), st.sampled_from(["", "# c\n[t]\n"]))
def test_any_text_is_read_back(text: str, until: date, before: str) -> None:
    """Quotes, line breaks, control characters and letters of every script are kept."""
    row = {"rule": text, "subject": text, "with": text, "by": text, "because": text, "until": until}
    assert tomllib.loads(toml_with_entries(before, ACCEPTED, [row]))["accepted"] == [row]


def test_a_plan_that_would_grow_too_large_is_not_changed(tmp_path: Path) -> None:
    """netcheck could not read such a plan again; the message names the limit."""
    with pytest.raises(ValueError, match="at most 16,777,216"):
        plan_with_entries(b"", ACCEPTED, [{**ROW, "because": "x" * (16 << 20)}])


@pytest.mark.parametrize("text", ["accepted = 1\n", "a = \n", 'accepted = [{rule = "x"}, 1]\n'], ids=ascii)
def test_an_invalid_plan_is_not_changed(tmp_path: Path, text: str) -> None:
    """The message names the file."""
    file = tmp_path / "plan.toml"
    file.write_text(text)
    with pytest.raises(PlanError, match=r"plan\.toml"):
        with_decisions(file, PlanDecisions(accepted=[ENTRY]))
    assert file.read_text() == text


PLAIN = 'format = 1\n\n# devices\n[[device]]\nname = "d"\n'


@pytest.mark.parametrize(
    ("before", "after"),
    [
        pytest.param(PLAIN + WRITTEN, PLAIN, id="last"),
        pytest.param(
            PLAIN + WRITTEN + "\n# stations\n[[station]]\n", PLAIN + "\n# stations\n[[station]]\n", id="middle"
        ),
        pytest.param(
            PLAIN + WRITTEN.replace("too-near", "crowded") + WRITTEN,
            PLAIN + WRITTEN.replace("too-near", "crowded"),
            id="of two",
        ),
        pytest.param(PLAIN + WRITTEN + WRITTEN, PLAIN, id="twice"),
        pytest.param((PLAIN + WRITTEN).replace("\n", "\r\n"), PLAIN.replace("\n", "\r\n"), id="crlf"),
        pytest.param('accepted = [{rule = "too-near", subject = "a/b"}]  # one\n', "accepted = []  # one\n", id="list"),
        pytest.param(PLAIN, PLAIN, id="not there"),
    ],
)
def test_a_withdrawn_entry_is_removed(before: str, after: str) -> None:
    """Nothing else changes: after an entry was written and withdrawn, the plan is as before."""
    assert toml_without(before, ACCEPTED, [ROW]) == after


def test_an_entry_inside_a_text_is_not_removed() -> None:
    """A text that looks like an entry is only a text."""
    text = f'x = """\n{WRITTEN}"""\n{WRITTEN}'
    assert tomllib.loads(toml_without(text, ACCEPTED, [ROW])).get("accepted", []) == []
    assert tomllib.loads(toml_without(text, ACCEPTED, [ROW]))["x"] == WRITTEN


def test_a_workbook_loses_a_withdrawn_entry(tmp_path: Path) -> None:
    """Its row is emptied, the other rows stay, and the plan is read without it."""
    file = tmp_path / "p.xlsx"
    file.write_bytes(new_workbook("p", ["too-near"], date(2026, 11, 2)))
    entries = [ENTRY, ENTRY._replace(rule="crowded")]
    for decisions in (PlanDecisions(accepted=entries), PlanDecisions(withdrawn=entries[:1])):
        edit = with_decisions(file, decisions)
        assert edit is not None
        edit.write()
    assert [entry.rule for entry in read_plan(file).accepted] == ["crowded"]
    assert with_decisions(file, PlanDecisions(withdrawn=entries[:1])) is None


@pytest.mark.parametrize("form", ["toml", "xlsx"])
def test_remarks_and_grants_are_read_back(form: str, tmp_path: Path) -> None:
    """They are read as written; writing the same remark again keeps its reply and adds no second entry."""
    file = tmp_path / f"plan.{form}"
    text = 'format = 1\n[site]\nname = "s"\n'
    file.write_bytes(text.encode() if form == "toml" else new_workbook("p", ["too-near"], date(2026, 11, 2)))
    at = Position("", "")
    remark = SiteRemark(
        rule="too-near", subject="a/b", decision="question", position=at, by="IT", remark='"=why?"', decided=DAY
    )
    grant = GrantedRequest(
        kind="DNS record", subject="a/b", by="IT", position=at, island="cell", what="x IN A y", ticket="7", decided=DAY
    )
    for _ in range(2):
        edit = with_decisions(file, PlanDecisions(remarks=[remark], granted=[grant]))
        if edit is not None:
            edit.write()
    plan = read_plan(file)
    assert [one._replace(position=at) for one in plan.remarks] == [remark]
    assert [one._replace(position=at) for one in plan.granted] == [grant]
    if form == "toml":
        replied = file.read_text().replace("[[granted]]", 'reply = "so"\n\n[[granted]]')
        file.write_text(replied)
        assert with_decisions(file, PlanDecisions(remarks=[remark._replace(by="IT 2")])) is not None
        assert read_plan(file).remarks[0].reply == "so"


def test_a_byte_order_mark_stays() -> None:
    """Some editors write a byte order mark."""
    assert plan_with_entries(b"\xef\xbb\xbfa = 1\n", ACCEPTED, [ROW]) == b"\xef\xbb\xbfa = 1\n" + WRITTEN.encode()


def rows_of(data: bytes) -> list[list[Any]]:
    """Return the sheet of accepted entries, read by an independent reader."""
    sheet = openpyxl.load_workbook(io.BytesIO(data))["accepted"]
    return [[cell.value for cell in row] for row in sheet.iter_rows()]


def test_a_workbook_takes_entries(tmp_path: Path) -> None:
    """Entries are text below the titles, whatever they begin with, and no entry is written twice."""
    file = tmp_path / "p.xlsx"
    file.write_bytes(new_workbook("p", ["too-near"], date(2026, 11, 2)))
    row = {**ROW, "address": "192.168.10.50", "with": "=1+1", "because": "@SUM(A1)", "until": DAY}
    entry = Accepted(
        rule="too-near",
        subject="a/b",
        by="site IT",
        because="@SUM(A1)",
        position=Position("", ""),
        until=DAY,
        address="192.168.10.50",
        other="=1+1",
    )
    edit = with_decisions(file, PlanDecisions(accepted=[entry]))
    assert edit is not None
    edit.write()
    (read,) = read_plan(file).accepted
    assert (read.because, read.until, read.address, read.other) == ("@SUM(A1)", DAY, "192.168.10.50", "=1+1")
    assert workbook_with_entries(edit.data, ACCEPTED, [row]) == edit.data
    assert with_decisions(file, PlanDecisions(accepted=[entry])) is None
    sheet = openpyxl.load_workbook(file)["accepted"]
    assert [cell.data_type for cell in sheet[2] if cell.value is not None] == ["s"] * 7
    assert read_plan(file).subnets[0].prefix.text == PREFIX


def test_a_workbook_without_the_sheet_gets_it() -> None:
    """The titles are written with the first entry; a later entry of the same finding changes its row."""
    out = io.BytesIO()
    openpyxl.Workbook().save(out)
    data = workbook_with_entries(out.getvalue(), ACCEPTED, [{**ROW, "until": DAY}])
    keys = ["rule", "subject", "by", "because", "until"]
    assert [cell for cell in rows_of(data)[0] if cell] == keys
    again = workbook_with_entries(data, ACCEPTED, [{**ROW, "because": "later"}, {**ROW, "rule": "crowded"}])
    assert [row[:4] for row in rows_of(again)[1:]] == [
        ["too-near", "a/b", "site IT", "later"],
        ["crowded", "a/b", "site IT", "it moves"],
    ]
    assert rows_of(again)[1][4] is None


def parts_of(data: bytes) -> dict[str, bytes]:
    """Return the parts of a zip archive."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(parts: dict[str, bytes]) -> bytes:
    """Return a zip archive of these parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


@pytest.mark.parametrize("sheet", [True, False], ids=["with the sheet", "without"])
def test_pictures_formulas_and_macros_stay(sheet: bool) -> None:
    """Only the sheet changes and, if the sheet is new, the three parts that list the sheets."""
    workbook = openpyxl.Workbook()
    workbook.worksheets[0].append(["name", 7])
    if sheet:
        table = workbook.create_sheet("Accepted ")
        for row in (["What was agreed"], [], ["Rule", "Subject", "By", "Because", "Note"], ["crowded", "s", "x", "y"]):
            table.append(row)
        table["A9"] = "until week 50"
    out = io.BytesIO()
    workbook.save(out)
    parts = parts_of(out.getvalue())
    first = "xl/worksheets/sheet1.xml"
    parts[first] = parts[first].replace(b"<v>7</v>", b"<f>3+4</f><v>7</v>")
    parts |= {"xl/media/photo.png": b"\x89PNG", "xl/vbaProject.bin": b"\0"}
    new = workbook_with_entries(
        packed(parts), ACCEPTED, [{**ROW, "until": DAY}, {**ROW, "rule": "crowded", "subject": "s"}]
    )
    after = parts_of(new)
    lists = {"xl/worksheets/sheet2.xml"} | (set() if sheet else _LISTS)
    assert {name for name in after if after[name] != parts.get(name)} == lists
    book = openpyxl.load_workbook(io.BytesIO(new))
    read = [
        [cell.value for cell in row if cell.value]
        for row in book.worksheets[1].iter_rows()
        if any(c.value for c in row)
    ]
    entries = [["too-near", "a/b", "site IT", "it moves", "2026-12-31"], ["crowded", "s", "site IT", "it moves"]]
    titles = ["Rule", "Subject", "By", "Because", "Note", "until"]
    if sheet:
        assert read == [["What was agreed"], titles, entries[1], ["until week 50"], entries[0]]
    else:
        assert read == [["rule", "subject", "by", "because", "until"], *entries]


_LISTS = {"[Content_Types].xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels"}


def test_a_workbook_that_cannot_be_changed_stays(tmp_path: Path) -> None:
    """A formula without a stored value cannot be kept; the message lists the entries to write by hand."""
    file = tmp_path / "p.xlsx"
    workbook = openpyxl.Workbook()
    workbook.worksheets[0]["A1"] = "=1+1"
    workbook.save(file)
    before = file.read_bytes()
    with pytest.raises(PlanError, match=r"formula.*by hand: too-near of a/b"):
        with_decisions(file, PlanDecisions(accepted=[ENTRY]))
    assert file.read_bytes() == before
