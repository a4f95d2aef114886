"""Plans are read as documented, with the position of every value, and all structural faults are reported at once."""

from __future__ import annotations

import hashlib
from datetime import date
from pathlib import Path

import pytest

from netcheck.addr import Address, InterfaceAddress, Mac, Mask, Prefix, Range
from netcheck.errors import PlanError
from netcheck.plan.model import Cell, Plan, Position
from netcheck.plan.read import read_plan

# The documented example of the plan's format, with the other end of its conversation added.
EXAMPLE = """\
format = 1

[site]
name = "Tarn Hollow creamery"      # invented
revision = "C"
keep-clear = 4                     # addresses to stay away from any site host; default 0
survey-max-age = 30                # days; default 30
crowded = 0.8                      # share of a subnet in use that becomes a risk; default 0.8

[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
gateway = "10.62.20.1"             # optional
vlan = 620                         # optional
island = "site"                    # optional
pools = ["10.62.20.200-10.62.20.239"]
reserved = ["10.62.20.1-10.62.20.19"]

[[device]]
name = "pasteuriser-plc"
kind = "controller"
place = "panel 3"
  [[device.interface]]
  name = "cpu"
  slot = 1
  subnet = "process"
  address = "10.62.20.61"          # leave out, and `suggest` fills it
  mask = "255.255.255.0"           # as typed into the device; optional
  gateway = "10.62.20.1"           # as typed into the device; optional
  mac = "00-00-5E-00-53-21"        # from the nameplate; optional
  host-name = "pasteuriser-plc"    # optional
  switch-port = "sw-3/7"           # optional
  ports = ["1", "2"]               # default ["1"]
  behind = "line-panel/lan:2"      # hangs behind that port (daisy chain); optional
  granted = "site IT, 2026-10-30"  # this address is reserved for it by the site; optional

[[router]]
name = "site-router"
interfaces = ["10.62.20.1/24", "10.62.30.1/24"]
routes = [{ to = "0.0.0.0/0", via = "10.62.30.254" }]

[[conversation]]
from = "line-panel/lan"
to = "pasteuriser-plc/cpu"
why = "operator screens"

[[station]]
name = "service laptop"
address = "10.62.20.245/24"

[[survey]]
file = "site-hosts.csv"            # see 5
taken = 2026-10-28
covers = ["10.62.20.0/24"]

[[accepted]]                       # a finding the site has agreed to live with
rule = "too-near"
subject = "pasteuriser-plc/cpu"
by = "site IT"
because = "neighbour is decommissioned in week 50"
until = 2026-12-31                 # optional; past it the finding returns

[[device]]
name = "line-panel"
  [[device.interface]]
  name = "lan"
  subnet = "process"
  ports = ["1", "2"]
"""
HOSTS = "address\n10.62.20.5\n"

SMALL = """\
format = 1
[site]
name = "Filler line"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
"""
HEAD = "device,kind,place,interface,slot,subnet,address,mask,gateway,mac,host-name,switch-port,ports\n"


def plan_of(folder: Path, text: str | bytes = SMALL, **tables: str | bytes) -> Plan:
    """Write a plan folder and read it; tables are given by their names without extension."""
    for name, content in {"plan.toml": text, **{f"{name}.csv": table for name, table in tables.items()}}.items():
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_plan(folder)


def problems_of(folder: Path, text: str | bytes, **tables: str | bytes) -> list[str]:
    """Return the problems of a plan, which must have some."""
    with pytest.raises(PlanError) as caught:
        plan_of(folder, text, **tables)
    return [str(problem) for problem in caught.value.problems]


@pytest.fixture
def example(tmp_path: Path) -> Plan:
    """Return the plan of the documented example."""
    (tmp_path / "site-hosts.csv").write_text(HOSTS)
    return plan_of(tmp_path, EXAMPLE)


def test_the_documented_example_gives_its_site(example: Plan) -> None:
    """The keys of [site] are in the model."""
    assert (example.name, example.revision) == ("Tarn Hollow creamery", "C")
    assert (example.keep_clear, example.survey_max_age, example.crowded) == (4, 30, 0.8)


