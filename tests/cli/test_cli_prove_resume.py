"""Tests of the earlier proofs that count when a run continues a record."""

from __future__ import annotations

from dataclasses import replace

import pytest

from netcheck.app.prove import proven_macs
from netcheck.proof.result import Proof, Verdict
from netcheck.proof.targets import Scope, Target

A, B = 0x00005E005314, 0x00005E005315
TARGETS = tuple(
    Target(
        interface=f"plc-{last}/cpu",
        port="1",
        device=f"plc-{last}",
        address=0xC0000200 + last,
        address_text=f"192.0.2.{last}",
        subnet="line",
    )
    for last in (20, 21)
)


def proof(number: int, mac: int | None, verdict: Verdict = Verdict.PROVEN) -> Proof:
    """Return a proof of one of the two ports."""
    target = TARGETS[number]
    return Proof(
        interface=target.interface, port=target.port, address=target.address_text, verdict=verdict, why="made", mac=mac
    )


@pytest.mark.parametrize(
    ("asked", "proofs", "counted"),
    [
        pytest.param((), [proof(0, B), proof(1, A)], {B: "plc-20/cpu", A: "plc-21/cpu"}, id="none is asked again"),
        pytest.param((0, 1), [proof(0, B), proof(1, A)], {}, id="both are asked again after an exchange"),
        pytest.param((0,), [proof(0, B), proof(1, A)], {A: "plc-21/cpu"}, id="one is asked again"),
        pytest.param((), [proof(0, B, Verdict.SWAPPED), proof(1, None)], {}, id="only proven ports with a MAC"),
    ],
)
def test_proofs_of_requested_ports_do_not_count(
    asked: tuple[int, ...], proofs: list[Proof], counted: dict[int, str]
) -> None:
    """Otherwise two devices whose addresses were corrected would be called swapped."""
    scope = replace(Scope(targets=TARGETS, asked=TARGETS, nets=()), asked=tuple(TARGETS[number] for number in asked))
    assert proven_macs(proofs, scope) == counted
