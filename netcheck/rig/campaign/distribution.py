"""The distribution of the sites of the campaign: every choice with its weight, and the ranges of values.

The weights are our own (no source). They make every class frequent enough to count; they do not describe a real plant.
Shares are per site. Seconds are virtual. Loss is the share of frames lost each way: with a loss of 0.2, 0.8 * 0.8 = 64
of 100 probes are answered.
"""

from __future__ import annotations

from enum import StrEnum
from random import Random
from typing import TypeVar

from netcheck.rig.technicians import Habit

T = TypeVar("T")


class Topology(StrEnum):
    """How the port under test is connected to the station."""

    DIRECT = "direct"
    SWITCH = "one switch"
    CHAIN = "daisy chain"


class Trait(StrEnum):
    """A property of a sound device. It is no fault and does not change the right verdict."""

    SOUND = "sound"
    NO_ECHO = "echo blocked"
    SLOW = "answers late"
    SLOW_START = "slow start"
    CHECKS = "checks its address (RFC 5227)"
    LIMITED = "answers rate-limited"
    ODD_ECHO = "echo that fits no probe"
    RESTARTS = "restarts once"


class Fault(StrEnum):
    """The fault of a site. The value is the label of its class."""

    NONE = "nothing"
    SECOND_ALWAYS = "second owner, always"
    SECOND_OUT = "second owner, cable out"
    SECOND_AT_TIMES = "second owner, at times"
    SECOND_LATER = "second owner, from some time on"
    PROXY = "proxy ARP"
    SWAPPED = "swapped addresses"
    NAMEPLATE = "wrong nameplate"
    STALE = "stale address"
    ABSENT = "absent"
    DEAF = "deaf to the station"
    WEAK = "weak host"
    RING = "ring"
    ECHO_ELSEWHERE = "echo from another MAC"
    FORGED_ECHO = "spoofed echo answers"
    FORGED_ARP = "spoofed ARP answers"
    UNKNOWN_CHAIN = "chain that the plan does not know"
    DIES = "does not come back"
    FLAPPING = "flapping link"
    # No station can distinguish these from a sound device, except by luck.
    TWIN = "perfect impersonator"
    SECOND_FAINT = "second owner, hardly ever heard"
    COINCIDENCE = "restarts by itself when asked for"
    UPLINK = "another cable to the same device"
    CANCELS = "swapped, and the other's cable pulled"


TOPOLOGIES = ((0.2, Topology.DIRECT), (0.5, Topology.SWITCH), (0.3, Topology.CHAIN))
TRAITS = (
    (0.42, Trait.SOUND),
    (0.10, Trait.NO_ECHO),
    (0.10, Trait.SLOW),
    (0.08, Trait.SLOW_START),
    (0.10, Trait.CHECKS),
    (0.10, Trait.LIMITED),
    (0.05, Trait.ODD_ECHO),
    (0.05, Trait.RESTARTS),
)
FAULTS = (
    (0.46, Fault.NONE),
    (0.05, Fault.SECOND_ALWAYS),
    (0.05, Fault.SECOND_OUT),
    (0.04, Fault.SECOND_AT_TIMES),
    (0.02, Fault.SECOND_LATER),
    (0.04, Fault.PROXY),
    (0.05, Fault.SWAPPED),
    (0.04, Fault.NAMEPLATE),
    (0.03, Fault.STALE),
    (0.01, Fault.ABSENT),
    (0.01, Fault.DEAF),
    (0.03, Fault.WEAK),
    (0.03, Fault.RING),
    (0.01, Fault.ECHO_ELSEWHERE),
    (0.02, Fault.FORGED_ECHO),
    (0.02, Fault.FORGED_ARP),
    (0.02, Fault.UNKNOWN_CHAIN),
    (0.01, Fault.DIES),
    (0.02, Fault.FLAPPING),
    (0.01, Fault.TWIN),
    (0.01, Fault.SECOND_FAINT),
    (0.01, Fault.COINCIDENCE),
    (0.005, Fault.UPLINK),
    (0.005, Fault.CANCELS),
)
HABITS = (
    (0.54, Habit.RIGHT),
    (0.08, Habit.WRONG),
    (0.05, Habit.CORRECTED),
    (0.05, Habit.SHORT),
    (0.03, Habit.ALWAYS_SHORT),
    (0.05, Habit.EARLY),
    (0.05, Habit.TWICE),
    (0.08, Habit.NONE),
    (0.03, Habit.STATION),
    (0.02, Habit.ALWAYS_STATION),
    (0.01, Habit.KEEPS),
    (0.01, Habit.SLIPS),
)
MILD = 0.2  # loss each way up to which a sound port should be proven
LOSSES = ((0.45, (0.0, 0.0)), (0.40, (0.0, MILD)), (0.15, (MILD, 0.6)))  # weight, range of the loss each way (uniform)
BURSTY = 0.4  # share of the lossy links whose losses come in bursts
BURST_LASTS = (0.1, 2.0)  # mean seconds of a burst, uniform on a logarithmic scale
JITTERY, JITTER = 0.15, 1.0  # share of the sites with jitter, and the largest jitter in seconds
SPANNING, BLOCKS = 0.12, (2.0, 30.0)  # share of switch ports that block, and seconds: RFC 4188, twice the forward delay
KEYED = 0.4  # share of the technicians who confirm with Enter; the others work hands-free
EARLY_KEYS = (0.0, 0.0, 0.0, 0.5, 4.0)  # seconds by which Enter comes before the movement, each equally likely
NAMED = 0.7  # share of the plans that name MACs
BORROWED = 0.4  # share of the stations without an address of their own in the subnet


def weighted_choice(random: Random, weighted: tuple[tuple[float, T], ...]) -> T:
    """Draw one value, each with the probability of its weight."""
    at = random.random() * sum(weight for weight, _ in weighted)
    for weight, value in weighted:
        at -= weight
        if at < 0:
            return value
    return weighted[-1][1]
