"""The content of the screen of a run: one state, one instruction, one warning.

`screen_of` computes it from the view of the run (`proof/view`) and from the ports that have a verdict; it keeps nothing
of an earlier screen. `draw` has no other source, so two parts of the screen cannot contradict each other.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from math import ceil

from netcheck.addr import mac_text
from netcheck.proof.events import Event
from netcheck.proof.result import Proof, Verdict
from netcheck.proof.targets import Target
from netcheck.proof.view import PortView, RunView, Step
from netcheck.report.text.proofs import without_figures

STATION_OUT = "This computer's own cable has no link: plug it in again"
LEAVE_IN, LEAVE_OUT = "Leave the cable in", "Leave the cable out"


class Word(StrEnum):
    """The action that the screen shows in block letters."""

    PULL = "PULL"
    PULL_ANY = "PULL ANY"
    PLUG_IN = "PLUG IN"
    MOVE = "MOVE"
    PUT_BACK = "PUT BACK"
    WAIT = "WAIT"
    LOOK = "LOOK"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A silence or a wait: seconds so far and seconds in all."""

    done: float
    total: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenRow:
    """One port in the list. `good` is None until it has a verdict; `current` marks the port of the instruction."""

    number: int
    subject: str
    address: str
    state: str
    who: str = ""
    seconds: float | None = None
    good: bool | None = None
    current: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """Everything on the screen, from the top.

    `seconds` stand after the word. `port` is empty if the instruction names no port. `typed` are the first digits of a
    row's number. `following` names the next port when nothing remains to be done at this port.
    """

    word: Word
    step: Step | None = None  # the step of the port that the instruction names
    seconds: int | None = None
    port: str = ""
    address: str = ""
    place: str = ""
    instruction: str = ""
    detail: str = ""
    bar: Bar | None = None
    warning: str = ""
    following: str = ""
    out: tuple[str, ...] = ()
    rows: tuple[ScreenRow, ...] = ()
    counts: tuple[tuple[str, int], ...] = ()  # ports by verdict
    last: str = ""  # the newest verdict
    keys: str = ""
    typed: str = ""
    prompt: str = ""  # a line that is being typed

    @property
    def headline(self) -> str:
        """The word, followed by the seconds if there are any."""
        return self.word if self.seconds is None else f"{self.word} {self.seconds}"


# The state of a port in the list, by its step.
STATES = {
    Step.PLUG_IN_FIRST: "plug in",
    Step.MOVE: "move",
    Step.LISTEN: "looking",
    Step.ANSWERS: "answers",
    Step.PULL: "pull",
    Step.OUT: "out",
    Step.PLUG_IN: "plug in",
    Step.RETURNING: "returning",
    Step.BACK: "back",
    Step.SEEN: "seen once",
    Step.RESTORE: "put back",
}
# The word of each step, the most urgent step first: an action of the technician comes before a wait.
WORDS = {
    Step.RESTORE: Word.PUT_BACK,
    Step.PLUG_IN: Word.PLUG_IN,
    Step.MOVE: Word.MOVE,
    Step.PULL: Word.PULL,
    Step.OUT: Word.WAIT,
    Step.RETURNING: Word.WAIT,
    Step.BACK: Word.WAIT,
    Step.SEEN: Word.WAIT,
    Step.PLUG_IN_FIRST: Word.PLUG_IN,
    Step.ANSWERS: Word.WAIT,
    Step.LISTEN: Word.WAIT,
}
URGENCY = {step: place for place, step in enumerate(WORDS)}


@dataclass(slots=True, kw_only=True)
class Board:
    """The ports of the run, and their proofs so far."""

    ports: tuple[Target, ...]
    keys: str = ""
    walks: bool = False  # all ports are open at once: a port that only answers needs no instruction
    proofs: dict[str, Proof] = field(default_factory=dict)
    last: str = ""

    @classmethod
    def of(cls, ports: Iterable[Target], finished: Iterable[Proof], keys: str, *, walks: bool = False) -> Board:
        """Return a board of ports; *finished* are the proofs of earlier runs in the same record."""
        proofs = {proof.subject: proof for proof in finished}
        return cls(ports=tuple(ports), keys=keys, walks=walks, proofs=proofs)

    def keep_proof(self, event: Event) -> None:
        """Keep the proof of an event, if it has one."""
        if event.proof is not None:
            before = self.proofs.get(event.proof.subject)
            if event.proof.verdict.replaces(None if before is None else before.verdict):
                self.proofs[event.proof.subject] = event.proof
            proven = event.proof.verdict is Verdict.PROVEN  # the reports show its evidence; nothing remains to be done
            self.last = f"{event.proof.subject} {'proven' if proven else without_figures(event.text)}"


def screen_of(board: Board, view: RunView, now: float, typed: str = "") -> Screen:
    """Return the screen of a run at *now* on the link's clock; *typed* are the first digits of a row's number."""
    focus = _focus(board, view)
    screen = _instruction(board, focus, view, now)
    verdicts = [proof.verdict for proof in board.proofs.values()]
    screen = replace(
        screen,
        out=view.out,
        following=_following(focus, view),
        rows=_rows(board, view, screen.port),
        counts=tuple((str(verdict), verdicts.count(verdict)) for verdict in Verdict if verdict in verdicts),
        last=board.last,
        keys=board.keys,
        typed=typed,
    )
    if view.station_out:
        return replace(screen, word=Word.LOOK, seconds=None, instruction=STATION_OUT, detail="", bar=None, warning="")
    if not view.warning:
        return screen
    if view.holds:
        return replace(screen, word=Word.LOOK, seconds=None, warning=view.warning)
    return replace(screen, warning=view.warning)