def test_the_documented_example_gives_its_subnet(example: Plan) -> None:
    """Prefix, gateway, VLAN, pools and reserved ranges are values of the model."""
    subnet = example.subnet_named["process"]
    assert subnet.prefix.value == Prefix.from_text("10.62.20.0/24")
    assert subnet.gateway is not None
    assert subnet.gateway.value == Address.from_text("10.62.20.1")
    assert (subnet.vlan, subnet.island) == (620, "site")
    assert [cell.value for cell in subnet.pools] == [Range.from_text("10.62.20.200-10.62.20.239")]
    assert [cell.value for cell in subnet.reserved] == [Range.from_text("10.62.20.1-10.62.20.19")]
    assert str(subnet.position) == "plan.toml line 10: subnet process"


def test_the_documented_example_gives_its_interface(example: Plan) -> None:
    """Every key of the interface is in the model, and each cell has its position."""
    position = Position("plan.toml", "device pasteuriser-plc, interface cpu", 23)
    cpu = example.interface_named["pasteuriser-plc/cpu"]
    assert (cpu.kind, cpu.location, cpu.slot, cpu.subnet) == ("controller", "panel 3", "1", "process")
    assert cpu.address == Cell("10.62.20.61", Address.from_text("10.62.20.61"), position)
    assert cpu.mask == Cell("255.255.255.0", Mask.from_text("255.255.255.0"), position)
    assert cpu.gateway == Cell("10.62.20.1", Address.from_text("10.62.20.1"), position)
    assert cpu.mac == Cell("00-00-5E-00-53-21", Mac.from_text("00-00-5E-00-53-21"), position)
    assert cpu.host_name == Cell("pasteuriser-plc", "pasteuriser-plc", position)
    assert cpu.switch_port == Cell("sw-3/7", "sw-3/7", position)
    assert (cpu.ports, cpu.behind, cpu.granted) == (("1", "2"), "line-panel/lan:2", "site IT, 2026-10-30")
    assert str(cpu.address.position) == "plan.toml line 23: device pasteuriser-plc, interface cpu"


def test_the_documented_example_gives_the_rest(example: Plan) -> None:
    """Router, conversation, station, survey and accepted finding are in the model."""
    (router,) = example.routers
    assert [cell.value for cell in router.interfaces] == [
        InterfaceAddress.from_text("10.62.20.1/24"),
        InterfaceAddress.from_text("10.62.30.1/24"),
    ]
    assert (router.routes[0].to.text, router.routes[0].via.text) == ("0.0.0.0/0", "10.62.30.254")
    (conversation,) = example.conversations
    assert (conversation.source, conversation.target) == ("line-panel/lan", "pasteuriser-plc/cpu")
    (station,) = example.stations
    assert station.address.value == InterfaceAddress.from_text("10.62.20.245/24")
    (survey,) = example.surveys
    assert (survey.file, survey.taken, survey.covers[0].text) == ("site-hosts.csv", date(2026, 10, 28), "10.62.20.0/24")
    (accepted,) = example.accepted
    assert (accepted.rule, accepted.subject, accepted.until) == ("too-near", "pasteuriser-plc/cpu", date(2026, 12, 31))


def test_defaults(tmp_path: Path) -> None:
    """Missing keys have the documented defaults, and the only port is called 1."""
    device = '[[device]]\nname = "a"\n[[device.interface]]\nname = "b"\nsubnet = "process"\n'
    plan = plan_of(tmp_path, SMALL + device)
    assert (plan.keep_clear, plan.survey_max_age, plan.crowded, plan.revision) == (0, 30, 0.8, "")
    (interface,) = plan.interfaces
    assert (interface.ports, interface.address, interface.mask, interface.mac) == (("1",), None, None, None)
    assert plan.island_of(interface) == "site"


def test_the_folder_and_its_file_give_the_same_plan(tmp_path: Path) -> None:
    """PLAN may be the folder or its plan.toml; the folder's name is the plan's short name."""
    folder = tmp_path / "filler-line"
    folder.mkdir()
    assert plan_of(folder) == read_plan(folder / "plan.toml") == read_plan(str(folder))
    assert read_plan(folder).slug == "filler-line"


