"""The prober: a whole run without I/O.

Frames, carrier changes, keys and the time go in; frames to send, the time of the next turn and events come out. A
driver joins the prober to a link. The same prober runs on an interface and, in virtual time, on the rig. A procedure
decides what is done with the ports: port by port (`PortByPort`), or a walk (`walk.Walk`).

A turn is one call of `turn`. In a turn the prober takes a step if one is due: it resumes the procedure.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import replace
from random import Random
from typing import Protocol

from netcheck.addr import quad
from netcheck.proof.events import Chosen, Event, Key, Press, RunOptions, What
from netcheck.proof.port.cabling import Cabling
from netcheck.proof.port.head_start import HeadStart, may_begin
from netcheck.proof.port.observe import observe
from netcheck.proof.port.sequence import prove_port
from netcheck.proof.port.state import PortState
from netcheck.proof.port_order import PortOrder
from netcheck.proof.probing.address_state import EVER, FEW
from netcheck.proof.probing.scheduler import Pace, ProbeScheduler, Send
from netcheck.proof.probing.station_address import StationAddresses
from netcheck.proof.result import PASSED, Phase, Proof, Verdict
from netcheck.proof.run_state import Cut, RunState
from netcheck.proof.targets import Scope, Target
from netcheck.proof.verdict.judge import DECIDED_IN, judge, verdict
from netcheck.proof.verdict.names import Names
from netcheck.proof.verdict.observation import Observation
from netcheck.proof.view import PortView, RunView, may_be_out, port_view, request_view, run_view
from netcheck.text import listed
from netcheck.wire.frames import lldp_from_wire
from netcheck.wire.link import Adapter, Carrier, Heard, Lost, News, Suspended

TICK = 0.05  # seconds between steps while there is news of the port under test; also the longest wait for a key
STEP_EVERY = 0.25  # seconds between steps otherwise
STALL = 2.0  # seconds between two turns above which netcheck did not run, so that requests were not sent
NO_KEYS = (
    "without keys nothing confirms that the cable is in this connector: prove it without --hands-free, or with "
    "--direct if the device sends LLDP"
)
Steps = Generator[None, None, None]


class Procedure(Protocol):
    """The order of work on the ports. `port` is the port under test, for the screen."""

    keys: str  # what each key does, for the screen
    walks: bool  # all ports are open at once
    cut_is_final: bool  # a port that is under test when the run is stopped keeps the verdict it then gets
    port: PortState | None

    @property
    def following(self) -> Target | None:
        """The port whose turn is next, once the port under test only needs to come back; else None."""

    def advance(self) -> bool:
        """Take one step; return whether the run is over."""

    def tend(self) -> None:
        """Set the rates at which each address is probed."""

    def press(self, key: Press) -> None:
        """Handle any key except the one that stops the run."""

    def finish(self, why: str) -> None:
        """End at once: judge each port that is open."""

    def views(self) -> list[PortView]:
        """Return the view of each open port; none for ports whose turn has not come."""


ProcedureOf = Callable[[RunState, StationAddresses], Procedure]


class Prober:
    """A run. `done` says that it is over; `refused` says why the run cannot use this interface, else it is empty."""

    def __init__(
        self,
        scope: Scope,
        adapters: Sequence[Adapter],
        names: Names,
        options: RunOptions,
        rng: Random,
        *,
        hears_all: bool = True,
        proven: Mapping[int, str] | None = None,
        poll: float = TICK,
        procedure: ProcedureOf | None = None,
    ) -> None:
        """Set up a run; nothing is sent.

        `proven` maps MACs that the same record has already proven to their interfaces; ports that are proven again are
        removed from it. `poll` is the longest time in seconds that the link may wait before keys are read.
        """
        self.scope, self.adapters, self.names, self.poll = scope, tuple(adapters), names, poll
        pace = Pace(total=options.pace, each=options.pace_each)
        self.scheduler = ProbeScheduler(adapters, hears_all, pace, rng)
        self.run = RunState(scope, options, self.scheduler, rng, names)
        again = {target.interface for target in scope.asked}
        self.run.proven.update({mac: where for mac, where in (proven or {}).items() if where not in again})
        self.addresses = StationAddresses(self.run, rng)
        self.procedure = (procedure or PortByPort)(self.run, self.addresses)
        self.done = False
        self.refused = ""
        self.left_out: tuple[str, ...] = ()  # ports and interfaces whose cables may be out at the end of a stopped run
        self._claiming: Steps | None = None
        self._stop = ""  # why the run was stopped
        self._stepped = -EVER  # time of the last step
        self._turned = EVER  # time of the last turn
        self._gone_at = EVER  # time since which the interface has been gone
        self._news = self._at_once = True  # the next step is due after TICK, or now

    @property
    def options(self) -> RunOptions:
        """The options in force."""
        return self.run.options

    @property
    def keys(self) -> str:
        """What each key does, for the screen."""
        return self.procedure.keys

    @property
    def walks(self) -> bool:
        """Whether the run is a walk, with all ports open at once."""
        return self.procedure.walks

    @property
    def port(self) -> PortState | None:
        """The port under test."""
        return self.procedure.port

    @property
    def proofs(self) -> list[Proof]:
        """The proofs so far."""
        return self.run.proofs

    # What goes in

    def start(self, now: float, carrier: Mapping[int, bool]) -> None:
        """Begin the run; nothing is sent yet. Refuse if an address of this computer is planned for a device."""
        self.run.now = self.run.started = now
        self.run.carrier.update(carrier)
        if trouble := self.addresses.trouble():
            return self._refuse(trouble)
        for net in self.scope.nets:
            self.addresses.choose(net)
        if not self.options.direct:
            names = {target.subnet for target in self.scope.asked if not target.barred} - set(self.run.lack)
            self._claiming = self.addresses.claim(net for net in self.scope.nets if net.name in names)
        return None

    def hear(self, item: News) -> None:
        """Handle a frame or another report of the link."""
        if isinstance(item, Heard):
            if self._special(item):
                return
            sighting = self.scheduler.hear(item)
            if sighting is not None:
                self.run.remember(sighting)
                entry = self.scheduler.entries.get((sighting.adapter, sighting.address))
                self._news = self._news or (entry is not None and entry.urgent)
        elif isinstance(item, Carrier):
            self._take_carrier(item)
        elif isinstance(item, Lost):
            self.run.lost_frames += item.frames
        else:
            self._take_suspend(item)

    def _take_suspend(self, item: Suspended) -> None:
        self._at_once = True
        self.run.disturb(f"this computer was suspended for {item.seconds:.0f} s")

    def _take_carrier(self, item: Carrier) -> None:
        self._at_once = True
        if item.adapter == 0:
            self.run.gone = item.gone or item.off
            self._gone_at = min(self._gone_at, item.at) if self.run.gone else EVER
            self.run.drops += self.run.carrier[0] and not item.up
            if item.up:
                self.run.linked = item.at
        self.run.carrier[item.adapter] = item.up

    def _special(self, heard: Heard) -> bool:
        """Handle an LLDP frame or an answer to an inquiry; return whether the frame was one of these."""
        if heard.adapter == 0 and (said := lldp_from_wire(heard.frame)) is not None:
            self.run.neighbours.append((heard.at, said))
            return True
        inquiry = self.run.inquiry
        return inquiry is not None and inquiry.hear(heard)

    def press(self, key: Press) -> None:
        """Handle a key that the operator pressed."""
        self._at_once = True
        if key is Key.QUIT:
            self.stop("the run was stopped")
        else:
            self.procedure.press(key)

    def stop(self, why: str) -> None:
        """End the run: the port under test is cut short, the others are not tested."""
        self._stop = self._stop or why
        self._at_once = True

    def go_hands_free(self) -> None:
        """Continue hands-free, because the keyboard input ended."""
        if not self.options.hands_free:
            self.run.options = replace(self.options, hands_free=True)

    @property
    def stopped(self) -> bool:
        """Whether the run was stopped and the port under test has no proof."""
        return bool(self._stop) and not self.procedure.cut_is_final

    # What comes out

    def turn(self, now: float) -> list[Send]:
        """Handle what has come in and return the frames to send; report each of them to `sent` or `not_sent`."""
        if now - self._turned > STALL:
            self.run.now = now
            self.run.disturb(f"netcheck itself was not running for {now - self._turned:.0f} s")
            self._at_once = True
        self.run.now = self._turned = now
        if self.scheduler.settle(now):
            self._news = True
        if self.scheduler.matcher.conflict is not None and not self.refused:
            self._refuse(self._owned(self.scheduler.matcher.conflict))
        if now > self._gone_at + self.options.patience:
            self.stop("the interface is gone")
        if self._stop:
            self._finish()
        elif not self.done and (self._at_once or now >= self._next_step):
            self._stepped, self._news, self._at_once = now, False, False
            self._advance()
        return [] if self.done else self.scheduler.due(now)

    def sent(self, send: Send, at: float) -> None:
        """Record the time at which the link sent a frame."""
        self.scheduler.sent(send, at)

    def not_sent(self, send: Send) -> None:
        """Take back a frame that the link did not accept."""
        self.scheduler.not_sent(send)

    @property
    def wake(self) -> float:
        """The time at which the next turn is due, at the latest."""
        if self._at_once:
            return self.run.now
        return min(self._next_step, self.scheduler.wake, self.run.now + self.poll)

    @property
    def _next_step(self) -> float:
        return self._stepped + (TICK if self._news else STEP_EVERY)

    def take_events(self) -> list[Event]:
        """Return all events since the last call."""
        events, self.run.events = self.run.events, []
        return events

    def view(self) -> RunView:
        """Return the state of the run now, for the screen."""
        return run_view(self.run, self.procedure.views(), self.procedure.following)

    def amend(self, proof: Proof) -> None:
        """Replace the proof of a port by one with remarks or other additions."""
        self.run.proofs = [proof if one.subject == proof.subject else one for one in self.run.proofs]

    # The order of the run

    def _advance(self) -> None:
        if self._claiming is not None:
            try:
                return next(self._claiming)
            except StopIteration:
                self._claiming = None
        if self.procedure.advance():
            self._over()
        self.procedure.tend()
        return None

    def _finish(self) -> None:
        if not self.done:
            self.left_out = may_be_out(self.view())
        self.procedure.finish(self._stop)
        self._over()

    def _over(self) -> None:
        self.scheduler.rest()
        self.done = True

    def _refuse(self, why: str) -> None:
        self.refused = why
        self.stop(why)

    def _owned(self, mac: int) -> str:
        matcher = self.scheduler.matcher
        addresses = " or ".join(map(quad, sorted(matcher.claiming | matcher.borrowed)))
        return f"{addresses}, which was to be borrowed, belongs to {self.names.of(mac)}"


class PortByPort:
    """Proves the ports of a run one after the other."""

    keys = "Enter confirms   s skips   n next   r again   m remark   q stops"
    walks = False
    cut_is_final = False

    def __init__(self, run: RunState, addresses: StationAddresses) -> None:
        """Start without a port under test."""
        self.run, self.addresses = run, addresses
        self.port: PortState | None = None
        self._order = PortOrder(run.scope.asked, run.options.revisits)
        self._ended: Target | None = None  # the port that ended last
        self._turn_ends = False  # the port under test is being put off
        self._steps: Steps | None = None
        self._cabling = Cabling(run)
        self._between: Steps | None = None  # the work on cables between two ports
        self._told = False  # the operator was told which ports need keys
        self._ahead: HeadStart | None = None  # the head start of the next port
        self._announced = ""  # the port that was announced as the next one

    def advance(self) -> bool:
        """Go on with the port under test; when it ends, with the cables, and then with the next port."""
        while True:
            if self._steps is not None:
                try:
                    next(self._steps)
                    return False
                except StopIteration:
                    self._close_port()
            elif self._between is not None:
                try:
                    next(self._between)
                    return False
                except StopIteration:
                    self._between = None
            elif (target := self._order.take()) is not None:
                if not self._told:
                    self._tell_what_needs_keys()
                self._open_port(target)
            else:
                return True

    def tend(self) -> None:
        """Set the rates of the watch for every address except those of the port under test and the next port."""
        self._tend_head_start()
        self.run.tend(self.port.entry if self.port is not None else None)

    @property
    def following(self) -> Target | None:
        """The port whose turn is next, once the cable of the port under test is asked back for the last time."""
        comes_back = self.port is not None and self.port.phase is Phase.BACK and self.port.is_last_pull()
        return self._next() if comes_back else None

    def _next(self) -> Target | None:
        """Return the next port that can be tested."""
        return next((target for target in self._order.coming if not self._barred(target)), None)

    def _tend_head_start(self) -> None:
        """Send requests to the next port while the port under test comes back, and until its own turn."""
        port, target = self.port, self._next()
        ahead, may = self._ahead, port is not None and target is not None and may_begin(port, target)
        if ahead is not None and (ahead.broken or ahead.target != target or (port is not None and not may)):
            ahead.stop()
            ahead = None
        if ahead is None and may and target is not None:
            ahead = HeadStart(self.run, target)
            if self._announced != target.subject:
                self._announced = target.subject
                ahead.announce()
        if ahead is not None:
            ahead.step()
        self._ahead = ahead

    def press(self, key: Press) -> None:
        """Handle a key.

        Enter confirms, `s` skips, `r` proves the last port again, and a number or a name chooses the next port.
        """
        if key is Key.ENTER or (key is Key.SKIP and self._between is not None):
            self.run.enters += 1
        elif key is Key.SKIP:
            self._skip()
        elif key is Key.AGAIN:
            if self._ended is None:
                self.run.warn("", "No port has a verdict yet, so none can be proven again")
            else:
                self._choose(self._ended)
        elif isinstance(key, int):
            self._choose(next((target for target in self.run.scope.targets if target.row == key), None))
        elif isinstance(key, Chosen):
            self._choose(self._meant(key))

    def _skip(self) -> None:
        port = self.port
        self._cut(Cut("it was skipped", skipped=True))
        if port is None or not any(
            proof.subject == port.target.subject and proof.verdict is Verdict.SKIPPED for proof in self.run.proofs[-1:]
        ):
            return
        if self._order.skip(port.target):
            self.run.say(What.NOTE, port.target.subject, "It has one more turn at the end")

    def _meant(self, chosen: Chosen) -> Target | None:
        """Return the first of the matching ports that is not proven yet, else the first of them."""
        by_subject = {target.subject: target for target in self.run.scope.targets}
        meant = [by_subject[subject] for subject in chosen.subjects if subject in by_subject]
        passed = {proof.subject for proof in self.run.proofs if proof.verdict in PASSED}
        return next((target for target in meant if target.subject not in passed), meant[0] if meant else None)

    def _choose(self, target: Target | None) -> None:
        """Give a port the next turn. The port under test is put off, unless its cable is out: then it ends first."""
        if target is None:
            return self.run.warn("", "There is no such port")
        port = self.port
        is_out = port is not None and port.pull is not None and port.pull.out
        if port is not None and is_out and port.target.subject == target.subject:
            return self.run.warn(port.target.subject, "Its cable is out: it can begin again after its verdict")
        if port is not None and not is_out:
            put_off = self._put_off()
            if put_off and port.target.subject != target.subject:
                self._order.first(port.target)
        self._order.first(target)
        if port is not None and not is_out:
            self._between = self._cabling.after_port(target)
        self.run.proven = {mac: of for mac, of in self.run.proven.items() if of != target.interface}
        after = f" after {port.target.subject}, whose cable is out" if port is not None and is_out else ""
        self.run.say(What.NOTE, target.subject, f"{target.subject} is next{after}")
        return None

    def _put_off(self) -> bool:
        """End the port under test without a proof, so that it has a turn later; return whether it has no proof.

        If its verdict is certain already, this verdict becomes its proof.
        """
        assert self.port is not None
        proofs = len(self.run.proofs)
        self._turn_ends = True
        self._cut(Cut("another port was chosen", skipped=True))
        self._turn_ends = False
        return len(self.run.proofs) == proofs

    def finish(self, why: str) -> None:
        """Cut the port under test short and give the waiting ports the verdict `not-tested`."""
        self._cut(Cut(why))
        tried = {proof.subject for proof in self.run.proofs}
        while (target := self._order.take()) is not None:
            if target.subject not in tried:
                self.run.put(Observation(target=target, cut=why))
        for _ in self._cabling.after_port(None):
            pass

    def views(self) -> list[PortView]:
        """Return the view of the port under test; between two ports, of those whose cables are asked for."""
        if self.port is not None:
            return [port_view(self.port)]
        return [request_view(self.run, target) for target in self._cabling.asked]

    def _open_port(self, target: Target) -> None:
        if barred := self._barred(target):
            return self.run.put(Observation(target=replace(target, barred=barred)))
        ahead, self._ahead = self._ahead, None
        early = ahead.hand_over() if ahead is not None and ahead.target == target else None
        if ahead is not None and early is None:
            ahead.stop()
        self.port = early or PortState(self.run, target)
        self.run.say(What.BEGIN, target.subject, f"{target.subject} at {target.address_text}")
        net = self.run.scope.net(target.subnet)
        self._steps = prove_port(self.port, lambda seen: decided(seen, self.run.names), lambda: self._claim(net.name))
        return None

    def _barred(self, target: Target) -> str:
        """Return why a port cannot be tested; empty if it can."""
        return target.barred or self.run.lack.get(target.subnet, "") or self._without_keys(target)

    def _without_keys(self, target: Target) -> str:
        """Return why a port cannot be proven hands-free; empty if it can.

        Through a switch only a key can confirm that the cable was moved to a second connector.
        """
        options = self.run.options
        return NO_KEYS if target.ordinal and options.hands_free and not options.direct else ""

    def _tell_what_needs_keys(self) -> None:
        """Tell the operator before the first pull which ports cannot be proven hands-free, and what to do."""
        self._told = True
        second = [t.subject for t in self.run.scope.asked if t.ordinal and not t.barred]
        if not (second and self.run.options.hands_free):
            return
        if self.run.options.direct:
            text = f"{listed(second)}: proven without keys only if the device names the connector by LLDP"
        else:
            text = f"{listed(second)}: not tested, because {NO_KEYS}"
        self.run.warn("", text)

    def _claim(self, name: str) -> Steps:
        """On a direct cable, check the borrowed address again, because each port is a network of its own."""
        return self.addresses.claim([self.run.scope.net(name)]) if self.run.options.direct else _nothing()

    def _close_port(self) -> None:
        self._steps = None
        port, self.port = self.port, None
        if port is None:
            return
        proof = judge(observe(port), self.run.names)
        if self._turn_ends and not proof.verdict.is_definite:
            self.run.drop_request(port.target.subject)
        else:
            self.run.put_proof(proof)
            self._ended = port.target
        port.entry.keep(FEW)
        self._between = self._cabling.after_port(self._order.following)

    def _cut(self, cut: Cut) -> None:
        """Cut the port under test short."""
        if self._steps is None or self.port is None:
            return
        try:
            self._steps.throw(cut)
        except StopIteration:
            self._close_port()


def decided(seen: Observation, names: Names) -> bool:
    """Return whether the verdict is final already. `not-back` and the verdicts below it need phase back."""
    found = verdict(seen, names)[0]
    return found in DECIDED_IN if Phase.OUT not in dict(seen.phases) else found is not Verdict.NOT_BACK


def _nothing() -> Steps:
    yield from ()
