"""Connects a run to its operator: it reads keys and writes the screen or plain lines, sounds, speech and the record."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import FrameType
from typing import TextIO

from rich.console import Console, Group
from rich.live import Live

from netcheck.addr import mac_text
from netcheck.app.keyboard import Keyboard, KeySource, SingleKeys
from netcheck.app.sounds import Speaker, sounds_for, speech_command, speech_programs
from netcheck.field.modbus_identity import Identifier
from netcheck.proof.events import Chosen, Event, LineKey, Press, TypedLine, What
from netcheck.proof.prober import Prober
from netcheck.proof.result import Verdict
from netcheck.proof.targets import nearest
from netcheck.proof.targets import typed as typed_ports
from netcheck.proof.view import RunView
from netcheck.record.write import Recorder
from netcheck.report.live.draw import to_lines
from netcheck.report.live.screen import Board, Screen, screen_of
from netcheck.report.live.signals import signals_of
from netcheck.report.text.proofs import SIMULATED, marked, verdict_width, without_figures
from netcheck.text import for_terminal, listed, safe
from netcheck.wire.link import Link

REDRAW = 0.2  # seconds
SLOW = 10  # drawing takes at most a tenth of the time, so that a slow console does not delay probing
# Kinds of event that the record keeps; a proof has its own line.
KEPT = (What.DO, What.SILENT, What.RETURNED, What.SEEN, What.WARN, What.VERDICT, What.NOTE, What.NEXT)
NARROWEST_PORT, WIDEST_PORT = 28, 48  # columns of a port in the list of verdicts


class Show:
    """Shows a run: a live screen on a terminal that can place text, else one line for each event.

    The driver calls `refresh` at every turn, with the time and a function that returns the view of the run.
    """

    def __init__(
        self,
        board: Board,
        stream: TextIO,
        *,
        quiet: bool,
        terse: bool,
        simulated: bool = False,
        speaker: Speaker | None = None,
    ) -> None:
        self.simulated = simulated
        if simulated:
            board.keys = f"{SIMULATED}   {board.keys}"
        self.board, self.stream, self.terse, self.speaker = board, stream, terse, speaker
        self.console = Console(file=stream, highlight=False)
        self.ascii_only = is_ascii_only(stream, os.environ)
        self.sounds = sounds_for(stream) if self.console.is_terminal and not quiet and not terse else None
        longest = max((len(safe(port.subject)) for port in board.ports), default=0)
        self._port_width = min(max(longest, NARROWEST_PORT), WIDEST_PORT)
        self._live: Live | None = None
        self._notes: list[str] = []  # printed after the screen has ended
        self._screen: Screen | None = None
        self._drawn = 0.0
        self._pause = REDRAW

    def __enter__(self) -> Show:
        if self.console.is_terminal and not self.console.is_dumb_terminal and not self.terse:
            self._live = self._start()
        return self

    def __exit__(self, *_: object) -> None:
        self.leave()
        for note in self._notes:
            print(note, file=self.stream, flush=True)
        if self.speaker is not None:
            self.speaker.close()

    def _start(self) -> Live:
        live = Live(console=self.console, auto_refresh=False, screen=True, vertical_overflow="crop")
        live.start()
        return live

    def leave(self) -> None:
        """Release the terminal, at the end or before a stop (Ctrl-Z)."""
        if self._live is not None:
            self._live.stop()

    def resume(self) -> None:
        """Use the terminal again after a stop, and draw at the next turn."""
        self._drawn = 0.0
        if self._live is not None:
            self._live = self._start()

    def show_event(self, event: Event) -> None:
        """Show an event immediately."""
        self.board.keep_proof(event)
        self._drawn = 0.0
        if self.terse:
            if event.proof is not None:
                verdict, proof = marked(event.proof.verdict, self.simulated), event.proof
                who = "" if proof.mac is None else mac_text(proof.mac)
                place = f"{safe(event.port):<{self._port_width}} {safe(proof.address):<15}"
                row = f"{verdict:<{verdict_width(self.simulated)}} {place} {who}".rstrip()
                print(for_terminal(row, sys.stdout), flush=True)
            return
        port = f"{safe(event.port)}: " if event.port else ""
        mark = f" ({SIMULATED})" if self.simulated and event.proof is not None else ""
        text = event.text if event.proof is None else without_figures(event.text)
        line = f"{event.what:<8} {port}{safe(text, 1000)}{mark}"
        if self._live is None:
            print(line, file=self.stream, flush=True)
        elif event.what is What.NOTE:
            self._notes.append(line)

    def refresh(self, now: float, view: Callable[[], RunView], typed: str = "", prompt: str = "") -> None:
        """Play the sounds of the changes, and draw the screen again if it is due."""
        if self.sounds is not None:
            self.sounds.tick()
        if self._live is None and self.sounds is None and self.speaker is None:
            return
        clock = time.monotonic()
        same = self._screen is None or (self._screen.typed, self._screen.prompt) == (typed, prompt)
        if clock - self._drawn < self._pause and same:
            return
        self._drawn = clock
        before, self._screen = self._screen, replace(screen_of(self.board, view(), now, typed), prompt=prompt)
        self._play_sounds(before, self._screen)
        if self._live is not None:
            size = self.console.size
            lines = to_lines(self._screen, size.width, size.height, ascii_only=self.ascii_only)
            self._live.update(Group(*(line.to_rich() for line in lines)), refresh=True)
        self._pause = max(REDRAW, SLOW * (time.monotonic() - clock))

    def _play_sounds(self, before: Screen | None, after: Screen) -> None:
        for heard in signals_of(before, after):
            if self.sounds is not None:
                self.sounds.ring(heard.sound)
            if self.speaker is not None:
                self.speaker.say(heard.words)


def is_ascii_only(stream: TextIO, environment: Mapping[str, str]) -> bool:
    """Return whether a terminal may be unable to show block characters.

    The encoding of the stream decides, and, except on Windows, the locale. In the C locale Python itself sets LC_CTYPE
    to C.UTF-8 (PEP 538), which says nothing about the terminal.
    """
    try:
        "\u2588\u2591".encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return True
    if sys.platform != "win32":
        names = [environment.get(name, "") for name in ("LC_ALL", "LC_CTYPE", "LANG")]
        if names[1] == "C.UTF-8" and not names[0]:
            names[1] = ""
        return next(filter(None, names), "C") in ("C", "POSIX")
    else:  # noqa: RET505  # a statement after the branch cannot be reached on one of the systems
        return False


def speaker_for(wanted: bool) -> Speaker | None:
    """Return the speaker for `--say`; print a message and return None if the system has no speech program."""
    if not wanted:
        return None
    command = speech_command()
    if command is not None:
        return Speaker(command)
    names = listed(speech_programs(), joint="or") if speech_programs() else "a speech program"
    print(f"--say: this system has no {names}: nothing is spoken. Install one to hear the run.", file=sys.stderr)
    return None


class Stops:
    """Notes that the shell stops the program (Ctrl-Z) or continues it, for the next turn; Windows does neither."""

    def __init__(self) -> None:
        self.asked = self.over = False

    if sys.platform != "win32":

        def __enter__(self) -> Stops:
            self._before = signal.signal(signal.SIGTSTP, self._stop), signal.signal(signal.SIGCONT, self._go_on)
            return self

        def __exit__(self, *_: object) -> None:
            signal.signal(signal.SIGTSTP, self._before[0])
            signal.signal(signal.SIGCONT, self._before[1])

        def _stop(self, number: int, frame: FrameType | None) -> None:
            self.asked = True

        def _go_on(self, number: int, frame: FrameType | None) -> None:
            self.over = True

        def wait(self) -> None:
            """Stop this process until the shell continues it."""
            self.asked = False
            signal.signal(signal.SIGTSTP, signal.SIG_DFL)
            os.kill(os.getpid(), signal.SIGTSTP)
            signal.signal(signal.SIGTSTP, self._stop)
            self.over = True

    else:

        def __enter__(self) -> Stops:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def wait(self) -> None:
            """Do nothing: Windows has no such stop."""


class TerminalOperator:
    """The operator of a run: returns keys, shows events and records them."""

    def __init__(
        self, prober: Prober, link: Link, show: Show, recorder: Recorder, keys: KeySource, who: Identifier | None = None
    ) -> None:
        """*who* asks proven devices for their identity."""
        self.prober, self.link, self.show, self.recorder, self.keys = prober, link, show, recorder, keys
        self.who = who
        self._shown_notes = len(recorder.notes)  # notes of the record that were shown
        inner = getattr(keys, "keys", keys)  # in a rehearsal the trainee wraps the keyboard
        self._single = inner if isinstance(inner, SingleKeys) else None
        self._terminal = inner if isinstance(inner, Keyboard) and inner.terminal else None
        self._stops = Stops()

    def __enter__(self) -> TerminalOperator:
        if self._terminal is not None:
            self._stops.__enter__()
        return self

    def __exit__(self, *_: object) -> None:
        if self._terminal is not None:
            self._stops.__exit__()

    def pressed(self) -> list[Press]:
        """Return the keys since the last call; at the end of input the run continues without keys."""
        if self._terminal is not None:
            self._stop_if_asked(self._terminal)
        typed = "" if self._single is None else self._single.typed
        self.show.refresh(self.link.now(), self.prober.view, typed, "" if self._single is None else self._single.prompt)
        pressed = [key for press in self.keys.pressed() if (key := self._meant(press)) is not None]
        if self.keys.ended:
            self.prober.go_hands_free()
        return pressed

    def _meant(self, press: Press) -> Press | None:
        """Return the press for the run: a typed line becomes the ports that it names. A remark goes to the record."""
        if not isinstance(press, TypedLine):
            return press
        ports = self.show.board.ports
        if press.key is LineKey.REMARK:
            self._remark(press.text)
            return None
        found = typed_ports(press.text, ports)
        if not found:
            near = nearest(press.text, ports)
            hint = f": did you mean {listed(near, joint='or')}?" if near else ""
            self.prober.run.warn("", f"No port is named {safe(press.text, 60)}{hint}")
            return None
        return Chosen(tuple(port.subject for port in found))

    def _remark(self, text: str) -> None:
        """Record a remark on the port whose name or number begins it (`3: label missing`).

        Without such a beginning it is on the port under test, or else on the port that ended last.
        """
        port = self.prober.port
        name, colon, rest = text.partition(": ")
        named = typed_ports(name, self.show.board.ports) if colon and rest.strip() else ()
        if len(named) == 1:
            subject, text = named[0].subject, rest.strip()
        else:
            proofs = self.prober.proofs
            subject = port.target.subject if port is not None else proofs[-1].subject if proofs else ""
        self.recorder.remark(subject, text)
        note = f"Remark kept: {safe(text, 300)}"
        self.show.show_event(Event(at=self.link.now(), what=What.NOTE, port=subject, text=note))

    def _stop_if_asked(self, terminal: Keyboard) -> None:
        """Release the terminal before a stop, and use it again afterwards. The prober notices the gap itself."""
        if sys.platform != "win32":  # no shell of Windows stops a program
            if self._stops.asked:
                self.show.leave()
                terminal.leave_terminal()
                self._stops.wait()
            if self._stops.over:
                self._stops.over = False
                terminal.take_terminal()
                self.show.resume()

    def told(self, event: Event) -> None:
        """Show and record an event; the verdict of a tested port becomes its proof."""
        event = self._identified(event)
        self.show.show_event(event)
        self.keys.told(event)
        proof = event.proof
        if proof is not None and proof.verdict is not Verdict.NOT_TESTED and not self.prober.stopped:
            self.recorder.proof(proof)
        elif event.what in KEPT:
            self.recorder.event(str(event.what), event.text, port=event.port)
        for note in self.recorder.notes[self._shown_notes :]:
            self._shown_notes += 1
            self.show.show_event(Event(at=event.at, what=What.WARN, port=event.port, text=note))
            self.prober.run.warn(event.port, note, silently=True)

    def _identified(self, event: Event) -> Event:
        """Return the event; its proof gets the device's identity if `--ask-modbus` was given."""
        if self.who is None or event.proof is None:
            return event
        proof = replace(event.proof, evidence=(*event.proof.evidence, *self.who.evidence(event.proof)))
        self.prober.amend(proof)
        return replace(event, proof=proof)
