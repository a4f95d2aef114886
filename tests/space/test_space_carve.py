"""Carving is compared with worked examples, with `ipaddress`, and with a search for smaller subnets."""

from __future__ import annotations

import ipaddress
import json
import subprocess
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.addr import Prefix, Range
from netcheck.plan.read import read_plan
from netcheck.space.carve import Need, carve, growth_from_text
from tests import command_line


def carved(block: str, *needs: str, growth: str = "0%") -> tuple[dict[str, str], list[str]]:
    """Return name and prefix of each subnet, and the rest, as text."""
    found = carve(Prefix.from_text(block), [Need.from_text(need) for need in needs], growth_from_text(growth))
    return {one.need.name: str(one.prefix) for one in found.subnets}, [str(prefix) for prefix in found.left]


def test_worked_example_of_an_allocation() -> None:
    """RFC 4632 section 6.1: six customers of 2048, 4096, 1024, 1024, 512 and 512 addresses out of 10.24.0.0/13.

    The largest first, they take 10.24.0.0 to 10.24.35.255. The rest are the prefixes that the example leaves free.
    """
    needs = [f"C{number}:{size - 3}" for number, size in enumerate((2048, 4096, 1024, 1024, 512, 512), 1)]
    subnets, left = carved("10.24.0.0/13", *needs)
    assert subnets == {
        "C2": "10.24.0.0/20",
        "C1": "10.24.16.0/21",
        "C3": "10.24.24.0/22",
        "C4": "10.24.28.0/22",
        "C5": "10.24.32.0/23",
        "C6": "10.24.34.0/23",
    }
    assert left == [
        "10.24.36.0/22",
        "10.24.40.0/21",
        "10.24.48.0/20",
        "10.24.64.0/18",
        "10.24.128.0/17",
        "10.25.0.0/16",
        "10.26.0.0/15",
        "10.28.0.0/14",
    ]


# RFC 4632 section 3.1 gives the addresses per prefix length. Network and broadcast address (RFC 1122 section 3.2.1.3)
# and one gateway are subtracted; the rest is the greatest number of devices that fits.
@pytest.mark.parametrize(
    ("hosts", "length"),
    [(1, 30), (2, 29), (5, 29), (6, 28), (13, 28), (14, 27), (61, 26), (62, 25), (253, 24), (254, 23), (65533, 16)],
)
def test_the_smallest_prefix_that_holds_them(hosts: int, length: int) -> None:
    """A /31 is never used: it has two addresses, and a device and its gateway on one segment need four."""
    (one,) = carve(Prefix.from_text("10.0.0.0/8"), [Need("x", hosts)], Fraction(0)).subnets
    assert one.prefix.length == length
    assert one.room >= hosts


def test_growth_is_worked_out_by_hand() -> None:
    """40 plus 50 % are 60 hosts, with gateway, network and broadcast address 63: a /26. 120 become 183: a /24."""
    subnets, left = carved("10.62.0.0/22", "process:40", "packing:120", growth="50%")
    assert subnets == {"packing": "10.62.0.0/24", "process": "10.62.1.0/26"}
    assert left == ["10.62.1.64/26", "10.62.1.128/25", "10.62.2.0/23"]


@pytest.mark.parametrize(
    ("hosts", "growth", "grown"), [(40, "50%", 60), (3, "33.4%", 5), (10, "0%", 10), (7, "100%", 14), (100, "10", 110)]
)
def test_growth_is_exact_and_rounded_up(hosts: int, growth: str, grown: int) -> None:
    """Fractions are exact, floating point is not: 100 plus 10 % are 110 and not 111."""
    (one,) = carve(Prefix.from_text("10.0.0.0/8"), [Need("x", hosts)], growth_from_text(growth)).subnets
    assert one.grown == grown


def test_ipv6_subnets_are_of_64_bits() -> None:
    """RFC 4291 section 2.5.1, for any number of hosts; the block is used from its beginning."""
    assert carved("2001:db8::/62", "a:5", "b:100000") == (
        {"a": "2001:db8::/64", "b": "2001:db8:0:1::/64"},
        ["2001:db8:0:2::/63"],
    )


