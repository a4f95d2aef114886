"""The observation of one port. It and the names of known MACs are the judge's only input."""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

from netcheck.proof.result import Phase, PhaseResult
from netcheck.proof.targets import Target
from netcheck.proof.verdict.silence_rule import LEAST_ARP_OUT, LUCK_LIMIT, UNHEARD_LIMIT, Confirmed, figure, unheard

# Broadcast requests in each phase, so that a second owner is heard in each phase (common practice, no source).
LEAST_ARP = {Phase.IN: 5, Phase.OUT: LEAST_ARP_OUT, Phase.BACK: 3}

# Seconds within which two silences may have one cause: power supplies hold up for different times, and the watch sends
# one request a second.
SAME_TIME = 2.0


@dataclass(frozen=True, slots=True)
class Owner:
    """A MAC that was heard for the address: in which phase, on which interface, and whether only by echo replies."""

    mac: int
    phase: Phase
    adapter: int = 0
    echo_only: bool = False


@dataclass(frozen=True, slots=True)
class HeardBefore:
    """Another MAC that was heard for the address in this run; `first` and `last` are seconds after its start."""

    mac: int
    first: float
    last: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """One silence that counts. `lasted` and `needed` are seconds.

    `missed` are the misses, and `searched` the probes among which they were searched for, each as (ARP, echo).
    `after` is the seconds from the request to the last answered probe, None if nobody asked.
    """

    confirmed: Confirmed
    lasted: float
    needed: float
    missed: tuple[int, int] = (0, 0)
    searched: tuple[int, int] = (1, 1)
    after: float | None = None

    @property
    def short(self) -> bool:
        """Whether the silence was too short."""
        return self.lasted < self.needed


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """All evidence of one port. `mac` is the MAC under test: the one that answered with the cable in."""

    target: Target
    mac: int | None = None
    phases: tuple[tuple[Phase, PhaseResult], ...] = ()
    owners: tuple[Owner, ...] = ()
    device_macs: frozenset[int] = frozenset()  # planned for the same device, the interface's own included
    cable: str | None = None
    connector: str = "assumed"
    not_moved: bool = False  # the cable was to be moved to this connector, and there is no evidence that it was
    silences: tuple[Silence, ...] = ()
    requests_needed: int = 2  # if nobody confirms a movement, so many silences must answer a request in time
    confirmed_return: bool = False  # the operator confirmed that the cable is in again
    stayed: bool = False  # it did not fall silent, or went on answering until the patience ended
    fell_before: bool = False  # an earlier request in this attempt was followed by a silence
    unconfirmed: bool = False  # it answered again, and the operator did not confirm that the cable is in
    hands_free: bool = False
    controls: int = 0  # addresses of other devices, or the gateway, that went on answering
    fallen: tuple[str, ...] = ()  # others that fell silent at the same time
    chained: tuple[str, ...] = ()  # of these, those that fell silent and returned together with it twice
    instead: tuple[str, ...] = ()  # others that fell silent while it went on answering
    negatives: tuple[tuple[int, int], ...] = ()  # (address that nobody should own, MAC that answered for it)
    no_negative: bool = False  # the subnet has no such address
    gateway_mac: int | None = None
    is_gateway: bool = False
    shared: tuple[str, ...] = ()  # planned interfaces of other devices that this MAC answers for as well
    shared_own: tuple[str, ...] = ()  # other planned interfaces of the device that this MAC answers for as well
    planned_for: str = ""  # another interface that the plan gives this MAC
    proven_for: str = ""  # an interface of another device that this MAC is already proven for
    heard_before: tuple[HeardBefore, ...] = ()  # other MACs that were heard for the address in this run
    direct: bool = False
    linked: bool = True  # the interface under test has carrier
    strangers: tuple[int, ...] = ()  # MACs heard on a direct cable that do not belong to the device
    foreign_lldp: tuple[int, ...] = ()  # LLDP speakers on a direct cable that are not the device
    anonymous: int | None = None  # the MAC that answered only the last requests, which have sender 0
    elsewhere: tuple[int, ...] = ()  # other addresses that the planned MAC was heard with
    late: bool = False  # answers came, but all of them late
    forged: int = 0  # echo replies that match no probe
    lost_frames: int = 0  # received frames that the kernel dropped unread since the cable was first out
    cut: str = ""  # why a phase was cut short
    void: bool = False  # it was cut short because it proved nothing, not on request
    skipped: bool = False  # it was cut short because the operator skipped the port
    earlier: int = 0  # broadcast requests of phase in before the time that its tallies cover
    answers_now: bool = False  # in phase back it answers at the rate of phase in, and answered the newest request
    connector_unknown: bool = False  # on a walk: nothing ties the address that fell silent to this connector
    once: bool = False  # on a walk: one pull is enough (--once)
    hears_all: bool = True  # the link hears ARP
    other_port: str = ""  # another port of the interface that the cable is in, by LLDP
    evidence: tuple[tuple[str, str], ...] = ()  # other facts as (name, text)
    first_after: float = 0.0  # seconds from the phase's start to the first answer
    head_start: float = 0.0  # seconds of phase in before its turn, while the port before it came back
    luck_limit: float = LUCK_LIMIT
    unheard_limit: float = UNHEARD_LIMIT

    def phase(self, phase: Phase) -> PhaseResult:
        """Return the result of a phase; all zeros if it was not run."""
        return dict(self.phases).get(phase, PhaseResult())

    def macs(self, *phases: Phase) -> tuple[int, ...]:
        """Return the MACs heard in these phases, each once: by ARP, or by echo if the link hears no ARP."""
        heard = (o.mac for o in self.owners if o.phase in phases and not (o.echo_only and self.hears_all))
        return tuple(dict.fromkeys(heard))

    @property
    def echo_sources(self) -> tuple[int, ...]:
        """The other MACs that sent echo replies with the cable in, and no ARP replies."""
        by_arp = {owner.mac for owner in self.owners if not owner.echo_only}
        sources = (o.mac for o in self.owners if o.phase is not Phase.OUT and o.mac not in by_arp and o.mac != self.mac)
        return tuple(dict.fromkeys(sources)) if self.hears_all else ()

    @property
    def came_back(self) -> bool:
        """Whether the MAC under test answered in phase back."""
        back = self.phase(Phase.BACK)
        return bool(back.arp.answered or back.echo.answered)

    @property
    def luck(self) -> float | None:
        """The chance that the silences are luck; None if the carrier showed the pull, or if there was no silence.

        For each silence it is the larger of the chances by ARP and by echo that count. The chances of the silences are
        multiplied, since their moments were chosen independently.
        """
        before = self.phase(Phase.IN)
        if self.cable == "carrier" or not self.silences or not (before.arp.answered or before.echo.answered):
            return None
        return prod(figure(silence.confirmed, before, silence.missed, silence.searched) for silence in self.silences)

    @property
    def unheard(self) -> float | None:
        """The chance that a second owner was not heard; None if no broadcast request was sent."""
        asked = self.earlier + sum(result.arp.sent for _, result in self.phases)
        return unheard(asked) if asked and self.hears_all else None
