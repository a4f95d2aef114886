"""What the screen of a run says: one state, one instruction, one warning.

`screen_of` computes it from the view of the run (`proof/view`) and from the ports that are settled; nothing of an
earlier screen is kept. `draw` knows nothing else, so that no two parts of the screen can contradict each other.
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
    """The one action, in block letters."""

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
    """One port in the list. `good` is None while it has no verdict; `current` marks the port of the instruction."""

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

    `seconds` stands after the word, `port` is empty where it names none. `typed` are digits of a row's number that is
    not complete yet, `following` names the next port once nothing is left to do at this one.
    """

    word: Word
    step: Step | None = None  # of the port of the instruction
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
        """The word, with the seconds where there are any."""
        return self.word if self.seconds is None else f"{self.word} {self.seconds}"


# What a port's state is called in the list.
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
# The word of each step, the most urgent step first: what a hand must do comes before what is waited for.
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
    """The ports that are asked for, and the proofs so far."""

    ports: tuple[Target, ...]
    keys: str = ""
    walks: bool = False  # all ports are open at once, so that those which only answer need no instruction
    proofs: dict[str, Proof] = field(default_factory=dict)
    last: str = ""

    @classmethod
    def of(cls, ports: Iterable[Target], finished: Iterable[Proof], keys: str, *, walks: bool = False) -> Board:
        """Return a board of ports; *finished* were proven earlier in the same record."""
        proofs = {proof.subject: proof for proof in finished}
        return cls(ports=tuple(ports), keys=keys, walks=walks, proofs=proofs)

    def take(self, event: Event) -> None:
        """Keep the proof that an event brings."""
        if event.proof is not None:
            before = self.proofs.get(event.proof.subject)
            if event.proof.verdict.replaces(None if before is None else before.verdict):
                self.proofs[event.proof.subject] = event.proof
            proven = event.proof.verdict is Verdict.PROVEN  # its evidence is in the reports, nothing is left to be done
            self.last = f"{event.proof.subject} {'proven' if proven else without_figures(event.text)}"


def screen_of(board: Board, view: RunView, now: float, typed: str = "") -> Screen:
    """Return the screen of a run at *now* on the link's clock; *typed* are digits that are not a complete number."""
    focus = _focus(board, view)
    screen = _said(board, focus, view, now)
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
    """Return the next port and where it is, while nothing is to be done at the port of the instruction."""
    target, undisturbed = view.following, not (view.holds or view.station_out)
    if focus is None or target is None or focus.step not in (Step.RETURNING, Step.BACK) or not undisturbed:
        return ""
    place = ", ".join(filter(None, (target.place, target.switch_port)))
    return "   ".join(filter(None, (target.subject, target.address_text, place)))


def _focus(board: Board, view: RunView) -> PortView | None:
    """Return the port that the instruction is about: the one whose step is the most urgent."""
    passive = (Step.ANSWERS, Step.LISTEN) if board.walks else ()
    ports = [port for port in view.ports if port.step not in passive]
    return min(ports, key=lambda port: (URGENCY[port.step], port.needed is None), default=None)


def _said(board: Board, focus: PortView | None, view: RunView, now: float) -> Screen:
    """Return word, instruction and bar; without warning and list."""
    restores = view.general_step is Step.RESTORE
    if focus is None or restores:
        pulls = board.walks and not restores and any(port.step is Step.ANSWERS for port in view.ports)
        word = Word.PUT_BACK if restores else Word.PULL_ANY if pulls else Word.WAIT
        text = view.general or "Starting"
        if word is Word.WAIT and board.walks and view.ports:  # nothing that is pulled now would be noticed
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
    """Return the screen of a silence: how long it must still last."""
    if focus.needed is None:  # it counts for nothing, and the text says why
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
    """Return the list of ports: a proof for what is settled, the view for what is open."""
    views = {port.subject: port for port in view.ports}
    return tuple(
        _row(target, board.proofs.get(target.subject), views.get(target.subject), current, view.following)
        for target in board.ports
    )


def _row(
    target: Target, proof: Proof | None, view: PortView | None, current: str, following: Target | None
) -> ScreenRow:
    row = ScreenRow(
        number=target.row,
        subject=target.subject,
        address=target.address_text,
        state="next" if target == following else "to do",
        current=target.subject == current,
    )
    if view is not None:
        counts = view.step is Step.OUT and view.needed and not row.current  # that of the current port has a bar
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
