"""The walk: every planned address is watched at once, and the technician pulls cables in any order.

Which port was pulled is worked out from which address fell silent and came back. Each silence is a case of its own,
taken through the same phases out and back as in `prove`. Nobody asked for it, so that one silence could be a restart: a
port is proven by a second pull soon after the first (6-settled-details.md 39).
"""

from __future__ import annotations

from dataclasses import replace

from netcheck.proof.events import Action, Key, Press, What
from netcheck.proof.port.observe import observe
from netcheck.proof.port.phase_back import phase_back, put_back
from netcheck.proof.port.phase_in import Steps
from netcheck.proof.port.phase_out import TooSoon, Void, phase_out
from netcheck.proof.port.state import WINDOW, PortState
from netcheck.proof.prober import Prober
from netcheck.proof.probing.address_state import EVER, ProbeKind
from netcheck.proof.probing.scheduler import ARP_EVERY, ECHO_EVERY
from netcheck.proof.result import Phase, Proof, Verdict
from netcheck.proof.run_state import HINT, Cut
from netcheck.proof.targets import Target
from netcheck.proof.verdict.judge import DECIDED_IN, judge, verdict
from netcheck.proof.verdict.observation import Observation
from netcheck.proof.walk.track import KEPT, Track
from netcheck.proof.walk.watch import LARGE, Watch
from netcheck.text import listed

AGAIN_WITHIN = 60.0  # seconds from the return in which the second pull must begin: 6-settled-details.md 39
SECOND_LIMIT, SECOND_ARP = 2e-2, 3  # what the second pull must show: it was no restart; the first showed the rest
NOTICE = 1.2  # seconds without an answer before an address is looked at more closely
MISSES = 2  # so many in a row open a case
DOING = "Pull any cable and leave it out until told; then plug it in again"