def test_sha256_is_that_of_the_files_one_after_the_other(tmp_path: Path) -> None:
    """`cat plan.toml interfaces.csv site-hosts.csv | sha256sum` gives the plan's hash (SHA-256: FIPS 180-4)."""
    survey = '[[survey]]\nfile = "site-hosts.csv"\n'
    (tmp_path / "site-hosts.csv").write_text(HOSTS)
    plan = plan_of(tmp_path, 'interfaces = "interfaces.csv"\n' + SMALL + survey, interfaces=HEAD)
    files = [(tmp_path / name).read_bytes() for name in ("plan.toml", "interfaces.csv", "site-hosts.csv")]
    assert plan.sha256 == hashlib.sha256(b"".join(files)).hexdigest()


@pytest.mark.parametrize(
    ("key", "text", "why"),
    [
        ("address", "10.62.20.061", "leading zero"),
        ("address", "10.62.20", "not an address"),
        ("address", "10.62.20.61/24", "prefix length"),
        ("mask", "255.255.255.x", "not a mask"),
        ("gateway", "10.62.20.256", "above 255"),
        ("mac", "00-00-5E-00-53", "not a MAC"),
    ],
)
def test_an_unreadable_cell_is_no_error(tmp_path: Path, key: str, text: str, why: str) -> None:
    """The check continues; the cell keeps its text, its position and the reason."""
    device = f'[[device]]\nname = "a"\n[[device.interface]]\nname = "b"\nsubnet = "process"\n{key} = "{text}"\n'
    (interface,) = plan_of(tmp_path, SMALL + device).interfaces
    cell = getattr(interface, key)
    assert (cell.text, cell.value, str(cell.position)) == (text, None, "plan.toml line 9: device a, interface b")
    assert why in cell.why


def test_unreadable_prefix_pool_and_cover_are_no_errors(tmp_path: Path) -> None:
    """A prefix with host bits, a reversed pool and an invalid covered prefix are cells without a value."""
    text = SMALL.replace("20.0/24", "20.1/24") + 'pools = ["10.62.20.9-10.62.20.8"]\n[[survey]]\nfile = "hosts.csv"\n'
    plan = plan_of(tmp_path, text + 'covers = ["all of it"]\n', hosts=HOSTS)
    assert plan.subnets[0].prefix.value is None
    assert "10.62.20.0/24" in plan.subnets[0].prefix.why
    assert plan.subnets[0].pools[0].value is None
    assert plan.surveys[0].covers[0].value is None


def test_an_ipv6_interface_reads_its_mask_as_a_length(tmp_path: Path) -> None:
    """A mask has the family of the interface's address, or of its subnet."""
    text = SMALL.replace("10.62.20.0/24", "2001:db8:20::/64")
    device = '[[device]]\nname = "a"\n[[device.interface]]\nname = "b"\nsubnet = "process"\nmask = "/64"\n'
    (interface,) = plan_of(tmp_path, text + device).interfaces
    assert interface.mask is not None
    assert interface.mask.value == Mask.from_text("/64", 6)


