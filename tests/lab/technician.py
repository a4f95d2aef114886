"""Reads the request to the technician in a plain line: the action and the port.

The contract for outside scripts: a request to pull contains the word `pull` and the port, a request to plug in contains
`plug` and the port. Each is one line, printed when the technician must act. Only the kind of line, the port and these
words are read here, so that other changes of the wording do not change a test.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

_LINE = re.compile(r"(?:do|seen) +(?:(?P<port>\S+?/\S+?:\S+): )?(?P<text>.*)")
_WORD = re.compile(r"[a-z]+")


class Action(StrEnum):
    """The action that the technician must do with the cable of a port."""

    PULL = "pull"
    PLUG = "plug"
    MOVE = "move"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Request:
    """One request. `port` is `device/interface:port`, empty if the line names no port."""

    port: str
    action: Action
    text: str

    @property
    def device(self) -> str:
        """The device that the port belongs to."""
        return self.port.partition("/")[0]

    @property
    def pulls(self) -> bool:
        """True for a request to pull the cable of a port."""
        return self.action is Action.PULL

    @property
    def plugs(self) -> bool:
        """True for a request to plug the cable of a port in."""
        return self.action is Action.PLUG


Technician = Callable[[Request], None]


def request_in(line: str) -> Request | None:
    """Return the request in a plain line; None for a line that only informs."""
    if (match := _LINE.fullmatch(line)) is None:
        return None
    words = set(_WORD.findall(match["text"].lower()))
    port = match["port"] or ""
    actions = (Action.PULL, Action.MOVE, Action.PLUG) if port else ()
    action = next((action for action in actions if action in words), Action.OTHER)
    return Request(port, action, match["text"])