class Walker(Prober):
    """Proves ports in the order in which their cables are pulled. Ends when all are settled, after `settings.lasts`
    seconds, or when it is stopped."""

    keys = "a number names the port that is out   q stops"
    _watch: Watch | None = None
    _tracks: tuple[Track, ...] = ()
    _began = 0.0
    _drops = 0  # times that the station's carrier had dropped when it was last looked at

    def press(self, key: Press) -> None:
        """Take a key. Enter says nothing here: nobody was asked to do anything."""
        if key is not Key.ENTER:
            super().press(key)

    @property
    def stopped(self) -> bool:
        """A walk is stopped in the ordinary course of it: what each port came to by then is its proof."""
        return False

    # The run

    def _advance(self) -> None:
        if self._steps is not None:
            try:
                return next(self._steps)
            except StopIteration:
                self._steps = None
        if self._watch is None:
            self._set_out()
        if self.run.drops != self._drops:
            self._start_again()
        for track in self._tracks:
            if track.targets:
                self._look(track)
        lasts = self.settings.lasts
        over = lasts is not None and self.run.now > self._began + lasts
        if over or not any(track.targets for track in self._tracks):
            self._close_all()
            self._over()
        return None

    def _set_out(self) -> None:
        now = self._began = self.run.now
        by_address: dict[int, list[Target]] = {}
        for target in self._waiting:
            barred = target.barred or self.claims.lack.get(target.subnet, "")
            if barred:
                self._put(judge(Observation(replace(target, barred=barred)), self.names))
            else:
                by_address.setdefault(target.address, []).append(target)
        self._waiting = []
        self._drops = self.run.drops
        self._tracks = tuple(Track(self.scheduler.line(a, ts[0].subnet), ts, now) for a, ts in by_address.items())
        self._watch = Watch(self.run, self._tracks)
        self.run.ask(Action.PULL_ANY, "", DOING)

    def _start_again(self) -> None:
        """The station's own cable came out: what was counted before would make a gap between answers of it. Cases that
        are open see to themselves."""
        self._drops = self.run.drops
        for track in self._tracks:
            if track.case is None:
                track.known, track.since = False, self.run.now
        self.run.say(What.WARN, "", "The station's own cable is out: plug it in again")

    def _tend(self) -> None:
        if self._watch is not None:  # until then the station's address is being made sure of
            self._watch.tend()

    def _name(self, number: int) -> None:
        """The operator says which port of an interface was pulled: the one whose cable is out is taken for it."""
        for track in self._tracks:
            target = track.named(number)
            if track.case is not None and target is not None:
                self._take_for(track, track.case, target)

    def _take_for(self, track: Track, case: PortState, target: Target) -> None:
        """Take the pull of this case for a port's. If the first pull was another port's, this one is a first pull too,
        and must show as much: it begins anew, while the cable is still out."""
        if track.first_pull is not None and track.first_pull.target != target:
            if case.phase is not Phase.OUT or case.mac is None:
                return
            track.first_pull = None
            track.since = track.returned
            case = self._open_case(track, case.mac)
        track.expect(target)
        case.target, case.connector = target, "operator"

    # One address

    def _look(self, track: Track) -> None:
        if track.steps is not None:
            return self._go_on(track, track.steps)
        line = track.line
        if line.mac is None or not line.answered:
            return None
        if line.asked != track.looked_at and (not track.known or len(line.last_heard) > track.voices):
            track.looked_at = line.asked
            self._get_to_know(track, line.mac)
        quiet = track.known and track.targets and self.run.now - line.answered[-1] > NOTICE
        since = max(track.returned, track.since) if track.first_pull is not None else track.since
        if quiet and line.fallen(line.mac, since, HINT, MISSES):
            self._open_case(track, line.mac)
        return None

    def _get_to_know(self, track: Track, mac: int) -> None:
        """Count its answers, and settle at once what needs no pull: two owners, a relay, a swap, other hardware."""
        if self._watch is None or not self._watch.controls_asked(track.target.subnet):
            return
        case = self._case(track, mac)
        if track.known and not case.second_owner():
            return  # whoever takes over while its cable is out is told by its silence
        track.known = case.reliable()
        if not track.known:
            return
        self.run.say(What.KNOWN, track.target.subject, f"{track.target.address_text} answers", mac=mac)
        track.voices = len(track.line.last_heard)
        track.arps = case.line.tally(ProbeKind.ARP, case.first, EVER, mac).sent
        case.close_in(self.run.now)
        for target in tuple(track.targets):
            case.target = target
            seen = observe(case)
            if verdict(seen, self.names)[0] in DECIDED_IN:
                self._settle(track, seen)

    def _case(self, track: Track, mac: int) -> PortState:
        case = PortState(self.run, track.target)
        case.began, case.mac = track.since, mac
        case.minds_bursts = False  # luck would have to come twice; --once takes that chance, and says so
        case.first = case.answer_of(mac, track.since) or self.run.now
        case.negatives = [] if self._watch is None else self._watch.controls[track.target.subnet]
        case.request = max(track.since, self.run.now - WINDOW)  # all probes since were looked at for a silence
        return case

    def _open_case(self, track: Track, mac: int) -> PortState:
        if self.run.now > track.returned + AGAIN_WITHIN:
            track.first_pull = None
        track.expect(track.first_pull.target if track.first_pull is not None else min(track.targets, key=_ordinal))
        case = track.case = self.case = self._case(track, mac)
        if track.first_pull is not None:
            case.first = case.request = max(track.returned, track.since)
            case.limit, case.least_out = SECOND_LIMIT, SECOND_ARP
        case.open_out("inferred", case.last_sign() + 1e-6)
        self.scheduler.want(track.line, self.run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
        case.say(What.SILENT, f"{track.target.subject} is silent: leave its cable out{track.question}")
        track.steps = self._out_and_back(case)
        return case

    def _out_and_back(self, case: PortState) -> Steps:
        yield from phase_out(case)
        decided = self._decided(replace(observe(case), luck_limit=case.limit))
        yield from put_back(case) if decided else phase_back(case)

    def _go_on(self, track: Track, steps: Steps) -> None:
        case = track.case
        assert case is not None
        try:
            return next(steps)
        except StopIteration:
            self._judge_case(track, case)
        except TooSoon:
            self._too_soon(track, case)
        except (Void, Cut) as why:
            self._drop_case(track, self.run.now)
            case.warn(f"This does not count: {why}")
        return None

    def _too_soon(self, track: Track, case: PortState) -> None:
        """It answers again before its silence meant anything, by itself or together with others. Who else was heard
        in it was heard with the cable out all the same."""
        case.fallen = tuple(self.run.word(line) for line in case.lost)
        case.close()
        cut = "" if case.fallen else "its cable was put back too soon"
        seen = observe(case)
        others = tuple(owner for owner in seen.owners if owner.phase is not Phase.OUT or owner.mac != case.mac)
        seen = replace(seen, cut=cut, owners=others)
        self._drop_case(track, self.run.now)
        if verdict(seen, self.names)[0] is not Verdict.UNSETTLED:
            return self._settle(track, seen)
        track.last[case.target.subject] = judge(seen, self.names)
        together = f"it fell silent together with {listed(list(case.fallen))}; pull one cable at a time"
        too_soon = "it answers again too soon; leave the cable out until told"
        return case.warn(f"{case.target.subject}: {together if case.fallen else too_soon}")

    def _drop_case(self, track: Track, since: float) -> None:
        """Go back to watching; what was counted before stays, where nothing spoilt it."""
        track.steps = track.case = self.case = None
        track.known, track.since = track.known and since == track.since, since
        track.line.keep(KEPT)
        track.line.urgent = False
        self.run.ask(Action.PULL_ANY, "", DOING)

    # Verdicts

    def _seen(self, track: Track, case: PortState) -> Observation:
        """What a case showed. A second pull that came back has shown that the first was no restart; the figures are
        those of the first, and whoever was heard in either was heard."""
        seen = observe(case)
        if seen.connector == "operator":
            seen = replace(seen, cable="operator")
        first = track.first_pull
        if first is not None and seen.came_back:
            if seen.connector == "operator":
                first = replace(first, cable=seen.cable, connector=seen.connector)
            return replace(first, owners=(*first.owners, *seen.owners), fallen=seen.fallen, controls=seen.controls)
        in_window = seen.phase(Phase.IN).arp.sent
        return replace(seen, earlier=max(0, track.arps - in_window) if len(self._tracks) > LARGE else 0)

    def _judge_case(self, track: Track, case: PortState) -> None:
        case.close()
        seen = self._seen(track, case)
        word = verdict(seen, self.names)[0]
        if word is Verdict.STILL_ANSWERING:  # nobody was asked to leave it out: it went in at the very end
            self._too_soon(track, case)
        elif word is Verdict.PROVEN and track.first_pull is None and not self.settings.once:
            track.last[case.target.subject] = judge(replace(seen, pulled_once=True), self.names)
            track.first_pull, track.returned = seen, case.returned
            self._drop_case(track, track.since)
            case.say(What.SEEN, f"{case.target.subject} seen: pull its cable once more")
        elif word in (Verdict.UNSETTLED, Verdict.NOT_BACK):
            proof = track.last[case.target.subject] = judge(seen, self.names)
            track.first_pull = None
            self._drop_case(track, self.run.now)
            case.warn(f"{word}: {proof.why}")
        else:
            self._drop_case(track, self.run.now)
            self._settle(track, replace(seen, once=self.settings.once))

    def _settle(self, track: Track, seen: Observation) -> None:
        self._put(judge(seen, self.names))
        track.targets.remove(seen.target)
        track.first_pull = None

    def _close_all(self, why: str = "") -> None:
        for track in self._tracks:
            for target in track.targets:
                self._put(self._last_word(track, target, why))
            track.targets = []

    def _last_word(self, track: Track, target: Target, why: str) -> Proof:
        """What a port comes to that is still open at the end."""
        case, last = track.case, track.last.get(target.subject)
        if case is not None and case.target == target:
            case.close()
            cut = judge(replace(self._seen(track, case), cut=why or "the walk ended"), self.names)
            return last if last is not None and cut.verdict is Verdict.UNSETTLED else cut
        if last is not None:
            return last
        if track.line.mac is None and self.run.now - track.since >= self.settings.patience:
            case = PortState(self.run, target)
            case.began = track.since
            case.close()
            return judge(observe(case), self.names)
        return judge(Observation(replace(target, barred=why or "its cable was never pulled")), self.names)

    def _finish(self) -> None:
        self._close_all(self._stop)
        super()._finish()


def _ordinal(target: Target) -> int:
    return target.ordinal
