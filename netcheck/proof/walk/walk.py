"""The walk: every planned address is watched at once, and the technician pulls cables in any order.

The address that falls silent and answers again shows which port was pulled. Nobody asked for this silence, so it could
be a restart, and restarts come in clusters. It makes the port `seen`. After a random delay the walk asks for a second
pull of the same port. Only a silence that begins within some seconds of this request proves the port, since a device
cannot know the moment. Each silence goes through the same phases out and back as in `prove`.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import replace

from netcheck.proof.events import Action, Chosen, Press, What
from netcheck.proof.port.answers import GAP
from netcheck.proof.port.controls import FellTogether, fallen_together
from netcheck.proof.port.observe import observe
from netcheck.proof.port.phase_back import COMPARED, phase_back, put_back
from netcheck.proof.port.phase_out import Disturbed, TooSoon, phase_out, say_silent, too_soon
from netcheck.proof.port.pull import Pull
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, AddressState, ProbeKind, Stage
from netcheck.proof.probing.station_address import StationAddresses
from netcheck.proof.result import Phase, Proof, Verdict
from netcheck.proof.run_state import HINT, Cut, RunState, Void
from netcheck.proof.targets import Target
from netcheck.proof.verdict.judge import DECIDED_IN, judge, verdict
from netcheck.proof.verdict.observation import SAME_TIME, Observation
from netcheck.proof.view import CABLE_OUT, OF_ACTION, PortView, Step, port_view
from netcheck.proof.walk.requests import NOT_YET, AnnouncedOrder, SecondPulls, ask_often, is_decided
from netcheck.proof.walk.track import KEPT, LARGE, SHOWN, Track, Watch
from netcheck.text import listed

NOTICE = 1.2  # seconds without an answer after which the misses of an address are counted
MISSES = 2  # misses in a row after which a silence may be a pull
DOING = "Pull any cable and leave it out until told; then plug it in again"
Steps = Generator[None, None, None]


class Walk:
    """Proves ports in the order of the pulls, or in the plan's order with the option `in_order`.

    It ends when all ports are settled, after `lasts` seconds, or when it is stopped.
    """

    keys = "number of a row: its cable is out   m remark   q stops"
    walks = cut_is_final = True
    following: Target | None = None  # the technician chooses the order

    def __init__(self, run: RunState, addresses: StationAddresses) -> None:
        """Start without watching any address."""
        run.options = replace(run.options, hands_free=True)  # nobody confirms a movement with a key
        self.run, self.options = run, run.options
        if self.options.in_order:
            self.keys = f"n next   {self.keys}"
        self.port: PortState | None = None
        self._waiting = list(run.scope.asked)
        self._watch: Watch | None = None
        self._tracks: tuple[Track, ...] = ()
        self._began = 0.0
        self._drops = self._disturbances = 0  # counts of the run at the last check of the station
        # Returns to compare: when, the time of the return, and the addresses that fell silent together with the track.
        self._compare: list[tuple[float, float, Track, list[AddressState]]] = []
        self._second = SecondPulls(run)
        self._order = AnnouncedOrder(run)

    def advance(self) -> bool:
        """Take one step with every address; return whether the walk is over."""
        if self._watch is None:
            self._begin()
        self._check_station()
        self._compare_returns()
        for track in self._tracks:
            if track.targets:
                self._step(track)
        self._announce()
        lasts = self.options.lasts
        over = lasts is not None and self.run.now > self._began + lasts
        if over or not any(track.targets for track in self._tracks):
            self._close_all("")
            return True
        return False

    def tend(self) -> None:
        """Set the probe rates, so that every address is asked often enough for its silence to be evidence."""
        if self._watch is not None:
            self._watch.tend()

    def press(self, key: Press) -> None:
        """Handle the number of a row whose cable is out, or the choice of the next port; ignore other keys."""
        if isinstance(key, Chosen):
            return self._announce_first(key)
        if not isinstance(key, int):
            return None
        for track in self._tracks:
            target = track.named(key)
            if track.port is not None and target is not None:
                return self._assign(track, track.port, target)
        return self.run.warn("", f"Row {key}: this number names no cable that is out now")

    def _announce_first(self, chosen: Chosen) -> None:
        if not self.options.in_order:
            return self.run.warn("", "On a walk any cable may be pulled next; --in-order announces the ports")
        ready = [target for track in self._tracks for target in track.targets]
        by_subject = {target.subject: target for target in ready}
        meant = next((by_subject[subject] for subject in chosen.subjects if subject in by_subject), None)
        if meant is None:
            return self.run.warn("", "No port that is still open has this name")
        return self._order.put_first(meant, self._tracks)

    def views(self) -> list[PortView]:
        """Return the present state of every open port."""
        return [self._view(track, target) for track in self._tracks for target in track.targets]

    def _view(self, track: Track, target: Target) -> PortView:
        """Return the state of a port: its pull is in progress, it is announced, or it is watched like the others."""
        entry, port = track.entry, track.port
        if port is not None and port.target == target:
            view = port_view(port)
            if view.step is Step.OUT:
                said = track.question if port.connector == "assumed" else f" (you pressed {target.row})"
                return replace(view, text=said)
            if view.step not in (*CABLE_OUT, Step.PULL) and track.silent(self.run.now):
                return self._uncounted_view(track, target, NOT_YET)
            return view
        if self._order.target == target and (request := self.run.requests.get(target.subject)) is not None:
            return PortView(subject=target.subject, step=OF_ACTION[request.action], text=request.text, mac=entry.mac)
        if target is track.target and track.shown:
            return self._uncounted_view(track, target, self._why_uncounted(track))
        return PortView(subject=target.subject, step=Step.ANSWERS if track.known else Step.LISTEN, mac=entry.mac)

    def _uncounted_view(self, track: Track, target: Target, why: str) -> PortView:
        """Return the view of a port that is silent when its silence does not count."""
        silent = self.run.now - track.last
        return PortView(subject=target.subject, step=Step.OUT, text=why, silent=silent, mac=track.entry.mac)

    def finish(self, why: str) -> None:
        """End at once: judge every open port by what is known."""
        for target in self._waiting:
            self.run.put(Observation(target=target, cut=why))
        self._waiting = []
        self._close_all(why)

    # The station

    def _begin(self) -> None:
        """Begin to watch every address; give ports that cannot be tested their verdict."""
        run = self.run
        now = self._began = run.now
        by_address: dict[int, list[Target]] = {}
        for target in self._waiting:
            barred = target.barred or run.lack.get(target.subnet, "")
            if barred:
                run.put(Observation(target=replace(target, barred=barred)))
            else:
                by_address.setdefault(target.address, []).append(target)
        self._waiting = []
        self._drops, self._disturbances = run.drops, run.disturbances
        self._tracks = tuple(Track(run.scheduler.entry(a, ts[0].subnet), ts, now) for a, ts in by_address.items())
        self._watch, self._second.tracks = Watch(run, self._tracks), self._tracks
        self._note_missing_macs()
        self._ask_for_any_pull()

    def _note_missing_macs(self) -> None:
        targets = [target for track in self._tracks for target in track.targets]
        if not self.options.in_order and (text := without_macs(targets)):
            self.run.say(What.NOTE, "", text)

    def _ask_for_any_pull(self) -> None:
        if not self.options.in_order:
            self.run.ask(Action.PULL_ANY, "", DOING)

    def _check_station(self) -> None:
        """Discard the answers so far if this computer did not run or its own cable was out.

        Such a time would look like a silence of every address. A pull in progress checks this itself.
        """
        run = self.run
        if run.drops == self._drops and run.disturbances == self._disturbances:
            return
        if run.drops != self._drops:
            run.warn("", "This computer's own cable is out: plug it in again", holds=True)
        self._drops, self._disturbances = run.drops, run.disturbances
        for track in self._tracks:
            if track.port is None:
                track.forget(run.now)

    # The announced order

    def _announce(self) -> None:
        """Go on with the announced order: settle the port if another one was pulled instead, or ask for the next."""
        if not self.options.in_order or self._second.asking is not None:
            return None
        for track in self._tracks:
            if self._order.is_for(track) and track.entry.mac is not None and (fell := self._order.instead(track)):
                self._order.drop()
                port = self._port(track, track.entry.mac)
                port.close_in(self.run.now)
                port.stayed, port.instead = True, fell
                return self._settle(track, observe(port))
        if not any(self._order.is_for(track) for track in self._tracks):
            self._order.drop()
            self._order.ask_next(self._tracks)
        return None

    # One address

    def _step(self, track: Track) -> None:
        """Take one step with an address: go on with its pull, check its answers, or begin to examine a silence."""
        if track.steps is not None:
            return self._go_on(track, track.steps)
        entry = track.entry
        if entry.mac is None or not entry.answered:
            return None
        self._end_silence(track)
        if entry.asked != track.checked_at and (not track.known or len(entry.last_heard) > track.macs):
            track.checked_at = entry.asked
            self._check_answers(track, entry.mac)
        awaited = not self.options.in_order or self._order.is_for(track)
        silent_for = self.run.now - track.last
        least = MISSES if silent_for < SHOWN else 1
        ready = awaited and track.known and track.targets and not track.still_out
        if ready and silent_for > NOTICE and entry.fallen(entry.mac, track.since, HINT, least):
            return self._open(track, entry.mac)
        if not track.shown and track.silent(self.run.now):
            track.shown = True
            text = f"{track.target.subject} is out: {self._why_uncounted(track)}"
            self.run.say(What.SILENT, track.target.subject, text)
        return None

    def _why_uncounted(self, track: Track) -> str:
        """Return why a silence does not count, and what to do."""
        if track.still_out:
            return "this does not count; plug it in again"
        if not track.known:
            return "it had not answered often enough yet; plug it in again"
        return "it was not asked for; plug it in again"

    def _end_silence(self, track: Track) -> None:
        """End a silence that does not count, if the address answers again."""
        back = track.end_silence()
        if back is not None and track.together:
            self._compare.append((self.run.now + COMPARED, back, track, track.together))
            track.together = []
        if track.shown and not track.silent(self.run.now):
            track.shown = False
            self.run.say(What.RETURNED, track.target.subject, f"{track.target.address_text} answers again")

    def _compare_returns(self) -> None:
        """Record which of the addresses that fell silent together also returned together."""
        for one in [one for one in self._compare if self.run.now > one[0]]:
            _, back, track, others = one
            self._compare.remove(one)
            firsts = (
                (entry, min((at for at in entry.answered if at > back - COMPARED), default=EVER)) for entry in others
            )
            track.chained |= {entry for entry, at in firsts if abs(at - back) <= SAME_TIME}

    def _check_answers(self, track: Track, mac: int) -> None:
        """Check whether the address has answered often enough; if so, settle the verdicts that need no pull.

        These are `contested`, `relayed`, `swapped` and `wrong-hardware`.
        """
        if self._watch is None or not self._watch.negatives_asked(track.target.subnet):
            return
        port = self._port(track, mac)
        if track.known and not port.second_owner():
            return  # a MAC that takes over while the cable is out is found in the silence
        track.known = port.reliable()
        if not track.known:
            return
        self.run.say(What.KNOWN, track.target.subject, f"{track.target.address_text} answers", mac=mac)
        track.macs = len(track.entry.last_heard)
        track.arps = track.entry.tally(ProbeKind.ARP, port.first, EVER, mac).sent
        port.close_in(self.run.now)
        for target in tuple(track.targets):
            port.target = target
            seen = observe(port)
            if verdict(seen, self.run.names)[0] in DECIDED_IN:
                self._settle(track, seen)

    def _port(self, track: Track, mac: int) -> PortState:
        port = PortState(self.run, track.target, keep=KEPT)
        port.began, port.mac = track.since, mac
        port.requests_at_least = 1
        port.first = port.answer_of(mac, track.since) or self.run.now
        port.away, port.chained = [list(span) for span in track.away], set(track.chained)
        port.negatives = [] if self._watch is None else self._watch.negatives[track.target.subnet]
        return port

    def _open(self, track: Track, mac: int) -> None:
        """Begin to examine a silence, which may be a pull."""
        if not self._order.is_for(track):
            track.expect(min(track.targets, key=_ordinal))
        port = track.port = self.port = self._port(track, mac)
        port.unrequested = track.unrequested
        port.pull = Pull(None, track.asked_before)
        port.open_out("inferred")
        ask_often(port)
        track.shown = False
        say_silent(port, track.question)
        track.steps = self._prove(track, port)

    def _prove(self, track: Track, port: PortState) -> Steps:
        """Take a silence that nobody asked for through its phases, then ask for the pulls that prove the port."""
        once = self.options.once
        yield from phase_out(port)
        if is_decided(port):
            return (yield from put_back(port))
        if not (yield from phase_back(port, last=once)):
            return None
        if not once:
            track.unrequested += 1
            port.set_aside()
            port.say(What.SEEN, f"{port.target.subject} seen. Wait for the second request")
            while port.requests_answered < port.requests_needed and (yield from self._second.take(track, port)):
                pass
        return None

    def _assign(self, track: Track, port: PortState, target: Target) -> None:
        """Assign the pull in progress to a port; after a pull of another port it is the first pull of this port."""
        if port.pull is None or not port.pull.out or port.pull.returned < EVER:
            return
        if port.target != target and port.was_seen:
            if port.phase is not Phase.OUT or port.mac is None:
                return
            self._drop(track)
            track.forget(port.back_from)
            track.known = True
            self._open(track, port.mac)
            assert track.port is not None
            port = track.port
        track.expect(target)
        port.target, port.connector = target, "operator"

    def _go_on(self, track: Track, steps: Steps) -> None:
        port = track.port
        assert port is not None
        try:
            return next(steps)
        except StopIteration:
            self._judge(track, port)
        except TooSoon:
            self._too_soon(track, port)
        except Cut as cut:
            if cut.void:
                self._does_not_count(track, port, cut)
            else:
                port.cut = cut.why
                self._judge(track, port)
        except Void as void:
            self._does_not_count(track, port, void)
        return None

    def _does_not_count(self, track: Track, port: PortState, void: Void | Cut) -> None:
        """Set aside a silence that does not count; unless the port is proven later, its verdict gives the reason."""
        cut = "" if isinstance(void, FellTogether) else str(void)
        if isinstance(void, FellTogether):
            port.together = void.entries
            port.fallen = tuple(self.run.label(entry) for entry in void.entries)
        port.close()
        self._set_aside(track, replace(self._seen(track, port), cut=cut, void=bool(cut)))
        if isinstance(void, Disturbed):
            track.forget(self.run.now)
        port.warn(f"This does not count: {void}")

    def _too_soon(self, track: Track, port: PortState) -> None:
        """Handle an answer that comes before the silence is evidence.

        Other MACs that were heard during the silence count as heard with the cable out.
        """
        assert port.pull is not None
        track.unrequested += port.pull.requested is None and self.run.now - port.pull.silent_from > GAP
        port.together = [entry for entry in fallen_together(port) if entry in port.pull.lost]
        port.fallen = tuple(map(self.run.label, port.together))
        port.close()
        cut = "" if port.fallen else "its cable was put back too soon"
        self._set_aside(track, replace(self._seen(track, port), cut=cut))
        together = f"it fell silent together with {listed(list(port.fallen))}; pull one cable at a time"
        return port.warn(f"{port.target.subject}: {together if port.fallen else f'it {too_soon(port.pull)}'}")

    def _set_aside(self, track: Track, seen: Observation) -> None:
        """End a silence that does not count. Its observation may still decide the port, for example as `impostor`."""
        self._drop(track)
        if verdict(seen, self.run.names)[0] is Verdict.UNSETTLED:
            track.proofs[seen.target.subject] = judge(seen, self.run.names)
        elif seen.target in track.targets:
            self._settle(track, seen)

    def _drop(self, track: Track) -> None:
        """Return to the watch after a pull; keep what was counted with the cable in."""
        if self._second.asking is track:
            self._second.asking = None
        if self._order.is_for(track):
            self._order.drop()
        if track.port is not None:
            self.run.drop_request(track.port.target.subject)
            track.port.ask_no_more_anonymously()
            track.port.set_stage(Stage.IN)
            for entry in track.port.beyond:
                self.run.scheduler.ask(entry, self.run.now)
            track.put_aside(track.port.away, track.port.together)
        if self.port is track.port:
            self.port = None
        track.steps = track.port = None
        track.entry.keep(KEPT)
        track.entry.urgent = False
        self._ask_for_any_pull()

    # Verdicts

    def _seen(self, track: Track, port: PortState) -> Observation:
        seen = observe(port)
        if seen.connector == "operator":
            seen = replace(seen, cable="operator" if seen.cable is not None else None)
        in_window = seen.phase(Phase.IN).arp.sent
        return replace(
            seen,
            once=self.options.once,
            connector_unknown=not self.options.in_order,
            earlier=max(0, track.arps - in_window) if len(self._tracks) > LARGE else 0,
        )

    def _judge(self, track: Track, port: PortState) -> None:
        port.close()
        seen = self._seen(track, port)
        proof = judge(seen, self.run.names)
        self._drop(track)
        if proof.verdict in (Verdict.UNSETTLED, Verdict.NOT_BACK):
            track.proofs[port.target.subject] = proof
            port.warn(f"{proof.verdict}: {proof.why}")
        else:
            track.forget(self.run.now)  # its cable may be moved to another connector now
            self._settle(track, seen)

    def _settle(self, track: Track, seen: Observation) -> None:
        self.run.put(seen)
        track.targets.remove(seen.target)

    def _close_all(self, why: str) -> None:
        for track in self._tracks:
            for target in track.targets:
                proof = self._final_proof(track, target, why)
                self.run.put_proof(proof)
            track.targets = []

    def _final_proof(self, track: Track, target: Target, why: str) -> Proof:
        """Return the proof of a port that is still open at the end of the walk."""
        port, last, names = track.port, track.proofs.get(target.subject), self.run.names
        if port is not None and port.target == target:
            port.close()
            seen = self._seen(track, port)
            if port.pull is not None and port.pull.out and not port.pull.closed:
                seen = replace(seen, cut=why or "the walk ended")
            cut = judge(seen, names)
            return last if last is not None and cut.verdict is Verdict.UNSETTLED else cut
        if last is not None:
            return last
        if track.entry.mac is None and self.run.now - track.since >= self.options.patience:
            port = PortState(self.run, target, keep=KEPT)
            port.began = track.since
            port.close()
            return judge(observe(port), names)
        return judge(Observation(target=replace(target, barred=why or "its cable was never pulled")), names)


def without_macs(targets: Sequence[Target]) -> str:
    """Return how many ports have no planned MAC and what they need; empty if all have one."""
    without = sum(target.mac is None for target in targets if not target.barred)
    if not without:
        return ""
    return (
        f"The plan has no MAC for {without} of {len(targets)} ports. Each of these is proven only if the number of its "
        "row is pressed while its cable is out, or with --in-order"
    )


def _ordinal(target: Target) -> int:
    return target.ordinal
