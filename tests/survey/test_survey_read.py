"""Any table with a recognisable column of addresses is read as a survey; every row left out is reported."""

from __future__ import annotations

import hashlib
import time
import tracemalloc
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netcheck.addr import Address, Mac
from netcheck.errors import NetcheckError, SurveyError
from netcheck.plan.model import Plan, Position, SurveyEntry
from netcheck.survey.model import SHOWN_REMARKS, Survey, hosts_of
from netcheck.survey.read import read_site, read_survey, read_surveys

MAC = Mac.from_text("00-00-5E-00-53-14")


def survey_of(folder: Path, data: str | bytes, kind: str = "", **columns: str) -> Survey:
    """Return the survey of a file with this content."""
    (folder / "hosts.csv").write_bytes(data if isinstance(data, bytes) else data.encode())
    return read_survey(
        SurveyEntry(file="hosts.csv", position=Position("plan.toml"), kind=kind, columns=tuple(columns.items())), folder
    )


def refusal(folder: Path, data: str | bytes, kind: str = "", **columns: str) -> str:
    """Return the message with which this survey is refused; it must be refused."""
    with pytest.raises(NetcheckError) as caught:
        survey_of(folder, data, kind, **columns)
    return str(caught.value)


def addresses(survey: Survey) -> list[str]:
    """Return the addresses of a survey's hosts in ascending order."""
    return [str(host.address) for host in survey.hosts]


TABLE = "IP address,MAC,Host name,Last seen,Remark\n192.0.2.5,00-00-5E-00-53-14,cam-1,2026-10-28,gate; left\n"


@pytest.mark.parametrize(
    "data",
    [
        TABLE.encode(),
        TABLE.encode("utf-8-sig"),
        TABLE.encode("utf-16"),
        TABLE.encode("utf-16-be"),
        TABLE.encode("cp1252"),
        TABLE.replace("\n", "\r\n").encode(),
        TABLE.replace(",", "\t").encode(),
        TABLE.replace(",", "|").encode(),
        TABLE.replace("gate; left", '"gate; left"').replace(",", ";").encode(),
        ("Site hosts of the plant\n\n" + TABLE).encode(),
        ("Exported from 192.0.2.1, by hand\n,,,,\n" + TABLE).encode(),
        TABLE.replace("IP address", "IP Addr.").replace("MAC", "Physical Address").encode(),
        TABLE.replace("5,00", "5  ,00").replace("cam-1", " cam-1 ").encode(),
    ],
    ids=[
        *("utf-8", "mark", "utf-16", "utf-16-be", "1252", "crlf", "tab", "bar", "semicolon"),
        *("title", "address-in-title", "words", "spaces"),
    ],
)
def test_the_forms_of_a_table_read_the_same(tmp_path: Path, data: bytes) -> None:
    """Encoding, delimiter, line ends, headings above the header and the wording of the header make no difference."""
    (host,) = survey_of(tmp_path, data).hosts
    assert (host.address, host.mac) == (Address.from_text("192.0.2.5"), MAC)
    assert (host.name, host.note, host.seen) == ("cam-1", "gate; left", date(2026, 10, 28))
    assert host.file == "hosts.csv"


@pytest.mark.parametrize(
    "text",
    ["00-00-5E-00-53-14", "00:00:5e:00:53:14", "0000.5e00.5314", "00005e005314", "0:0:5e:0:53:14", " 0:0:5E:0:53:14 "],
)
def test_every_form_of_mac(tmp_path: Path, text: str) -> None:
    """Hyphens, colons, dots, no separator, and octets without leading zeros are read."""
    (host,) = survey_of(tmp_path, f"ip,mac\n192.0.2.5,{text}\n").hosts
    assert host.mac == MAC


@pytest.mark.parametrize("text", ["", "-", "n/a", "(incomplete)", "unknown"])
def test_an_unknown_mac_is_none_without_remark(tmp_path: Path, text: str) -> None:
    """Lists have many signs for "not known"."""
    survey = survey_of(tmp_path, f"ip,mac\n192.0.2.5,{text}\n")
    assert next(iter(survey.hosts)).mac is None
    assert survey.unread.count == 0


