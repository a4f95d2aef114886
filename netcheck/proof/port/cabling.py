"""The cables between two ports: which cable moves to a connector, and which cables must be in before the next port."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.events import Action, What
from netcheck.proof.probing.address_state import AddressState
from netcheck.proof.result import Verdict
from netcheck.proof.run_state import RunState
from netcheck.proof.targets import Target
from netcheck.proof.view import is_to_be_out
from netcheck.text import listed

PATIENCE = 3  # the run waits for cables for this many times the patience; then it goes on and the screen names them
STEADY = 2.0  # seconds for which the interfaces behind a connector must answer before they count as connected again
Steps = Generator[None, None, None]


def move_text(run: RunState, target: Target) -> str:
    """Return the instruction that brings the cable to the network into this connector."""
    hangs = _behind(run, target)
    first = f"Unplug {listed(hangs)} from port {target.port}. " if hangs else ""
    start = run.moved or _first_port(run, target)
    origin = f"from port {start.port} " if start != target else ""
    return f"{first}Move the cable {origin}to {target.subject} and plug it in, then press Enter"


def restore_text(run: RunState, moved: Target) -> str:
    """Return the instruction that brings the cabling of a device back to what the plan draws."""
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
    """Return the port of the interface that its cable is in before it is moved."""
    return next(t for t in run.scope.targets if t.interface == target.interface)


class Cabling:
    """The work on cables between two ports.

    Before the next port has its turn, a moved cable goes back and every device that fell silent must answer again.
    Enter or `s` goes on without this.
    """

    def __init__(self, run: RunState) -> None:
        """Start with every cable as the plan draws it."""
        self.run = run
        self.asked: list[Target] = []  # ports whose cables the technician is asked to plug in again
        self._silent_first: tuple[Target, ...] = ()  # ports that were silent when their cables were asked back
        self._left: set[int] = set()  # addresses that the run no longer waits for

    def after_port(self, following: Target | None) -> Steps:
        """Bring the cabling into order for the next port; `None` means that the run ends and waits for no cable."""
        run, moved = self.run, self.run.moved
        if moved is not None and (following is None or following.interface != moved.interface):
            run.moved = None
            if following is None:
                run.say(What.NOTE, "", restore_text(run, moved))
            else:
                yield from self._restore(moved)
        if following is not None and not run.options.direct:
            yield from self._all_back()

    def _restore(self, moved: Target) -> Steps:
        """Ask for the cabling of the plan; wait for Enter or until the interfaces behind the connector answer."""
        run = self.run
        run.take_enter()
        deadline = run.now + PATIENCE * run.options.patience
        run.ask(Action.RESTORE, "", f"{restore_text(run, moved)}. Then press Enter", deadline)
        names = _behind(run, moved)
        behind = [entry for entry, target in self._devices() if target.interface in names and entry.answered]
        since = run.now
        while not run.take_enter() and run.now < deadline and not run.options.hands_free:
            if behind and all(entry.answered_between(since, run.now - STEADY) for entry in behind):
                break
            yield
        run.drop_request("")

    def _all_back(self) -> Steps:
        """Ask for every cable that is still out, and wait until every device that answered before answers again."""
        run = self.run
        not_back = {proof.subject for proof in run.proofs if proof.verdict is Verdict.NOT_BACK}  # phase back waited
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
            self._withdraw_requests(still)
            yield
        self._left |= {target.address for target in still}
        self._withdraw_requests([])

    def _ask(self, deadline: float) -> None:
        """Ask for each cable by its port.

        After `swapped`, ask for the cable that was pulled for the last port, whichever address it leads to.
        """
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

    def _withdraw_requests(self, still: list[Target]) -> None:
        """Stop asking for each cable that is back; *still* are the ports that are still silent.

        After `swapped`, the pulled cable counts as back once no device is silent.
        """
        kept = [target for target in self.asked if target in still or (still and target not in self._silent_first)]
        for target in self.asked:
            if target not in kept:
                self.run.drop_request(target.subject)
        self.asked = kept

    def _doubtful(self) -> bool:
        """Return whether a device has missed some requests, and it is not known yet whether its cable is out."""
        run = self.run
        return any(
            run.fell(entry) and not run.is_out(entry) and target.address not in self._left
            for entry, target in self._devices()
        )

    def _silent(self) -> list[Target]:
        """Return the first port of each interface that answered before and is silent now."""
        fallen = [target for entry, target in self._devices() if self.run.is_out(entry)]
        return [t for t in fallen if t.address not in self._left and not is_to_be_out(self.run, t)]

    def _devices(self) -> list[tuple[AddressState, Target]]:
        owners = self.run.owner_of
        return [(entry, owners[address]) for address, entry in self.run.watched.items() if address in owners]
