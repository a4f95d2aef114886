"""Plants with device faults, unusual cabling or unusual timing.

Each function builds one and may replace the technician.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.lab.commands import Command
from tests.lab.plant import Plant
from tests.lab.plants.usual import IMPOSTOR_MAC, on_pull, pair
from tests.lab.technician import Action, Request

STRANGER_MAC = "00-00-5E-00-53-88"


def odd(*, direct: bool = False, **faults: Any) -> Callable[[Plant], None]:
    """Return a builder of one device with faults of `responder`, and one healthy device."""

    def build(plant: Plant) -> None:
        plant.odd("alpha", 20, direct=direct, **faults)
        if not direct:
            plant.device("beta", 21)

    return build


# Cabling and timing


def loose_plug(plant: Plant, times: int) -> None:
    """Let the link change *times* times when the first device's cable is first pulled and first plugged in again."""
    done: set[Action] = set()

    def technician(request: Request) -> None:
        plant.obey(request)
        again = request.action is Action.PULL or (request.plugs and Action.PULL in done)
        if again and request.action not in done:
            done.add(request.action)
            for _ in range(times):
                come_and_go(plant, is_in=request.plugs)

    plant.technician = technician


def come_and_go(plant: Plant, *, is_in: bool) -> None:
    """Change the link of the first device for 0.4 s, then change it back for 0.4 s."""
    first, second = (plant.pull, plant.plug_in) if is_in else (plant.plug_in, plant.pull)
    for act in (first, second):
        plant.pause(0.4)
        act(plant.devices[0])


def flapping(plant: Plant) -> None:
    """A device on the switch whose plug makes contact several times."""
    pair(plant)
    loose_plug(plant, 2)


def flapping_direct(plant: Plant) -> None:
    """A device on a direct cable whose plug makes contact several times."""
    plant.device("alpha", 20, direct=True)
    loose_plug(plant, 2)


def never_at_rest(plant: Plant) -> None:
    """The plug on a direct cable never makes lasting contact."""
    plant.device("alpha", 20, direct=True)
    loose_plug(plant, 12)


def restarts_by_itself(plant: Plant) -> None:
    """No cable is pulled: the device restarts at the moment of the first request and is back after 45 s."""
    alpha, _ = pair(plant)
    restarted = False

    def technician(request: Request) -> None:
        nonlocal restarted
        if request.pulls and not restarted:
            restarted = True
            plant.pause(1.0)
            plant.pull(alpha)
            plant.pause(45.0)
            plant.plug_in(alpha)

    plant.technician = technician


def wrong_cable_first(plant: Plant) -> None:
    """At the first request the neighbour's cable is pulled and plugged in again, then the right one is pulled."""
    _, beta = pair(plant)
    mistaken = False

    def technician(request: Request) -> None:
        nonlocal mistaken
        if request.pulls and not mistaken:
            mistaken = True
            plant.pause(0.7)
            plant.pull(beta)
            plant.pause(9.0)
            plant.plug_in(beta)
            plant.pause(4.0)
        plant.obey(request)

    plant.technician = technician


def borrowed_is_claimed_later(plant: Plant) -> None:
    """While a cable is out, a host with the borrowed address appears and asks for another address."""
    pair(plant)
    late = plant.stranger(240, IMPOSTOR_MAC)
    plant.lab.down(late, "eth0")

    def come() -> None:
        plant.lab.up(late, "eth0")
        plant.lab.start_echo(late, "192.0.2.77", 20)

    on_pull(plant, come)


def stranger_on_the_direct_cable(plant: Plant) -> None:
    """A second MAC on the device's own interface (macvlan), with an address that is not planned, sends ARP requests."""
    alpha = plant.device("alpha", 20, direct=True)
    neighbour = plant.lab.namespace("neighbour")
    macvlan = ["ip", "link", "add", "mv0", "link", "eth0", "netns", neighbour, "type", "macvlan", "mode", "bridge"]
    plant.lab.run(alpha.namespace, macvlan)
    plant.lab.mac(neighbour, "mv0", STRANGER_MAC)
    plant.lab.up(neighbour, "mv0")
    plant.lab.address(neighbour, "mv0", "192.0.2.88/24")
    plant.lab.start_echo(neighbour, "192.0.2.77", 200)


# Keys, typed as lines through a pipe


def after_the_pull(plant: Plant, act: Callable[[Command], object]) -> None:
    """Two healthy devices; after the first device's cable is pulled, *act* uses the keyboard."""
    pair(plant)

    def technician(request: Request) -> None:
        plant.obey(request)
        if request.pulls and request.device == "alpha" and plant.command is not None:
            act(plant.command)

    plant.technician = technician


def nobody_left(plant: Plant) -> None:
    """The input ends at the first pull; the rest of the run continues hands-free."""
    after_the_pull(plant, Command.hang_up)


def skipped(plant: Plant) -> None:
    """The technician skips the first port instead of pulling its cable."""
    pair(plant)

    def technician(request: Request) -> None:
        if request.device != "alpha":
            plant.obey(request)
        elif request.pulls and plant.command is not None:
            plant.command.press("s")

    plant.technician = technician


# Two ports, and chains of devices


def two_ports(plant: Plant) -> None:
    """A device with a built-in switch of two ports, and one cable that is moved from port to port."""
    plant.second_cable(plant.with_two_ports("alpha", 20))
    plant.device("beta", 21)


def chain(plant: Plant) -> None:
    """A neighbour is connected to the device's second port; the plan does not say it."""
    plant.chained("gamma", 22, plant.with_two_ports("alpha", 20))
    plant.device("beta", 21)


def chain_in_the_plan(plant: Plant) -> None:
    """A neighbour is connected to the device's second port, as the plan says."""
    chain(plant)
    plant.devices[1].behind = "alpha/cpu:2"


def chain_on_the_direct_cable(plant: Plant) -> None:
    """A chain of two devices on a direct cable."""
    plant.chained("gamma", 22, plant.with_two_ports("alpha", 20, direct=True))
