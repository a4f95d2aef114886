"""The second pull of a port on a walk: it is requested at a random moment, so that the silence is evidence of a
pull."""

from __future__ import annotations

from collections.abc import Generator, Sequence

from netcheck.proof.events import Action, What
from netcheck.proof.port.answers import GAP
from netcheck.proof.port.controls import choose_controls
from netcheck.proof.port.observe import observe
from netcheck.proof.port.phase_back import DELAY, phase_back, put_back
from netcheck.proof.port.phase_out import check_station, phase_out
from netcheck.proof.port.pull import Pull
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, Stage
from netcheck.proof.result import Phase, Verdict
from netcheck.proof.run_state import Cut, RunState
from netcheck.proof.verdict.judge import verdict
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY, ON_TIME
from netcheck.proof.walk.track import Track

ASKS = 3  # requests that may stay unanswered before the port is open again
DETECTED = 4.0  # seconds in which a silence that began in time is noticed
Steps = Generator[None, None, None]


def ask_often(port: PortState) -> None:
    """Ask an address at the pace of a port under test, also through the other interfaces of this computer."""
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
        """No pull is asked for yet."""
        self.run = run
        self.tracks: Sequence[Track] = ()
        self.asking: Track | None = None

    def take(self, track: Track, port: PortState) -> Generator[None, None, bool]:
        """Ask for the pull at a moment that the device cannot know, and take it through its phases; say whether it
        counts."""
        for _ in range(ASKS):
            yield from self._turn_to_ask(track, port)
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

    def _turn_to_ask(self, track: Track, port: PortState) -> Steps:
        """Wait until no other pull is in progress, and then for a random time. A silence that begins meanwhile proves
        nothing; it is shown, and makes one more request necessary."""
        at = EVER
        while self.run.now < at:
            check_station(port)
            if self._busy(track):
                at, self.asking = EVER, None if self.asking is track else self.asking
            elif at == EVER and self.asking in (None, track):
                self.asking = track
                at = self.run.now + self.run.rng.uniform(*DELAY)
            if port.fell() and self.run.now - port.last_sign() > GAP:
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
        last = port.last_sign()
        port.unrequested += 1
        track.unrequested += 1
        port.warn(f"{port.target.subject} fell silent before it was asked for: this does not count")
        while (returned := port.answer_of(port.mac or 0, last + 1e-6)) is None:
            if self.run.now - last > 3 * self.run.options.patience:
                raise Cut("it fell silent before it was asked for, and did not come back")
            check_station(port)
            yield
        port.away.append([last, returned])

    def _request(self, track: Track, port: PortState) -> Generator[None, None, bool]:
        """Ask for the pull; say whether a silence began in time."""
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
                    port.say(What.SILENT, f"{port.target.subject} is silent: leave its cable out")
                    return True
                return False
            yield
        port.warn(f"{port.target.subject} did not fall silent within {ON_TIME:.0f} s of the request: it is asked again")
        return False
