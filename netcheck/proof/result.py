"""The proof of a port: verdict, evidence and tallies, and its JSON form."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from netcheck.addr import Mac, mac_text, quad


class Verdict(StrEnum):
    """What the observation of a port proves. The order is that of the judge's table, except for the last one."""

    SILENT = "silent"
    CONTESTED = "contested"
    RELAYED = "relayed"
    SWAPPED = "swapped"
    WRONG_HARDWARE = "wrong-hardware"
    IMPOSTOR = "impostor"
    STILL_ANSWERING = "still-answering"
    SKIPPED = "skipped"
    UNSETTLED = "unsettled"
    NOT_BACK = "not-back"
    WRONG_SETTINGS = "wrong-settings"
    PROVEN = "proven"
    NOT_TESTED = "not-tested"

    @property
    def is_definite(self) -> bool:
        """Whether the verdict says something about the site.

        `unsettled`, `skipped` and `not-tested` say only that an attempt had no result. They do not replace an earlier
        definite verdict.
        """
        return self not in (Verdict.UNSETTLED, Verdict.SKIPPED, Verdict.NOT_TESTED)

    def replaces(self, earlier: Verdict | None) -> bool:
        """Return whether this verdict counts instead of an earlier one of the same port.

        The latest definite verdict counts. If there is none, the latest `unsettled` counts, else the latest one.
        """
        if earlier is None or self.is_definite:
            return True
        return not earlier.is_definite and (self is Verdict.UNSETTLED or earlier is not Verdict.UNSETTLED)


PASSED = (Verdict.PROVEN, Verdict.WRONG_SETTINGS)  # the device with this MAC and address is at this connector


class Phase(StrEnum):
    """A phase of a proof: cable in, cable out, cable in again."""

    IN = "in"
    OUT = "out"
    BACK = "back"


@dataclass(frozen=True, slots=True)
class Tally:
    """The probes of one kind in one phase: how many were sent, and how many the device answered in time."""

    sent: int = 0
    answered: int = 0


@dataclass(frozen=True, slots=True)
class Rtt:
    """Round-trip times of echoes, in milliseconds."""

    min: float
    median: float
    max: float


@dataclass(frozen=True, slots=True)
class PhaseResult:
    """The result of one phase: its tallies, its length in seconds, and the round-trip times."""

    arp: Tally = Tally()
    echo: Tally = Tally()
    seconds: float = 0.0
    rtt: Rtt | None = None

    def __add__(self, other: PhaseResult) -> PhaseResult:
        """Return the sum of both; the round-trip times are those of the later one."""
        arp = Tally(self.arp.sent + other.arp.sent, self.arp.answered + other.arp.answered)
        echo = Tally(self.echo.sent + other.echo.sent, self.echo.answered + other.echo.answered)
        return PhaseResult(arp, echo, round(self.seconds + other.seconds, 3), other.rtt or self.rtt)

    def to_json(self) -> dict[str, Any]:
        """Return the phase as JSON: `arp` and `echo` are [sent, answered]."""
        rtt = None if self.rtt is None else {"min": self.rtt.min, "median": self.rtt.median, "max": self.rtt.max}
        return {
            "arp": [self.arp.sent, self.arp.answered],
            "echo": [self.echo.sent, self.echo.answered],
            "seconds": self.seconds,
            "rtt_ms": rtt,
        }

    @classmethod
    def from_json(cls, shape: dict[str, Any]) -> PhaseResult:
        """Read what `to_json` wrote. Raises KeyError, TypeError or ValueError for anything else."""
        rtt = shape["rtt_ms"]
        return cls(
            Tally(*map(int, shape["arp"])),
            Tally(*map(int, shape["echo"])),
            float(shape["seconds"]),
            None if rtt is None else Rtt(float(rtt["min"]), float(rtt["median"]), float(rtt["max"])),
        )


