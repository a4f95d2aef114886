"""The findings of each rule in significant cases: published worked examples, and details of the contract."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest

from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding
from netcheck.rules.rule import PROCESS, Example, device, one, plan

MAC, OTHER = "00-00-5E-00-53-21", "00-00-5E-00-53-99"


def keys(**cells: object) -> str:
    """Return the keys of an interface, with address 10.62.20.61 if none is given."""
    given = {"address": "10.62.20.61", **{key.replace("_", "-"): value for key, value in cells.items()}}
    return "\n".join(f'{key} = "{value}"' for key, value in given.items())


def subnet(prefix: str, **more: object) -> str:
    """Return the keys of a subnet."""
    lines = [f'prefix = "{prefix}"', *(f"{key} = {value!r}" for key, value in more.items())]
    return "\n".join(lines).replace("'", '"')


def second(name: str, prefix: str, **more: object) -> str:
    """Return a second subnet."""
    return f'[[subnet]]\nname = "{name}"\n{subnet(prefix, **more)}'


def alike(first: str, other: str, *more: str, **rest: str) -> Example:
    """Return two devices with the same keys, a-plc/cpu and b-plc/cpu."""
    return plan(device("a-plc", cpu=first), device("b-plc", cpu=other), *more, **rest)


def broken(found: Checked) -> set[tuple[str, ...]]:
    """Return the broken rules with their subjects, without `not-surveyed`."""
    return {(each.rule, *each.subjects) for each in found.findings if each.rule != "not-surveyed"}


def finding(found: Checked, rule: str) -> Finding:
    """Return the only finding of a rule."""
    (only,) = (each for each in found.findings if each.rule == rule)
    return only


CPU = "filler-plc/cpu"
RFC950 = subnet("128.99.4.0/22", gateway="128.99.4.62")
CASES: dict[str, tuple[Example, set[tuple[str, ...]]]] = {
    # Addresses and masks, compared with worked examples.
    "RFC 950 appendix II-1": (
        one(keys(address="36.40.0.123", mask="255.255.0.0", gateway="36.40.0.62"), subnet=subnet("36.40.0.0/16")),
        {("public-address", CPU)},
    ),
    "RFC 950 appendix II-2": (
        one(keys(address="128.99.4.123", mask="255.255.252.0", gateway="128.99.4.62"), subnet=RFC950),
        {("public-address", CPU)},
    ),
    "RFC 950 appendix II-2, broadcast": (
        one(keys(address="128.99.7.255"), subnet=RFC950),
        {("unusable-address", CPU)},
    ),
    # RFC 950 permits the mask 255.255.255.88; RFC 1812 section 10.2.2 permits only contiguous masks.
    "RFC 950 appendix II-3": (
        one(
            keys(address="192.1.127.19", mask="255.255.255.88", gateway="192.1.127.50"), subnet=subnet("192.1.127.0/24")
        ),
        {("mask-broken", CPU), ("public-address", CPU)},
    ),
    "RFC 4632 section 3.1, 172.16.0.0/16": (
        one(keys(address="172.16.255.254", mask="255.255.0.0"), subnet=subnet("172.16.0.0/16")),
        set(),
    ),
    "RFC 4632 section 6.1, C4 as the figure has it": (
        plan(subnet=subnet("10.24.12.0/20")),
        {("unreadable-value", "process")},
    ),
    "RFC 4632 section 6.1, no overlaps": (
        plan(
            *(
                second(f"c{index}", text)
                for index, text in enumerate(("10.24.16.0/20", "10.24.8.0/22", "10.24.12.0/22"))
            ),
            subnet=subnet("10.24.0.0/21"),
        ),
        set(),
    ),
    "RFC 4632 section 6.1, C4 as a /20 would swallow C1": (
        plan(second("c4", "10.24.0.0/20"), second("c3", "10.24.8.0/22"), subnet=subnet("10.24.0.0/21")),
        {("subnets-overlap", "process", "c4"), ("subnets-overlap", "c4", "c3")},
    ),
    "RFC 3021, both ends of a /31": (
        alike(
            keys(address="192.168.7.0", mask="255.255.255.254"),
            keys(address="192.168.7.1", mask="/31"),
            subnet=subnet("192.168.7.0/31"),
            site="crowded = 1.0",
        ),
        set(),
    ),
    "RFC 6943 section 3.1.1, a leading zero": (one(keys(address="010.62.20.1")), {("unreadable-value", CPU)}),
    "wildcard mask": (one(keys(mask="0.0.0.255")), {("mask-broken", CPU)}),
    "mask of zeros": (one(keys(mask="0.0.0.0")), {("mask-broken", CPU)}),
    "mask of ones": (one(keys(mask="255.255.255.255")), {("mask-differs", CPU)}),
    "mask as a length": (one(keys(mask="/25")), {("mask-differs", CPU)}),
    "no mask at all": (one(keys(mask="255.255.256.0")), {("unreadable-value", CPU)}),
    "loopback outside its subnet": (
        one(keys(address="127.0.0.1")),
        {("outside-subnet", CPU), ("unusable-address", CPU)},
    ),
    "unusable silences special-purpose": (
        one(keys(address="192.0.2.255"), subnet=subnet("192.0.2.0/24")),
        {("unusable-address", CPU)},
    ),
    "documentation (RFC 5737)": (
        one(keys(address="192.0.2.61"), subnet=subnet("192.0.2.0/24")),
        {("special-purpose", CPU)},
    ),
    "shared space (RFC 6598)": (
        one(keys(address="100.64.0.61"), subnet=subnet("100.64.0.0/24")),
        {("special-purpose", CPU)},
    ),
    "IPv6, unique local (RFC 4193)": (
        one(keys(address="fd00:62::61", mask="/64"), subnet=subnet("fd00:62::/64")),
        set(),
    ),
    "IPv6, subnet-router anycast (RFC 4291 section 2.6.1)": (
        one(keys(address="fd00:62::"), subnet=subnet("fd00:62::/64")),
        {("unusable-address", CPU)},
    ),
    "IPv6, link-local gateway": (
        one(keys(address="fd00:62::61", gateway="fe80::1"), subnet=subnet("fd00:62::/64", gateway="fe80::1")),
        set(),
    ),
    "a link-local gateway does not serve IPv4": (
        one(keys(gateway="fe80::1"), subnet=subnet("10.62.20.0/24", gateway="fe80::1")),
        {("gateway-off-link", CPU), ("gateway-off-link", "process")},
    ),
    "IPv6 in an IPv4 subnet": (one(keys(address="fd00:62::61")), {("outside-subnet", CPU)}),
    "an unreadable prefix decides nothing": (
        one(keys(address="10.62.99.255", mask="255.0.0.0"), subnet=subnet("10.62.20.0/33")),
        {("unreadable-value", "process")},
    ),
    # Values that are planned twice.
    "three on one address are one finding": (
        plan(*(device(f"{name}-plc", cpu=keys()) for name in "abc")),
        {("planned-twice", "a-plc/cpu", "b-plc/cpu", "c-plc/cpu")},
    ),
    "islands may repeat addresses and names": (
        alike(
            keys(host_name="plc"),
            keys(subnet="line-2", host_name="plc"),
            second("line-2", "10.62.20.0/24", island="line-2"),
        ),
        set(),
    ),
    "MACs are one over all islands": (
        alike(
            keys(mac=MAC), keys(subnet="line-2", mac=MAC.lower()), second("line-2", "10.62.20.0/24", island="line-2")
        ),
        {("mac-planned-twice", "a-plc/cpu", "b-plc/cpu")},
    ),
    "a device behind a port shares its switch port": (
        alike(
            keys(switch_port="sw-1/1"),
            keys(address="10.62.20.62", switch_port="sw-1/1", behind="a-plc/cpu:1"),
        ),
        set(),
    ),
    "one VLAN for IPv4 and IPv6 is one segment": (
        plan(second("process-6", "fd00:62::/64", vlan=620), subnet=subnet("10.62.20.0/24", vlan=620)),
        set(),
    ),
    "one VLAN for three subnets is three pairs": (
        plan(
            second("b", "10.62.30.0/24", vlan=620),
            second("c", "10.62.40.0/24", vlan=620),
            subnet=subnet("10.62.20.0/24", vlan=620),
        ),
        {("vlan-reused", "process", "b"), ("vlan-reused", "process", "c"), ("vlan-reused", "b", "c")},
    ),
    "VLAN 0": (plan(subnet=subnet("10.62.20.0/24", vlan=0)), {("vlan-unusable", "process")}),
    "VLAN 1": (plan(subnet=subnet("10.62.20.0/24", vlan=1)), set()),
    # Pools, reserved ranges, gateways and stations of all subnets of the island, and of no other island.
    "a pool of another subnet": (
        one(keys(), second("packing", "10.62.30.0/24", pools=["10.62.20.60-10.62.20.70"])),
        {("inside-pool", CPU), ("pool-outside-subnet", "packing")},
    ),
    "a pool of another island": (
        one(keys(), second("packing", "10.62.30.0/24", pools=["10.62.20.60-10.62.20.70"], island="line-2")),
        {("pool-outside-subnet", "packing")},
    ),
    "a reserved prefix": (
        one(keys(), subnet=subnet("10.62.20.0/24", reserved=["10.62.20.56/29"])),
        {("inside-reserved", CPU)},
    ),
    "granted": (
        one(keys(granted="site IT"), subnet=subnet("10.62.20.0/24", reserved=["10.62.20.61"], pools=["10.62.20.61"])),
        set(),
    ),
    "another subnet's gateway": (
        one(keys(), second("packing", "10.62.30.0/24", gateway="10.62.20.61")),
        {("is-gateway", CPU), ("gateway-off-link", "packing")},
    ),
    "a router is not its own gateway": (
        one(
            keys(),
            '[[router]]\nname = "filler-plc"\ninterfaces = ["10.62.20.61/24"]',
            subnet=subnet("10.62.20.0/24", gateway="10.62.20.61"),
        ),
        set(),
    ),
    "another router's interface": (
        one(keys(), '[[router]]\nname = "site-router"\ninterfaces = ["10.62.20.61/24"]'),
        {("is-gateway", CPU)},
    ),
    "a station of another island": (
        one(keys(), '[[station]]\nname = "laptop"\naddress = "10.62.20.61/24"\nisland = "line-2"'),
        set(),
    ),
    # Gateways.
    "the gateway of a subnet is its broadcast": (
        plan(subnet=subnet("10.62.20.0/24", gateway="10.62.20.255")),
        {("gateway-unusable", "process")},
    ),
    "the typed gateway is the interface itself": (
        one(keys(gateway="10.62.20.61"), subnet=subnet("10.62.20.0/24", gateway="10.62.20.1")),
        {("gateway-unusable", CPU), ("gateway-differs", CPU)},
    ),
    "the typed mask decides what is on-link": (
        one(keys(mask="255.255.255.192", gateway="10.62.20.1"), subnet=subnet("10.62.20.0/24", gateway="10.62.20.1")),
        {("mask-differs", CPU)},
    ),
    "a longer mask puts the gateway off the link": (
        one(keys(mask="255.255.255.224", gateway="10.62.20.1"), subnet=subnet("10.62.20.0/24", gateway="10.62.20.1")),
        {("mask-differs", CPU), ("gateway-off-link", CPU)},
    ),
    "a broken mask leaves the link undecided": (
        one(keys(mask="255.0.255.0", gateway="10.99.0.1")),
        {("mask-broken", CPU)},
    ),
    "no subnet gateway to differ from": (one(keys(gateway="10.62.20.2")), set()),
    # Site hosts.
    "the planned MAC is there": (
        one(keys(mac=MAC), hosts=f"address,mac\n10.62.20.61,{MAC}\n"),
        {("already-there", CPU)},
    ),
    "its name without a MAC next to it": (
        one(keys(mac=MAC), hosts=f"address,mac\n10.62.20.61,{MAC}\n10.62.20.61,\n"),
        {("already-there", CPU)},
    ),
    "no MAC planned": (one(keys(), hosts=f"address,mac\n10.62.20.61,{MAC}\n"), {("taken-on-site", CPU)}),
    "no MAC known": (one(keys(mac=MAC), hosts="address\n10.62.20.61\n"), {("taken-on-site", CPU)}),
    "a twin next to the device": (
        one(keys(mac=MAC), hosts=f"address,mac\n10.62.20.61,{MAC}\n10.62.20.61,{OTHER}\n"),
        {("taken-on-site", CPU), ("survey-disagrees", "site-hosts.csv")},
    ),
    "an unreadable MAC leaves it undecided": (
        one(keys(mac="00-00-5E-00-53-2G"), hosts=f"address,mac\n10.62.20.61,{OTHER}\n"),
        {("unreadable-value", CPU)},
    ),
    "an unreadable MAC, and a host of none": (
        one(keys(mac="00-00-5E-00-53-2G"), hosts="address\n10.62.20.61\n"),
        {("unreadable-value", CPU), ("taken-on-site", CPU)},
    ),
    "the MAC at a second address": (
        one(keys(mac=MAC), hosts=f"address,mac\n10.62.20.61,{MAC}\n10.62.20.90,{MAC}\n"),
        {("already-there", CPU), ("mac-elsewhere", CPU)},
    ),
    "the MAC at an IPv6 address": (one(keys(mac=MAC), hosts=f"address,mac\nfd00:62::61,{MAC}\n"), set()),
    "a row of the survey that cannot be read": (
        one(keys(), hosts="address,name\n10.62.20.061,camera\n10.62.20.80,printer\n"),
        {("unreadable-value", "site-hosts.csv")},
    ),
    "exactly keep-clear away": (one(keys(), site="keep-clear = 4", hosts="address\n10.62.20.65\n"), set()),
    "one nearer": (one(keys(), site="keep-clear = 4", hosts="address\n10.62.20.64\n"), {("too-near", CPU)}),
    "not at distance 0": (
        one(keys(), site="keep-clear = 4", hosts="address\n10.62.20.61\n10.62.20.62\n"),
        {("taken-on-site", CPU)},
    ),
    "its own entry is not too near": (
        one(keys(mac=MAC, host_name="filler"), site="keep-clear = 4", hosts=f"address,mac,name\n10.62.20.62,{MAC},\n"),
        {("mac-elsewhere", CPU)},
    ),
    "nor its own name": (
        one(keys(host_name="filler"), site="keep-clear = 4", hosts="address,name\n10.62.20.62,FILLER\n"),
        {("name-taken-on-site", CPU)},
    ),
    "behind its own entry stands another": (
        one(keys(mac=MAC), site="keep-clear = 4", hosts=f"address,mac\n10.62.20.61,{MAC}\n10.62.20.63,{OTHER}\n"),
        {("already-there", CPU), ("too-near", CPU)},
    ),
    "a near host beyond the subnet": (
        one(keys(address="10.62.20.254"), site="keep-clear = 9", hosts="address\n10.62.21.1\n"),
        set(),
    ),
    # Names (standards: RFC 952, RFC 1123 section 2.1, RFC 1035 section 2.3.4).
    "a name that begins with a digit": (one(keys(host_name="3com-a")), set()),
    "a name of several labels": (one(keys(host_name="plc-01.line2.example")), set()),
    "a hyphen in front": (one(keys(host_name="-a")), {("name-unusable", CPU)}),
    "a hyphen behind": (one(keys(host_name="a-")), {("name-unusable", CPU)}),
    "bare, and with the plan's domain": (
        alike(
            keys(host_name="plc-01"),
            keys(address="10.62.20.62", host_name="PLC-01.line2.example"),
            site='domain = "line2.example."',
        ),
        {("name-planned-twice", "a-plc/cpu", "b-plc/cpu")},
    ),
    "an underscore": (one(keys(host_name="a_b")), {("name-unusable", CPU)}),
    "an address as a name": (one(keys(host_name="10.0.0.1")), {("name-unusable", CPU)}),
    "a label of 63": (one(keys(host_name="a" * 63)), set()),
    "a label of 64": (one(keys(host_name="a" * 64)), {("name-unusable", CPU)}),
    "a name of 253": (one(keys(host_name=".".join(["a" * 49] * 5 + ["abc"]))), set()),
    "a name of 254": (one(keys(host_name=".".join(["a" * 49] * 5 + ["abcd"]))), {("name-unusable", CPU)}),
    "characters that no name can have": (one(keys(host_name="füller plc")), {("name-unusable", CPU)}),
    "an empty name is a missing one": (one(keys(host_name="")), set()),
    # MACs (RFC 7042 section 2.1).
    "MAC of zeros": (one(keys(mac="00-00-00-00-00-00")), {("mac-unusable", CPU)}),
    "MAC of ones": (one(keys(mac="FF-FF-FF-FF-FF-FF")), {("mac-unusable", CPU), ("mac-local", CPU)}),
    "MAC with dots": (one(keys(mac="0000.5e00.5321")), set()),
    # Crowded: the share must be exceeded, not only reached; the gateway does not count.
    "exactly the share": (
        one(
            keys(address="10.62.20.2"),
            subnet=subnet("10.62.20.0/28", pools=["10.62.20.3-10.62.20.8"]),
            site="crowded = 0.5",
        ),
        set(),
    ),
    "one more than the share": (
        one(
            keys(address="10.62.20.2"),
            subnet=subnet("10.62.20.0/28", pools=["10.62.20.3-10.62.20.9"]),
            site="crowded = 0.5",
        ),
        {("crowded", "process")},
    ),
    "the gateway does not count": (
        one(
            keys(address="10.62.20.2"),
            subnet=subnet("10.62.20.0/28", gateway="10.62.20.9", pools=["10.62.20.3-10.62.20.9"]),
            site="crowded = 0.5",
            hosts="address\n10.62.20.9\n",
        ),
        set(),
    ),
    "what is counted twice counts once": (
        one(
            keys(address="10.62.20.2", granted="site IT"),
            subnet=subnet("10.62.20.0/28", pools=["10.62.20.2-10.62.20.8"], reserved=["10.62.20.2-10.62.20.8"]),
            site="crowded = 0.5",
            hosts="address\n10.62.20.5\n",
        ),
        set(),
    ),
}


@pytest.mark.parametrize(("example", "wanted"), CASES.values(), ids=CASES.keys())
def test_case(example: Example, wanted: set[tuple[str, ...]], checked: Callable[..., Checked]) -> None:
    """Exactly these rules are broken, by exactly these subjects."""
    assert broken(checked(example.plan, example.hosts)) == wanted


HALF = 'taken = 2026-10-28\ncovers = ["10.62.20.0/25"]'


RANGE = "subnet 10.62.20.0 netmask 255.255.255.0 {{\n  range 10.62.20.{} 10.62.20.{};\n}}\n"


@pytest.mark.parametrize(
    ("pools", "ends", "words"),
    [
        ('"10.62.20.200-10.62.20.239"', (200, 239), ""),
        ('"10.62.20.200-10.62.20.209", "10.62.20.210-10.62.20.239"', (200, 239), ""),
        ('"10.62.20.200-10.62.20.239"', (190, 249),
         "10.62.20.190-10.62.20.199 and 10.62.20.240-10.62.20.249, which no pool of the plan has"),
        ('"10.62.20.200-10.62.20.239"', (200, 219), "not 10.62.20.220-10.62.20.239, which the plan has as a pool"),
        ("", (200, 219), "10.62.20.200-10.62.20.219, which no pool of the plan has"),
    ],
)  # fmt: skip
def test_ranges_of_a_server_are_compared_with_the_pools(
    pools: str, ends: tuple[int, int], words: str, checked: Callable[..., Checked]
) -> None:
    """They are compared as sets of addresses; the finding names the difference and where the range is written."""
    example = one('address = "10.62.20.61"', subnet=PROCESS + f"\npools = [{pools}]", hosts=RANGE.format(*ends))
    found = [each for each in checked(example.plan, example.hosts).findings if each.rule == "pool-differs"]
    assert [each.message for each in found] == (
        [f"a DHCP server (site-hosts.csv: line 2) assigns {words}"] if words else []
    )


@pytest.mark.parametrize(
    ("keys", "hosts", "broken"),
    [
        ("", "", True),
        ('granted = "site IT"', "", False),
        ("", "host filler-plc { fixed-address 10.62.20.61; }\n", False),
    ],
    ids=["inside", "granted", "reserved for it"],
)
def test_an_address_inside_the_range_of_a_server(
    keys: str, hosts: str, broken: bool, checked: Callable[..., Checked]
) -> None:
    """Such an address is a conflict even if the plan has no such pool, and the fix is outside the range."""
    example = one(f'address = "10.62.20.61"\nhost-name = "filler-plc"\n{keys}', hosts=RANGE.format(2, 199) + hosts)
    found = [each for each in checked(example.plan, example.hosts).findings if each.rule == "inside-pool"]
    assert len(found) == broken
    for each in found:
        assert "inside 10.62.20.2-10.62.20.199 (site-hosts.csv: line 2), which a DHCP server assigns" in each.message
        assert each.fix is not None
        assert each.fix.addresses[0][1].value & 255 >= 200


def test_uncovered_part_is_named(checked: Callable[..., Checked]) -> None:
    """`not-surveyed` says which part of the prefix no survey covers."""
    example = one(keys(), survey='taken = 2026-10-28\ncovers = ["10.62.20.0/26", "10.62.20.192/26"]')
    message = finding(checked(example.plan, example.hosts), "not-surveyed").message
    assert "10.62.20.64/26" in message
    assert "10.62.20.128/26" in message


def test_two_halves_cover_the_whole(checked: Callable[..., Checked]) -> None:
    """Two surveys that each cover one half cover the whole subnet."""
    other = '[[survey]]\nfile = "other.csv"\ntaken = 2026-10-28\ncovers = ["10.62.20.128/25"]'
    example = one(keys(), other, survey=HALF)
    assert broken(found := checked(example.plan, example.hosts, other="address\n")) == set()
    assert not found.findings


def test_a_survey_of_another_island_does_not_count(checked: Callable[..., Checked]) -> None:
    """A survey covers prefixes only in its own island."""
    example = one(keys(), survey='covers = ["10.62.20.0/24"]\nisland = "line-2"')
    assert finding(checked(example.plan, example.hosts), "not-surveyed").subjects == ("process",)


def test_an_unreadable_cover_leaves_coverage_undecided(checked: Callable[..., Checked]) -> None:
    """The unreadable prefix is a finding, and there is no finding `not-surveyed`."""
    example = one(keys(), survey='covers = ["10.62.20.0/25", "10.62.20.128/52"]')
    assert {each.rule for each in checked(example.plan, example.hosts).findings} == {"unreadable-value"}


@pytest.mark.parametrize(
    ("day", "stale"), [(date(2026, 11, 27), False), (date(2026, 11, 28), True), (date(2026, 10, 1), False)]
)
def test_survey_age(day: date, stale: bool, checked: Callable[..., Checked]) -> None:
    """A survey of 2026-10-28 is not stale for 30 days; a survey dated tomorrow is not stale either."""
    example = one(keys(), hosts="address\n10.62.20.80\n")
    assert ("survey-stale" in {each.rule for each in checked(example.plan, example.hosts, day).findings}) == stale


def test_disagreeing_surveys_name_both_files(checked: Callable[..., Checked]) -> None:
    """There is one finding for an address; its subjects are the files, and its address is that address."""
    other = '[[survey]]\nfile = "other.csv"\ntaken = 2026-10-28'
    example = one(keys(), other, hosts=f"address,mac\n10.62.20.80,{MAC}\n10.62.20.81,{MAC}\n")
    found = checked(example.plan, example.hosts, other=f"address,mac\n10.62.20.80,{OTHER}\n10.62.20.81,{MAC}\n")
    only = finding(found, "survey-disagrees")
    assert only.subjects == ("other.csv", "site-hosts.csv")  # in plan order
    assert only.address == "10.62.20.80"


def test_the_intended_prefix_is_named(checked: Callable[..., Checked]) -> None:
    """A prefix with host bits is unreadable, and the message names the likely prefix."""
    example = plan(subnet=subnet("10.62.20.5/24"))
    assert "10.62.20.0/24" in finding(checked(example.plan), "unreadable-value").message


def test_order_is_severity_then_plan(checked: Callable[..., Checked]) -> None:
    """Conflicts come first, then risks, then notes; findings of one severity are in plan order."""
    example = plan(
        device("z-plc", cpu=keys(address="10.62.21.1", mask="255.255.0.0"), spare=""),
        device("a-plc", cpu=keys(address="10.62.21.2", mac="02-00-5E-00-53-01")),
        subnet=PROCESS + "\nvlan = 4095",
        survey='taken = 2026-10-28\ncovers = ["10.62.40.0/24"]',
    )
    wanted = [
        ("vlan-unusable", "process"),
        ("outside-subnet", "z-plc/cpu"),
        ("mask-differs", "z-plc/cpu"),
        ("outside-subnet", "a-plc/cpu"),
        ("not-surveyed", "process"),
        ("same-subnet-twice", "z-plc/cpu"),
        ("unplaced", "z-plc/spare"),
        ("mac-local", "a-plc/cpu"),
    ]
    assert [(each.rule, each.subjects[0]) for each in checked(example.plan).findings] == wanted