def test_all_faults_are_reported_at_once(tmp_path: Path) -> None:
    """Unknown, missing and mistyped keys, duplicate names and unknown names are reported with their positions."""
    text = """
nonsense = 1
[site]
name = ""
keep-clear = -1
[[subnet]]
name = "process"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
vlan = "6"
[[device]]
name = "pasteuriser-plc"
knd = "x"
  [[device.interface]]
  name = "cpu"
  subnet = "proces"
  adress = "10.62.20.61"
  ports = "1"
  [[device.interface]]
  name = "cpu"
  subnet = "process"
  behind = "line-panel/lan:1"
[[conversation]]
from = "pasteuriser-plc/cpu"
to = "line-panel/lan"
[[survey]]
file = "missing.csv"
taken = "yesterday"
columns = { adress = "x" }
[[router]]
name = "r"
interfaces = [1.5]
routes = [{ to = "10.0.0.0/8", vie = "10.62.20.1" }]
"""
    found = problems_of(tmp_path, text)
    expected = [
        'plan.toml: key "format" is missing',
        'plan.toml line 2: key "nonsense" is not known',
        'plan.toml line 4: site: key "name": expected something that is not empty, found ""',
        'plan.toml line 5: site: key "keep-clear": expected a number from 0, found -1',
        'plan.toml line 6: subnet process: key "prefix" is missing',
        'plan.toml line 11: subnet process: key "vlan": expected a whole number, found "6"',
        'plan.toml line 14: device pasteuriser-plc: key "knd" is not known; did you mean "kind"?',
        'plan.toml line 18: device pasteuriser-plc, interface cpu: key "adress" is not known; did you mean "address"?',
        'plan.toml line 19: device pasteuriser-plc, interface cpu: key "ports": expected a list in square brackets',
        'plan.toml line 15: device pasteuriser-plc, interface cpu: subnet "proces" is not in the plan; did you mean',
        'plan.toml line 20: device pasteuriser-plc, interface cpu: interface "pasteuriser-plc/cpu" is there twice',
        'plan.toml line 20: device pasteuriser-plc, interface cpu: port "line-panel/lan:1" is not in the plan',
        'plan.toml line 8: subnet process: subnet "process" is there twice',
        'plan.toml line 24: conversation pasteuriser-plc/cpu to line-panel/lan: interface "line-panel/lan" is not in',
        'plan.toml line 29: survey missing.csv: key "taken": expected a date such as 2026-10-28, found "yesterday"',
        'plan.toml line 30: survey missing.csv: key "columns", key "adress" is not known; did you mean "address"?',
        'plan.toml line 33: router r: key "interfaces", item 1: expected text in quotes, found 1.5',
        'plan.toml line 34: router r: key "routes", item 1, key "via" is missing',
        'plan.toml line 34: router r: key "routes", item 1, key "vie" is not known; did you mean "via"?',
    ]
    missing = [words for words in expected if not any(one.startswith(words) for one in found)]
    assert missing == []
    assert len(found) == len(expected)


def test_a_missing_survey_is_reported_with_the_other_faults(tmp_path: Path) -> None:
    """A missing survey file is a fault of the plan, because the plan's hash needs it."""
    text = SMALL + 'adress = 1\n[[survey]]\nfile = "missing.csv"\n'
    found = problems_of(tmp_path, text)
    assert any("missing.csv: the file is not there" in one for one in found)
    assert any('key "adress" is not known' in one for one in found)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ('format = 2\n[site]\nname = "x"\n', "format 2"),
        ('format = "1"\n[site]\nname = "x"\n', "a whole number"),
        ("format = true\n[site]\nname = 'x'\n", "found true"),
        ("format = 1\n", 'key "site" is missing'),
        ("format = 1\nsite = 3\n", 'key "site": expected a table, found 3'),
        (SMALL + "pools = '10.0.0.1'\n", "a list in square brackets"),
        (SMALL + "vlan = 6.5\n", "a whole number, found 6.5"),
        (SMALL + "vlan = true\n", "a whole number, found true"),
        (SMALL + f"vlan = 0x{'f' * 300}\n", "a very large number"),
        (SMALL.replace('name = "Filler', 'crowded = nan\nname = "Filler'), "expected a number"),
        (SMALL.replace('name = "Filler', 'crowded = 0\nname = "Filler'), "a number above 0"),
        (SMALL + "subnet = 1\n", "not known"),
        (
            SMALL + 'interfaces = "i.csv"\n',
            '"interfaces" is not known here. In TOML it belongs to the table above it; put',
        ),
        (SMALL + "[[device]]\nname = 'a'\ninterface = [1]\n", "expected a table, found 1"),
        (SMALL + "[[accepted]]\nrule = 'too-near'\n", 'key "because" is missing'),
        (SMALL + "[[station]]\nname = 's'\naddress = '10.1.1.1/8'\nuntil = 1\n", 'key "until" is not known'),
        (SMALL + "[[device]]\nname = 'a'\n[[device]]\nname = 'a'\n", 'device "a" is there twice'),
    ],
)
def test_a_wrong_structure_is_refused_with_a_message(tmp_path: Path, change: str, words: str) -> None:
    """Each message says what was expected and what was found instead."""
    assert any(words in one for one in problems_of(tmp_path, change))