@pytest.mark.parametrize("text", ["00-00-5E-00-53", "ff:ff:ff:ff:ff:ff", "00:00:00:00:00:00", "zz"])
def test_an_unreadable_mac_becomes_a_remark_and_the_row_is_kept(tmp_path: Path, text: str) -> None:
    """The host is kept without a MAC."""
    survey = survey_of(tmp_path, f"ip,mac\n192.0.2.5,{text}\n")
    assert addresses(survey) == ["192.0.2.5"]
    assert [str(one.position) for one in survey.unread.first] == ["hosts.csv: row 2"]


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-10-28", date(2026, 10, 28)),
        ("2026-10-28T09:00:00Z", date(2026, 10, 28)),
        ("28.10.2026", date(2026, 10, 28)),
        ("28/10/2026 09:00", date(2026, 10, 28)),
        ("10/28/2026", date(2026, 10, 28)),
        ("04/04/2026", date(2026, 4, 4)),
        ("03/04/2026", None),
        ("2026-02-30", None),
        ("31.02.2026", None),
        ("yesterday", None),
    ],
)
def test_days(tmp_path: Path, text: str, day: date | None) -> None:
    """A date that could mean two days is not guessed."""
    survey = survey_of(tmp_path, f"ip,seen\n192.0.2.5,{text}\n")
    assert next(iter(survey.hosts)).seen == day
    assert survey.unread.count == (day is None)


def test_rows_without_a_readable_address_are_kept_with_the_reason(tmp_path: Path) -> None:
    """Skipped rows and rows without an address are counted separately; blank rows are not counted."""
    survey = survey_of(tmp_path, "list\nip,name\n192.0.2.05,a\n\n,b\n192.0.2.5,c\n192.0.2.0/24,net\n192.0.2.300,d\n")
    assert addresses(survey) == ["192.0.2.5"]
    assert [(one.position.at, one.why.split(";")[0][:14]) for one in survey.skipped.first] == [
        ("row 3", "'192.0.2.05' h"),
        ("row 7", "192.0.2.0/24 i"),
        ("row 8", "'192.0.2.300' "),
    ]
    assert [one.position.at for one in survey.addressless.first] == ["row 1", "row 5"]


def test_remarks_are_bounded_and_counted(tmp_path: Path) -> None:
    """A million bad rows do not fill the memory."""
    survey = survey_of(tmp_path, "ip,name\n192.0.2.5,a\n" + "192.0.2.05,b\n" * 1000)
    assert (len(survey.skipped.first), survey.skipped.count) == (SHOWN_REMARKS, 1000)


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ("192.0.2.5/24", ["192.0.2.5"]),
        ('"192.0.2.5, 192.0.2.6"', ["192.0.2.5", "192.0.2.6"]),
        ("192.0.2.5 2001:db8::5", ["192.0.2.5", "2001:db8::5"]),
        ("2001:DB8::5", ["2001:db8::5"]),
        ("192.0.2.0/31", ["192.0.2.0"]),
        ('="192.0.2.5"', ["192.0.2.5"]),
        ('"=""192.0.2.5"""', ["192.0.2.5"]),
        ("'192.0.2.5", ["192.0.2.5"]),
    ],
)
def test_what_an_address_cell_may_hold(tmp_path: Path, cell: str, found: list[str]) -> None:
    """One address or several, with or without a prefix length."""
    assert addresses(survey_of(tmp_path, f"ip,name\n{cell},a\n")) == found


def test_several_columns_of_addresses_by_their_titles(tmp_path: Path) -> None:
    """Addresses in the IPv4 and in the IPv6 column are site hosts; addresses in a gateway column are not."""
    text = "Gateway,IPv4,IPv6\n192.0.2.1,192.0.2.5,2001:db8::5\n192.0.2.1,192.0.2.6,\n"
    assert addresses(survey_of(tmp_path, text)) == ["192.0.2.5", "192.0.2.6", "2001:db8::5"]


def test_gateways_and_masks_are_not_taken_for_the_hosts(tmp_path: Path) -> None:
    """Columns are left out if their title says that they hold addresses of other devices or masks."""
    text = "Current IP;Default gateway;Subnet mask;DNS 1\n192.0.2.5;192.0.2.1;255.255.255.0;192.0.2.2\n"
    assert addresses(survey_of(tmp_path, text)) == ["192.0.2.5"]


