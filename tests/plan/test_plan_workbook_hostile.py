"""A damaged or too large workbook, or one that unpacks to a great size, is refused quickly with a message."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netcheck.errors import NetcheckError, PlanError
from netcheck.plan.model import Plan, Position, SurveyEntry
from netcheck.plan.read import read_plan
from netcheck.survey.model import Survey
from netcheck.survey.read import read_survey


def packed(parts: dict[str, bytes]) -> bytes:
    """Return a zip archive of these parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def parts_of(data: bytes) -> dict[str, bytes]:
    """Return the parts of a zip archive."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def made(rows: list[list[str]]) -> bytes:
    """Return the bytes of a workbook with one sheet of these rows."""
    out = io.BytesIO()
    workbook = openpyxl.Workbook()
    workbook.worksheets[0].title = "subnets"
    for row in rows:
        workbook.worksheets[0].append(row)
    workbook.save(out)
    return out.getvalue()


@pytest.fixture(scope="module")
def sound() -> bytes:
    """Return the bytes of a valid workbook."""
    return made([["name", "prefix", "gateway", "pools"], ["packing", "10.62.30.0/24", "10.62.30.1", "10.62.30.180"]])


def twice(data: bytes) -> bytes:
    """Return a list of sheets that names its only sheet twice."""
    start, end = data.index(b"<sheet "), data.index(b"</sheets>")
    return data[:end] + data[start:end].replace(b'"subnets"', b'"more"') + data[end:]


SHEET = "xl/worksheets/sheet1.xml"


@pytest.mark.parametrize(
    ("part", "change", "words"),
    [
        ("xl/media/large.bin", lambda _: b"\0" * ((64 << 20) + 1), "bytes unpacked; at most 67,108,864 (64 MiB)"),
        (SHEET, lambda data: b'<!DOCTYPE x [<!ENTITY a "b">]>' + data, "a document type"),
        (SHEET, lambda data: data.replace(b"</c>", b"<f>A1</f></c>", 1), "formula without a stored value"),
        (SHEET, lambda data: data.replace(b'<row r="2"', b'<row r="99999999999"'), "more than 1,048,576 rows"),
        (SHEET, lambda data: data[: len(data) // 2], "cannot be read as a workbook"),
        ("xl/workbook.xml", lambda _: b"<no", "cannot be read as a workbook"),
        ("[Content_Types].xml", lambda _: b"", "cannot be read as a workbook"),
        ("xl/sharedStrings.xml", lambda _: b"<x:sst>" + b"<x:si/>" * 3_000_000, "more than 3,000,000 elements"),
        ("xl/styles.xml", lambda data: data + b"<xf/>" * 500_000, "more than 500,000 elements"),
        ("xl/theme/theme1.xml", lambda _: b"<a>" * 500_001, "more than 500,000 elements"),
        (SHEET, lambda data: data.replace(b"</row>", b"<c/>" * 262_144 + b"</row>", 1), "a row of more than 262,144"),
        (
            SHEET,
            lambda data: data.replace(b"<sheetData", b'<sheetData a="' + b">" * (1 << 20) + b'"'),
            "more than 1,048,576 b",
        ),
        (
            SHEET,
            lambda data: data.replace(b"<sheetData", b"<!--" + b"<" * 500 + b"<sheetData"),
            "more than 1,048,576 b",
        ),
        (SHEET, lambda data: b"<?" + b"<" * (1 << 20) + b"?>" + data, "more than 1,048,576 b"),
        ("xl/workbook.xml", lambda data: data + b"<x:sheet/>" * 1000, "names more than 1,000 sheets"),
        ("xl/workbook.xml", twice, "two of its sheets are the same part"),
        ("xl/strings.bin", lambda _: b"\xef\xbb\xbf\n<!DOCTYPE a>", "a document type"),
        ("[Content_Types].xml", None, "not a workbook of the kind .xlsx. Save a workbook of another kind (.ods)"),
    ],
    ids=[
        *("bomb", "doctype", "formula", "far-row", "cut-sheet", "cut-book", "no-types", "many-texts", "many-formats"),
        *(
            "deep",
            "wide-row",
            "long-tag",
            "open-comment",
            "long-instruction",
            "many-sheets",
            "twice",
            "doctype-elsewhere",
            "another-kind",
        ),
    ],
)
def test_a_hostile_workbook_is_refused_with_a_message(
    tmp_path: Path, sound: bytes, part: str, change: object, words: str
) -> None:
    """The refusal is quick and takes little memory."""
    parts = parts_of(sound)
    old = parts.pop(part, b"")
    if callable(change):
        parts[part] = change(old)
    (tmp_path / "p.xlsx").write_bytes(packed(parts))
    assert words in str(outcome(tmp_path / "p.xlsx"))


def test_a_false_size_of_a_sheet_is_ignored(tmp_path: Path, sound: bytes) -> None:
    """The `dimension` of a sheet may name a million rows of 16,384 columns."""
    parts = parts_of(sound)
    parts[SHEET] = parts[SHEET].replace(b'ref="A1:D2"', b'ref="A1:XFD1048576"')
    assert b"XFD1048576" in parts[SHEET]
    (tmp_path / "p.xlsx").write_bytes(packed(parts))
    assert len(read_plan(tmp_path / "p.xlsx").subnets) == 1


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_cut_and_mutated_workbooks(tmp_path: Path, sound: bytes, data: st.DataObject) -> None:
    """A damaged archive, packed part or XML is read or refused, as a plan and as a survey."""
    match data.draw(st.sampled_from(["part", "archive", "bits"])):
        case "part":
            parts = parts_of(sound)
            name = data.draw(st.sampled_from(sorted(parts)))
            parts[name] = _mutated(data, parts[name])
            content = packed(parts)
        case "archive":
            content = _mutated(data, sound)
        case _:
            flipped = bytearray(sound)
            for bit in data.draw(st.lists(st.integers(0, 8 * len(sound) - 1), min_size=1, max_size=4)):
                flipped[bit // 8] ^= 1 << bit % 8
            content = bytes(flipped)
    (tmp_path / "p.xlsx").write_bytes(content)
    assert isinstance(outcome(tmp_path / "p.xlsx"), Plan | PlanError)
    with suppress(NetcheckError):
        survey_of(tmp_path / "p.xlsx")


@pytest.mark.parametrize(
    ("change", "found"),
    [
        (lambda sheet: sheet.replace(b"</v>", b"9</v>", 1), "cannot be read as a workbook"),
        (lambda sheet: sheet.replace(b'r="A2"', b'r="ZZZZZZZZZZ2"'), "cannot be read as a workbook"),
        (lambda sheet: sheet.replace(b"</v>", b"</v ><x/>", 1), "192.0.2.5"),
    ],
    ids=["no such text", "no such column", "sound"],
)
def test_a_sheet_that_names_missing_parts(change: Callable[[bytes], bytes], found: str, tmp_path: Path) -> None:
    """Shared texts, columns and rows may be out of range; external relationships are never followed."""
    parts = parts_of(made([["IP address"], ["192.0.2.5"]]))
    text = b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>IP address</t></si></sst>'
    parts["xl/sharedStrings.xml"] = text
    parts[SHEET] = parts[SHEET].replace(b't="inlineStr"><is><t>IP address</t></is>', b't="s"><v>0</v>', 1)
    links = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    added = f'<Relationship Id="r8" Type="{links}/sharedStrings" Target="/xl/sharedStrings.xml"/>'
    added += f'<Relationship Id="r9" Type="{links}/externalLink" Target="file:///etc/passwd" TargetMode="External"/>'
    name = "xl/_rels/workbook.xml.rels"
    parts[name] = parts[name].replace(b"</Relationships>", added.encode() + b"</Relationships>")
    types = parts["[Content_Types].xml"]
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    entry = f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}"/></Types>'
    parts["[Content_Types].xml"] = types.replace(b"</Types>", entry.encode())
    assert b't="s"' in parts[SHEET]
    assert change(parts[SHEET]) != parts[SHEET]
    parts[SHEET] = change(parts[SHEET])
    (tmp_path / "list.xlsx").write_bytes(packed(parts))
    try:
        outcome_text = str(next(iter(survey_of(tmp_path / "list.xlsx").hosts)).address)
    except NetcheckError as error:
        outcome_text = str(error)
    assert found in outcome_text


def _mutated(data: st.DataObject, content: bytes) -> bytes:
    start = data.draw(st.integers(0, len(content)))
    length = data.draw(st.integers(0, 30) | st.just(len(content)))
    return content[:start] + data.draw(st.binary(max_size=8)) + content[start + length :]


def outcome(path: Path) -> Plan | PlanError:
    """Return the plan, or the only error that is allowed."""
    try:
        return read_plan(path)
    except PlanError as error:
        return error


def survey_of(path: Path) -> Survey:
    """Return a workbook read as a survey."""
    return read_survey(SurveyEntry(file=path.name, position=Position("plan.toml")), path.parent)
