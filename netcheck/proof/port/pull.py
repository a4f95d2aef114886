"""One pull of a cable while it is in progress: when it was asked for, when the silence began, and its controls."""

from __future__ import annotations

from netcheck.proof.probing.address_state import EVER, AddressState
from netcheck.proof.verdict.silence_rule import ON_TIME, Confirmed


class Pull:
    """One pull: times are EVER until they are known; the phases set the fields in order."""

    def __init__(self, requested: float | None, asked_before: tuple[int, int] = (0, 0)) -> None:
        """`requested` is when the cable was asked for, None where nobody asked. `asked_before` is the number of probes
        (ARP, echo) that had been sent before a silence was first looked for; it matters only where nobody asked."""
        self.requested = requested
        self.asked_before = asked_before
        self.cable: str | None = None  # what says that it is out: "carrier", "operator" or "inferred"
        self.confirmed = Confirmed.NOTHING
        self.said_at: float | None = None  # when the operator said that it is out
        self.out_from = EVER  # when phase out began
        self.left = EVER  # when the last probe that was answered before phase out was sent
        self.quiet_from = EVER  # misses from here on count
        self.silent_from = EVER  # when the last probe that was answered at all was sent: the silence is as long as this
        self.needed = 0.0  # seconds of silence
        self.misses_take = 0.0  # seconds below which the misses need not be counted
        self.plug_at = EVER  # when the cable was asked back
        self.returned = EVER  # when the first probe that counts as answered again was sent
        self.living: list[AddressState] = []  # others that answered at the request
        self.controls: list[AddressState] = []
        self.gateway: AddressState | None = None
        self.lost: dict[AddressState, float] = {}  # controls that fell silent in phase out, and their last answer
        self.asks_anonymously = False
        self.closed = False  # its results are recorded

    @property
    def out(self) -> bool:
        """Phase out has begun."""
        return self.out_from < EVER

    @property
    def late(self) -> bool:
        """The silence began too long after the request, and after the operator's word, to be their consequence."""
        if self.requested is None or self.silent_from <= self.requested + ON_TIME:
            return False
        return self.said_at is None or self.silent_from > self.said_at + ON_TIME

    @property
    def all_controls(self) -> list[AddressState]:
        """Every control, the gateway included."""
        return self.controls if self.gateway is None else [*self.controls, self.gateway]

    @property
    def after(self) -> float | None:
        """Seconds from the request to the last answered probe before the silence, None where nobody asked."""
        return None if self.requested is None else max(0.0, self.silent_from - self.requested)
