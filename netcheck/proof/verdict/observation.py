"""What was observed at one port: the judge's only input besides the names of known MACs."""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

from netcheck.proof.result import Phase, PhaseResult
from netcheck.proof.targets import Target
from netcheck.proof.verdict.silence_rule import LEAST_ARP_OUT, LUCK_LIMIT, UNHEARD_LIMIT, Confirmed, figure, unheard

# Broadcast requests a phase, so that a second owner is heard in each of them (common practice, no source).
LEAST_ARP = {Phase.IN: 5, Phase.OUT: LEAST_ARP_OUT, Phase.BACK: 3}

SAME_TIME = (
    2.0  # seconds between falls of one cause: power supplies hold up for different times, a watch asks each second
)


@dataclass(frozen=True, slots=True)
class Owner:
    """A MAC that was heard for the address: in which phase, on which interface, and whether only by echo replies."""

    mac: int
    phase: Phase
    adapter: int = 0
    echo_only: bool = False


@dataclass(frozen=True, slots=True)
class HeardBefore:
    """Another MAC that was heard for the address at some time of the run: seconds after its start."""

    mac: int
    first: float
    last: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """One silence that counts. `after` is the seconds from the request to the last answered probe, None where nobody
    asked; `missed` and `looked` are (ARP, echo): misses, and probes among which a run of misses was looked for."""

    confirmed: Confirmed
    lasted: float
    needed: float
    missed: tuple[int, int] = (0, 0)
    looked: tuple[int, int] = (1, 1)
    after: float | None = None

    @property
    def short(self) -> bool:
        """It did not last as long as it must."""
        return self.lasted < self.needed


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """The whole evidence of one port. `mac` is the MAC under test, the one that answered with the cable in."""

    target: Target
    mac: int | None = None
    phases: tuple[tuple[Phase, PhaseResult], ...] = ()
    owners: tuple[Owner, ...] = ()
    device_macs: frozenset[int] = frozenset()  # planned for the same device, the interface's own included
    cable: str | None = None
    connector: str = "assumed"
    not_moved: bool = False  # the cable was to be moved to this connector, and nothing showed that it was
    silences: tuple[Silence, ...] = ()
    requests_needed: int = 2  # silences that must answer a request in time where nobody confirms a movement
    confirmed_return: bool = False  # the operator said that the cable is in again
    stayed: bool = False  # it never fell silent, or went on answering until the patience ended
    fell_before: bool = False  # an earlier request in this attempt was followed by a silence
    unconfirmed: bool = False  # it answered again, and the operator did not confirm that the cable is in
    hands_free: bool = False
    controls: int = 0  # addresses of other devices, or the gateway, that went on answering
    fallen: tuple[str, ...] = ()  # others that fell silent at the same time
    chained: tuple[str, ...] = ()  # those of them that fell silent and returned together with it twice
    instead: tuple[str, ...] = ()  # others that fell silent while it went on
    negatives: tuple[tuple[int, int], ...] = ()  # (control address nobody should own, MAC that answered for it)
    no_negative: bool = False  # there was no such address to ask
    gateway_mac: int | None = None
    is_gateway: bool = False
    shared: tuple[str, ...] = ()  # planned interfaces of other devices that this MAC answers for as well
    shared_own: tuple[str, ...] = ()  # other planned interfaces of the device that this MAC answers for as well
    planned_for: str = ""  # another interface for which the plan names this MAC
    proven_for: str = ""  # another device's interface for which this MAC is already proven
    heard_before: tuple[HeardBefore, ...] = ()  # other MACs that were heard for the address in this run
    direct: bool = False
    linked: bool = True  # the interface under test has carrier
    strangers: tuple[int, ...] = ()  # heard on a direct cable, not the device's
    foreign_lldp: tuple[int, ...] = ()  # LLDP speakers on a direct cable that are not the device
    anonymous: int | None = None  # the MAC that answered the last round, asked with sender 0
    elsewhere: tuple[int, ...] = ()  # addresses from which the planned MAC was heard
    late: bool = False  # answers came, but all of them late
    forged: int = 0  # echo replies that fit no probe
    lost_frames: int = 0  # received frames that the kernel dropped unread since the cable was first out
    cut: str = ""  # why a phase was cut short
    void: bool = False  # it was cut because it proved nothing, not on request
    skipped: bool = False  # it was cut because the operator skipped it
    earlier: int = 0  # broadcast requests of phase in before the time that its tallies cover
    answers_now: bool = False  # back again: it answers at the rate of phase in, and the newest request was answered
    connector_unknown: bool = False  # on a walk: nothing ties the address that fell silent to this connector
    once: bool = False  # on a walk: one pull was to be enough
    hears_all: bool = True
    other_port: str = ""  # another port of the interface, in which the cable is by LLDP
    evidence: tuple[tuple[str, str], ...] = ()  # what else was learned: a name, and what it is
    first_after: float = 0.0  # seconds from the phase's start to the first answer
    head_start: float = 0.0  # seconds of phase in before its turn, while the port before it came back
    luck_limit: float = LUCK_LIMIT
    unheard_limit: float = UNHEARD_LIMIT

    def phase(self, phase: Phase) -> PhaseResult:
        """Return a phase in numbers, zeros where it was not run."""
        return dict(self.phases).get(phase, PhaseResult())

    def macs(self, *phases: Phase) -> tuple[int, ...]:
        """Return the MACs heard as owners in these phases by ARP (by echo where the link hears no ARP), each once."""
        heard = (o.mac for o in self.owners if o.phase in phases and not (o.echo_only and self.hears_all))
        return tuple(dict.fromkeys(heard))

    @property
    def echo_sources(self) -> tuple[int, ...]:
        """MACs other than the one under test that sent echo replies, and never ARP replies, with the cable in."""
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
        """The chance that the silences are luck: of each the larger figure of the kinds that count, and the product of
        these, since the moments were chosen independently. None with carrier, where nothing can be sent, and where
        no silence was listened to."""
        before = self.phase(Phase.IN)
        if self.cable == "carrier" or not self.silences or not (before.arp.answered or before.echo.answered):
            return None
        return prod(figure(silence.confirmed, before, silence.missed, silence.looked) for silence in self.silences)

    @property
    def unheard(self) -> float | None:
        """The chance that a second owner was never heard; None where nothing was asked by broadcast."""
        asked = self.earlier + sum(result.arp.sent for _, result in self.phases)
        return unheard(asked) if asked and self.hears_all else None