def test_equal_subnets_are_counted_up() -> None:
    """RFC 3531 section 3.2, rightmost: 0, 1, 2, ... in plain binary, in the order of the needs."""
    subnets, left = carved("10.24.0.0/19", *(f"s{number}:253" for number in range(32)))
    assert subnets == {f"s{number}": f"10.24.{number}.0/24" for number in range(32)}
    assert left == []


@settings(max_examples=80, deadline=None)
@given(
    st.integers(12, 24),
    st.lists(st.integers(1, 4000), min_size=1, max_size=12),
    st.sampled_from(["0%", "25%", "50%", "120%"]),
)
def test_nothing_overlaps_is_too_small_or_could_be_smaller(length: int, hosts: list[int], growth: str) -> None:
    """The standard library confirms that the subnets and the rest make up the block.

    Each subnet has room for its need, and half of it would not. Needs that are refused exceed the block.
    """
    block = ipaddress.IPv4Network(f"10.0.0.0/{length}")
    share = growth_from_text(growth)
    needs = [Need(f"n{number}", count) for number, count in enumerate(hosts)]
    sizes = [1 << (-(-count * (1 + share) // 1) + 3 - 1).bit_length() for count in hosts]
    if sum(sizes) > block.num_addresses:
        with pytest.raises(ValueError, match="need"):
            carve(Prefix.from_text(str(block)), needs, share)
        return
    found = carve(Prefix.from_text(str(block)), needs, share)
    parts = [ipaddress.IPv4Network(str(one.prefix)) for one in found.subnets]
    rest = [ipaddress.IPv4Network(str(prefix)) for prefix in found.left]
    assert list(ipaddress.collapse_addresses([*parts, *rest])) == [block]
    assert sum(part.num_addresses for part in (*parts, *rest)) == block.num_addresses
    assert {one.need.name: part.num_addresses for one, part in zip(found.subnets, parts, strict=True)} == {
        need.name: size for need, size in zip(needs, sizes, strict=True)
    }
    lengths = [part.prefixlen for part in parts]
    assert lengths == sorted(lengths)


def netcheck(*words: object) -> subprocess.CompletedProcess[str]:
    """Run `netcheck carve`."""
    return command_line.netcheck("carve", *words)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("10.0.0.0/24", "--need", "a:200", "--need", "b:100"), "has 256; take a /23"),
        (("10.0.0.0/31", "--need", "a:1"), "has 2; take a /30"),
        (("10.0.0.1/24", "--need", "a:1"), "10.0.0.0/24"),
        (("10.0.0.0/24",), "--need process:40"),
        (("10.0.0.0/24", "--need", "a:0"), "from 1 to"),
        (("10.0.0.0/24", "--need", "forty"), "NAME:HOSTS"),
        (("10.0.0.0/24", "--need", "a:1", "--need", "a:2"), "twice"),
        (("10.0.0.0/24", "--need", "a:1", "--growth", "half"), "for example 50%"),
        (("10.0.0.0/24", "--need", "a:1", "--growth", "0.5"), "for example 50%"),
        (("10.0.0.0/8", "--need", "a:2147483648", "--growth", "999999%"), "has 16,777,216"),
        (("224.0.0.0/8", "--need", "a:1"), "no host may have"),
        (("2001:db8::/65", "--need", "a:1"), "RFC 4291"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_needs_that_cannot_be_carved_exit_with_2(words: tuple[str, ...], message: str) -> None:
    """The program prints one line on standard error and nothing on standard output."""
    result = netcheck(*words)
    assert result.returncode == 2
    assert message in result.stderr
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1


def test_text_and_json_have_the_same_content() -> None:
    """Both give prefix, gateway and room of each subnet, and the rest; names are shown without control characters."""
    words = ("10.62.0.0/22", "--need", "process:40", "--need", "a\x1bb:120", "--growth", "50%")
    shown = netcheck(*words)
    found = json.loads(netcheck(*words, "--format", "json").stdout)
    assert shown.returncode == 0
    assert "\x1b" not in shown.stdout
    assert [one["name"] for one in found["subnets"]] == ["a\x1bb", "process"]
    for one in found["subnets"]:
        row = next(line for line in shown.stdout.splitlines() if one["prefix"] in line)
        assert row.split()[1:] == [
            one["prefix"],
            one["mask"],
            one["gateway"],
            *map(str, (one["hosts"], one["grown"], one["room"])),
        ]
    assert [line.split()[0] for line in shown.stdout.splitlines() if line.startswith("  10.")] == found["left"]


used_prefixes = st.lists(st.tuples(st.integers(0, 255), st.integers(26, 32)), max_size=8)


@given(st.lists(st.integers(1, 60), min_size=1, max_size=5), used_prefixes)
def test_used_prefixes_are_not_carved(hosts: list[int], taken: list[tuple[int, int]]) -> None:
    """No subnet overlaps a used prefix; subnets, rest and used prefixes make up the block (by the standard library)."""
    block = ipaddress.IPv4Network("10.0.0.0/24")
    used = [ipaddress.IPv4Network((int(block[0]) + low, length), strict=False) for low, length in taken]
    spans = [Range(4, int(one[0]), int(one[-1])) for one in used]
    needs = [Need(f"n{index}", count) for index, count in enumerate(hosts)]
    try:
        found = carve(Prefix.from_text(str(block)), needs, Fraction(0), spans)
    except ValueError:
        return
    parts = [ipaddress.IPv4Network(str(one)) for one in (*(each.prefix for each in found.subnets), *found.left)]
    assert not any(one.overlaps(other) for one in parts for other in used)
    assert list(ipaddress.collapse_addresses([*parts, *used])) == [block]
    whole = list(ipaddress.collapse_addresses(parts))
    assert sum(one.num_addresses for one in parts) == sum(one.num_addresses for one in whole)
    assert [one.prefix for one in found.subnets] == sorted(one.prefix for one in found.subnets)


PLAN = """# the plan
format = 1
[site]
name = "Example"
[[subnet]]
name = "old"
prefix = "10.62.0.0/26"
[[router]]
name = "r"
interfaces = ["10.62.0.129/27"]
[[survey]]
file = "hosts.csv"
taken = 2026-10-28
covers = ["10.62.0.0/24"]"""


def test_new_subnets_are_written_into_a_plan(tmp_path: Path) -> None:
    """New subnets avoid the plan's subnet, its router and a site host; the text stays, and a second run is refused."""
    (tmp_path / "plan.toml").write_text(PLAN, "utf-8")
    (tmp_path / "hosts.csv").write_text("address\n10.62.0.70\n", "utf-8")
    words = ("10.62.0.0/24", "--need", "a:10", "--need", "b:40", "--plan", tmp_path, "--write")
    run = netcheck(*map(str, words))
    assert run.returncode == 0, run.stderr
    text = (tmp_path / "plan.toml").read_text("utf-8")
    assert text.startswith(PLAN)
    assert [(one.name, str(one.prefix.value)) for one in read_plan(tmp_path).subnets] == [
        ("old", "10.62.0.0/26"),
        ("a", "10.62.0.80/28"),
        ("b", "10.62.0.192/26"),
    ]
    again = netcheck(*map(str, words))
    assert again.returncode == 2
    assert "'a' exists already" in again.stderr or "no /26" in again.stderr
    assert (tmp_path / "plan.toml").read_text("utf-8") == text


def test_write_needs_a_plan() -> None:
    """Without a plan `--write` is refused, but `--used` still excludes a prefix."""
    assert netcheck("10.62.0.0/24", "--need", "a:10", "--write").returncode == 2
    assert "10.62.0.128/25" in netcheck("10.62.0.0/24", "--need", "a:100", "--used", "10.62.0.0/30").stdout
