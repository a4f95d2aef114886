"""The cables between two ports: what is to be moved for a connector, and what must be back before the next one."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.events import Action, What
from netcheck.proof.probing.address_state import AddressState
from netcheck.proof.result import Verdict
from netcheck.proof.run_state import RunState
from netcheck.proof.targets import Target
from netcheck.proof.view import is_to_be_out
from netcheck.text import listed

PATIENCE = 3  # the run waits for cables this many times the patience; then it goes on, and the screen still names them
STEADY = 2.0  # seconds for which what hangs behind a connector must answer before it counts as connected again
Steps = Generator[None, None, None]


def words_to_move(run: RunState, target: Target) -> str:
    """Return what goes where, so that the cable to the network is in this connector."""
    hangs = _behind(run, target)
    first = f"Unplug {listed(hangs)} from port {target.port}. " if hangs else ""
    start = run.moved or _first_port(run, target)
    origin = f"from port {start.port} " if start != target else ""
    return f"{first}Move the cable {origin}to {target.subject} and plug it in, then press Enter"


def words_to_restore(run: RunState, moved: Target) -> str:
    """Return what goes where, so that the cabling of a device is again as the plan draws it."""
    hangs = _behind(run, moved)
    then = f", then connect {listed(hangs)} to port {moved.port}" if hangs else ""
    first = _first_port(run, moved)
    return (
        f"Put the cabling of {moved.interface} back as drawn: move the cable from port {moved.port} to port "
        f"{first.port}{then}"
    )


def _behind(run: RunState, target: Target) -> list[str]:
    """Return the interfaces that the plan attaches to a connector."""
    return list(dict.fromkeys(other.interface for other in run.scope.targets if other.behind == target.subject))


def _first_port(run: RunState, target: Target) -> Target:
    """Return the port of an interface in which its cable is before it is moved."""
    return next(t for t in run.scope.targets if t.interface == target.interface)


class Cabling:
    """What is done with the cables after a port: the moved one goes back, and every device that fell silent must answer
    again, before the next port has its turn. Enter or `s` goes on without them."""

    def __init__(self, run: RunState) -> None:
        """No cable was moved yet."""
        self.run = run
        self.asked: list[Target] = []  # whose cables are asked back now
        self._silent_first: tuple[Target, ...] = ()  # what was out when the cables were asked back
        self._left: set[int] = set()  # addresses without which the run goes on

    def after_port(self, following: Target | None) -> Steps:
        """See that the cabling is right for the next port; `None` means that the run ends, which waits for no cable."""
        run, moved = self.run, self.run.moved
        if moved is not None and (following is None or following.interface != moved.interface):
            run.moved = None
            if following is None:
                run.say(What.NOTE, "", words_to_restore(run, moved))
            else:
                yield from self._restore(moved)
        if following is not None and not run.options.direct:
            yield from self._all_back()

    def _restore(self, moved: Target) -> Steps:
        """Ask for the cabling as drawn; wait for Enter, or until what hangs behind the connector answers again."""
        run = self.run
        run.take_enter()
        deadline = run.now + PATIENCE * run.options.patience
        run.ask(Action.RESTORE, "", f"{words_to_restore(run, moved)}. Then press Enter", deadline)
        names = _behind(run, moved)
        hangs = [entry for entry, target in self._devices() if target.interface in names and entry.answered]
        since = run.now
        while not run.take_enter() and run.now < deadline and not run.options.hands_free:
            if hangs and all(entry.answered_between(since, run.now - STEADY) for entry in hangs):
                break
            yield
        run.drop_request("")

    def _all_back(self) -> Steps:
        """Ask for every cable that is still out, and wait until nothing is silent that answered before."""
        run = self.run
        not_back = {proof.subject for proof in run.proofs if proof.verdict is Verdict.NOT_BACK}  # already waited for
        self._left |= {target.address for target in run.scope.targets if target.subject in not_back}
        while self._doubtful():
            yield
        self.asked = self._silent()
        if not self.asked:
            return
        run.take_enter()
        deadline = run.now + PATIENCE * run.options.patience
        self._silent_first = tuple(self.asked)
        self._ask(deadline)
        while (still := self._silent()) and not run.take_enter() and run.now < deadline:
            self._let_go(still)
            yield
        self._left |= {target.address for target in still}
        self._let_go([])

    def _ask(self, deadline: float) -> None:
        """Ask for each cable by its port. After a swap it is the cable that was pulled for the port before, whatever
        address is behind it."""
        run = self.run
        end = "" if run.options.hands_free else ", or press Enter to go on without it"
        last = run.proofs[-1] if run.proofs else None
        pulled = next((t for t in run.scope.asked if last is not None and t.subject == last.subject), None)
        if pulled is not None and last is not None and last.verdict is Verdict.SWAPPED:
            names = listed([f"{target.interface} ({target.address_text})" for target in self.asked])
            text = f"Plug the cable that you pulled for {pulled.subject} in again: {names} is still out{end}"
            self.asked = [pulled]
            return run.ask(Action.RESTORE, pulled.subject, text, deadline)
        for target in self.asked:
            text = f"Plug the cable of {target.subject} in again: {target.address_text} is still out{end}"
            run.ask(Action.RESTORE, target.subject, text, deadline)
        return None

    def _let_go(self, still: list[Target]) -> None:
        """Stop asking for cables that are back; the cable of a swap is back once no device is silent any more."""
        kept = [target for target in self.asked if target in still or (still and target not in self._silent_first)]
        for target in self.asked:
            if target not in kept:
                self.run.drop_request(target.subject)
        self.asked = kept

    def _doubtful(self) -> bool:
        """Return whether a device has missed some requests, so that it is not known yet whether it is out."""
        run = self.run
        return any(
            run.fell(entry) and not run.is_out(entry) and target.address not in self._left
            for entry, target in self._devices()
        )

    def _silent(self) -> list[Target]:
        """Return the first port of each device that answered before and is silent."""
        fallen = [target for entry, target in self._devices() if self.run.is_out(entry)]
        return [t for t in fallen if t.address not in self._left and not is_to_be_out(self.run, t)]

    def _devices(self) -> list[tuple[AddressState, Target]]:
        owners = self.run.owner_of
        return [(entry, owners[address]) for address, entry in self.run.watched.items() if address in owners]
