"""The sounds and the spoken words of a run: one for each change of the screen.

A terminal has one sound only, its bell. So the sounds differ in number and rhythm, and on Windows in pitch as well.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from netcheck.proof.view import Step
from netcheck.report.live.screen import Screen, ScreenRow, Word

LONGEST_SPEECH = 160  # characters: about ten seconds


class Sound(StrEnum):
    """What a sound means."""

    PULL = "pull now"
    OUT = "it is out: leave it out"
    PLUG_IN = "plug it in now"
    ANSWERS = "it answers: leave it in"
    SEEN = "seen once: leave it in"
    MOVE = "move cables, or put them back"
    PROVEN = "proven"
    NOT_PROVEN = "another verdict than proven"
    LOOK = "look at the screen"


# A point is one bell, a space a pause. Groups of one to five can be told apart without counting.
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
    """A change that is heard: its sound, and the words that `--say` speaks."""

    sound: Sound
    words: str


def signals_of(before: Screen | None, after: Screen) -> tuple[Signal, ...]:
    """Return what is to be heard of a change of the screen, the verdicts first."""
    verdicts = () if before is None else _verdicts(before, after)
    looks = _looks(before, after)
    if looks:
        return (*verdicts, *looks)
    if before is not None and (before.step, before.port, before.word) == (after.step, after.port, after.word):
        return verdicts
    if after.word is Word.PULL_ANY:  # where nothing else is going on: heard once, and not after each verdict
        return verdicts or (_signal(Sound.PULL, "Pull any cable"),)
    sound = None if after.step is None else OF_STEP.get(after.step)
    if after.word is Word.PLUG_IN:  # also of a silence that counts for nothing
        sound = Sound.PLUG_IN
    return verdicts if sound is None else (*verdicts, _signal(sound, _instruction(after)))


def _verdicts(before: Screen, after: Screen) -> tuple[Signal, ...]:
    """Return a signal for each port that has a verdict now, all of one kind as one."""
    was = {row.subject: row.good for row in before.rows}
    new = [row for row in after.rows if row.good is not None and was.get(row.subject) is None]
    proven, others = [row for row in new if row.good], [row for row in new if not row.good]
    found = [_signal(Sound.NOT_PROVEN, _names(others))] if others else []
    return (*found, *([_signal(Sound.PROVEN, _names(proven))] if proven else []))


def _names(rows: list[ScreenRow]) -> str:
    return (
        f"{len(rows)} ports: {rows[0].state}" if len(rows) > 2 else ". ".join(f"{r.subject}: {r.state}" for r in rows)
    )


def _looks(before: Screen | None, after: Screen) -> tuple[Signal, ...]:
    """Return a signal where there is a new warning, or something more is out."""
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
    """Return a text as it is spoken: letters, digits and simple punctuation only, so that nothing in it is an option or
    a command of the program that speaks, and not longer than some seconds.
    """
    named = re.sub(r"/(\S+?):(\S)", r" \1 port \2", text)
    words = "".join(letter if letter.isalnum() or letter in ".,:? " else " " for letter in named)
    return " ".join(words.split())[:LONGEST_SPEECH]
