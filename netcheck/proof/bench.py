"""What one proving run shares between its parts: the asker, the watch over all other addresses, keys and events."""

from __future__ import annotations

from netcheck.proof.asking import WATCH_EVERY, Asker
from netcheck.proof.events import Event, Settings, What
from netcheck.proof.lines import Hearing, Kind, Line
from netcheck.proof.targets import Aim, Net, Target

FRESH = 5.0  # seconds: a control must have answered in this time before the silence (6-settled-details.md 12)
SPOKEN_KEPT = 4096
ECHO_TRIES = 5  # echoes that a watched address may leave unanswered before it is asked by ARP instead


class Cut(Exception):
    """A phase is cut short; `why` completes the sentence "A phase was cut short: ..."."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


class Bench:
    """Shared state of a run. `now` is set by the prober before anything else is called."""

    def __init__(self, aim: Aim, settings: Settings, asker: Asker) -> None:
        """Nothing is asked yet."""
        self.aim, self.settings, self.asker = aim, settings, asker
        self.now = 0.0
        self.carrier = dict.fromkeys(range(len(asker.ways)), True)
        self.drops = 0  # times that the carrier under test has dropped
        self.events: list[Event] = []
        self.enters = 0  # Enter presses that nobody has taken yet
        self.spoken: dict[int, dict[int, float]] = {}  # MAC -> addresses it spoke for on way 0, and when last
        self.owner_of = {target.address: target for target in aim.targets if not target.barred}
        self.watched: dict[int, Line] = {}
        self.gateways = {net.gateway: net for net in aim.nets if net.gateway is not None}
        self.proven: dict[int, str] = {}  # MAC -> device/interface already proven in this record

    def say(self, what: What, port: str, text: str, until: float | None = None) -> None:
        """Tell an event."""
        self.events.append(Event(self.now, what, port, text, until))

    def enter(self) -> bool:
        """Take one press of Enter, if there is one."""
        pressed = self.enters > 0
        self.enters = 0
        return pressed

    def take(self, hearing: Hearing) -> None:
        """Remember which addresses a MAC speaks for."""
        if hearing.way == 0 and (hearing.mac in self.spoken or len(self.spoken) < SPOKEN_KEPT):
            addresses = self.spoken.setdefault(hearing.mac, {})
            if hearing.address in addresses or len(addresses) < 64:
                addresses[hearing.address] = hearing.at

    # The watch over every planned address and the gateways

    def watch(self, nets: list[Net]) -> None:
        """Begin to watch all planned addresses and gateways of these subnets."""
        wanted = {address: target.subnet for address, target in self.owner_of.items()}
        wanted |= {address: net.name for address, net in self.gateways.items() if address not in wanted}
        names = {net.name for net in nets}
        for address, name in wanted.items():
            if name in names and address not in self.watched and address not in self.aim.stations:
                line = self.watched[address] = self.asker.line(address, name)
                self.asker.want(line, self.now, arp=WATCH_EVERY)

    def tend(self, under_test: Line | None) -> None:
        """Ask each watched address the gentlest way that works: one unicast echo a second where its MAC is known and
        it answers echo, else by broadcast within the broadcast pace."""
        for line in self.watched.values():
            if line is under_test or line.mac is None:
                continue
            deaf = len(line.misses(Kind.ECHO, line.mac)) >= ECHO_TRIES
            if line.arp_every is None and (deaf or line.echo_every is None):
                self.asker.want(line, self.now, arp=WATCH_EVERY)
            elif line.arp_every is not None and not deaf:
                self.asker.want(line, self.now, echo=WATCH_EVERY)

    def alive(self, line: Line, at: float) -> bool:
        """Say whether a watched address answered in the seconds before `at`."""
        return line.mac is not None and any(
            at - FRESH <= hearing.at <= at and hearing.asked is not None for hearing in reversed(line.hearings)
        )

    def companions(self, target: Target, at: float) -> tuple[list[Line], Line | None]:
        """Controls for a silence that begins at `at`: living addresses of other devices that do not hang behind this
        port, and the gateway where it lives."""
        others = [
            line
            for address, line in self.watched.items()
            if address in self.owner_of
            and self.owner_of[address].device != target.device
            and not self.hangs_behind(self.owner_of[address], target)
            and self.alive(line, at)
        ]
        gateway = self.aim.net(target.subnet).gateway
        line = self.watched.get(gateway) if gateway is not None else None
        usable = line is not None and gateway not in self.owner_of and self.alive(line, at)
        return others, line if usable else None

    def hangs_behind(self, other: Target, target: Target) -> bool:
        """Say whether the plan puts the other interface behind this port, directly or through others in between."""
        seen: set[str] = set()
        behind = other.behind
        while behind and behind not in seen:
            if behind == target.subject:
                return True
            seen.add(behind)
            above = behind.rsplit(":", 1)[0]
            behind = next((t.behind for t in self.aim.targets if t.interface == above), "")
        return False

    def fell(self, line: Line) -> bool:
        """Say whether a watched address has fallen silent."""
        if line.mac is None or self.now - (line.last_answer or 0.0) < 2.0:
            return False
        return line.fallen(line.mac, float("-inf"), 1e-2, 3)

    def doubtful(self, line: Line, since: float) -> bool:
        """Say whether a watched address has not answered any probe sent since then."""
        return not any(h.means > since for h in reversed(line.hearings))

    def macs_of(self, device: str) -> frozenset[int]:
        """The MACs planned for a device."""
        return frozenset(mac for mac, subject in self.aim.macs.items() if subject.split("/")[0] == device)

    def shared(self, target: Target, spoken: dict[int, float], since: float) -> list[str]:
        """Planned interfaces of other devices whose addresses a MAC spoke for since then."""
        owners = [self.owner_of[address] for address, at in spoken.items() if at >= since and address in self.owner_of]
        return list(dict.fromkeys(other.interface for other in owners if other.device != target.device))

    def word(self, line: Line) -> str:
        """A watched address in words: the planned interface and the address."""
        target = self.owner_of.get(line.address)
        return f"{target.interface} ({target.address_text})" if target is not None else "the gateway"
