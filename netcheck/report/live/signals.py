"""The sounds and the spoken words of a run: one for each change of the screen.

A terminal has only one sound, its bell. Therefore the sounds differ in number and rhythm, and on Windows also in pitch.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from netcheck.proof.view import Step
from netcheck.report.live.screen import Screen, ScreenRow, Word

LONGEST_SPEECH = 160  # characters: about ten seconds


class Sound(StrEnum):
    """A sound, by its meaning."""

    PULL = "pull now"
    OUT = "it is out: leave it out"
    PLUG_IN = "plug it in now"
    ANSWERS = "it answers: leave it in"
    SEEN = "seen once: leave it in"
    MOVE = "move cables, or put them back"
    PROVEN = "proven"
    NOT_PROVEN = "another verdict than proven"
    LOOK = "look at the screen"


# A point is one bell, a space is a pause. People distinguish groups of one to five bells without counting.
PATTERNS = {
    Sound.PULL: "..",
    Sound.OUT: ".",
    Sound.PLUG_IN: "...",
    Sound.ANSWERS: ". .",
    Sound.SEEN: ". ..",
    Sound.MOVE: ".. ..",
    Sound.PROVEN: ". . .",
    Sound.NOT_PROVEN: "... ...",
    Sound.LOOK: ".....",
}
LOW = (Sound.NOT_PROVEN, Sound.LOOK)  # on Windows these have the low pitch
OF_STEP = {
    Step.PULL: Sound.PULL,
    Step.OUT: Sound.OUT,
    Step.PLUG_IN: Sound.PLUG_IN,
    Step.PLUG_IN_FIRST: Sound.PLUG_IN,
    Step.ANSWERS: Sound.ANSWERS,
    Step.BACK: Sound.ANSWERS,
    Step.SEEN: Sound.SEEN,
    Step.MOVE: Sound.MOVE,
    Step.RESTORE: Sound.MOVE,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """The signal of a change: its sound, and the words that `--say` speaks."""

    sound: Sound
    words: str


def signals_of(before: Screen | None, after: Screen) -> tuple[Signal, ...]:
    """Return the signals of a change of the screen, verdicts first."""
    verdicts = () if before is None else _verdicts(before, after)
    warnings = _warnings(before, after)
    if warnings:
        return (*verdicts, *warnings)
    if before is not None and (before.step, before.port, before.word) == (after.step, after.port, after.word):
        return verdicts
    if after.word is Word.PULL_ANY:  # nothing else goes on: the sound comes once, not after each verdict
        return verdicts or (_signal(Sound.PULL, "Pull any cable"),)
    sound = None if after.step is None else OF_STEP.get(after.step)
    if after.word is Word.PLUG_IN:  # also during a silence that does not count
        sound = Sound.PLUG_IN
    return verdicts if sound is None else (*verdicts, _signal(sound, _instruction(after)))


def _verdicts(before: Screen, after: Screen) -> tuple[Signal, ...]:
    """Return the signals of new verdicts: one for all ports that are not proven, one for all that are."""
    was = {row.subject: row.good for row in before.rows}
    new = [row for row in after.rows if row.good is not None and was.get(row.subject) is None]
    proven, others = [row for row in new if row.good], [row for row in new if not row.good]
    found = [_signal(Sound.NOT_PROVEN, _names(others))] if others else []
    return (*found, *([_signal(Sound.PROVEN, _names(proven))] if proven else []))


def _names(rows: list[ScreenRow]) -> str:
    return (
        f"{len(rows)} ports: {rows[0].state}" if len(rows) > 2 else ". ".join(f"{r.subject}: {r.state}" for r in rows)
    )


def _warnings(before: Screen | None, after: Screen) -> tuple[Signal, ...]:
    """Return a signal if there is a new warning, or if a further cable is out."""
    if after.warning and (before is None or before.warning != after.warning):
        return (_signal(Sound.LOOK, f"Look. {after.warning}"),)
    if after.word is Word.LOOK and (before is None or before.word is not Word.LOOK):
        return (_signal(Sound.LOOK, f"Look. {after.instruction}"),)
    more = [name for name in after.out if before is None or name not in before.out]
    return (_signal(Sound.LOOK, f"Still out: {', '.join(more)}"),) if more else ()


def _instruction(screen: Screen) -> str:
    if screen.step in (Step.MOVE, Step.RESTORE):
        return screen.instruction
    word = screen.word.capitalize()
    if screen.word is Word.WAIT:
        following = f"Next {screen.following}" if screen.following else ""
        return ". ".join(filter(None, (word, screen.instruction, following)))
    return ". ".join(filter(None, (word, screen.port, screen.place)))


def _signal(sound: Sound, words: str) -> Signal:
    return Signal(sound=sound, words=spoken(words))


def spoken(text: str) -> str:
    """Return a text for the speech program: at most `LONGEST_SPEECH` letters, digits and simple punctuation marks.

    Nothing in such a text is an option or a command of the speech program.
    """
    named = re.sub(r"/(\S+?):(\S)", r" \1 port \2", text)
    words = "".join(letter if letter.isalnum() or letter in ".,:? " else " " for letter in named)
    return " ".join(words.split())[:LONGEST_SPEECH]