def test_a_column_of_postal_addresses_is_not_read(tmp_path: Path) -> None:
    """A column titled "address" counts only if it contains IP addresses."""
    text = "Address,Where\nHill 4,192.0.2.5\nHill 5,192.0.2.6\n"
    assert addresses(survey_of(tmp_path, text)) == ["192.0.2.5", "192.0.2.6"]


def test_a_table_without_header(tmp_path: Path) -> None:
    """Addresses and MACs are recognised by their form; the other cells become the note."""
    (host,) = survey_of(tmp_path, "camera,192.0.2.5,00005e005314,gate\n").hosts
    assert (host.address, host.mac, host.note) == (Address.from_text("192.0.2.5"), MAC, "camera, gate")
    assert host.line == 1


def test_the_address_column_is_not_guessed_between_two(tmp_path: Path) -> None:
    """The plan can name the column by title or by number."""
    text = "192.0.2.1,192.0.2.5,a\n192.0.2.1,192.0.2.6,b\n"
    assert "column 1 or 2" in refusal(tmp_path, text)
    assert addresses(survey_of(tmp_path, text, address="2")) == ["192.0.2.5", "192.0.2.6"]


def test_columns_named_by_the_plan(tmp_path: Path) -> None:
    """The columns that the plan names overrule the header."""
    text = "IP;Real IP;Mac of it;Who\n192.0.2.1;192.0.2.5;00005e005314;cam-1\n"
    (host,) = survey_of(tmp_path, text, address="real ip", name="Who", mac="Mac of it").hosts
    assert (str(host.address), host.mac, host.name) == ("192.0.2.5", MAC, "cam-1")
    message = refusal(tmp_path, text, address="IP Addr.")
    assert 'no column "IP Addr."' in message
    assert '"Real IP"' in message


def test_a_quote_left_open_loses_no_row(tmp_path: Path) -> None:
    """The row becomes a remark, and all addresses are read."""
    survey = survey_of(tmp_path, 'ip,note\n192.0.2.5,"open\n192.0.2.6,5" pipe\n192.0.2.7,c\n')
    assert addresses(survey) == ["192.0.2.5", "192.0.2.6", "192.0.2.7"]
    assert [one.position.at for one in survey.unread.first] == ["row 2"]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (b"a,b\n1,2\n", "no column of addresses"),
        (b"\x7fELF\0\0\0\0\0", "not text"),
        (b"PK\x03\x04rest", "cannot be read as a workbook"),
        (b"ip\n" + b"1" * (2 << 20), "line 2 has 2,097,152 bytes"),
    ],
    ids=["empty", "blank", "no-addresses", "program", "workbook", "long-line"],
)
def test_a_file_that_is_no_survey_is_refused_with_a_message(tmp_path: Path, data: bytes, words: str) -> None:
    """An empty list would make every address look free."""
    assert words in refusal(tmp_path, data)


def test_a_header_alone_is_a_survey_without_hosts(tmp_path: Path) -> None:
    """Such a list states that the site has no hosts."""
    assert len(survey_of(tmp_path, "address,mac,name\n").hosts) == 0


def test_kinds(tmp_path: Path) -> None:
    """The plan may name the kind; an unknown kind is refused."""
    assert survey_of(tmp_path, TABLE, "csv").kind == "csv"
    assert "Known kinds: xlsx, capture, csv, leases, dhcp, neighbours, zone and hosts" in refusal(
        tmp_path, TABLE, "cvs"
    )


def test_every_survey_that_cannot_be_read_is_reported(tmp_path: Path) -> None:
    """All surveys of a plan are tried before the error is raised."""
    (tmp_path / "empty.csv").write_text("")
    (tmp_path / "none.csv").write_text("a,b\n")
    entries = tuple(
        SurveyEntry(file=name, position=Position("plan.toml")) for name in ("empty.csv", "none.csv", "missing.csv")
    )
    with pytest.raises(SurveyError) as caught:
        read_surveys(Plan(name="x", slug="x", folder=str(tmp_path), sha256="", surveys=entries))
    assert [problem.where for problem in caught.value.problems] == ["empty.csv", "none.csv", "missing.csv"]


