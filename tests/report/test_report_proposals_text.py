"""Proposals on screens of several widths."""

from __future__ import annotations

import pytest

from netcheck.addr import Address
from netcheck.report.text.proposals import to_text
from netcheck.rules.propose import Proposal

PROPOSALS = (
    Proposal("cip-plc/cpu", "10.62.21.74", ("outside-subnet",), Address.from_text("10.62.20.164"), "the middle " * 9),
    Proposal("conveyor-drive-2/lan", "", ("unplaced",), None, "no address of subnet process is free"),
    Proposal("x\x1b[2J/lan", "10.62.20.1", ("inside-pool", "too-near"), Address.from_text("10.62.20.200"), "why"),
)


@pytest.mark.parametrize("width", [60, 80, 109, 110, 140, 200])
def test_proposals_fit_the_terminal(width: int) -> None:
    """No line is wider, every address and rule is there, and nothing moves the terminal."""
    shown = to_text(PROPOSALS, width)
    assert max(map(len, shown.splitlines())) <= width
    assert "\x1b" not in shown
    for word in ("10.62.20.164", "10.62.20.200", "outside-subnet", "too-near", "none", "process"):
        assert word in shown


def test_without_a_terminal_a_proposal_is_a_line() -> None:
    """For search and pipes."""
    assert len(to_text(PROPOSALS, None).splitlines()) == 2 + len(PROPOSALS)
