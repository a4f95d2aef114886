"""What may happen at a port, on real kernels: the plant, how it is proven, and the verdict that it must get."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from tests.lab import oddities as odd
from tests.lab import plants
from tests.lab.hall import Hall
from tests.lab.listener import Frame
from tests.lab.manners import Limits
from tests.lab.netns import Lab
from tests.lab.plants import IMPOSTOR_MAC
from tests.lab.running import Ended

PORT = "alpha/cpu:1"
ONE = ("--only", "alpha/cpu")
SHORT = (*ONE, "--patience", "12")
PORTABLE = ("--link", "portable")


@dataclass(frozen=True)
class Expected:
    """How a run must end. `says` are words in the sentence of the first port, `notes` in its notes, `warns` in what
    was said on the way; `code` is the exit code, where the verdicts do not give it."""

    verdicts: dict[str, str]
    says: str = ""
    notes: str = ""
    warns: str = ""
    echo: str = ""
    cable: str = ""
    connector: str = ""
    code: int | None = None


@dataclass(frozen=True)
class Scenario:
    """A plant and a run."""

    name: str
    build: Callable[[Hall], None]
    expected: Expected
    words: tuple[str, ...] = ONE
    own: bool = True
    direct: bool = False
    macs: bool = True
    keys: bool = False
    limits: Limits = field(default_factory=Limits)
    lasts: float = 30.0


@dataclass(frozen=True)
class Proven:
    """What came of a run: how it ended, and what the listener at the station's end kept."""

    ended: Ended
    frames: list[Frame]
    planned: tuple[str, ...]


def prove(scenario: Scenario, lab: Lab, folder: Path) -> Proven:
    """Build the plant, prove, and return what came of it."""
    hall = Hall(lab, folder, own=scenario.own, direct=scenario.direct)
    scenario.build(hall)
    hall.plan(macs=scenario.macs)
    hall.listen()
    ended = hall.start(*scenario.words, keys=scenario.keys).end()
    assert hall.listener is not None
    return Proven(ended, hall.listener.frames(), tuple(device.address for device in hall.devices))


def one(verdict: str, says: str = "", **more: object) -> Expected:
    """What is expected of alpha's first port alone."""
    return Expected({PORT: verdict}, says, **more)  # type: ignore[arg-type]


USUAL: tuple[Scenario, ...] = (
    Scenario("healthy through a switch", plants.healthy, one("proven", cable="inferred", echo="answered")),
    Scenario("healthy, borrowed address", plants.healthy, one("proven"), own=False),
    Scenario("healthy, direct", plants.healthy_direct, one("proven", cable="carrier"), (*ONE, "--direct"), direct=True),
    Scenario("direct, borrowed", plants.healthy_direct, one("proven"), (*ONE, "--direct"), own=False, direct=True),
    Scenario("absent", plants.absent, one("silent"), SHORT),
    Scenario("two owners", plants.two_owners, one("contested", IMPOSTOR_MAC)),
    Scenario("owner with the cable out", plants.owner_with_the_cable_out, one("impostor", IMPOSTOR_MAC)),
    Scenario("uplink behind the switch", plants.uplink_behind_the_switch, one("unsettled"), SHORT),
    Scenario("station's own cable", plants.own_cable, one("unsettled", "own cable"), SHORT),
    Scenario("never pulled", plants.never_pulled, one("still-answering", "never fell silent"), SHORT),
    Scenario("wrong cable left out", plants.wrong_cable, one("swapped", "beta/cpu"), SHORT),
    Scenario("never returns", plants.never_returns, one("not-back"), SHORT),
    Scenario("swapped pair", plants.swapped_pair, one("swapped", "beta/cpu")),
    Scenario("swapped, no MACs planned", plants.swapped_pair, one("swapped", "beta/cpu"), SHORT, macs=False),
    Scenario("wrong nameplate", plants.wrong_nameplate, one("wrong-hardware", "00-00-5E-00-53-77")),
    Scenario("echo ignored", plants.echo_ignored, one("proven", echo="blocked", notes="echo: blocked")),
    Scenario("no other device", plants.no_other_device, one("unsettled", "--direct")),
    Scenario("gateway as only control", plants.gateway_alone, one("proven")),
    Scenario("router with proxy ARP", plants.proxy_arp, one("relayed", "00-00-5E-00-53-FE")),
    Scenario("weak host on one segment", plants.weak_host, one("contested", "00-00-5E-00-53-2A")),
    Scenario("port forwards after 20 s", plants.forwards_late, one("proven", notes="first answer came"), lasts=75),
    Scenario("interface removed", plants.interface_removed, one("unsettled", "gone")),
    Scenario(
        "borrowed address is owned",
        plants.borrowed_is_owned,
        one("not-tested", warns=IMPOSTOR_MAC, code=3),
        own=False,
    ),
    Scenario(
        "false owner behind another interface",
        plants.owner_behind_another_interface,
        one("impostor", IMPOSTOR_MAC),
        (*ONE, "--direct"),
        direct=True,
    ),
    Scenario(
        "two frames a second to one address",
        plants.healthy,
        one("proven"),
        (*ONE, "--pace-each", "2"),
        limits=Limits(each=2),
        lasts=45,
    ),
)

