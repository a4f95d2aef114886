"""Plants of odd devices, odd cabling and odd moments: each function builds one, and may replace the hand."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from tests.lab.hall import Hall
from tests.lab.plants import IMPOSTOR_MAC, on_pull, pair
from tests.lab.running import Running

STRANGER_MAC = "00-00-5E-00-53-88"


def odd(*, direct: bool = False, **faults: Any) -> Callable[[Hall], None]:
    """One device that misbehaves as `responder` describes, and a healthy one beside it on the switch."""

    def build(hall: Hall) -> None:
        hall.odd("alpha", 20, direct=direct, **faults)
        if not direct:
            hall.device("beta", 21)

    return build


# Cables and moments


def loose_plug(hall: Hall, times: int) -> None:
    """Let the link come and go so many times when the first device's cable is first pulled, and when it is first put
    back."""
    moved: set[str] = set()

    def hand(port: str, text: str) -> None:
        hall.honest(port, text)
        how = text.split()[0]
        if how in ("Pull", "Plug") and how not in moved and "into" not in text:
            moved.add(how)
            for _ in range(times):
                come_and_go(hall, how == "Plug")

    hall.hand = hand


def come_and_go(hall: Hall, is_in: bool) -> None:
    """Let the link of the first device be the other way for a moment."""
    first, second = (hall.pull, hall.plug_in) if is_in else (hall.plug_in, hall.pull)
    for act in (first, second):
        time.sleep(0.4)
        act(hall.devices[0])


def flapping(hall: Hall) -> None:
    """A device on the switch whose plug does not sit at once."""
    pair(hall)
    loose_plug(hall, 2)


def flapping_direct(hall: Hall) -> None:
    """The same at the end of the station's cable."""
    hall.device("alpha", 20, direct=True)
    loose_plug(hall, 2)


def never_at_rest(hall: Hall) -> None:
    """The plug at the end of the station's cable never sits."""
    hall.device("alpha", 20, direct=True)
    loose_plug(hall, 12)


def restarts_by_itself(hall: Hall) -> None:
    """Nobody pulls anything: the device restarts at the moment of the request and is back after 45 s."""
    alpha, _ = pair(hall)

    def hand(port: str, text: str) -> None:
        if text.startswith("Pull"):
            time.sleep(1.0)
            hall.pull(alpha)
            time.sleep(45.0)
            hall.plug_in(alpha)

    hall.hand = hand


def wrong_cable_first(hall: Hall) -> None:
    """The neighbour's cable is pulled and put back, then the right one."""
    _, beta = pair(hall)

    def hand(port: str, text: str) -> None:
        if text.startswith("Pull"):
            time.sleep(0.7)
            hall.pull(beta)
            time.sleep(9.0)
            hall.plug_in(beta)
            time.sleep(4.0)
        hall.honest(port, text)

    hall.hand = hand


def borrowed_is_claimed_later(hall: Hall) -> None:
    """Somebody comes with the borrowed address while a cable is out, and asks for another address from it."""
    pair(hall)
    late = hall.stranger(240, IMPOSTOR_MAC)
    hall.lab.down(late, "eth0")

    def come() -> None:
        hall.lab.up(late, "eth0")
        hall.lab.start_echo(late, "192.0.2.77", 20)

    on_pull(hall, come)


def stranger_on_the_direct_cable(hall: Hall) -> None:
    """A second MAC on the device's own interface (macvlan), with an address that nobody planned, asks for somebody."""
    alpha = hall.device("alpha", 20, direct=True)
    beside = hall.lab.namespace("beside")
    macvlan = ["ip", "link", "add", "mv0", "link", "eth0", "netns", beside, "type", "macvlan", "mode", "bridge"]
    hall.lab.run(alpha.namespace, macvlan)
    hall.lab.mac(beside, "mv0", STRANGER_MAC)
    hall.lab.up(beside, "mv0")
    hall.lab.address(beside, "mv0", "192.0.2.88/24")
    hall.lab.start_echo(beside, "192.0.2.77", 200)


# Keys: lines typed through a pipe


def after_the_pull(hall: Hall, act: Callable[[Running], object]) -> None:
    """Two healthy devices; once the first one's cable is pulled, something is done at the keyboard."""
    pair(hall)

    def hand(port: str, text: str) -> None:
        hall.honest(port, text)
        if text.startswith("Pull") and port.startswith("alpha") and hall.running is not None:
            act(hall.running)

    hall.hand = hand


def confirmed(hall: Hall) -> None:
    """The pull is confirmed by Enter."""
    after_the_pull(hall, Running.press)


def nobody_left(hall: Hall) -> None:
    """The input ends with the first pull: what is left goes on by itself."""
    after_the_pull(hall, Running.hang_up)


def skipped(hall: Hall) -> None:
    """The first port is skipped in place of the pull."""
    pair(hall)

    def hand(port: str, text: str) -> None:
        if not port.startswith("alpha"):
            hall.honest(port, text)
        elif text.startswith("Pull") and hall.running is not None:
            hall.running.press("s")

    hall.hand = hand


# Two ports, and chains of devices


def two_ports(hall: Hall) -> None:
    """A device with a built-in switch of two ports; one cable, to be moved from port to port."""
    hall.second_cable(hall.with_two_ports("alpha", 20))
    hall.device("beta", 21)


def chain(hall: Hall) -> None:
    """A neighbour hangs behind the device's second port, and the plan does not say so."""
    hall.chained("gamma", 22, hall.with_two_ports("alpha", 20))
    hall.device("beta", 21)


def chain_in_the_plan(hall: Hall) -> None:
    """The same, and the plan says so."""
    chain(hall)
    hall.devices[1].behind = "alpha/cpu:2"


def chain_on_the_direct_cable(hall: Hall) -> None:
    """A chain of two devices at the end of the station's cable."""
    hall.chained("gamma", 22, hall.with_two_ports("alpha", 20, direct=True))
