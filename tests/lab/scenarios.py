"""Scenarios of a port on real kernels: the plant, the run, and the verdict that it must get."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from tests.lab.commands import Result
from tests.lab.listener import Frame
from tests.lab.netns import Lab
from tests.lab.plant import Plant
from tests.lab.plants import odd, usual
from tests.lab.plants.usual import IMPOSTOR_MAC
from tests.lab.traffic_rules import Limits

Verdicts = str | tuple[str, ...]  # the expected verdict, or several of which one must come
PORT = "alpha/cpu:1"
ONE = ("--only", "alpha/cpu")
SHORT = (*ONE, "--patience", "12")
PORTABLE = ("--link", "portable")


@dataclass(frozen=True)
class Expected:
    """The expected result of a run.

    `says` are words of the first port's sentence, `notes` words of its notes, `warns` words of the lines of the run.
    `code` is the exit code if the verdicts do not determine it.
    """

    verdicts: dict[str, Verdicts]
    says: str = ""
    notes: str = ""
    warns: str = ""
    echo: str = ""
    cable: str = ""
    connector: str = ""
    code: int | None = None


@dataclass(frozen=True)
class Scenario:
    """A plant and a run. `lasts` is its approximate length in seconds."""

    name: str
    build: Callable[[Plant], None]
    expected: Expected
    words: tuple[str, ...] = ONE
    own: bool = True
    direct: bool = False
    macs: bool = True
    keys: bool = False
    limits: Limits = field(default_factory=Limits)
    lasts: float = 30.0


@dataclass(frozen=True)
class ScenarioResult:
    """The result of a run, and the frames that the listener at the station's end recorded."""

    ended: Result
    frames: list[Frame]
    planned: dict[str, str]  # the MAC of the device by address


def prove(scenario: Scenario, lab: Lab, folder: Path, prepare: Callable[[Plant], None] | None = None) -> ScenarioResult:
    """Build the plant, prove, and return the result; *prepare* may change the plant before the run."""
    plant = Plant(lab, folder, own=scenario.own, direct=scenario.direct)
    scenario.build(plant)
    if prepare is not None:
        prepare(plant)
    plant.plan(macs=scenario.macs)
    plant.listen()
    ended = plant.start(*scenario.words, keys=scenario.keys).end()
    assert plant.listener is not None
    return ScenarioResult(ended, plant.listener.frames(), plant.macs)


def one(verdict: Verdicts, says: str = "", **more: object) -> Expected:
    """Return the expected result for alpha's first port alone."""
    return Expected({PORT: verdict}, says, **more)  # type: ignore[arg-type]


USUAL: tuple[Scenario, ...] = (
    Scenario("healthy through a switch", usual.healthy, one("proven", cable="inferred", echo="answered")),
    Scenario("healthy, borrowed address", usual.healthy, one("proven"), own=False),
    Scenario("healthy, direct", usual.healthy_direct, one("proven", cable="carrier"), (*ONE, "--direct"), direct=True),
    Scenario("direct, borrowed", usual.healthy_direct, one("proven"), (*ONE, "--direct"), own=False, direct=True),
    Scenario("absent", usual.absent, one("silent"), SHORT),
    Scenario("two owners", usual.two_owners, one("contested", IMPOSTOR_MAC)),
    Scenario("owner with the cable out", usual.owner_with_the_cable_out, one("impostor", IMPOSTOR_MAC)),
    Scenario("uplink behind the switch", usual.uplink_behind_the_switch, one("unsettled"), SHORT),
    Scenario("station's own cable", usual.own_cable, one("unsettled", "own cable"), SHORT),
    Scenario("never pulled", usual.never_pulled, one("still-answering", "never fell silent"), SHORT),
    Scenario("wrong cable left out", usual.wrong_cable, one("swapped", "beta/cpu"), SHORT),
    Scenario("never returns", usual.never_returns, one("not-back"), SHORT),
    Scenario("swapped pair", usual.swapped_pair, one("swapped", "beta/cpu")),
    Scenario("swapped, no MACs planned", usual.swapped_pair, one("swapped", "beta/cpu"), SHORT, macs=False),
    Scenario("wrong nameplate", usual.wrong_nameplate, one("wrong-hardware", "00-00-5E-00-53-77")),
    Scenario("echo ignored", usual.echo_ignored, one("proven", echo="blocked", notes="echo: blocked")),
    Scenario("no other device", usual.no_other_device, one("unsettled", "--direct")),
    Scenario("gateway as only control", usual.gateway_alone, one("proven")),
    Scenario("router with proxy ARP", usual.proxy_arp, one("relayed", "00-00-5E-00-53-FE")),
    Scenario("weak host on one segment", usual.weak_host, one("contested", "00-00-5E-00-53-2A")),
    Scenario("port forwards after 20 s", usual.forwards_late, one("proven", notes="first answer came"), lasts=75),
    Scenario("interface removed", usual.interface_removed, one("unsettled", "gone")),
    Scenario(
        "borrowed address is owned",
        usual.borrowed_is_owned,
        one("not-tested", warns=IMPOSTOR_MAC, code=3),
        own=False,
    ),
    Scenario(
        "false owner behind another interface",
        usual.owner_behind_another_interface,
        one("impostor", IMPOSTOR_MAC),
        (*ONE, "--direct"),
        direct=True,
    ),
    Scenario(
        "two frames a second to one address",
        usual.healthy,
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
    Scenario("restarts by itself", odd.restarts_by_itself, one("still-answering", "fell silent once"), lasts=120),
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
    Scenario("Enter confirms", usual.healthy, one("proven", cable="operator", connector="operator"), ONE, keys=True),
    Scenario("s skips", odd.skipped, Expected({PORT: "skipped", "beta/cpu:1": "proven"}, "skipped"), (), keys=True),
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
        Expected({"alpha/cpu:2": "not-tested", PORT: "proven"}, "connector"),
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

# The portable link uses scapy's sockets and is a cross-check of the raw link: the verdicts must be the same.
AS_PORTABLE: tuple[Scenario, ...] = (
    Scenario("portable: healthy", usual.healthy, one("proven"), (*ONE, *PORTABLE)),
    Scenario("portable: absent", usual.absent, one("silent"), (*SHORT, *PORTABLE)),
    Scenario("portable: two owners", usual.two_owners, one("contested", IMPOSTOR_MAC), (*ONE, *PORTABLE)),
    Scenario("portable: impostor", usual.owner_with_the_cable_out, one("impostor", IMPOSTOR_MAC), (*ONE, *PORTABLE)),
    Scenario("portable: proxy ARP", usual.proxy_arp, one("relayed", "00-00-5E-00-53-FE"), (*ONE, *PORTABLE)),
    Scenario(
        "portable: direct, borrowed",
        usual.healthy_direct,
        one("proven", cable="carrier"),
        (*ONE, "--direct", *PORTABLE),
        own=False,
        direct=True,
    ),
)  # fmt: skip
