"""The walk: every planned address is watched at once, and the technician pulls cables in any order.

Which port was pulled is worked out from which address fell silent and came back. Each silence is a case of its own,
taken through the same phases out and back as in `prove`. Nobody asked for it, so that one silence could be a restart: a
port is proven by a second pull soon after the first (6-settled-details.md 39).
"""

from __future__ import annotations

from dataclasses import replace

from netcheck.proof.asking import ARP_EVERY, ECHO_EVERY
from netcheck.proof.bench import ECHO_TRIES, HINT, Cut
from netcheck.proof.case import WINDOW, Case
from netcheck.proof.events import What
from netcheck.proof.judge import DECIDED_IN, judge, verdict
from netcheck.proof.lines import EVER, Kind, Line
from netcheck.proof.observed import Observed
from netcheck.proof.observing import observed
from netcheck.proof.phases import CONTROL_ASKS, CONTROL_WAIT, Steps
from netcheck.proof.prober import Prober
from netcheck.proof.result import Phase, Proof, Verdict
from netcheck.proof.returning import phase_back, put_back
from netcheck.proof.silence import TooSoon, Void, phase_out
from netcheck.proof.targets import Target
from netcheck.text import listed

AGAIN_WITHIN = 60.0  # seconds from the return in which the second pull must begin: 6-settled-details.md 39
REFRESH = 18.0  # broadcast requests a second that the watch may use in all, of the 20 of the pace
REFRESH_EACH = ARP_EVERY  # seconds between those to one address, at the least
LARGE = 200  # addresses: above, broadcast requests to all come less often than five in the minute that counts
SECOND_LIMIT, SECOND_ARP = 2e-2, 3  # what the second pull must show: it was no restart; the first showed the rest
KEPT = 400  # probes kept of an address: five minutes at the pace of the watch, in which it gets to be known
NOTICE = 1.2  # seconds without an answer before an address is looked at more closely
MISSES = 2  # so many in a row open a case
DOING = "Pull any cable and leave it out until told; then plug it in again"


class Track:
    """One address on the walk: its interface's ports in order, what is known, and the case that is open, if one is."""

    def __init__(self, line: Line, targets: list[Target], since: float) -> None:
        """`since` is when answers begin to count."""
        self.line, self.targets, self.since = line, targets, since
        line.keep(KEPT)
        self.known = False  # it has answered often enough that a silence means something
        self.looked_at = 0  # probes that had been sent when it was last looked at
        self.voices = 1  # MACs heard for the address so far
        self.case: Case | None = None
        self.steps: Steps | None = None
        self.arps = 0  # broadcast requests that were answered since then, beyond the probes that are kept
        self.first_pull: Observed | None = None  # what the first pull showed
        self.returned = 0.0  # and when it was over
        self.last: Proof | None = None  # what the newest case came to, where it left the port open

    @property
    def target(self) -> Target:
        """The port whose pull is expected next."""
        return self.targets[0]


