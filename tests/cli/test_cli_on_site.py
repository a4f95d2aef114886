"""The commands on site, before anything is opened: what stands in the way is said before anybody is asked anything."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.cli.main import build
from netcheck.errors import LinkError, UsageError
from netcheck.wire.station import interfaces
from netcheck.wire.system_errors import on_linux

PLAN = str(Path(__file__).parents[2] / "plans" / "tarn-hollow-mended")
COMMANDS = {
    "listen": ["survey", "listen"],
    "sweep": ["survey", "sweep", "192.0.2.0/24"],
    "identify": ["identify", "--ask"],
    "prove": ["prove", PLAN],
    "walk": ["walk", PLAN],
}


@pytest.mark.skipif(not on_linux(), reason="elsewhere scapy lists the interfaces")
@pytest.mark.parametrize("words", COMMANDS.values(), ids=list(COMMANDS))
def test_a_mistyped_interface_is_found_before_the_permit_is_asked_for(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 3, with the interfaces that there are; no caution is shown, and no permit is missed."""
    with pytest.raises(LinkError, match="there is no interface 'absent9'") as caught:
        build(words)([*words, "-i", "absent9"], prog_name="netcheck", standalone_mode=False)
    assert caught.value.exit_code == 3
    there = [one.name for one in interfaces() if one.ethernet and not one.loopback]
    assert all(name in str(caught.value) for name in there[:5])
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("words", [COMMANDS["listen"], COMMANDS["sweep"], COMMANDS["identify"]], ids=lambda w: w[-1])
def test_a_link_that_hears_no_arp_is_bad_use(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Said at once, whatever the interface is."""
    with pytest.raises(UsageError, match="does not receive ARP"):
        build(words)([*words, "-i", "absent9", "--link", "unprivileged"], prog_name="netcheck", standalone_mode=False)
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("words", [COMMANDS["listen"], COMMANDS["sweep"]], ids=lambda words: words[1])
@pytest.mark.parametrize(
    ("out", "said"), [("found.xlsx", "is written as CSV"), ("nowhere/found.csv", "cannot be written there")]
)
def test_a_survey_that_cannot_be_written_is_said_at_once(words: list[str], out: str, said: str) -> None:
    """Not after an hour of listening."""
    with pytest.raises(UsageError, match=said):
        build(words)([*words, "-i", "absent9", "--out", out], prog_name="netcheck", standalone_mode=False)
