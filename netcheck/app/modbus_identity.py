"""Asks each proven device for its identity, where the command line asks for it."""

from __future__ import annotations

from netcheck.field.modbus_identity import ask_modbus, holder, to_evidence
from netcheck.proof.result import Proof, Verdict
from netcheck.proof.targets import Scope
from netcheck.wire.link import Adapter


class Identifier:
    """Adds a device's own identity to its proof, or why it was not asked. Each call takes at most 2 s."""

    def __init__(self, adapter: Adapter, aim: Scope) -> None:
        self._adapter = adapter
        self._targets = {target.subject: target for target in aim.asked}
        self._aim = aim

    def evidence(self, proof: Proof) -> tuple[tuple[str, str], ...]:
        """Return pairs to add to the evidence; none for a port that is not proven."""
        target = self._targets.get(proof.subject)
        if proof.verdict is not Verdict.PROVEN or proof.mac is None or target is None:
            return ()
        net = self._aim.net(target.subnet)
        own = [address for address, _ in self._adapter.addresses if net.holds(address)]
        if not own:
            return (("modbus", f"not asked: this computer has no address of its own in subnet {net.name}"),)
        answer = ask_modbus(self._adapter.name, own[0], target.address)
        return to_evidence(answer, proof.mac, holder(self._adapter.name, target.address))
