"""Findings about the DNS records of planned devices; the survey reads zones in the form of RFC 1035 section 5."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from netcheck.rules.engine import Checked
from netcheck.rules.rule import one, plan

HEAD = "$ORIGIN plant.example.\n$TTL 3600\n"
KEYS = 'address = "10.62.20.61"\nhost-name = "{}"'
RULES = {
    "dns-name-elsewhere",
    "dns-name-differs",
    "dns-pair-missing",
    "name-taken-on-site",
    "taken-on-site",
    "already-there",
}
HERE, POINTS = "filler-plc IN A 10.62.20.61\n", "61.20.62.10.in-addr.arpa. IN PTR filler-plc\n"


def found(checked: Callable[..., Checked], name: str, zone: str, site: str = "") -> list[str]:
    """Return the broken rules about names and site hosts for a plan of one interface with this name."""
    example = one(KEYS.format(name), hosts=HEAD + zone, site=site)
    return [finding.rule for finding in checked(example.plan, example.hosts).findings if finding.rule in RULES]


@pytest.mark.parametrize("name", ["filler-plc", "FILLER-PLC", "filler-plc.plant.example"])
@pytest.mark.parametrize(
    ("zone", "rules"),
    [
        pytest.param(HERE + POINTS, [], id="both fit"),
        pytest.param(HERE, ["dns-pair-missing"], id="no pointer"),
        pytest.param(POINTS, ["dns-pair-missing"], id="no address record"),
        pytest.param(HERE + "61.20.62.10.in-addr.arpa. IN PTR old-filler\n", ["dns-name-differs"], id="old pointer"),
        pytest.param("61.20.62.10.in-addr.arpa. IN PTR old-filler\n", ["taken-on-site"], id="somebody else's"),
        pytest.param("camera IN A 10.62.20.61\n", ["taken-on-site"], id="another name has it"),
        pytest.param("filler-plc IN AAAA 2001:db8::61\n", [], id="another family says nothing of it"),
        pytest.param("capper-plc IN A 10.62.20.80\n", [], id="not of this name"),
    ],
)
def test_what_is_found(name: str, zone: str, rules: list[str], checked: Callable[..., Checked]) -> None:
    """Names are compared without case (RFC 4343 section 2), bare or with the domain; pairs by RFC 1912 section 2.1."""
    assert found(checked, name, zone) == rules


@pytest.mark.parametrize(
    ("name", "site", "rules"),
    [
        ("filler-plc", "", ["dns-name-elsewhere"]),
        ("filler-plc", 'domain = "plant.example"\n', ["dns-name-elsewhere"]),
        ("filler-plc", 'domain = "elsewhere.example"\n', []),
        ("filler-plc.plant.example", "", ["name-taken-on-site"]),
        ("filler-plc.elsewhere.example", "", []),
    ],
)
def test_a_name_elsewhere(name: str, site: str, rules: list[str], checked: Callable[..., Checked]) -> None:
    """A bare name is completed with the plan's domain; a record with exactly the planned name is reported once."""
    assert found(checked, name, "filler-plc IN A 10.62.20.80\n", site) == rules


def test_one_of_two_addresses_is_planned(checked: Callable[..., Checked]) -> None:
    """A name may have several addresses (RFC 1034 section 3.6); it is enough that one of them is the planned one."""
    assert found(checked, "filler-plc", HERE + "filler-plc IN A 10.62.20.80\n" + POINTS) == []


def test_words_and_places(checked: Callable[..., Checked]) -> None:
    """The finding names the record, its line, and the planned value."""
    example = one(KEYS.format("filler-plc"), hosts=HEAD + "filler-plc IN A 10.62.20.80\n")
    finding = next(each for each in checked(example.plan, example.hosts).findings if each.rule == "dns-name-elsewhere")
    assert finding.subjects == ("filler-plc/cpu",)
    assert finding.message == "DNS has filler-plc at 10.62.20.80 (site-hosts.csv: line 3), and not at 10.62.20.61"


def test_zones_of_another_island_do_not_count(checked: Callable[..., Checked]) -> None:
    """Addresses and names may repeat between islands."""
    example = plan(
        '[[device]]\nname = "filler-plc"\n[[device.interface]]\nname = "cpu"\nsubnet = "process"\n'
        + KEYS.format("filler-plc"),
        hosts=HEAD + "filler-plc IN A 10.62.20.80\n",
        survey='taken = 2026-10-28\ncovers = ["10.62.20.0/24"]\nisland = "machine-1"',
    )
    assert "dns-name-elsewhere" not in {each.rule for each in checked(example.plan, example.hosts).findings}


@pytest.mark.parametrize(
    ("lines", "broken"),
    [
        (["filler-plc IN CNAME old-plc", "old-plc IN A 10.62.20.80"], True),
        (["filler-plc IN CNAME old-plc.elsewhere.example."], True),
        (["filler-plc IN CNAME filler-plc"], True),
        (["filler-plc IN CNAME device-17", "device-17 IN A 10.62.20.61"], False),
        (["filler-plc IN CNAME a", "a IN CNAME b", "b IN A 10.62.20.61"], False),
        (["capper-plc IN CNAME old-plc", "old-plc IN A 10.62.20.80"], False),
    ],
)
def test_an_alias_that_leads_elsewhere(lines: list[str], broken: bool, checked: Callable[..., Checked]) -> None:
    """A CNAME has no address record (RFC 1034 section 3.6.2): it must lead to the planned address."""
    zone = "\n".join(["$ORIGIN plant.example.", "$TTL 3600", *lines, ""])
    example = one('address = "10.62.20.61"\nhost-name = "filler-plc"', site='domain = "plant.example"\n', hosts=zone)
    found = {finding.rule for finding in checked(example.plan, example.hosts).findings}
    assert ("dns-name-elsewhere" in found) == broken
