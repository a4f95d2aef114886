"""Carries out a proving run for `prove` and `walk`: plan, permit, link, record, screen and result."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from random import SystemRandom
from shutil import get_terminal_size
from tempfile import gettempdir
from types import TracebackType

from netcheck import __version__
from netcheck.addr import Address, InterfaceAddress, mac_text
from netcheck.app.keyboard import KeySource, keyboard
from netcheck.app.operator import Show, TerminalOperator, speaker_for
from netcheck.app.prepare import (
    RunInput,
    asked_to_continue,
    demand_interface,
    demand_usable,
    permit_for,
    prover_name,
    record_path,
    run_input,
)
from netcheck.errors import LinkError, UsageError
from netcheck.field.modbus_identity import Identifier
from netcheck.plan.model import row_hashes
from netcheck.proof.driver import Frames, drive
from netcheck.proof.events import RunOptions, What
from netcheck.proof.prober import PortByPort, Prober, ProcedureOf
from netcheck.proof.result import PASSED, Proof, Verdict, standing
from netcheck.proof.targets import Scope, Target, named, nearest
from netcheck.record.model import Attachment, Run
from netcheck.record.write import Recorder
from netcheck.report.live.screen import Board
from netcheck.report.text.proofs import SIMULATED, counted, summary, to_json, to_lines
from netcheck.text import listed, safe
from netcheck.wire.link import Link

RIG = "rig"  # the kind of the simulated link
LONGEST_REMARK = 1000  # characters


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """The run that the command line describes."""

    plan: Path
    interface: str
    only: tuple[str, ...]
    settings: RunOptions
    permit: str
    link: str
    record: Path | None
    capture: Path | None
    as_json: bool
    quiet: bool
    terse: bool = False  # print verdicts only
    by: str = ""  # technician and company
    files: tuple[Attachment, ...] = ()  # files that belong to the record
    remarks: tuple[str, ...] = ()  # `PORT=TEXT`, or a text on the whole run
    yes: bool = False  # continue after warnings before the first cable without asking
    again: bool = False  # also prove ports that the record has as proven
    say: bool = False  # speak each change
    ask_modbus: bool = False  # ask each proven device for its identity


def open_the_link(order: Order) -> Link:
    """Open the interface; with --direct, the computer's other interfaces too."""
    from netcheck.wire.links.open import kind_from_text, open_link
    from netcheck.wire.station import other_interfaces_up

    others = other_interfaces_up(order.interface) if order.settings.direct else ()
    return open_link(kind_from_text(order.link), order.interface, others, overhears=order.settings.typed)


@dataclass(frozen=True)
class RunOutcome:
    """The result of a run; `refused` is the reason why the interface could not be used, or ""."""

    proofs: tuple[Proof, ...]
    record: Path
    seal: str
    refused: str
    interrupted: bool
    simulated: bool
    left_out: tuple[str, ...] = ()  # ports and interfaces whose cables may be out


def run(order: Order, procedure: ProcedureOf = PortByPort, remark: Callable[[Scope], str] = lambda scope: "") -> int:
    """Carry out a run on an interface, print its result, and return the exit code.

    *remark* returns a note on the scope, which is printed before the run is permitted.
    """
    order = replace(order, interface=demand_interface(order.interface))
    base = run_input(order.plan, order.only)
    remarks_from(order.remarks, base.aim.targets)
    demand_usable(order.interface, base.aim.planned)
    if text := remark(base.aim):
        print(text, file=sys.stderr)
    permit = permit_for(order.permit)
    order = replace(order, by=prover_name(order.by, order.permit))
    with open_the_link(order) as link:
        outcome = conduct(order, base, permit, link, procedure=procedure, first_look=True)
    return finish(order, outcome)


def _first_look(order: Order, base: RunInput, link: Link, frames: Frames | None) -> tuple[list[str], bool]:
    """Search for faults that would waste the run, before the first cable. Print and return the warnings.

    Also return whether to continue: the operator is asked on a terminal, but not hands-free or with --yes.
    """
    from netcheck.field.first_look import look, warnings
    from netcheck.field.readiness import urgent
    from netcheck.field.readiness_facts import facts_now

    aim = base.aim
    facts = facts_now(aim, order.interface, link.kind)
    found = [f"{check.what}. {check.do}" for check in urgent(facts)]
    seen: list[str] = []
    may_send = not aim.stations & aim.planned.keys()  # otherwise the run is refused before its first frame
    if may_send and link.hears_all and not order.settings.direct and link.carrier():
        seen = warnings(look(link, aim, frames), aim, order.interface, facts.interfaces)
    for warning in (*found, *seen):
        print(f"netcheck: warning: {safe(warning, 1000)}", file=sys.stderr)
    asks = not (order.yes or order.settings.hands_free) and sys.stdin.isatty() and sys.stderr.isatty()
    return [*found, *seen], not (seen and asks) or asked_to_continue()


