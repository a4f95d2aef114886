"""Tests of proposals on screens of several widths."""

from __future__ import annotations

import pytest

from netcheck.addr import Address
from netcheck.report.text.proposals import to_text
from netcheck.rules.propose import Proposal, Proposals


def proposal(subject: str, now: str, *rules: str, to: str = "", why: str = "why") -> Proposal:
    """Return a proposal."""
    return Proposal(subject=subject, now=now, rules=rules, address=Address.from_text(to) if to else None, why=why)


PROPOSALS = Proposals(
    proposals=(
        proposal("cip-plc/cpu", "10.62.21.74", "outside-subnet", to="10.62.20.164", why="the middle " * 9),
        proposal("conveyor-drive-2/lan", "", "unplaced", why="no address of subnet process is free"),
        proposal("x\x1b[2J/lan", "10.62.20.1", "inside-pool", "too-near", to="10.62.20.200"),
    ),
    unreadable=(proposal("capper-drive/lan", "10.62.30.072", "unreadable-value", why="its address " * 12),),
)


@pytest.mark.parametrize("width", [60, 80, 109, 110, 140, 200])
def test_proposals_fit_the_terminal(width: int) -> None:
    """No line is wider than the terminal, every address and rule is shown, and names are escaped."""
    shown = to_text(PROPOSALS, width)
    assert max(map(len, shown.splitlines())) <= width
    assert "\x1b" not in shown
    for word in ("10.62.20.164", "10.62.20.200", "outside-subnet", "too-near", "none", "process", "capper-drive"):
        assert word in shown


def test_without_a_terminal_each_proposal_is_one_line() -> None:
    """The lines are for searches and pipes."""
    assert len(to_text(PROPOSALS, None).splitlines()) == 4 + len(PROPOSALS.proposals)