@dataclass(frozen=True, slots=True)
class Other:
    """Another MAC that was heard: the address it was heard for, the phase, and what is known of the MAC."""

    mac: int
    address: int
    phase: str
    known_as: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """The result of one port.

    MACs are 48-bit integers. `address` is text, since an interface may have an IPv6 address. `luck` and `unheard` are
    chances, None if they were not computed. `notes` are further sentences, and `evidence` are facts as (name, text).
    """

    interface: str
    port: str
    address: str
    verdict: Verdict
    why: str
    mac: int | None = None
    vendor: str | None = None
    echo: str | None = None  # "answered", "blocked", or None if nothing was heard
    cable: str | None = None  # "carrier", "operator" or "inferred"
    connector: str | None = None  # "operator", "lldp" or "assumed"
    identity: str | None = None  # "planned" or "learned"
    luck: float | None = None
    unheard: float | None = None
    others: tuple[Other, ...] = ()
    phases: tuple[tuple[Phase, PhaseResult], ...] = ()
    notes: tuple[str, ...] = ()
    evidence: tuple[tuple[str, str], ...] = field(default=())

    @property
    def subject(self) -> str:
        """`device/interface:port`."""
        return f"{self.interface}:{self.port}"

    def to_json(self) -> dict[str, Any]:
        """Return the proof as one JSON object."""
        return {
            "interface": self.interface,
            "port": self.port,
            "address": self.address,
            "verdict": str(self.verdict),
            "why": self.why,
            "mac": None if self.mac is None else mac_text(self.mac),
            "vendor": self.vendor,
            "echo": self.echo,
            "cable": self.cable,
            "connector": self.connector,
            "identity": self.identity,
            "luck": self.luck,
            "unheard": self.unheard,
            "others": [
                {"mac": mac_text(o.mac), "address": quad(o.address), "phase": o.phase, "known_as": o.known_as or None}
                for o in self.others
            ],
            "phases": {
                str(phase): dict(self.phases)[phase].to_json() if phase in dict(self.phases) else {} for phase in Phase
            },
            "notes": list(self.notes),
            "evidence": dict(self.evidence),
        }

    @classmethod
    def from_json(cls, shape: dict[str, Any]) -> Proof:
        """Read what `to_json` wrote. Raises KeyError, TypeError or ValueError for anything else."""
        phases = shape["phases"]
        return cls(
            interface=str(shape["interface"]),
            port=str(shape["port"]),
            address=str(shape["address"]),
            verdict=Verdict(shape["verdict"]),
            why=str(shape["why"]),
            mac=None if shape["mac"] is None else Mac.from_text(shape["mac"]).value,
            vendor=_optional_text(shape["vendor"]),
            echo=_optional_text(shape["echo"]),
            cable=_optional_text(shape["cable"]),
            connector=_optional_text(shape["connector"]),
            identity=_optional_text(shape["identity"]),
            luck=_optional_number(shape["luck"]),
            unheard=_optional_number(shape["unheard"]),
            others=tuple(_other(other) for other in shape["others"]),
            phases=tuple((phase, PhaseResult.from_json(phases[phase])) for phase in Phase if phases[phase]),
            notes=tuple(map(str, shape["notes"])),
            evidence=tuple((str(name), str(said)) for name, said in shape["evidence"].items()),
        )


def standing(proofs: Iterable[Proof]) -> list[Proof]:
    """Return the proof that counts for each port; *proofs* are in order of time."""
    found: dict[str, Proof] = {}
    for proof in proofs:
        before = found.get(proof.subject)
        if proof.verdict.replaces(None if before is None else before.verdict):
            found[proof.subject] = proof
    return list(found.values())


def _optional_number(value: object) -> float | None:
    return None if value is None else float(str(value))


def _optional_text(value: object) -> str | None:
    return None if value is None else str(value)


def _other(shape: dict[str, Any]) -> Other:
    address = int.from_bytes(bytes(map(int, str(shape["address"]).split("."))), "big")
    return Other(Mac.from_text(shape["mac"]).value, address, str(shape["phase"]), str(shape["known_as"] or ""))