def conduct(
    order: Order,
    base: RunInput,
    permit: str,
    link: Link,
    keys: KeySource | None = None,
    procedure: ProcedureOf = PortByPort,
    *,
    first_look: bool = False,
) -> RunOutcome:
    """Prove the scope over a link with screen and record; *keys* replaces the keyboard.

    With *first_look*, search for faults before the first cable; raise KeyboardInterrupt if the operator stops then.
    """
    with ExitStack() as stack:
        recorder = stack.enter_context(_recorder(order, base, link, permit))
        _add_to(recorder, order, base.aim.targets)
        done, aim = _to_do(base.aim, recorder, order.again)
        prober = Prober(
            aim, link.adapters, base.names, replace(order.settings, overhears=link.overhears), SystemRandom(),
            hears_all=link.hears_all, proven=proven_macs(recorder.finished.values(), aim), procedure=procedure,
        )  # fmt: skip
        frames: Frames | None = None
        if order.capture is not None:
            frames = stack.enter_context(Capturing(order.capture, link, prober))
        if first_look and aim.asked:
            warned, on = _first_look(order, base, link, frames)
            for warning in warned:
                recorder.event(What.WARN, warning, port="")
            if not on:
                recorder.end(summary([]))
                raise KeyboardInterrupt
        found = recorder.notes
        asked = base.aim.asked
        board = Board.of(asked, done, prober.keys, walks=prober.walks)
        for note in found:
            print(f"record: {safe(note, 1000)}", file=sys.stderr)
        stream = sys.stderr if order.as_json else sys.stdout
        rows = len(asked)
        source = keys or stack.enter_context(keyboard(not order.settings.hands_free, rows))
        show = stack.enter_context(
            Show(
                board, stream, quiet=order.quiet, terse=order.terse, simulated=link.kind == RIG,
                speaker=speaker_for(order.say),
            )
        )  # fmt: skip
        who = Identifier(link.adapters[0], aim) if order.ask_modbus else None
        operator = stack.enter_context(TerminalOperator(prober, link, show, recorder, source, who))
        interrupted = _drive(prober, link, operator, frames)
        recorder.end(summary(_recorded(standing(prober.proofs), recorder)))
    for note in recorder.notes[len(found) :]:
        print(f"record: {safe(note, 1000)}", file=sys.stderr)
    proofs = _in_order(base.aim, [*done, *standing(prober.proofs)])
    simulated = link.kind == RIG
    refused, left_out = prober.refused, prober.left_out
    return RunOutcome(tuple(proofs), recorder.path, recorder.seal, refused, interrupted, simulated, left_out)


def remarks_from(words: Sequence[str], targets: Sequence[Target]) -> list[tuple[str, str]]:
    """Return the port and the text of each remark; the port is empty for the whole run.

    Raises UsageError if a word before `=` names no port, or several ports.
    """
    found = []
    for word in words:
        name, equals, text = word.partition("=")
        ports = named(name, targets) if equals else ()
        if equals and len(ports) != 1:
            many = f"names {len(ports)} ports: {listed([port.subject for port in ports])}" if ports else "names no port"
            near = [] if ports else nearest(name, targets)
            do = f"Did you mean {listed(near, joint='or')}?" if near else "Write it as PORT=TEXT, with one port"
            raise UsageError.of(f"--remark {safe(word, 60)!r}: {safe(name, 40)!r} {many}", do=do)
        found.append((ports[0].subject if ports else "", (text if equals else word).strip()[:LONGEST_REMARK]))
    return found


def _add_to(recorder: Recorder, order: Order, targets: Sequence[Target]) -> None:
    """Write files and remarks of the command line into the record."""
    for file in order.files:
        recorder.attach(file)
    for port, text in remarks_from(order.remarks, targets):
        recorder.remark(port, text, order.by)


def _recorded(proofs: Sequence[Proof], recorder: Recorder) -> list[Proof]:
    """Return the proofs that the summary counts: a proof that Ctrl-C kept out of the record is not `proven`."""
    return [
        proof
        for proof in proofs
        if proof.verdict is not Verdict.PROVEN or recorder.finished.get(proof.subject) == proof
    ]


