"""Reading any file ends quickly, with a plan or with a PlanError."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netcheck.errors import PlanError
from netcheck.plan.model import Plan
from netcheck.plan.read import read_plan

DEMO = Path(__file__).parents[2] / "plans" / "tarn-hollow"
PLAN = (DEMO / "plan.toml").read_bytes()
TABLE = (DEMO / "interfaces.csv").read_bytes()
HOSTS = (DEMO / "site-hosts.csv").read_bytes()

fast = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def attempt(folder: Path, plan: bytes, table: bytes) -> Plan | None:
    """Return the plan of a folder with these files; None if it is refused with a message."""
    (folder / "plan.toml").write_bytes(plan)
    (folder / "interfaces.csv").write_bytes(table)
    (folder / "site-hosts.csv").write_bytes(HOSTS)
    result = outcome(folder)
    if isinstance(result, Plan):
        return result
    assert result.problems
    assert all(problem.what and problem.where for problem in result.problems)
    return None


def outcome(folder: Path) -> Plan | PlanError:
    """Return the plan, or the only error that is allowed."""
    try:
        return read_plan(folder)
    except PlanError as error:
        return error


def mutated(data: bytes) -> st.SearchStrategy[bytes]:
    """Return the bytes with some removed and others inserted."""
    return st.builds(
        lambda start, length, new: data[:start] + new + data[start + length :],
        st.integers(0, len(data)),
        st.integers(0, 40),
        st.binary(max_size=6) | st.sampled_from([b'"', b"[", b"\n", b"= ", b"{", b"'''", b"\xff\xfe", b"1e999", b"\0"]),
    )


@fast
@given(st.integers(0, len(PLAN)))
def test_a_cut_plan(tmp_path: Path, length: int) -> None:
    """A full disk or a lost link may cut a file."""
    attempt(tmp_path, PLAN[:length], TABLE)


@fast
@given(st.binary(max_size=30))
def test_a_padded_plan(tmp_path: Path, padding: bytes) -> None:
    """A file may have further bytes after its end."""
    attempt(tmp_path, PLAN + padding, TABLE)


@fast
@given(mutated(PLAN))
def test_a_mutated_plan(tmp_path: Path, plan: bytes) -> None:
    """A file may have overwritten bytes."""
    attempt(tmp_path, plan, TABLE)


@fast
@given(mutated(TABLE) | st.binary(max_size=200) | st.integers(0, len(TABLE)).map(lambda length: TABLE[:length]))
def test_a_mutated_or_cut_table(tmp_path: Path, table: bytes) -> None:
    """The same holds for a CSV table, and for bytes that are no table."""
    attempt(tmp_path, PLAN, table)


@fast
@given(st.text(max_size=40))
def test_any_text_as_an_address(tmp_path: Path, text: str) -> None:
    """Any text becomes a cell with or without a value."""
    quoted = "".join(f"\\U{ord(letter):08x}" if not 0xD800 <= ord(letter) < 0xE000 else "?" for letter in text)
    plan = attempt(tmp_path, PLAN.replace(b'"10.62.20.61"', f'"{quoted}"'.encode()), TABLE)
    assert plan is not None
    cell = plan.interface_named["pasteuriser-plc/cpu"].address
    assert cell is None or (cell.value is None) == bool(cell.why)


def refusal(path: Path) -> str:
    """Return the message with which a path is refused."""
    with pytest.raises(PlanError) as caught:
        read_plan(path)
    return str(caught.value)


def test_a_folder_without_a_plan(tmp_path: Path) -> None:
    """The message names the missing file."""
    assert "there is no plan.toml in this folder" in refusal(tmp_path)


def test_a_path_that_is_not_there(tmp_path: Path) -> None:
    """The name of the folder is misspelt."""
    assert "there is no such file or folder" in refusal(tmp_path / "nowhere")
    assert "there is no such file or folder" in refusal(tmp_path / "nowhere.toml")


def test_a_path_with_a_nul() -> None:
    """The plan's own name contains NUL, which no file system allows."""
    assert "there is no such file or folder" in refusal(Path("a\0b.toml"))


@pytest.mark.parametrize("key", ['"interfaces.csv"', '"site-hosts.csv"'])
def test_a_name_with_a_nul_inside_the_plan(tmp_path: Path, key: str) -> None:
    """The name of a table contains NUL."""
    (tmp_path / "plan.toml").write_bytes(PLAN.replace(key.encode(), b'"a\\u0000b.csv"'))
    assert "a character that no file name can have" in refusal(tmp_path)


def test_another_kind_of_file(tmp_path: Path) -> None:
    """The message says what a plan is."""
    (tmp_path / "list.pdf").write_text("x")
    assert ".toml" in refusal(tmp_path / "list.pdf")


def test_a_folder_named_like_a_plan(tmp_path: Path) -> None:
    """plan.toml is a folder."""
    (tmp_path / "plan.toml").mkdir()
    assert "it is a folder" in refusal(tmp_path)


def test_symbolic_links_in_a_circle(tmp_path: Path) -> None:
    """plan.toml is a link to itself."""
    (tmp_path / "plan.toml").symlink_to(tmp_path / "plan.toml")
    assert "form a loop" in refusal(tmp_path / "plan.toml")


@pytest.mark.parametrize("name", ["plan.toml", "interfaces.csv", "site-hosts.csv"])
def test_a_pipe_does_not_hang(tmp_path: Path, name: str) -> None:
    """A pipe without a writer is refused at once."""
    for file, data in (("plan.toml", PLAN), ("interfaces.csv", TABLE), ("site-hosts.csv", HOSTS)):
        (tmp_path / file).write_bytes(data)
    (tmp_path / name).unlink()
    os.mkfifo(tmp_path / name)
    assert "it is a device, a pipe or a socket" in refusal(tmp_path)


def test_a_device_is_not_read(tmp_path: Path) -> None:
    """An endless device is named as a table."""
    (tmp_path / "plan.toml").write_bytes(PLAN.replace(b'"interfaces.csv"', b'"/dev/zero"'))
    (tmp_path / "site-hosts.csv").write_bytes(HOSTS)
    assert "it is a device, a pipe or a socket" in refusal(tmp_path)


def test_a_socket_is_not_read(tmp_path: Path) -> None:
    """A socket has the name of a plan."""
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(tmp_path / "plan.toml"))
        assert "it is a device, a pipe or a socket" in refusal(tmp_path / "plan.toml")


def test_a_number_of_thousands_of_digits_is_refused_in_plain_words(tmp_path: Path) -> None:
    """The message does not quote the interpreter, which limits the digits of an integer."""
    (tmp_path / "plan.toml").write_text(f'format = {"9" * 10_000}\n[site]\nname = "x"\n')
    found = outcome(tmp_path)
    assert isinstance(found, PlanError)
    assert str(found) == "plan.toml: a value cannot be read: a number with thousands of digits. Correct the number"