class Walker(Prober):
    """Proves ports in the order in which their cables are pulled. Ends when all are settled, after `settings.lasts`
    seconds, or when it is stopped."""

    keys = "a number names the port that is out   q stops"
    _tracks: list[Track] | None = None
    _controls: dict[str, list[Line]]
    _began = 0.0

    # The run

    def _advance(self) -> None:
        if self._steps is not None:
            try:
                return next(self._steps)
            except StopIteration:
                self._steps = None
        if self._tracks is None:
            self._set_out()
        assert self._tracks is not None
        for track in self._tracks:
            if track.targets:
                self._look(track)
        lasts = self.settings.lasts
        over = lasts is not None and self.bench.now > self._began + lasts
        if over or not any(track.targets for track in self._tracks):
            self._close_all()
            self._over()
        return None

    def _set_out(self) -> None:
        now = self._began = self.bench.now
        by_address: dict[int, list[Target]] = {}
        for target in self._waiting:
            barred = target.barred or self.claims.lack.get(target.subnet, "")
            if barred:
                self._put(judge(Observed(replace(target, barred=barred)), self.names))
            else:
                by_address.setdefault(target.address, []).append(target)
        self._waiting = []
        self._tracks = [Track(self.asker.line(a, ts[0].subnet), ts, now) for a, ts in by_address.items()]
        self._controls = {net.name: [self.asker.line(a, net.name) for a in net.spare] for net in self.aim.nets}
        self.bench.say(What.DO, "", DOING)

    def _tend(self) -> None:
        """Watch every address: a unicast echo a second, and broadcast requests as often as all together may be asked,
        so that a second owner has its chance. On a large walk they end once the address is known, since too few in a
        minute say nothing about silence. The addresses that nobody should own are asked at the start."""
        tracks = self._tracks
        if tracks is None:  # the station's address is still being made sure of
            return
        steady = None if len(tracks) > LARGE else max(REFRESH_EACH, len(tracks) / REFRESH)
        unknown = sum(not track.known for track in tracks)
        missing = any(track.line.mac is None for track in tracks)  # half the pace is theirs
        learning = max(REFRESH_EACH, unknown / (REFRESH / 2 if missing else REFRESH))
        echo = self.bench.watch_every
        for track in tracks:
            line = track.line
            if line.urgent:
                continue
            lost = line.mac is None or line.missed_echoes >= ECHO_TRIES
            arp = REFRESH_EACH if lost else steady if track.known else learning
            self._want(line, arp, None if lost else echo)
        for line in (line for lines in self._controls.values() for line in lines):
            line.most_wait = CONTROL_WAIT
            self._want(line, ARP_EVERY if line.asked < CONTROL_ASKS else None, None)

    def _want(self, line: Line, arp: float | None, echo: float | None) -> None:
        if (line.every[Kind.ARP], line.every[Kind.ECHO]) != (arp, echo):
            self.asker.want(line, self.bench.now, arp=arp, echo=echo)

    def _name(self, number: int) -> None:
        """The operator says which port of an interface was pulled: the one whose cable is out is taken for it."""
        for track in self._tracks or ():
            ports = [target.port for target in track.targets]
            if track.case is not None and track.steps is not None and str(number) in ports:
                chosen = track.targets.pop(ports.index(str(number)))
                track.targets.insert(0, chosen)
                track.case.target = chosen
                self.bench.enters += 1

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
        quiet = track.known and track.targets and self.bench.now - line.answered[-1] > NOTICE
        since = track.returned if track.first_pull is not None else track.since
        if quiet and line.fallen(line.mac, since, HINT, MISSES):
            self._open_case(track, line.mac)
        return None

    def _get_to_know(self, track: Track, mac: int) -> None:
        """Count its answers, and settle at once what needs no pull: two owners, a relay, a swap, other hardware."""
        if any(line.asked < CONTROL_ASKS for line in self._controls[track.target.subnet]) and self.asker.hears_all:
            return
        case = self._case(track, mac)
        track.known = case.reliable()
        if not track.known:
            return
        self.bench.say(What.KNOWN, track.target.subject, f"{track.target.address_text} answers", mac=mac)
        track.voices = len(track.line.last_heard)
        track.arps = case.line.tally(Kind.ARP, case.first, EVER, mac).sent
        case.close_in(self.bench.now)
        seen = observed(case)
        if verdict(seen, self.names)[0] in DECIDED_IN:
            self._settle(track, seen)

    def _case(self, track: Track, mac: int) -> Case:
        case = Case(self.bench, track.target)
        case.began, case.mac = track.since, mac
        case.first = case.answer_of(mac, track.since) or self.bench.now
        case.negatives = self._controls[track.target.subnet]
        case.request = max(track.since, self.bench.now - WINDOW)  # all probes since were looked at for a silence
        return case

    def _open_case(self, track: Track, mac: int) -> None:
        if self.bench.now > track.returned + AGAIN_WITHIN:
            track.first_pull = None
        case = track.case = self.case = self._case(track, mac)
        if track.first_pull is not None:
            case.first = case.request = track.returned
            case.limit, case.least_out = SECOND_LIMIT, SECOND_ARP
        case.open_out("inferred", case.last_sign() + 1e-6)
        self.asker.want(track.line, self.bench.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
        ports = " or ".join(target.port for target in track.targets)
        which = f" (press {ports} to say which port it is)" if len(track.targets) > 1 else ""
        case.say(What.SILENT, f"{track.target.subject} is silent: leave its cable out{which}")
        track.steps = self._out_and_back(case)

    def _out_and_back(self, case: Case) -> Steps:
        yield from phase_out(case)
        decided = self._decided(replace(observed(case), luck_limit=case.limit))
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
            self._drop_case(track, self.bench.now)
            case.warn(f"This does not count: {why}")
        return None

    def _too_soon(self, track: Track, case: Case) -> None:
        """It answers again before its silence meant anything, by itself or together with others."""
        case.fallen = tuple(self.bench.word(line) for line in case.lost)
        case.close()
        case.ended = case.quiet_from  # the answer that ended it belongs to no phase
        cut = "" if case.fallen else "its cable was put back too soon"
        track.last = judge(replace(observed(case), cut=cut), self.names)
        together = f"it fell silent together with {listed(list(case.fallen))}; pull one cable at a time"
        too_soon = "it answers again too soon; leave the cable out until told"
        self._drop_case(track, track.since)
        case.warn(f"{track.target.subject}: {together if case.fallen else too_soon}")

    def _drop_case(self, track: Track, since: float) -> None:
        """Go back to watching; what was counted before stays, where nothing spoilt it."""
        track.steps = track.case = self.case = None
        track.known, track.since = track.known and since == track.since, since
        track.line.keep(KEPT)
        track.line.urgent = False
        self.bench.say(What.DO, "", DOING)

    # Verdicts

    def _seen(self, track: Track, case: Case) -> Observed:
        """What a case showed. A second pull that came back has shown that the first was no restart; the figures are
        those of the first, and whoever was heard in either was heard."""
        seen = observed(case)
        first = track.first_pull
        if first is not None and seen.came_back:
            return replace(first, owners=(*first.owners, *seen.owners), fallen=seen.fallen, controls=seen.controls)
        in_window = seen.phase(Phase.IN).arp.sent
        return replace(seen, earlier=max(0, track.arps - in_window) if len(self._tracks or ()) > LARGE else 0)

    def _judge_case(self, track: Track, case: Case) -> None:
        case.close()
        seen = self._seen(track, case)
        word = verdict(seen, self.names)[0]
        if word is Verdict.PROVEN and track.first_pull is None and not self.settings.once:
            track.last, track.first_pull = judge(replace(seen, pulled_once=True), self.names), seen
            track.returned = case.returned
            self._drop_case(track, track.since)
            case.say(What.SEEN, f"{track.target.subject} seen: pull its cable once more")
        elif word in (Verdict.UNSETTLED, Verdict.NOT_BACK):
            track.last, track.first_pull = judge(seen, self.names), None
            self._drop_case(track, self.bench.now)
            case.warn(f"{word}: {track.last.why}")
        else:
            self._drop_case(track, self.bench.now)
            self._settle(track, replace(seen, once=self.settings.once))

    def _settle(self, track: Track, seen: Observed) -> None:
        self._put(judge(seen, self.names))
        track.targets = track.targets[1:]
        track.last = track.first_pull = None

    def _close_all(self, why: str = "") -> None:
        for track in self._tracks or ():
            for number, target in enumerate(track.targets):
                self._put(self._last_word(track, target, number, why))
            track.targets = []

    def _last_word(self, track: Track, target: Target, number: int, why: str) -> Proof:
        """What a port comes to that is still open at the end."""
        if number == 0 and track.last is not None:
            return track.last
        if track.line.mac is None and self.bench.now - track.since >= self.settings.patience:
            case = Case(self.bench, target)
            case.began = track.since
            case.close()
            return judge(observed(case), self.names)
        return judge(Observed(replace(target, barred=why or "its cable was never pulled")), self.names)

    def _finish(self) -> None:
        self._close_all(self._stop)
        super()._finish()