@pytest.mark.parametrize("chain", [("a/x:1",), ("b/x:1", "a/x:1"), ("b/x:1", "c/x:1", "b/x:1")], ids=len)
def test_a_circle_of_devices_is_refused(tmp_path: Path, chain: tuple[str, ...]) -> None:
    """`behind` must not lead back to the same device; each loop is reported once."""
    tables = [
        f'[[device]]\nname = "{name}"\n[[device.interface]]\nname = "x"\nsubnet = "process"\nbehind = "{behind}"\n'
        for name, behind in zip("abc", chain, strict=False)
    ]
    found = problems_of(tmp_path, SMALL + "".join(tables))
    assert sum("is connected behind itself" in one for one in found) == 1


@pytest.mark.parametrize(
    ("key", "table", "words"),
    [
        ("ports", '["1", "1"]', 'port "1" is there twice'),
        ("ports", "[1, '1']", 'port "1" is there twice'),
        ("ports", "[]", "at least one item"),
        ("behind", '"a/b:9"', 'port "a/b:9" is not in the plan; did you mean "a/b:1"?'),
    ],
)
def test_ports_have_different_names(tmp_path: Path, key: str, table: str, words: str) -> None:
    """The ports of an interface have different names, and `behind` names an existing port."""
    device = f'[[device]]\nname = "a"\n[[device.interface]]\nname = "b"\nsubnet = "process"\n{key} = {table}\n'
    assert any(words in one for one in problems_of(tmp_path, SMALL + device))


def test_a_translation_is_at_a_router_of_the_plan(tmp_path: Path) -> None:
    """An unknown router is reported like an unknown subnet; a plan without routers may name one."""
    keys = 'outside = "10.62.20.61"\ninside = "192.168.10.5"\nisland = "machine-1"\nat = "skid-ruoter"\n'
    router = '[[router]]\nname = "skid-router"\ninterfaces = ["10.62.20.60/24"]\n'
    (found,) = problems_of(tmp_path, f"{SMALL}{router}[[translation]]\n{keys}")
    assert 'translation 10.62.20.61: router "skid-ruoter" is not in the plan; did you mean "skid-router"?' in found
    assert plan_of(tmp_path, f"{SMALL}[[translation]]\n{keys}").translations[0].at == "skid-ruoter"


def test_the_line_of_a_syntax_error_is_reported(tmp_path: Path) -> None:
    """The usual mistake is an address without quotes."""
    (found,) = problems_of(tmp_path, SMALL + "gateway = 10.62.20.1\n")
    assert "line 7" in found
    assert "quotes" in found


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"format = 1\n[site]\nname = 'caf\xe9'\n", "line 3 contains a byte that is not UTF-8"),
        (SMALL.encode("utf-16"), "written in UTF-16"),
        (b"a = " + b"[" * 100_000, "nested too deeply"),
        (b"a = " + b"9" * 5000, "thousands of digits"),
        (b".".join([b"a"] * 20_000) + b" = 1\n", "key of more than 32 parts"),
        (b"format = 1\n\0\n", "not TOML"),
        (b"# " + b"x" * (1 << 20), "line 1 has 1,048,578 bytes"),
        (b"\n" * ((16 << 20) + 1), "16,777,217 bytes; at most 16,777,216 (16 MiB)"),
    ],
    ids=["latin", "utf-16", "deep", "long-number", "dotted", "nul", "long-line", "large"],
)
def test_a_hostile_file_is_refused_with_a_message(tmp_path: Path, data: bytes, words: str) -> None:
    """Any bytes give one message, without delay."""
    found = problems_of(tmp_path, data)
    assert any(words in one for one in found)


def test_a_mark_at_the_beginning_is_allowed(tmp_path: Path) -> None:
    """Some editors write a byte order mark before UTF-8."""
    assert plan_of(tmp_path, b"\xef\xbb\xbf" + SMALL.encode()).name == "Filler line"


def test_only_the_first_thousand_problems_are_listed(tmp_path: Path) -> None:
    """A file with a great number of mistakes fills neither the screen nor the memory."""
    found = problems_of(tmp_path, SMALL + "[[station]]\nx = 1\n" * 2000)
    assert len(found) == 1000
    assert "more problems were found" in found[-1]


def test_text_from_a_plan_is_harmless_in_messages(tmp_path: Path) -> None:
    """Control characters of keys and names are escaped."""
    found = problems_of(tmp_path, SMALL + '[[device]]\nname = "a\\u001b[31m"\n"k\\u0007" = 1\n')
    assert all("\x1b" not in one and "\x07" not in one for one in found)