ODD: tuple[Scenario, ...] = (
    Scenario("checks its own address", odd.odd(self_check=1.0), one("proven"), own=False, lasts=45),
    Scenario(
        "checks its own address, direct",
        odd.odd(self_check=1.0, direct=True),
        one("proven"),
        (*ONE, "--direct"),
        own=False,
        direct=True,
        lasts=45,
    ),
    Scenario("loses a fifth, takes 0.4 s", odd.odd(loss=0.2, delay=0.4), one("proven"), lasts=60),
    Scenario("answers after 4 s", odd.odd(delay=4.0), one("proven", echo="blocked"), lasts=60),
    Scenario("wrong identifier", odd.odd(echo="wrong-identifier"), one("proven", echo="blocked", notes="no probe")),
    Scenario("wrong payload", odd.odd(echo="wrong-payload"), one("proven", echo="blocked", notes="no probe")),
    Scenario("wrong source address", odd.odd(echo="wrong-source"), one("proven", echo="blocked", notes="no probe")),
    Scenario("echo by another MAC", odd.odd(echo="wrong-mac"), one("relayed", "00-00-5E-00-53-15")),
    Scenario("flapping link", odd.flapping, one("proven"), lasts=60),
    Scenario("flapping link, direct", odd.flapping_direct, one("proven"), (*ONE, "--direct"), direct=True, lasts=60),
    Scenario("link never at rest", odd.never_at_rest, one("unsettled", "flapping"), (*ONE, "--direct"), direct=True),
    Scenario("restarts by itself", odd.restarts_by_itself, one("proven", cable="inferred", notes="inferred"), lasts=60),
    Scenario("wrong cable first", odd.wrong_cable_first, one("proven", warns="fell silent instead"), lasts=60),
    Scenario(
        "borrowed address is claimed later",
        odd.borrowed_is_claimed_later,
        one(
            "unsettled", IMPOSTOR_MAC, warns="192.0.2.240, which was to be borrowed, belongs to " + IMPOSTOR_MAC, code=3
        ),
        own=False,
    ),
    Scenario(
        "stranger on the direct cable",
        odd.stranger_on_the_direct_cable,
        one("unsettled", odd.STRANGER_MAC),
        (*ONE, "--direct"),
        direct=True,
    ),
    Scenario("Enter confirms", odd.confirmed, one("proven", cable="operator", connector="operator"), ONE, keys=True),
    Scenario("s skips", odd.skipped, Expected({PORT: "unsettled", "beta/cpu:1": "proven"}, "skipped"), (), keys=True),
    Scenario(
        "nobody is left to type",
        odd.nobody_left,
        Expected({PORT: "proven", "beta/cpu:1": "proven"}),
        (),
        keys=True,
        lasts=65,
    ),
    Scenario(
        "two ports, hands-free",
        odd.two_ports,
        Expected({"alpha/cpu:2": "unsettled", PORT: "proven"}, "connector"),
        lasts=60,
    ),
    Scenario(
        "two ports, with Enter", odd.two_ports, Expected({"alpha/cpu:2": "proven", PORT: "proven"}), keys=True, lasts=60
    ),
    Scenario("chain, not in the plan", odd.chain, one("unsettled", "gamma/cpu"), ("--only", PORT)),
    Scenario("chain, in the plan", odd.chain_in_the_plan, one("proven"), ("--only", PORT)),
    Scenario(
        "chain on the direct cable",
        odd.chain_on_the_direct_cable,
        one("proven", cable="carrier", notes="other devices"),
        ("--only", PORT, "--direct"),
        direct=True,
    ),
    Scenario(
        "chain on the direct cable, no MACs planned",
        odd.chain_on_the_direct_cable,
        one("unsettled", "00-00-5E-00-53-16"),
        ("--only", PORT, "--direct"),
        direct=True,
        macs=False,
    ),
)

# The portable link is scapy's own sockets: a cross-check of the raw one, so the verdicts must be the same.
AS_PORTABLE: tuple[Scenario, ...] = (
    Scenario("portable: healthy", plants.healthy, one("proven"), (*ONE, *PORTABLE)),
    Scenario("portable: absent", plants.absent, one("silent"), (*SHORT, *PORTABLE)),
    Scenario("portable: two owners", plants.two_owners, one("contested", IMPOSTOR_MAC), (*ONE, *PORTABLE)),
    Scenario("portable: impostor", plants.owner_with_the_cable_out, one("impostor", IMPOSTOR_MAC), (*ONE, *PORTABLE)),
    Scenario("portable: proxy ARP", plants.proxy_arp, one("relayed", "00-00-5E-00-53-FE"), (*ONE, *PORTABLE)),
    Scenario(
        "portable: direct, borrowed",
        plants.healthy_direct,
        one("proven", cable="carrier"),
        (*ONE, "--direct", *PORTABLE),
        own=False,
        direct=True,
    ),
)  # fmt: skip
