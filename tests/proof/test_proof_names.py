"""Tests of how a MAC is named: by the plan first, then by the survey; its vendor by netaddr's copy of the IEEE
registry.
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import netaddr
import pytest

from netcheck.addr import Mac
from netcheck.proof.targets import Scope
from netcheck.proof.verdict.names import names_of, vendor


def registry() -> dict[int, str]:
    """Return the vendor by block, read directly from the registry's lines `OO-UU-II   (hex)   organisation`."""
    text = (Path(netaddr.__file__).parent / "eui" / "oui.txt").read_text("utf-8", "replace")
    rows = (entry.split("(hex)") for entry in text.splitlines() if "(hex)" in entry)
    return {int(block.strip().replace("-", ""), 16): words.strip() for block, words in rows}


def test_the_vendor_is_the_one_in_the_registry() -> None:
    """For blocks drawn from the whole registry, the vendor is the organisation in its text."""
    rows = registry()
    random = Random(7042)
    blocks = random.sample([block for block in rows if not block >> 16 & 2 and block != 0x00005E], 60)
    found = {block: vendor(block << 24 | random.getrandbits(24)) for block in blocks}
    assert len(rows) > 20000
    assert found == {block: rows[block] for block in blocks}


def test_the_last_octets_do_not_matter() -> None:
    """Only the first three octets decide the vendor."""
    block = min(block for block in registry() if not block >> 16 & 3 and block != 0x00005E)
    assert len({vendor(block << 24 | rest) for rest in (0, 1, 0xFFFFFF)}) == 1


@pytest.mark.parametrize(
    "text",
    [
        "00-00-5E-00-53-21",  # documentation: RFC 7042 section 2.1.2
        "00-00-5E-00-01-05",  # a virtual router: RFC 7042 section 2.1.1
        "02-00-00-00-00-01",  # locally administered: RFC 7042 section 2.1
        "02-00-5E-10-00-00",
        "FE-FF-FF-FF-FF-FF",
    ],
)
def test_no_vendor_for_protocol_and_local_macs(text: str) -> None:
    """MACs of protocols and locally administered MACs have no vendor."""
    assert vendor(Mac.from_text(text).value) is None


def test_no_vendor_for_an_unregistered_block() -> None:
    """An unregistered block has no vendor."""
    taken = registry()
    free = next(block for block in range(0xFC0000, 0xFD0000) if not block >> 16 & 3 and block not in taken)
    assert vendor(free << 24 | 1) is None


def test_the_plan_names_a_mac_before_the_survey_does() -> None:
    """The plan's name for a MAC takes precedence over the survey's; a MAC that neither lists is shown alone."""
    planned, surveyed, both, unknown = (0x00005E005300 + n for n in range(4))
    scope = Scope(targets=(), asked=(), nets=(), macs={planned: "d20/lan", both: "d21/lan"})
    hosts = {surveyed: "site host camera-7 at 192.0.2.9", both: "site host old at 192.0.2.8"}
    names = names_of(scope, lambda mac: hosts.get(mac, ""))
    assert names.known_as(planned) == "planned for d20/lan"
    assert names.known_as(both) == "planned for d21/lan"
    assert names.known_as(surveyed) == "site host camera-7 at 192.0.2.9"
    assert names.known_as(unknown) == ""
    assert names.of(both) == "00-00-5E-00-53-02 (planned for d21/lan)"
    assert names.of(unknown) == "00-00-5E-00-53-03"


def test_vendor_and_owner_follow_the_mac() -> None:
    """The vendor and the owner are both shown after the MAC."""
    block = max(block for block in registry() if not block >> 16 & 3 and block != 0x00005E)
    mac = block << 24 | 1
    names = names_of(Scope(targets=(), asked=(), nets=(), macs={mac: "d20/lan"}), lambda mac: "")
    assert names.of(mac) == f"{Mac(mac)} ({registry()[block]}, planned for d20/lan)"
