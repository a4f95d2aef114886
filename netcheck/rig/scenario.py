"""One run on the bench as data: the plant, the events without a hand, and the technician's reactions.

A scenario is small enough to print, to compare and to shrink. `netcheck.rig.bench` builds and runs it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from enum import StrEnum


class Mode(StrEnum):
    """The kind of run."""

    KEYED = "prove, with keys"
    HANDS_FREE = "prove, hands-free"
    DIRECT = "prove, direct cable, with keys"
    DIRECT_HANDS_FREE = "prove, direct cable, hands-free"
    WALK = "walk"
    IN_ORDER = "walk in order"

    @property
    def direct(self) -> bool:
        """Whether one cable connects the station to the port."""
        return self in (Mode.DIRECT, Mode.DIRECT_HANDS_FREE)

    @property
    def keyed(self) -> bool:
        """Whether the technician confirms movements with Enter."""
        return self in (Mode.KEYED, Mode.DIRECT)

    @property
    def walks(self) -> bool:
        """Whether the run is a walk."""
        return self in (Mode.WALK, Mode.IN_ORDER)


class Cable(StrEnum):
    """Which cable is moved, relative to the port that an instruction names."""

    OWN = "its own"
    OTHER = "another device's"
    UPSTREAM = "one that leads to its device alone"
    STATION = "the station's"
    LAST = "the one pulled last"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandMove:
    """The technician's reaction to one instruction; times are seconds after it.

    The cable moves after `after`. With `lasts`, the movement is undone so many seconds later: the cable is put back too
    early, or the plug slips out. With `again`, it is repeated so many seconds after that. Enter is pressed at `enter`;
    None means that it is not pressed.
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
    """A planned device with one interface. Times are in seconds.

    - `boots`: silence after its cable comes in, for example if the cable powers it.
    - `slow`: delay before each answer.
    - `loss`: share of frames lost each way.
    - `ports`: connectors of the interface; one of them has a cable.
    - `behind`: it is chained behind device 0.
    """

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

    It is present during an act, `always`, or `while_out`: only while the cable of that device is out. A `twin` has the
    device's MAC. A host `beyond` is heard through another interface of the station. With `announces` it announces the
    address when it appears.
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
    """An event that happens without an instruction."""

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
    """An event that happens `after` seconds after its trigger and lasts `lasts` seconds.

    `nth` counts the instructions that are its trigger, from 1. `who` is the index of a device or stranger, or the
    number that is pressed.
    """

    do: Do
    on: On = On.START
    nth: int = 1
    after: float = 0.0
    lasts: float = 0.0
    who: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """The next pull on a walk without order: the cable of a device, `wait` seconds after the last one.

    It is out for `lasts` seconds; 0 means until an instruction. With a `number`, the row of that port of the device is
    pressed while the cable is out.
    """

    device: int = 0
    wait: float = 30.0
    lasts: float = 0.0
    number: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One run. The first `asked` ports of the plan are proven. The last of `pulls` and of `plugs` is repeated."""

    mode: Mode = Mode.KEYED
    seed: int = 1
    devices: tuple[Device, ...] = (Device(), Device())
    asked: int = 1
    named: bool = True  # the plan names MACs
    borrowed: bool = False  # the station has no address of its own in the subnet
    gateway: bool = False
    swapped: bool = False  # devices 0 and 1 have each other's addresses
    heals: float | None = None  # device 0 has a second path that carries frames so many seconds after its pull
    blocks: float = 0.0  # seconds that a switch port blocks after link up
    through_switch: bool = False  # a cable that is said to be direct leads through a switch that sends nothing
    device_lldp: bool = False
    switch_lldp: str = ""  # the port name that the switch announces
    two_interfaces: bool = False  # the station has a second interface
    behind_planned: bool = False  # the plan says which device is chained behind which
    moves_connector: bool = True  # on request, the technician moves the cable before Enter
    reseats_connector: bool = False  # else the technician unplugs it and puts it back into the same connector
    strangers: tuple[Stranger, ...] = ()
    pulls: tuple[HandMove, ...] = (HandMove(),)
    plugs: tuple[HandMove, ...] = (HandMove(),)
    stops: tuple[Stop, ...] = ()
    acts: tuple[Act, ...] = ()
    once: bool = False  # on a walk: one pull is enough (--once)
    earlier: bool = False  # the record already has a proof in which the MAC of device 1 had the port of device 0
    patience: float = 60.0


def to_source(value: object) -> str:
    """Return a scenario or a part of one as the Python expression that builds it, without defaults."""
    if isinstance(value, StrEnum):
        return f"{type(value).__name__}.{value.name}"
    if isinstance(value, tuple):
        return "(" + "".join(f"{to_source(one)}, " for one in value).strip() + ")"
    if not is_dataclass(value):
        return repr(value)
    given = ((one, getattr(value, one.name)) for one in fields(value))
    arguments = [f"{one.name}={to_source(now)}" for one, now in given if now != one.default]
    return f"{type(value).__name__}({', '.join(arguments)})"