def _drive(prober: Prober, link: Link, operator: TerminalOperator, frames: Frames | None) -> bool:
    """Drive the run to its end; return whether Ctrl-C ended it."""
    try:
        drive(prober, link, operator, frames)
    except KeyboardInterrupt:
        return True
    return False


def _recorder(order: Order, base: RunInput, link: Link, permit: str) -> Recorder:
    """Open the record of the run, with the facts of its first line."""
    path = record_path(order.record, base.plan)
    station = ", ".join(str(InterfaceAddress(Address(4, a), n)) for a, n in link.adapters[0].addresses) or "borrowed"
    run_facts = Run(
        plan=base.plan.name,
        revision=base.plan.revision,
        sha256=base.plan.sha256,
        version=__version__,
        station=f"{mac_text(link.adapters[0].mac)}, {station}",
        interface=f"{order.interface} ({link.kind})",
        permit=permit,
        by=order.by,
        local=datetime.now().astimezone().isoformat(timespec="seconds"),
        simulated=link.kind == RIG,
    )
    elsewhere = (Path(os.path.expanduser("~")), Path(gettempdir()))  # Path.home() raises an error if there is no home
    return Recorder.open(path, run_facts, row_hashes(base.plan), lambda: datetime.now(UTC), elsewhere)


def _to_do(aim: Scope, recorder: Recorder, again: bool) -> tuple[list[Proof], Scope]:
    """Return the proofs that still count, and the scope without their ports; with *again* no proof counts."""
    proven = {subject: proof for subject, proof in recorder.finished.items() if proof.verdict is Verdict.PROVEN}
    kept = [] if again else [target for target in aim.asked if target.subject in proven]
    asked = tuple(target for target in aim.asked if target not in kept)
    return [proven[target.subject] for target in kept], replace(aim, asked=asked)


def proven_macs(proofs: Iterable[Proof], scope: Scope) -> dict[int, str]:
    """Return the proven MACs, with the interface of each.

    Proofs of ports that will be proven again do not count, because their devices may have exchanged addresses.
    """
    again = {target.subject for target in scope.asked}
    return {
        proof.mac: proof.interface
        for proof in proofs
        if proof.verdict in PASSED and proof.mac is not None and proof.subject not in again
    }


def _in_order(aim: Scope, proofs: Sequence[Proof]) -> list[Proof]:
    by_subject = {proof.subject: proof for proof in proofs}
    return [by_subject[target.subject] for target in aim.asked if target.subject in by_subject]


class Capturing:
    """A callable for the driver that writes every frame of a run to a capture file, with port and phase as comment."""

    def __init__(self, path: Path, link: Link, prober: Prober) -> None:
        """Open the file; raise UsageError if it exists."""
        from netcheck.wire.capture import CaptureWriter

        self._writer = CaptureWriter(path, link.adapters)
        self._prober = prober
        self._epoch = time.time() - link.now()

    def __call__(self, at: float, adapter: int, frame: bytes, outbound: bool) -> None:
        """Write one frame."""
        port = self._prober.port
        comment = "" if port is None else f"{port.target.subject} {port.phase}"
        self._writer.frame(self._epoch + at, adapter, frame, outbound, comment)

    def __enter__(self) -> Capturing:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._writer.close()


def finish(order: Order, outcome: RunOutcome) -> int:
    """Print the result and return the exit code; raise LinkError if the interface could not be used."""
    if order.as_json:
        shape = to_json(outcome.proofs, str(outcome.record), outcome.seal, simulated=outcome.simulated)
        print(json.dumps(shape, indent=2))
    else:
        width = get_terminal_size((100, 24)).columns
        print("\n".join(to_lines(outcome.proofs, width, simulated=outcome.simulated)))
        sure = f"{SIMULATED}: " if outcome.simulated else ""
        print(f"\n{sure}{counted(outcome.proofs)}\nrecord {safe(str(outcome.record))}\nseal   {outcome.seal}")
    if outcome.left_out:
        cables = f"the {'cables' if len(outcome.left_out) > 1 else 'cable'} of {listed(list(outcome.left_out), 20)}"
        print(f"netcheck: warning: {cables} may still be out: plug in what you pulled", file=sys.stderr)
    if outcome.refused:
        do = "Give this computer, or the plan's station, an address that is free"
        raise LinkError.of(outcome.refused, where=order.interface, do=do)
    if outcome.interrupted:
        raise KeyboardInterrupt
    return 0 if all(proof.verdict is Verdict.PROVEN for proof in outcome.proofs) else 1
