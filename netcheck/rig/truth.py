"""The truth about a verdict, from the physical history of the bench alone. This module does not use the judge.

A port deserves a proof only if
- its own connector was out during the whole silence that counted,
- no other path could have carried an answer in that time,
- no other host could have answered for the address for `HEARABLE` seconds without a break while the port was under
  test, and no other host was heard for it at any time of the run,
- the device at that connector is the planned one and has the address, and
- at the verdict the cable is in and the device answers.

`Alike` lists every case that fails one of these conditions and that no station can distinguish from an honest run. The
README has the same list, and the campaign measures each case.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from netcheck.proof.events import Action, Event, What
from netcheck.proof.probing.scheduler import NAMED_BETWEEN
from netcheck.proof.result import Proof
from netcheck.proof.verdict.silence_rule import ARP_EVERY
from netcheck.rig.devices import VirtualDevice
from netcheck.rig.history import (
    ALWAYS,
    Spans,
    alive,
    both,
    joined,
    linked,
    lives,
    longest,
    out,
    plugged,
    reachable,
    total,
    union,
    within,
    without,
)
from netcheck.rig.network import Jack, Rig

HEARABLE = 2.5  # seconds within which a host receives at least two broadcast requests
JUST_NOW = 0.1  # a frame in these last seconds before the verdict may be unread: the prober takes a step every 0.05 s
UNSEEN = 1.3  # longest unnoticed seconds: from one ARP request to the reply to the next, for a device without echo
AT_THE_END = 2.5  # a change in these last seconds before the verdict cannot be noticed
LOST_CONTACT = 4.0  # seconds in which a lossy link may lose every reply
PROBED = 2.0  # seconds of silence after which the station sends requests without a sender address
PROBES_EVERY = (NAMED_BETWEEN + 1) * ARP_EVERY + 0.2  # seconds between these requests
A_MINUTE = 60.0  # a silence that the operator confirms counts if it begins within these seconds of the request
BY_ITSELF = 10.0  # an outage that begins within these seconds of a request looks like the pull
FASTEST_HAND = 0.3  # seconds that a person needs at least to put a cable back
LINK_RESET = 10.0  # seconds without carrier that a renegotiation or a reset can explain
MISSED = 0.4  # seconds without an answer that moving a cable causes at least
FAINT = 0.5  # the figure `unheard` assumes that a second owner answers at least this share of the requests


class Unmet(StrEnum):
    """A condition of a proof that a port does not meet."""

    CONNECTOR = "its own connector was not out during the whole silence"
    PATH = "another path could have carried an answer"
    OWNER = "another host could answer for the address"
    HEARD = "another host was heard for the address"
    DEVICE = "the device at the connector is not the planned one, or does not have the address"
    END = "at the verdict the cable is out, or the device does not answer"


class Alike(StrEnum):
    """A case that no station can distinguish from a port that deserves its proof."""

    ANOTHER_CABLE = "another cable than the one asked for, leading to the same device alone"
    BY_ITSELF = "an outage that begins by itself in the seconds after the request"
    FALSE_KEY = "a movement that a key confirms and nobody made, while an outage or a second path looks like it"
    NOT_MOVED = (
        "a cable that by key is in another connector, and was unplugged and put back, or a walk's number says so"
    )
    PUT_BACK_EARLY = "the cable put back early while the device or the switch port takes long to start"
    LOST_CONTACT = "the cable in for up to 4 s of a silence in which every reply was lost"
    CHAIN = "addresses exchanged along a chain that the plan knows, without planned MACs"
    TWIN = "an impersonator with the device's MAC"
    BRIEF = "a second owner that is there for less than 2.5 s"
    ELSEWHEN = "a second owner that is there only while other ports are under test, and announces nothing"
    FAINT = "a second owner that answers less than half of the requests"
    PROBES = "a second owner that answers only requests without a sender address, there for under 5 s of a silence"
    MUTE = "a host that has the address and never answers ARP"
    HEALS_LATE = "a second path that heals only after the cable was asked back, where no key confirms its return"
    LAST_MOMENT = "a change in the last 2.5 s before the verdict"
    QUIET_SWITCH = "a switch in a direct cable that sends nothing by itself"


@dataclass(frozen=True, slots=True)
class Judgement:
    """Whether a port deserves a proof.

    `unmet` are the conditions that it does not meet; it is empty if the proof is deserved. `alike` are the cases that
    apply. `inexcusable` are the unmet conditions that no such case excuses.
    """

    unmet: tuple[Unmet, ...]
    alike: frozenset[Alike]
    inexcusable: tuple[Unmet, ...]

    @property
    def deserved(self) -> bool:
        """Whether a proof is deserved."""
        return not self.unmet

    @property
    def apart(self) -> bool:
        """Whether no proof is deserved and no station can find that out."""
        return bool(self.unmet) and not self.inexcusable


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One port as it physically is.

    - `jack`, `device`: its connector and the device there; `far_end`: the other end of a direct cable.
    - `hosts`: all devices on the bench.
    - `dependents`: the addresses that the plan places behind this port.
    """

    subject: str
    address: int
    jack: Jack
    device: VirtualDevice
    planned_mac: int | None
    hosts: Sequence[VirtualDevice]
    dependents: frozenset[int] = frozenset()
    far_end: Jack | None = None
    said_direct: bool = False  # the run has the option --direct
    hands_free: bool = False  # nobody confirms a movement
    forged: bool = False  # a forger repeats the device's ARP replies all the time


