"""Tests that the commands for work on site report bad input before they ask for a permit."""

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
def test_an_unknown_interface_is_refused_before_the_permit(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """An unknown interface gives exit 3 and the names of the known ones, before the caution and the permit."""
    with pytest.raises(LinkError, match="there is no interface 'absent9'") as caught:
        build(words)([*words, "-i", "absent9"], prog_name="netcheck", standalone_mode=False)
    assert caught.value.exit_code == 3
    there = [one.name for one in interfaces() if one.ethernet and not one.loopback]
    assert all(name in str(caught.value) for name in there[:5])
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("words", [COMMANDS["listen"], COMMANDS["sweep"], COMMANDS["identify"]], ids=lambda w: w[-1])
def test_a_link_without_arp_is_refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A link that does not receive ARP is refused at once, for any interface."""
    with pytest.raises(UsageError, match="does not receive ARP"):
        build(words)([*words, "-i", "absent9", "--link", "unprivileged"], prog_name="netcheck", standalone_mode=False)
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("words", [COMMANDS["listen"], COMMANDS["sweep"]], ids=lambda words: words[1])
@pytest.mark.parametrize(
    ("out", "said"), [("found.xlsx", "is written as CSV"), ("nowhere/found.csv", "cannot be written there")]
)
def test_an_output_file_that_cannot_be_written_is_refused_at_once(words: list[str], out: str, said: str) -> None:
    """An output file that cannot be written is refused before listening begins."""
    with pytest.raises(UsageError, match=said):
        build(words)([*words, "-i", "absent9", "--out", out], prog_name="netcheck", standalone_mode=False)
