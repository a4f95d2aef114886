"""Holds the state of a proving run for the screen: the present request, and every port with its state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from netcheck.addr import mac_text
from netcheck.proof.events import Event, What
from netcheck.proof.result import Proof, Verdict

# State of a port after each kind of event.
STATES = {
    What.BEGIN: "looking",
    What.HEARD: "answers",
    What.KNOWN: "answers",
    What.SILENT: "silent",
    What.ENOUGH: "put back",
    What.RETURNED: "back",
    What.SEEN: "seen once",
    What.WARN: "look here",
}


@dataclass(slots=True)
class PortRow:
    """One port on the screen; `who` is the MAC that replies, once it is known."""

    subject: str
    address: str
    state: str = "waiting"
    who: str = ""
    seconds: float | None = None
    proof: Proof | None = None


@dataclass(slots=True, kw_only=True)
class Board:
    """Everything on the screen. `doing` is the present request or state; `wait` names the wait that ends at `until`."""

    rows: dict[str, PortRow] = field(default_factory=dict)
    keys: str = ""  # help on the keys
    current: str = ""
    doing: str = "Starting"
    acting: bool = False  # the technician must act
    wait: str = ""
    until: float | None = None
    warning: str = ""
    last: str = ""  # the latest verdict in words

    @classmethod
    def of(cls, ports: Iterable[tuple[str, str]], finished: Iterable[Proof], keys: str) -> Board:
        """Return a board of (subject, address) pairs; ports in *finished* were proven earlier in the same record."""
        board = cls(rows={subject: PortRow(subject, address) for subject, address in ports}, keys=keys)
        for proof in finished:
            board.close(proof)
        return board

    def take(self, event: Event) -> None:
        """Update the state with an event."""
        row = self.rows.get(event.port)
        if row is not None:
            self.current = event.port
            row.state = STATES.get(event.what, row.state)
            row.who = row.who if event.mac is None else mac_text(event.mac)
        match event.what:
            case What.BEGIN:
                self.warning, self.wait, self.until = "", "", None
            case What.DO:
                self.doing, self.acting = event.text, True
                self.until, self.wait, self.warning = event.until, "", ""
            case What.WAIT:
                self.wait, self.until = event.text, event.until
            case What.WARN:
                self.warning = event.text
            case What.SEEN:
                self.doing, self.acting, self.warning = event.text, True, ""
            case What.SILENT:
                self.doing, self.acting, self.until, self.warning = event.text, True, None, ""
            case What.HEARD | What.RETURNED:
                self.doing, self.acting = f"{event.text}: leave the cable in", False
                self.until, self.wait, self.warning = None, "", ""
            case What.VERDICT if event.proof is not None:
                self.close(event.proof)
                self.last = f"{event.port} {event.text}"
            case _:
                pass

    def close(self, proof: Proof) -> None:
        """Set a port's verdict."""
        row = self.rows.setdefault(proof.subject, PortRow(proof.subject, proof.address))
        row.state, row.proof = str(proof.verdict), proof
        row.who = "" if proof.mac is None else mac_text(proof.mac)
        row.seconds = sum(result.seconds for _, result in proof.phases)

    def counts(self) -> dict[str, int]:
        """Return the number of ports by verdict, in the judge's order, without verdicts that no port has."""
        words = [row.proof.verdict for row in self.rows.values() if row.proof is not None]
        return {str(verdict): words.count(verdict) for verdict in Verdict if verdict in words}
