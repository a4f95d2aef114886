"""One run on the bench as data: the plant, what happens by itself, and what the technician does when asked.

A scenario is small enough to print, to compare and to shrink. `netcheck.rig.bench` builds and runs it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from enum import StrEnum


class Mode(StrEnum):
    """How the run is done."""

    KEYED = "prove, with keys"
    HANDS_FREE = "prove, hands-free"
    DIRECT = "prove, direct cable, with keys"
    DIRECT_HANDS_FREE = "prove, direct cable, hands-free"
    WALK = "walk"
    IN_ORDER = "walk in order"

    @property
    def direct(self) -> bool:
        """The station is connected to the port by one cable."""
        return self in (Mode.DIRECT, Mode.DIRECT_HANDS_FREE)

    @property
    def keyed(self) -> bool:
        """The technician confirms movements with Enter."""
        return self in (Mode.KEYED, Mode.DIRECT)

    @property
    def walks(self) -> bool:
        """The run is a walk."""
        return self in (Mode.WALK, Mode.IN_ORDER)


class Cable(StrEnum):
    """A cable, as seen from the port that an instruction names."""

    OWN = "its own"
    OTHER = "another device's"
    UPSTREAM = "one that leads to its device alone"
    STATION = "the station's"
    LAST = "the one pulled last"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandMove:
    """The technician's reaction to one instruction; times are seconds after it.

    The cable moves after `after`. With `lasts`, the movement is undone after that many seconds (put back too early,
    or a plug that makes contact and slips out); with `again`, it is repeated that many seconds later. Enter is
    pressed at `enter`, if at all.
    """

    cable: Cable = Cable.OWN
    after: float = 1.0
    lasts: float = 0.0
    again: float = 0.0
    enter: float | None = None


class Replies(StrEnum):
    """Which requests a host answers."""

    ALL = "all requests"
    NO_ECHO = "ARP only"
    PROBES = "ARP requests without a sender address only"
    ECHO = "echo only"
    EVERY_SECOND = "every second ARP request"
    TO_ALL = "ARP with replies sent to the broadcast address"


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A planned device. `boots` is how long it is silent after its cable came in (it may be powered over it). `ports`
    connectors lead to its one interface, one of which has a cable. `behind` hangs it behind device 0."""

    boots: float = 0.0
    replies: Replies = Replies.ALL
    checks_itself: bool = False
    slow: float = 0.0
    loss: float = 0.0
    ports: int = 1
    behind: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Stranger:
    """An unplanned host with the address of device `of`.

    It is present during an act, or `always`, or only while that device's cable is out. A `twin` has the device's
    MAC. A host `beyond` is heard through another interface of the station.
    """

    of: int = 0
    replies: Replies = Replies.ALL
    always: bool = False
    while_out: bool = False
    twin: bool = False
    beyond: bool = False
    announces: bool = False
    loss: float = 0.0


class On(StrEnum):
    """The trigger of an act: the start of the run, or the nth instruction of a kind."""

    START = "start"
    PULL = "pull"
    PLUG = "plug"


class Do(StrEnum):
    """Something that happens without the technician's cable work."""

    RESTART = "the device restarts"
    BLINK = "the path to the device fails"  # a cable elsewhere, a switch port
    SLIP = "its cable slips out"
    LINK = "the station's link goes down"  # a renegotiation, a reset of the adapter
    VANISH = "the station's interface goes down"
    STATION_OUT = "the station's cable is out"
    SUSPEND = "the computer is suspended"
    MUTE = "no frame leaves the station"
    OVERRUN = "the receive queue overruns"
    STRANGER = "a stranger is there"
    ENTER = "Enter is pressed"
    NUMBER = "a number is pressed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Something that happens `after` seconds after its trigger and lasts `lasts` seconds. `who` is the index of a
    device or stranger, or the number that is pressed. `nth` counts instructions of that kind from 1."""

    do: Do
    on: On = On.START
    nth: int = 1
    after: float = 0.0
    lasts: float = 0.0
    who: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """On a walk without order: the cable that is pulled next. It is out for `lasts` seconds, or until told with 0. With
    a `number` the row of that port of the device is pressed while it is out."""

    device: int = 0
    wait: float = 30.0
    lasts: float = 0.0
    number: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One run. `asked` ports are proven, in the plan's order; the last of `pulls` and `plugs` is repeated."""

    mode: Mode = Mode.KEYED
    seed: int = 1
    devices: tuple[Device, ...] = (Device(), Device())
    asked: int = 1
    named: bool = True  # the plan names MACs
    borrowed: bool = False  # the station has no address of its own in the subnet
    gateway: bool = False
    swapped: bool = False  # devices 0 and 1 have each other's addresses
    heals: float | None = None  # device 0 has a second path, usable this long after its cable came out
    blocks: float = 0.0  # a switch port forwards this long after link-up
    through_switch: bool = False  # a cable that is said to be direct leads through a quiet switch
    device_lldp: bool = False
    switch_lldp: str = ""  # the port name that the switch announces
    two_interfaces: bool = False  # the station has a second interface
    behind_planned: bool = False  # the plan knows which device hangs behind which
    moves_connector: bool = True  # the hand moves the cable when asked to, before it confirms
    reseats_connector: bool = False  # else it unplugs the cable and puts it back into the same connector
    strangers: tuple[Stranger, ...] = ()
    pulls: tuple[HandMove, ...] = (HandMove(),)
    plugs: tuple[HandMove, ...] = (HandMove(),)
    stops: tuple[Stop, ...] = ()
    acts: tuple[Act, ...] = ()
    once: bool = False  # on a walk: one pull is to be enough
    earlier: bool = False  # the record already holds a proof in which device 1's MAC had device 0's port
    patience: float = 60.0


def to_source(value: object) -> str:
    """Return a scenario, or a part of one, as the Python expression that builds it; defaults are left out."""
    if isinstance(value, StrEnum):
        return f"{type(value).__name__}.{value.name}"
    if isinstance(value, tuple):
        return "(" + "".join(f"{to_source(one)}, " for one in value).strip() + ")"
    if not is_dataclass(value):
        return repr(value)
    given = ((one, getattr(value, one.name)) for one in fields(value))
    words = [f"{one.name}={to_source(now)}" for one, now in given if now != one.default]
    return f"{type(value).__name__}({', '.join(words)})"
