"""Whose turn it is: the ports of a run in their order, what the operator put first, and those that were skipped."""

from __future__ import annotations

from collections.abc import Iterable

from netcheck.proof.targets import Target


class Turns:
    """The ports that still have a turn. A skipped port has one more at the end, where that is wanted."""

    def __init__(self, asked: Iterable[Target], revisits: bool) -> None:
        """All ports wait, in order."""
        self.waiting = list(asked)
        self._revisits = revisits
        self._skipped: list[Target] = []
        self._returned: set[str] = set()

    def take(self) -> Target | None:
        """Return the port that is next, once; None where no port is left."""
        if not self.waiting:
            self.waiting, self._skipped = self._skipped, []
        return self.waiting.pop(0) if self.waiting else None

    @property
    def following(self) -> Target | None:
        """The port that is next."""
        return next(iter(self.coming), None)

    @property
    def coming(self) -> tuple[Target, ...]:
        """The ports in the order of their turns."""
        return (*self.waiting, *self._skipped)

    def first(self, target: Target) -> None:
        """Put a port first, wherever it was."""
        self.waiting = [target, *(one for one in self.waiting if one.subject != target.subject)]
        self._skipped = [one for one in self._skipped if one.subject != target.subject]

    def skip(self, target: Target) -> bool:
        """Give a skipped port one more turn at the end; return whether it has one."""
        if not self._revisits or target.subject in self._returned:
            return False
        self._returned.add(target.subject)
        self._skipped.append(target)
        return True