def test_in_part_a_survey_that_cannot_be_read_has_failed(tmp_path: Path) -> None:
    """The other surveys are read, the failed one covers no prefix, and the plan's hash covers the bytes of all."""
    (tmp_path / "none.csv").write_text("a,b\n")
    (tmp_path / "good.csv").write_text("ip\n192.0.2.5\n")
    entries = "".join(f'[[survey]]\nfile = "{name}.csv"\ncovers = ["192.0.2.0/24"]\n' for name in ("none", "good"))
    (tmp_path / "plan.toml").write_text(f'format = 1\n[site]\nname = "x"\n{entries}')
    plan, (none, good) = read_site(tmp_path, in_part=True)
    assert (len(none.failed), len(none.hosts), none.covers) == (1, 0, ())
    assert (good.failed, len(good.hosts), len(good.covers)) == ((), 1, 1)
    whole = b"".join((tmp_path / name).read_bytes() for name in ("plan.toml", "none.csv", "good.csv"))
    assert plan.sha256 == hashlib.sha256(whole).hexdigest()
    with pytest.raises(SurveyError, match=r"none\.csv"):
        read_site(tmp_path)


@pytest.mark.parametrize("keys", ['file = "missing.csv"', 'file = "good.csv"\nkind = "cvs"'], ids=["missing", "kind"])
def test_a_mistake_of_the_plan_is_no_failed_survey(tmp_path: Path, keys: str) -> None:
    """A missing file or an unknown kind is an error of the plan, also in part."""
    (tmp_path / "good.csv").write_text("ip\n192.0.2.5\n")
    (tmp_path / "plan.toml").write_text(f'format = 1\n[site]\nname = "x"\n[[survey]]\n{keys}\n')
    with pytest.raises(NetcheckError):
        read_site(tmp_path, in_part=True)


def test_hosts_of_an_island(tmp_path: Path) -> None:
    """The surveys of one island make one table; surveys of other islands are left out."""
    for name, octet in (("a", 5), ("b", 6), ("c", 7)):
        (tmp_path / f"{name}.csv").write_text(f"ip\n192.0.2.{octet}\n")
    entries = (
        SurveyEntry(file="a.csv", position=Position("plan.toml")),
        SurveyEntry(file="b.csv", position=Position("plan.toml"), island="cell"),
        SurveyEntry(file="c.csv", position=Position("plan.toml")),
    )
    surveys = read_surveys(Plan(name="x", slug="x", folder=str(tmp_path), sha256="", surveys=entries))
    assert [(str(host.address), host.file) for host in hosts_of(surveys, "site")] == [
        ("192.0.2.5", "a.csv"),
        ("192.0.2.7", "c.csv"),
    ]
    assert len(hosts_of(surveys, "cell")) == 1
    assert len(hosts_of(surveys, "elsewhere")) == 0


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.binary(max_size=120)
    | st.integers(0, len(TABLE)).map(lambda cut: TABLE.encode()[:cut])
    | st.text(st.sampled_from('192.0.5,;|\t"\n:/aip-'), max_size=80).map(str.encode)
    | st.builds(lambda cut, junk: TABLE.encode()[:cut] + junk + TABLE.encode()[cut:], st.integers(0, 90), st.binary())
)
def test_any_bytes_are_a_survey_or_refused(tmp_path: Path, data: bytes) -> None:
    """Any bytes, cut, padded or mutated, are read or refused with a message."""
    try:
        survey = survey_of(tmp_path, data)
    except NetcheckError as error:
        assert str(error)  # noqa: PT017 - both outcomes are correct, each is checked
        return
    assert len(list(survey.hosts)) == len(survey.hosts)


def test_a_large_survey_in_little_time_and_memory(tmp_path: Path) -> None:
    """A row takes about 300 bytes in memory; the limit on time leaves room for slow machines."""
    count = 20_000
    with (tmp_path / "hosts.csv").open("w") as stream:
        stream.write("ip,mac,name,note\n")
        for row in range(count):
            address = Address(4, (10 << 24) + (row * 7919) % (1 << 24))
            stream.write(f"{address},00005e{row % (1 << 24):06x},host-{row},office\n")
    tracemalloc.start()
    survey = read_survey(SurveyEntry(file="hosts.csv", position=Position("plan.toml")), tmp_path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(survey.hosts) == count
    assert peak < 6 << 20
    start = time.process_time()
    read_survey(SurveyEntry(file="hosts.csv", position=Position("plan.toml")), tmp_path)
    assert time.process_time() - start < 5
