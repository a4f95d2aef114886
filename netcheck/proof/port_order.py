"""The order of the ports: that of the run, changed by the operator's choices and by skipped ports."""

from __future__ import annotations

from collections.abc import Iterable

from netcheck.proof.targets import Target


class PortOrder:
    """The ports that still have a turn. With `revisits`, a skipped port has one more turn at the end."""

    def __init__(self, asked: Iterable[Target], revisits: bool) -> None:
        """Start with all ports waiting, in order."""
        self.waiting = list(asked)
        self._revisits = revisits
        self._skipped: list[Target] = []
        self._returned: set[str] = set()

    def take(self) -> Target | None:
        """Remove the next port from the waiting ones and return it; None if there is none."""
        if not self.waiting:
            self.waiting, self._skipped = self._skipped, []
        return self.waiting.pop(0) if self.waiting else None

    @property
    def following(self) -> Target | None:
        """The next port, which goes on waiting; None if there is none."""
        return next(iter(self.coming), None)

    @property
    def coming(self) -> tuple[Target, ...]:
        """The ports in the order of their turns."""
        return (*self.waiting, *self._skipped)

    def first(self, target: Target) -> None:
        """Give a port the next turn, wherever it was in the order."""
        self.waiting = [target, *(one for one in self.waiting if one.subject != target.subject)]
        self._skipped = [one for one in self._skipped if one.subject != target.subject]

    def skip(self, target: Target) -> bool:
        """Give a skipped port one more turn at the end; return whether it has one."""
        if not self._revisits or target.subject in self._returned:
            return False
        self._returned.add(target.subject)
        self._skipped.append(target)
        return True