class Truth:
    """The truth about one run. `log` are its events with the time of the world's clock, in order."""

    def __init__(
        self,
        rig: Rig,
        log: Sequence[tuple[float, Event]],
        *,
        entered: Sequence[float] = (),
        walks: bool = False,
        once: bool = False,
    ) -> None:
        """Use the history of a run that is over.

        `entered` are the times at which Enter was pressed. With `once`, a silence counts without a request.
        """
        self.rig, self.log, self.entered, self.walks, self.once = rig, log, entered, walks, once

    def of(self, place: Place, proof: Proof) -> Judgement:
        """Return whether a port deserves the proof."""
        case = _Case(self, place, proof)
        excused: dict[Unmet, frozenset[Alike]] = {condition: frozenset(alike) for condition, alike in case.unmet()}
        unmet = tuple(excused)
        alike = frozenset(case.present()) | frozenset(one for ones in excused.values() for one in ones)
        return Judgement(unmet, alike, tuple(condition for condition in unmet if not excused[condition]))

    def instructions(self, action: Action, port: str) -> list[float]:
        """Return the times at which this movement of the port's cable was asked for."""
        return [at for at, event in self.log if event.port == port and event.action is action]


class _Case:
    """One port of a run, with the silences that counted."""

    def __init__(self, truth: Truth, place: Place, proof: Proof) -> None:
        self.truth, self.rig, self.place, self.proof = truth, truth.rig, place, proof
        mine = [(at, event) for at, event in truth.log if event.port == place.subject]
        verdicts = [(at, event.proof) for at, event in mine if event.what is What.VERDICT]
        own = [at for at, one in verdicts if one == proof] or [at for at, _ in verdicts]  # a port may be proven again
        self.verdict_at = own[-1] if own else self.rig.time
        begins = [at for at, event in mine if event.what is What.BEGIN and at <= self.verdict_at]
        self.began = self.rig.began if truth.walks or not begins else begins[-1]
        asked = truth.instructions(Action.PULL, place.subject)
        self.asked = [at for at in asked if self.began <= at <= self.verdict_at]
        self.enough = [at for at, event in mine if event.what is What.ENOUGH and self.began <= at <= self.verdict_at]
        self.holder, self.jack = self._holder()
        self.mac = self.jack.mac
        station = reachable(self.rig.jacks[0])
        self.able = both(both(alive(self.holder, self.rig.time), reachable(self.jack)), station)
        self.claims = [
            (at, int.from_bytes(frame[6:12]))
            for at, _, frame in self.rig.arrived
            if at <= self.verdict_at - JUST_NOW and _claims(frame, place.address)
        ]

    def _holder(self) -> tuple[VirtualDevice, Jack]:
        """Return the device that answered, and its connector: the port's own, or another one with the address."""
        place = self.place
        if self.proof.mac in (None, place.jack.mac) and place.address in place.device.addresses[place.jack]:
            return place.device, place.jack
        held = [(host, jack) for host, jack in self._holders() if jack.mac == self.proof.mac]
        return held[0] if held else (place.device, place.jack)

    # Unmet conditions, each with the cases that excuse it

    def unmet(self) -> Iterator[tuple[Unmet, set[Alike]]]:
        if (excuses := self._connector()) is not None:
            yield Unmet.CONNECTOR, excuses
        if (excuses := self._other_path()) is not None:
            yield Unmet.PATH, excuses
        if (excuses := self._owner()) is not None:
            yield Unmet.OWNER, excuses
        if {mac for _, mac in self.claims} - {self.mac}:
            yield Unmet.HEARD, set()
        if not self._right_device():
            yield Unmet.DEVICE, self._wrong_device()
        if (excuses := self._end()) is not None:
            yield Unmet.END, excuses

    def _silences(self) -> list[tuple[float, float]]:
        """Return the silences that counted and answered a request, as the station could see them.

        Each begins with the last reply before its end. None is shorter than a silence that is evidence.
        """
        found = []
        for number, end in enumerate(self.enough):
            since = self.enough[number - 1] if number else self.began
            if self.truth.once or any(since <= at < end for at in self.asked):
                request = max((at for at in self.asked if at < end), default=self.began)
                found.append((max(min(self._last_reply(end), end - HEARABLE), request - UNSEEN), end))
        return found

    def _in_time(self, silence: tuple[float, float]) -> bool:
        """Return whether a silence is evidence: it answers its request in time, or Enter confirms it."""
        request = max((at for at in self.asked if at < silence[1]), default=self.began)
        return silence[0] <= request + BY_ITSELF or self._confirmed(silence)

    def _last_reply(self, end: float) -> float:
        """Return the time of the device's last reply before *end*; forged replies do not count."""
        slow = self._unseen()
        replies = (at for at, who in reversed(self.claims) if at < end and who == self.mac)
        return next((at for at in replies if within(self.able, at - slow, at)), self.began)

    def _unseen(self) -> float:
        """Return the seconds for which it may go unnoticed that the device answers again."""
        faults = self.holder.faults
        return UNSEEN + faults.slow + self.jack.jitter + (1 / faults.rate if faults.rate else 0.0)

    def _covers(self, outage: Spans, silence: tuple[float, float], unseen: float = 0.0) -> bool:
        """Return whether an outage fills a silence.

        Gaps of up to *unseen* seconds are allowed, since they pass unnoticed. At the start a longer gap is allowed if
        the device could answer until the outage began: then its answers were lost.
        """
        begin, end = silence
        unseen = max(unseen, self._unseen())
        inside = within(outage, begin, end)
        if not inside:
            return False
        lead = (begin, inside[0][0])
        able_before = total(within(self.able, *lead)) >= lead[1] - lead[0] - 0.1
        if lead[1] - lead[0] > unseen and not able_before:
            return False
        return longest(without([(lead[1], end)], inside)) <= unseen

    def own_out(self) -> Spans:
        """Return when the port's own connector was out; on a direct cable, when either end was out."""
        far = self.place.far_end
        return union(out(self.place.jack), out(far) if far is not None else ())

    def _connector(self) -> set[Alike] | None:
        silences = self._silences()
        if not within(plugged(self.place.jack), self.began, self.verdict_at):
            return {Alike.NOT_MOVED} if self._not_moved() else set()
        if any(self._covers(self.own_out(), silence) for silence in silences):
            return None
        excused = [self._excuses(silence) for silence in list(filter(self._in_time, silences)) or silences]
        return set() if not excused or any(not some for some in excused) else set().union(*excused)

    def _excuses(self, silence: tuple[float, float]) -> set[Alike]:
        """Return the cases that fill a silence in which the connector was not out all the time.

        Empty if a station could have noticed that the connector was not out.
        """
        mostly_own = 2 * total(within(self.own_out(), *silence)) > silence[1] - silence[0]
        causes = {
            Alike.ANOTHER_CABLE: self._other_cables(mostly_own),
            Alike.BY_ITSELF: self._failures(BY_ITSELF),
            Alike.FALSE_KEY: self._failures(A_MINUTE) if self._confirmed(silence) else [],
            Alike.PUT_BACK_EARLY: self._starts(),
            Alike.QUIET_SWITCH: out(self.rig.jacks[0]) if self._quiet_switch() else [],
        }
        lossy = self.jack.loss or self.jack.bursts is not None
        if not self._covers(union(self.own_out(), *causes.values()), silence, LOST_CONTACT if lossy else 0.0):
            return {Alike.TWIN} if self._twin_able() else set()
        used = {alike for alike, spans in causes.items() if within(spans, *silence)}
        if Alike.BY_ITSELF in used:
            used.discard(Alike.FALSE_KEY)
        return used or {Alike.LOST_CONTACT}

    def _other_cables(self, mostly_own: bool = False) -> Spans:
        """Return when another cable was out that connects the holder of the address, after this one was asked for.

        That cable must connect no other device, unless the port's own connector was out for most of the silence.
        """
        if not self.asked:
            return []
        cables = {
            id(cable): cable
            for holder, jack in self._holders()
            for cable in (*_upstream(jack), *holder.addresses)
            if cable is not self.place.jack and (mostly_own or self._alone(cable))
        }
        return union(*(out(cable) for cable in cables.values()))

    def _holders(self) -> list[tuple[VirtualDevice, Jack]]:
        """Return the hosts that have the address, each with its jack."""
        return [
            (host, jack)
            for host in self.place.hosts
            for jack, owned in host.addresses.items()
            if self.place.address in owned
        ]

    def _alone(self, cable: Jack) -> bool:
        """Return whether a cable cuts off only this address and those that the plan places behind this port."""
        cut = {
            address
            for host in self.place.hosts
            for jack, owned in host.addresses.items()
            if cable is jack or cable in _upstream(jack)
            for address in owned
        }
        return cut <= {self.place.address, *self.place.dependents}

    def _failures(self, seconds: float) -> Spans:
        """Return the outages that began by themselves within *seconds* after a request.

        These are restarts, and links that were down while cables were in. Two outages count as one if the time between
        them passes unnoticed. A reset of the station's own link counts only if it lasts LINK_RESET seconds, or goes on
        until the cable is out.
        """
        starts = {at for jack in self.holder.addresses for at, went_in in jack.moves if went_in}
        restarts = [span for span in self.holder.absences if span[0] not in starts]
        links = [without(ALWAYS, linked(jack)) for jack in (self.jack, *_upstream(self.jack))]
        own = without(ALWAYS, linked(self.rig.jacks[0]))
        lasting = [span for span in union(own, self.own_out()) if span[1] - span[0] >= LINK_RESET]
        own = [one for one in own if any(low <= one[0] < high for low, high in lasting)]
        failed = union(restarts, without(ALWAYS, lives(self.holder)), *links, own if self.place.said_direct else ())
        as_seen = joined(failed, self._unseen())
        return [span for span in as_seen if any(at - UNSEEN <= span[0] <= at + seconds for at in self.asked)]

    def _confirmed(self, silence: tuple[float, float]) -> bool:
        """Return whether Enter was pressed between the request and the end of a silence."""
        asked = max((at for at in self.asked if at < silence[1]), default=silence[0])
        return any(asked <= at <= silence[1] for at in self.truth.entered)

    def _not_moved(self) -> bool:
        """Return whether a key says that the cable is in this connector while it is in another one of the device.

        The key counts if the device was cut off for a moment after the request to move the cable, or if its link loses
        replies; on a walk, if its number was pressed.
        """
        moves = [at for at in self.truth.instructions(Action.MOVE, self.place.subject) if at >= self.began]
        others = [jack for jack in self.place.device.addresses if jack is not self.place.jack]
        cut_off = any(
            self._cut_off(at, min((a for a in self.asked if a > at), default=self.verdict_at)) for at in moves
        )
        keyed = cut_off or (self.truth.walks and self.proof.connector == "operator")
        return keyed and any(within(plugged(jack), self.began, self.verdict_at) for jack in others)

    def _cut_off(self, since: float, until: float) -> bool:
        """Return whether the device could not answer for a moment between two times, through any of its connectors."""
        device = self.place.device
        paths = both(union(*(reachable(jack) for jack in device.addresses)), reachable(self.rig.jacks[0]))
        able = both(paths, alive(device, self.rig.time))
        lossy = any(jack.loss or jack.bursts is not None for jack in device.addresses)
        return lossy or longest(without([(since, until)], able)) >= MISSED

    def _starts(self) -> Spans:
        """Return when the device was starting, or its switch port blocked, after a cable was put in.

        Only starts after the first request count.
        """
        moves = [at for jack in self.holder.addresses for at, went_in in jack.moves if went_in]
        booting = [span for span in self.holder.absences if span[0] in moves]
        blocks = self.jack.forwards_after
        blocked = [(at, at + blocks) for at, went_in in self.jack.moves if went_in and blocks]
        first = min(self.asked, default=self.verdict_at)
        return [span for span in union(booting, blocked) if span[0] >= first - UNSEEN]

    def _quiet_switch(self) -> bool:
        """Return whether the cable is said to be direct but leads through a switch that was not heard."""
        if not (self.place.said_direct and self.place.far_end is None and self.proof.connector != "lldp"):
            return False
        return {int.from_bytes(frame[6:12]) for at, _, frame in self.rig.arrived if at <= self.verdict_at} <= {self.mac}

    def _twins(self) -> list[Jack]:
        return [
            jack
            for host in self.place.hosts
            if host is not self.holder
            for jack, owned in host.addresses.items()
            if jack.mac == self.mac and self.place.address in owned
        ]

    def _twin_able(self) -> bool:
        return any(within(reachable(jack), self.began, self.verdict_at) for jack in self._twins())

    def _other_path(self) -> set[Alike] | None:
        """Return None if the device had no other path during the silence; else the cases that excuse it."""
        device = self.holder
        others = [
            reachable(jack)
            for jack, owned in device.addresses.items()
            if jack is not self.jack and (self.place.address in owned or device.faults.weak)
        ]
        through_others = both(union(*others), alive(device, self.rig.time))
        if self._not_moved():
            return None  # the cable is in the other connector
        able = union(self.able, through_others)
        silences = [(begin, end) for begin, end in self._silences() if self._covers(self.own_out(), (begin, end))]
        open_in = [longest(both(able, within(self.own_out(), *silence))) for silence in silences]
        return set() if open_in and min(open_in) > self._unseen() else None

    def _others_able(self) -> Iterator[tuple[VirtualDevice, Jack, Spans]]:
        """Yield each other host that has the address or answers for it, its jack, and when it could answer."""
        for host in self.place.hosts:
            for jack, owned in host.addresses.items():
                mine = host is self.holder
                if mine or not (self.place.address in owned or host.faults.answers_all):
                    continue
                spans = both(both(alive(host, self.verdict_at), reachable(jack)), self._stations(jack))
                spans = without(spans, union(self.rig.away))
                yield host, jack, within(spans, self.rig.began, self.verdict_at)

    def _stations(self, jack: Jack) -> Spans:
        """Return when frames could pass between a jack and an interface of the station."""
        return union(*(reachable(own) for own in self.rig.jacks if own.segment is jack.segment))

    def _owner(self) -> set[Alike] | None:
        """Return None if no other host could answer for long enough; else the cases that excuse it."""
        worst: list[set[Alike]] = [set()] if self.place.forged else []
        for host, jack, spans in self._others_able():
            excuse = self._of_owner(host, jack, spans)
            if excuse is not None:
                worst.append(excuse)
        if not worst:
            return None
        return set() if any(not excuse for excuse in worst) else set().union(*worst)

    def _of_owner(self, host: VirtualDevice, jack: Jack, spans: Spans) -> set[Alike] | None:
        """Return the cases that excuse one other owner; None if it could not answer for long enough."""
        if longest(spans) < HEARABLE:
            return None
        if jack.mac == self.mac:
            return {Alike.TWIN}
        if not host.faults.arp:
            return {Alike.MUTE}
        if host.faults.deaf_to is not None:
            heard = any(
                longest(within(spans, begin + PROBED, end)) >= _probes_heard(end - begin)
                for begin, end in self._silences()
            )
            return set() if heard else {Alike.PROBES}
        if jack.loss and (1 - jack.loss) ** 2 < FAINT:
            return {Alike.FAINT}
        if longest(within(spans, self.began, self.verdict_at)) < HEARABLE:
            return {Alike.ELSEWHEN}
        return set()

    def _right_device(self) -> bool:
        place = self.place
        return self.holder is place.device and place.planned_mac in (None, self.mac)

    def _wrong_device(self) -> set[Alike]:
        """Return the cases that excuse a wrong device at the connector. They need a plan without MACs, except TWIN.

        The cable of the device with the address was pulled instead of this one, a number on a walk named the wrong
        port, or the device is chained behind this port.
        """
        silences = self._silences()
        if not silences or self.place.planned_mac is not None:
            return {Alike.TWIN} if self._twin_able() else set()
        others = self._other_cables()
        excuses = {Alike.ANOTHER_CABLE} if all(self._covers(others, silence) for silence in silences) else set()
        if self.truth.walks and self.proof.connector == "operator" and all(map(self._excuses, silences)):
            excuses.add(Alike.FALSE_KEY)  # a number named this port while the cable of the other one was out
        if self.place.jack in _upstream(self.jack) and self.place.dependents:
            excuses.add(Alike.CHAIN)
        return excuses

    def _end(self) -> set[Alike] | None:
        """Return None if at the verdict the cable is in and the device can answer; else the cases that excuse it."""
        at = self.verdict_at
        if self.holder.faults.deaf_to is not None:
            return set()
        in_place = both(self.able, plugged(self.jack))
        if within(in_place, at - 1e-3, at):
            return None
        if within(in_place, at - AT_THE_END, at):
            return {Alike.LAST_MOMENT}
        own = within(plugged(self.place.jack), self.began, at)
        if (not own or self._elsewhere(at)) and self._not_moved():
            return {Alike.NOT_MOVED}
        if self._heals_late():
            return {Alike.HEALS_LATE if self.place.hands_free else Alike.FALSE_KEY}
        return {Alike.TWIN} if self._twin_able() else set()

    def _elsewhere(self, at: float) -> bool:
        """Return whether the device answers through another connector than the one its cable had to be moved to."""
        device = self.place.device
        others = union(*(reachable(jack) for jack in device.addresses if jack is not self.place.jack))
        return bool(within(both(others, alive(device, self.rig.time)), at - 1e-3, at))

    def _heals_late(self) -> bool:
        """Return whether a second path answers at the verdict instead of the cable, and looks like its return.

        It opened when a person could have put the cable back, and nobody confirms movements or Enter was pressed.
        """
        if not self.enough or not (self.place.hands_free or any(at >= self.enough[-1] for at in self.truth.entered)):
            return False
        answering = within(self.able, self.verdict_at - AT_THE_END, self.verdict_at)
        early = any(self.enough[-1] <= at <= self.enough[-1] + FASTEST_HAND for at, _ in self.claims)
        return bool(answering) and not early

    # Cases that are counted even if every condition is met

    def present(self) -> Iterator[Alike]:
        """Yield the cases that are present without breaking a condition, so that the campaign counts them."""
        for _, jack, spans in self._others_able():
            if 0 < longest(spans) < HEARABLE and jack.mac != self.mac:
                yield Alike.BRIEF


def _probes_heard(silence: float) -> float:
    """Return the seconds that an owner must be present in a silence to get a request without a sender address."""
    return min(PROBES_EVERY, max(HEARABLE, silence - PROBED - 0.5))


def _upstream(jack: Jack) -> Iterable[Jack]:
    above = jack.behind
    while above is not None:
        yield above
        above = above.behind


def _claims(frame: bytes, address: int) -> bool:
    """Return whether a frame claims an address: an ARP frame with this sender, or an echo reply from it."""
    kind = frame[12:14]
    if kind == b"\x08\x06":
        return frame[28:32] == address.to_bytes(4)
    return kind == b"\x08\x00" and frame[23] == 1 and frame[34] == 0 and frame[26:30] == address.to_bytes(4)
