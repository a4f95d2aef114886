"""One pull of a cable while it is in progress: when it was asked for, when the silence began, and its controls."""

from __future__ import annotations

from netcheck.proof.probing.address_state import EVER, AddressState
from netcheck.proof.verdict.silence_rule import ON_TIME, Confirmed


class Pull:
    """One pull of a cable. A time is EVER until it is known. The phases set the fields."""

    def __init__(self, requested: float | None, asked_before: tuple[int, int] = (0, 0)) -> None:
        """`requested` is the time of the request to pull, None if nobody asked.

        `asked_before` is the number of probes (ARP, echo) that were sent before the search for a silence began; it is
        used only if nobody asked.
        """
        self.requested = requested
        self.asked_before = asked_before
        self.cable: str | None = None  # how it is known that the cable is out: "carrier", "operator" or "inferred"
        self.confirmed = Confirmed.NOTHING
        self.entered_at: float | None = None  # time of the Enter that says that the cable is out
        self.out_from = EVER  # beginning of phase out
        self.answered_before = EVER  # send time of the last answered probe before phase out
        self.counted_from = EVER  # misses count from this time on
        self.silent_from = EVER  # send time of the last answered probe: the length of the silence counts from it
        self.needed = 0.0  # seconds that the silence must last
        self.misses_take = 0.0  # seconds that the needed misses take at least; before, they are not counted
        self.plug_at = EVER  # time of the request to plug the cable in again
        self.returned = EVER  # send time of the first answered probe after the return
        self.living: list[AddressState] = []  # others that answered when the pull was asked for
        self.controls: list[AddressState] = []
        self.gateway: AddressState | None = None
        self.lost: dict[AddressState, float] = {}  # controls that fell silent in phase out, and their last answer
        self.asks_anonymously = False  # requests without a sender address are sent
        self.closed = False  # its results are recorded

    @property
    def out(self) -> bool:
        """Whether phase out has begun."""
        return self.out_from < EVER

    @property
    def late(self) -> bool:
        """Whether the silence began too long after the request, and after Enter, to be their consequence."""
        if self.requested is None or self.silent_from <= self.requested + ON_TIME:
            return False
        return self.entered_at is None or self.silent_from > self.entered_at + ON_TIME

    @property
    def all_controls(self) -> list[AddressState]:
        """Every control, the gateway included."""
        return self.controls if self.gateway is None else [*self.controls, self.gateway]

    @property
    def after(self) -> float | None:
        """Seconds from the request to the last answered probe before the silence; None if nobody asked."""
        return None if self.requested is None else max(0.0, self.silent_from - self.requested)