def _following(focus: PortView | None, view: RunView) -> str:
    """Return the next port and its place, if nothing is to be done at the port of the instruction."""
    target, undisturbed = view.following, not (view.holds or view.station_out)
    if focus is None or target is None or focus.step not in (Step.RETURNING, Step.BACK) or not undisturbed:
        return ""
    place = ", ".join(filter(None, (target.place, target.switch_port)))
    return "   ".join(filter(None, (target.subject, target.address_text, place)))


def _focus(board: Board, view: RunView) -> PortView | None:
    """Return the port that the instruction names: the port with the most urgent step."""
    passive = (Step.ANSWERS, Step.LISTEN) if board.walks else ()
    ports = [port for port in view.ports if port.step not in passive]
    return min(ports, key=lambda port: (URGENCY[port.step], port.needed is None), default=None)


def _instruction(board: Board, focus: PortView | None, view: RunView, now: float) -> Screen:
    """Return word, instruction and bar; without warning and list."""
    restores = view.general_step is Step.RESTORE
    if focus is None or restores:
        pulls = board.walks and not restores and any(port.step is Step.ANSWERS for port in view.ports)
        word = Word.PUT_BACK if restores else Word.PULL_ANY if pulls else Word.WAIT
        text = view.general or "Starting"
        if word is Word.WAIT and board.walks and view.ports:  # a pull would not be noticed now
            text = f"Leave all cables in. Ports that do not answer yet: {len(view.ports)}"
        return Screen(word=word, step=view.general_step, instruction=text)
    target = next((target for target in board.ports if target.subject == focus.subject), focus.other)
    named = Screen(
        word=WORDS[focus.step],
        step=focus.step,
        port=focus.subject,
        address="" if target is None else target.address_text,
        place="" if target is None else ", ".join(filter(None, (target.place, target.switch_port))),
        instruction=focus.text,
    )
    left = None if focus.until is None else max(0.0, focus.until - now)
    counted = f"{focus.answered} of {focus.asked} requests answered" if focus.asked else ""
    match focus.step:
        case Step.OUT:
            return _silence(named, focus)
        case Step.ANSWERS | Step.BACK:
            return replace(named, instruction=LEAVE_IN, detail=counted)
        case Step.LISTEN | Step.RETURNING:
            text = focus.text if focus.step is Step.RETURNING else f"Waiting for {named.address}"
            return replace(named, instruction=LEAVE_IN, detail=_with_left(text, left))
        case Step.SEEN:
            return replace(named, instruction=f"{LEAVE_IN}. The second request follows within seconds")
        case _:
            return replace(named, detail=_with_left("", left))


def _silence(named: Screen, focus: PortView) -> Screen:
    """Return the screen of a silence, with the seconds that it must still last."""
    if focus.needed is None:  # the silence does not count, and the text says why
        words = f"{focus.subject} is out: {focus.text}" if focus.text else LEAVE_OUT
        return replace(named, word=Word.PLUG_IN, instruction=words, detail=f"silent for {focus.silent:.0f} s")
    more = ceil(focus.needed)
    bar = Bar(done=focus.silent, total=focus.silent + focus.needed)
    seconds = more or None
    detail = f"silent for {focus.silent:.0f} s, {more} s more"
    if not more:
        detail = f"silent for {focus.silent:.0f} s; the other devices are checked"
    question = focus.text if focus.text else ""
    instruction = f"{LEAVE_OUT}{question}"
    return replace(named, seconds=seconds, instruction=instruction, bar=bar, detail=detail)


def _with_left(text: str, left: float | None) -> str:
    return "; ".join(filter(None, (text, "" if left is None else f"{left:.0f} s left")))


def _rows(board: Board, view: RunView, current: str) -> tuple[ScreenRow, ...]:
    """Return the list of ports: a port with a verdict shows its proof, an open port its view."""
    views = {port.subject: port for port in view.ports}
    return tuple(
        _row(target, board.proofs.get(target.subject), views.get(target.subject), current, view.following)
        for target in board.ports
    )


def _row(
    target: Target, proof: Proof | None, view: PortView | None, current: str, following: Target | None
) -> ScreenRow:
    """Return the row of a port in the list; *current* names the port of the instruction."""
    row = ScreenRow(
        number=target.row,
        subject=target.subject,
        address=target.address_text,
        state="next" if target == following else "to do",
        current=target.subject == current,
    )
    if view is not None:
        counts = view.step is Step.OUT and view.needed and not row.current  # the current port has a bar
        seconds = f", {ceil(view.needed or 0.0)} s more" if counts else ""
        mac = "" if view.mac is None else mac_text(view.mac)
        return replace(row, state=f"{STATES[view.step]}{seconds}", who=mac)
    if proof is None:
        return row
    return replace(
        row,
        state=str(proof.verdict),
        who="" if proof.mac is None else mac_text(proof.mac),
        seconds=sum(result.seconds for _, result in proof.phases) or None,
        good=proof.verdict is Verdict.PROVEN,
    )
