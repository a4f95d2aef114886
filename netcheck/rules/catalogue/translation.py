"""Rules on translations: the outside addresses that make devices behind a translating router reachable.

All rules on addresses check an outside address like a planned one, with the subject `router/outside address`. The rules
in this module check the translation itself.
"""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.addr import Address
from netcheck.plan.model import Translation
from netcheck.rules.finding import Breach, Severity, places
from netcheck.rules.rule import Rule, device, plan
from netcheck.rules.scene import Scene
from netcheck.text import listed


def _breach(message: str, *translations: Translation, others: tuple[str, ...] = ()) -> Breach:
    subjects = tuple(dict.fromkeys(one.subject for one in translations))
    outside = {one.outside.value for one in translations}
    address = outside.pop() if len(outside) == 1 else None
    return Breach(
        subjects, message, places(one.position for one in translations), str(address) if address else None, others
    )


def _to_nothing(scene: Scene) -> Iterator[Breach]:
    for one in scene.plan.translations:
        inside, island = one.inside.value, scene.islands[one.island]
        if inside is not None and not island.placed_at.get(inside) and not island.hosts.at(inside):
            why = f"no interface of island {one.island} is planned at {inside}, and no site host has it"
            yield _breach(f"{why}: {one.outside.text} leads to no device", one, others=(str(inside),))


def _twice(scene: Scene) -> Iterator[Breach]:
    by_outside: dict[tuple[str, Address], list[Translation]] = {}
    by_inside: dict[tuple[str, Address], list[Translation]] = {}
    for one in scene.plan.translations:
        if one.outside.value is not None and one.inside.value is not None:
            by_outside.setdefault((scene.plan.outer_island(one), one.outside.value), []).append(one)
            by_inside.setdefault((one.island, one.inside.value), []).append(one)
    for (_, outside), several in by_outside.items():
        if len(several) > 1:
            insides = [f"{one.inside.value} of island {one.island} at {one.at}" for one in several]
            message = f"{outside} is the outside address of {listed(insides)}"
            yield _breach(message, *several, others=(", ".join(insides[:4]),))
    for (island, inside), several in by_inside.items():
        outsides = list(dict.fromkeys(str(one.outside.value) for one in several))
        if len(outsides) > 1:
            message = f"{inside} of island {island} has the outside addresses {listed(outsides)}; it replies from one"
            yield _breach(message, *several, others=(str(inside),))


def _of_router(scene: Scene) -> Iterator[Breach]:
    for one in scene.plan.translations:
        router = scene.plan.router_named.get(one.at)
        cells = router.interfaces if router else ()
        shared = one.sources is not None  # a router's own address may be the source of many
        if (
            not shared
            and one.outside.value is not None
            and any(cell.value is not None and cell.value.address == one.outside.value for cell in cells)
        ):
            message = f"{one.outside.value} is an interface of router {one.at} itself"
            message = f"{message}: packets for the router would go to {one.inside.text}"
            yield _breach(message, one, others=(one.at,))


_SKID = '[[subnet]]\nname = "skid"\nprefix = "192.168.10.0/24"\nisland = "machine-1"'
_INSIDE_SURVEY = (
    '[[survey]]\nfile = "site-hosts.csv"\ntaken = 2026-10-28\ncovers = ["192.168.10.0/24"]\nisland = "machine-1"'
)
_ROUTER = '[[router]]\nname = "skid-router"\ninterfaces = ["10.62.20.60/24", "192.168.10.1/24"]'
_SKID_PLC = device("skid-plc", cpu='subnet = "skid"\naddress = "192.168.10.5"')


def _translation(outside: str = "10.62.20.61", inside: str = "192.168.10.5") -> str:
    keys = f'outside = "{outside}"\ninside = "{inside}"\nisland = "machine-1"\nat = "skid-router"'
    return f"[[translation]]\n{keys}"


_SECOND = device("skid-panel", lan='subnet = "skid"\naddress = "192.168.10.6"')

TRANSLATION_TO_NOTHING = Rule(
    slug="translation-to-nothing",
    severity=Severity.CONFLICT,
    what="A translation leads to an inside address that neither a planned interface nor a site host has.",
    why="The outside address leads to no device, or to one that somebody connects later. The intended device cannot be "
    "reached from outside its machine.",
    bad=plan(_SKID, _INSIDE_SURVEY, _SKID_PLC, _ROUTER, _translation(inside="192.168.10.55")),
    good=plan(_SKID, _INSIDE_SURVEY, _SKID_PLC, _ROUTER, _translation()),
    source="our own rule, because a one-to-one translation needs both ends (RFC 3022 section 2.1)",
    check=_to_nothing,
)
TRANSLATED_TWICE = Rule(
    slug="translated-twice",
    severity=Severity.CONFLICT,
    what="Two translations share an outside address, or give one inside address two outside addresses.",
    why="An outside address can lead to only one device: the router uses the first entry or the last one. A device "
    "with two outside addresses replies from one of them, and a client that used the other one drops the reply.",
    bad=plan(_SKID, _INSIDE_SURVEY, _SKID_PLC, _SECOND, _ROUTER, _translation(), _translation(inside="192.168.10.6")),
    good=plan(
        _SKID, _INSIDE_SURVEY, _SKID_PLC, _SECOND, _ROUTER, _translation(), _translation("10.62.20.62", "192.168.10.6")
    ),
    source="our own rule, because a one-to-one translation pairs one address with one (RFC 3022 section 2.1)",
    check=_twice,
)
OUTSIDE_ADDRESS_TAKEN = Rule(
    slug="outside-address-taken",
    severity=Severity.CONFLICT,
    what="The outside address of a translation is an interface of the translating router itself. The rules on planned "
    "addresses, such as planned-twice and taken-on-site, find other clashes of an outside address.",
    why="Traffic for the router itself, such as its management, goes to the device behind it. A gateway whose address "
    "is translated no longer answers.",
    bad=plan(_SKID, _INSIDE_SURVEY, _SKID_PLC, _ROUTER, _translation("10.62.20.60")),
    good=plan(_SKID, _INSIDE_SURVEY, _SKID_PLC, _ROUTER, _translation("10.62.20.61")),
    source="our own rule, because one address cannot be the router's and a device's (RFC 3022 section 2.1)",
    check=_of_router,
)
