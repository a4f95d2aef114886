"""The pulls that a walk asks for: the first pulls with `--in-order`, and the second pull of a port that was seen.

With `--in-order` the walk asks for the ports one after the other, in the plan's order. The request ties the address
that falls silent to the connector that was asked for. If another address falls silent instead, the two addresses are
swapped, or the wrong cable was pulled. A second pull is requested at a random moment, which makes its silence evidence
of a pull.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence

from netcheck.proof.events import Action, What
from netcheck.proof.port.answers import GAP
from netcheck.proof.port.controls import choose_controls
from netcheck.proof.port.observe import observe
from netcheck.proof.port.phase_back import DELAY, phase_back, put_back
from netcheck.proof.port.phase_out import check_station, phase_out, say_silent
from netcheck.proof.port.pull import Pull
from netcheck.proof.port.state import LOST, PortState
from netcheck.proof.probing.address_state import EVER, AddressState, Stage
from netcheck.proof.result import Phase, Verdict
from netcheck.proof.run_state import FRESH, Cut, RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.judge import verdict
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY, ON_TIME
from netcheck.proof.walk.track import SHOWN, Track

INSTEAD = 5.0  # seconds without an answer after which another address counts as pulled instead of the announced one


class AnnouncedOrder:
    """The port whose pull is asked for now, and the addresses that fell silent instead of it."""

    def __init__(self, run: RunState) -> None:
        """Start without a request."""
        self.run = run
        self.target: Target | None = None  # the port that is asked for
        self._first = ""  # the port that the operator chose as the next one
        self._alive: list[AddressState] = []  # others that answered at the request
        self._fell: list[AddressState] = []  # of these, those that fell silent instead, until they answer again

    def ask_next(self, tracks: Sequence[Track]) -> None:
        """Ask for the first open port of the plan, once every address that fell silent instead answers again."""
        if self.target is not None or not all(entry.answered_between(self.run.now - GAP) for entry in self._fell):
            return
        asked = [(target, track) for target in self.run.scope.asked for track in tracks if target in track.targets]
        asked.sort(key=lambda one: one[0].subject != self._first)
        if asked and asked[0][1].known and asked[0][1].port is None:
            self._ask(*asked[0], tracks)

    def _ask(self, target: Target, own: Track, tracks: Sequence[Track]) -> None:
        own.expect(target)
        self.target, self._fell = target, []
        since = self.run.now - FRESH
        self._alive = [track.entry for track in tracks if track is not own and track.entry.answered_between(since)]
        text = f"Pull the cable of {target.subject}, leave it out until told, then plug it in again"
        self.run.ask(Action.PULL, target.subject, text)

    def put_first(self, target: Target, tracks: Sequence[Track]) -> None:
        """Announce a port next; withdraw the present request if its cable has not been pulled."""
        self._first = target.subject
        under_way = any(self.is_for(track) and track.port is not None for track in tracks)
        if self.target is not None and not under_way:
            self.run.drop_request(self.target.subject)
            self.drop()
        self.run.say(What.NOTE, target.subject, f"{target.subject} is next")

    def is_for(self, track: Track) -> bool:
        """Return whether the port that is asked for belongs to this address."""
        return self.target is not None and self.target in track.targets

    def drop(self) -> None:
        """End the request, because its pull is settled or withdrawn."""
        self.target = None

    def instead(self, track: Track) -> tuple[str, ...]:
        """Return, as text, the addresses that fell silent while the address that was asked for answers.

        If there are any, ask for the cable to be plugged in again.
        """
        if self.target is None or track.port is not None or not track.entry.answered_between(self.run.now - GAP):
            return ()
        fell = [entry for entry in self._alive if entry.answered[-1] < self.run.now - INSTEAD]
        if not fell or not all(self.run.fell(entry, LOST, 3) for entry in fell):
            return ()
        self._fell = fell
        self.run.ask(Action.PLUG, self.target.subject, f"Plug the cable of {self.target.subject} in again")
        return tuple(self.run.label(entry) for entry in fell)


NOT_YET = "it was not asked for yet; plug it in again"
ASKS = 3  # requests for the second pull without a silence in time, before the port is open again
DETECTED = 4.0  # seconds within which a silence that began in time is detected
Steps = Generator[None, None, None]


def ask_often(port: PortState) -> None:
    """Probe an address at the rates of a port under test, also through the other interfaces of this computer."""
    run = port.run
    run.scheduler.ask(port.entry, run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
    for entry in port.beyond:
        run.scheduler.ask(entry, run.now, arp=ARP_EVERY, urgent=True)


def is_decided(port: PortState) -> bool:
    """Return whether phase back cannot change the verdict."""
    return verdict(observe(port), port.run.names)[0] not in (Verdict.NOT_BACK, Verdict.PROVEN)


class SecondPulls:
    """Asks for second pulls, one at a time. `asking` is the address whose pull is asked for."""

    def __init__(self, run: RunState) -> None:
        """Start without a request."""
        self.run = run
        self.tracks: Sequence[Track] = ()
        self.asking: Track | None = None

    def take(self, track: Track, port: PortState) -> Generator[None, None, bool]:
        """Ask for the pull at a random moment and take it through its phases; return whether it counts.

        Raises Cut if no silence begins in time after ASKS requests.
        """
        for _ in range(ASKS):
            yield from self._wait_for_turn(track, port)
            if (yield from self._request(track, port)):
                break
            if port.second_owner():
                return False
            port.unanswered += 1
            port.drop_pull()
            port.set_stage(Stage.IN)
        else:
            raise Cut("its second pull was asked for and did not come")
        yield from phase_out(port)
        if is_decided(port):
            yield from put_back(port)
            return False
        if not (yield from phase_back(port, last=port.is_last_pull())):
            return False
        port.next_pull()
        self.asking = None
        return True

    def _wait_for_turn(self, track: Track, port: PortState) -> Steps:
        """Wait until no other pull is in progress, and then for a random time.

        A silence that begins meanwhile proves nothing. It is shown, and one more pull is needed.
        """
        at = EVER
        while self.run.now < at:
            check_station(port)
            if self._busy(track):
                at, self.asking = EVER, None if self.asking is track else self.asking
            elif at == EVER and self.asking in (None, track):
                self.asking = track
                at = self.run.now + self.run.rng.uniform(*DELAY)
            if port.fell() and self.run.now - port.last_sign() > SHOWN:
                yield from self._not_asked_for(track, port)
                at = self.run.now + self.run.rng.uniform(*DELAY) if self.asking is track else EVER
            yield

    def _busy(self, track: Track) -> bool:
        return any(
            other is not track and other.port is not None and other.port.pull is not None
            and other.port.phase is not Phase.IN and other.port.pull.returned == EVER
            for other in self.tracks
        )  # fmt: skip

    def _not_asked_for(self, track: Track, port: PortState) -> Steps:
        last, counted = port.last_sign(), False
        port.say(What.SILENT, f"{port.target.subject} is out: {NOT_YET}")
        while (returned := port.answer_of(port.mac or 0, last + 1e-6)) is None:
            if self.run.now - last > GAP and not counted:
                counted = True
                port.unrequested += 1
                track.unrequested += 1
                port.warn(f"{port.target.subject} fell silent before it was asked for: this does not count")
            if self.run.now - last > 3 * self.run.options.patience:
                raise Cut("it fell silent before it was asked for, and did not come back")
            check_station(port)
            yield
        port.away.append([last, returned])
        port.say(What.RETURNED, f"{port.target.address_text} answers again")

    def _request(self, track: Track, port: PortState) -> Generator[None, None, bool]:
        """Ask for the pull; return whether a silence begins in time."""
        run = self.run
        pull = port.pull = Pull(run.now)
        port.set_stage(Stage.PULLING)
        ask_often(port)
        port.ask(Action.PULL, f"Pull the cable of {port.target.subject} once more", run.now + ON_TIME)
        while run.now < (pull.requested or 0.0) + ON_TIME + DETECTED:
            check_station(port)
            if port.second_owner():
                return False
            if port.fell() and port.newest_sign(run.now - ARP_EVERY) is None:
                last = port.last_sign()
                if last < (pull.requested or 0.0) - ARP_EVERY:
                    yield from self._not_asked_for(track, port)
                    return False
                choose_controls(port)
                port.open_out("inferred")
                if pull.after is not None and pull.after <= ON_TIME:
                    say_silent(port)
                    return True
                return False
            yield
        port.warn(f"{port.target.subject} did not fall silent within {ON_TIME:.0f} s of the request: it is asked again")
        return False
