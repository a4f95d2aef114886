"""What was observed at one port: the judge's only input besides the names of those who are known."""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.proof.result import Phase, PhaseResult, Tally
from netcheck.proof.targets import Target
from netcheck.proof.verdict.luck import LUCK_LIMIT, UNHEARD_LIMIT, luck, unheard

LEAST_ARP = {Phase.IN: 5, Phase.OUT: 5, Phase.BACK: 3}  # broadcast requests a phase: 6-settled-details.md 35
LEAST_SILENCE = 3.0  # seconds: 4-proof.md, phase out


@dataclass(frozen=True, slots=True)
class Owner:
    """A MAC that was heard for the address: in which phase, on which way, and whether only as an echo's source."""

    mac: int
    phase: Phase
    way: int = 0
    echo_only: bool = False


@dataclass(frozen=True, slots=True)
class Observation:
    """The whole evidence of one port. `mac` is the MAC under test, the one that answered with the cable in."""

    target: Target
    mac: int | None = None
    phases: tuple[tuple[Phase, PhaseResult], ...] = ()
    owners: tuple[Owner, ...] = ()
    device_macs: frozenset[int] = frozenset()  # planned for the same device, the interface's own included
    cable: str | None = None
    connector: str = "assumed"
    looked: tuple[int, int] = (1, 1)  # probes of each kind (ARP, echo) in which a run of misses was looked for
    silence: float = 0.0  # seconds of trailing silence
    burst_luck: float = 0.0  # the chance that a burst of loss, by those seen in phase in, fills the silence
    silence_least: float = LEAST_SILENCE
    stayed: bool = False  # it never fell silent, or went on answering until the patience ended
    hands_free: bool = False
    controls: int = 0  # addresses of other devices, or the gateway, that went on answering
    fallen: tuple[str, ...] = ()  # others that fell silent together with it
    instead: tuple[str, ...] = ()  # others that fell silent while it went on
    negatives: tuple[tuple[int, int], ...] = ()  # (control address nobody should own, MAC that answered for it)
    no_negative: bool = False  # there was no such address to ask
    gateway_mac: int | None = None
    is_gateway: bool = False
    shared: tuple[str, ...] = ()  # planned interfaces of other devices that this MAC answers for as well
    planned_for: str = ""  # another interface for which the plan names this MAC
    proven_for: str = ""  # another device's interface for which this MAC is already proven
    direct: bool = False
    linked: bool = True  # the interface under test has carrier
    strangers: tuple[int, ...] = ()  # heard on a direct cable, not the device's
    anonymous: int | None = None  # the MAC that answered the last round, asked with sender 0
    elsewhere: tuple[int, ...] = ()  # addresses from which the planned MAC was heard
    late: bool = False  # answers came, but all of them late
    forged: int = 0  # echo answers that fit no probe
    cut: str = ""  # why a phase was cut short
    void: bool = False  # it was cut because it meant nothing, not because somebody wished it
    earlier: int = 0  # broadcast requests of phase in before the time that its tallies cover
    pulled_once: bool = False  # on a walk: nobody asked for the pull, and it was the first
    once: bool = False  # on a walk: one pull was to be enough
    hears_all: bool = True
    other_port: str = ""  # another port of the interface, in which the cable is by LLDP
    evidence: tuple[tuple[str, str], ...] = ()  # what else was learned: a name, and what it is
    first_after: float = 0.0  # seconds from the phase's start to the first answer
    luck_limit: float = LUCK_LIMIT
    unheard_limit: float = UNHEARD_LIMIT

    def phase(self, phase: Phase) -> PhaseResult:
        """A phase in numbers, zeros where it was not run."""
        return dict(self.phases).get(phase, PhaseResult())

    def macs(self, *phases: Phase) -> tuple[int, ...]:
        """MACs heard as owners in these phases by ARP (by echo where the link hears no ARP), in order, each once."""
        heard = (o.mac for o in self.owners if o.phase in phases and not (o.echo_only and self.hears_all))
        return tuple(dict.fromkeys(heard))

    @property
    def echo_sources(self) -> tuple[int, ...]:
        """MACs other than the one under test that echo answers came from, and ARP answers never, with the cable in."""
        by_arp = {owner.mac for owner in self.owners if not owner.echo_only}
        sources = (o.mac for o in self.owners if o.phase is not Phase.OUT and o.mac not in by_arp and o.mac != self.mac)
        return tuple(dict.fromkeys(sources)) if self.hears_all else ()

    @property
    def came_back(self) -> bool:
        """The MAC under test answered again in phase back."""
        back = self.phase(Phase.BACK)
        return bool(back.arp.answered or back.echo.answered)

    @property
    def luck(self) -> float | None:
        """The chance that the silence is luck: the larger figure of the kinds that answered, or that of a burst where
        losses came in bursts; None with carrier."""
        if self.cable == "carrier":
            return None
        before, after = self.phase(Phase.IN), self.phase(Phase.OUT)
        pairs = ((before.arp, after.arp, self.looked[0]), (before.echo, after.echo, self.looked[1]))
        figures = [_chance(seen, out, looked) for seen, out, looked in pairs if seen.answered]
        return max((*figures, self.burst_luck)) if figures else None

    @property
    def unheard(self) -> float | None:
        """The chance that a second owner was never heard; None where nothing was asked by broadcast."""
        asked = self.earlier + sum(result.arp.sent for _, result in self.phases)
        return unheard(asked) if asked and self.hears_all else None


def _chance(seen: Tally, out: Tally, looked: int) -> float:
    return min(1.0, luck(seen.sent, seen.answered, out.sent) * max(1, looked))
