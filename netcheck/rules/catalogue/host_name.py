"""Rules on host names."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache

from netcheck.rules.finding import Breach, Severity, breach
from netcheck.rules.names import full_name, spellings
from netcheck.rules.other_plans import parties
from netcheck.rules.rule import Rule, device, one, plan
from netcheck.rules.scene import Scene, shared
from netcheck.text import Pattern, listed, listed_words

# RFC 1035 section 2.3.4: a label has at most 63 octets; a name at most 255 on the wire, 253 as text without final dot.
LONGEST_LABEL, LONGEST_NAME = 63, 253
# RFC 952, assumption 1, with the first character relaxed to a letter or digit by RFC 1123 section 2.1.
_LABEL = Pattern(r"[A-Za-z0-9](?:[A-Za-z0-9-]*[A-Za-z0-9])?", re.ASCII)
_FOREIGN = Pattern(r"[^A-Za-z0-9.-]", re.ASCII)


def why_not_host_name(name: str) -> str:
    """Return why a text is not a host name, as a predicate; empty if it is one."""
    if len(name) <= LONGEST_LABEL and _LABEL.fullmatch(name):
        return ""
    foreign = _FOREIGN.search(name)
    labels = name.split(".")
    if foreign:
        return f"contains {foreign.group()!r}; a host name has only letters, digits, hyphens and dots"
    if len(name) > LONGEST_NAME:
        return f"has {len(name)} characters; at most {LONGEST_NAME} are possible"
    if not all(labels):
        return "has an empty part between, before or after dots"
    if any(len(label) > LONGEST_LABEL for label in labels):
        return f"has a part of more than {LONGEST_LABEL} characters"
    if not all(map(_LABEL.fullmatch, labels)):
        return "has a part that begins or ends with a hyphen"
    if len(labels) > 1 and labels[-1].isdigit():
        return "ends in a number, like an address; the last part of a host name is alphabetic"
    return ""


def _all_simple(names: Sequence[str]) -> bool:
    """Return whether all names are valid single labels; they are checked as one text, which is fast for large plans."""
    joined, most = "\n".join(names), max(map(len, names), default=0)
    letters = joined.replace("-", "").replace("\n", "")
    ends = f"\n{joined}\n"
    simple = letters.isascii() and letters.isalnum() and "\n-" not in ends and "-\n" not in ends
    return simple and most <= LONGEST_LABEL and joined.count("\n") == len(names) - 1


def _unusable(scene: Scene) -> Iterator[Breach]:
    for interface, name, _ in () if _all_simple(scene.names.typed) else scene.names:
        why = why_not_host_name(name)
        if why:
            yield breach(f"the host name {name!r} {why}", interface, others=[name])


def _planned_twice(scene: Scene) -> Iterator[Breach]:
    domain, names = scene.plan.domain, scene.names.compared
    full = [full_name(name, domain) for name in names] if domain else names
    for name, users in shared(full, scene.names.interfaces).items():
        for interfaces in shared(list(map(scene.plan.island_of, users)), users).values():
            subjects = listed([interface.subject for interface in interfaces])
            yield breach(f"the host name {name} is planned for {subjects}", *interfaces, others=[name])
    for interface, typed, name in scene.names if scene.others else ():
        elsewhere = scene.others.with_name(scene.plan.island_of(interface), full_name(name, domain))
        if elsewhere:
            message = f"the host name {typed} is planned here and for {listed_words(elsewhere, str)}"
            yield breach(message, interface, others=parties(elsewhere))


def _taken(scene: Scene) -> Iterator[Breach]:
    domain = scene.plan.domain
    wanted = {name: spellings(name, domain) for name in scene.names.compared} if domain else {}
    found = scene.hosts_named
    met = set().union(*found.values())
    if not met:
        return
    planned = {(full_name(name, domain), one.address.value) for one, _, name in scene.names if one.address}

    @cache  # any number of interfaces may have the name
    def users_of(name: str, island: str, family: int) -> tuple[str, str] | None:
        """Return the hosts with a name at other addresses than the planned ones, in words, and the first address.

        The name is in comparable form. None if there is no such host.
        """
        elsewhere = [
            host
            for each in wanted.get(name, (name,))
            for host in found[island].get(each, ())
            if host.address.family == family and (full_name(name, domain), host.address) not in planned
            if each == name or host.where not in scene.named_records  # dns-name-elsewhere reports these
        ]
        shown = listed([f"{host.address} ({host.where})" for host in elsewhere])
        return (shown, str(elsewhere[0].address)) if elsewhere else None

    for interface, typed, name in scene.names:
        address = interface.address.value if interface.address else None
        is_met = any(each in met for each in wanted.get(name, (name,)))
        if (
            is_met
            and address is not None
            and (users := users_of(name, scene.plan.island_of(interface), address.family))
        ):
            shown, first = users
            yield breach(f"the host name {typed} is already used by {shown}", interface, others=[first])


def _keys(name: str, last: int = 61) -> str:
    return f'address = "10.62.20.{last}"\nhost-name = "{name}"'


_FIRST = device("filler-plc", cpu=_keys("filler-plc"))

NAME_UNUSABLE = Rule(
    slug="name-unusable",
    severity=Severity.CONFLICT,
    what="The host name is not valid by RFC 952 and RFC 1123.",
    why="Name servers refuse it, or some software cannot look it up. The operator panel that needs it then fails.",
    bad=one(_keys("filler_plc")),
    good=one(_keys("filler-plc")),
    source="RFC 952 assumption 1; RFC 1123 section 2.1; RFC 1035 section 2.3.4",
    check=_unusable,
)
NAME_PLANNED_TWICE = Rule(
    slug="name-planned-twice",
    severity=Severity.CONFLICT,
    what="One host name is planned on two interfaces; upper and lower case do not count.",
    why="A client that connects by name reaches one of the two devices, and not always the same one.",
    bad=plan(_FIRST, device("capper-plc", cpu=_keys("FILLER-PLC", 62))),
    good=plan(_FIRST, device("capper-plc", cpu=_keys("CAPPER-PLC", 62))),
    source="RFC 952 assumption 1; RFC 4343 section 2",
    check=_planned_twice,
)
NAME_TAKEN_ON_SITE = Rule(
    slug="name-taken-on-site",
    severity=Severity.CONFLICT,
    what="The survey has the host name at another address.",
    why="The name service of the site gives clients the address of another host.",
    bad=one(_keys("filler-plc"), hosts="address,name\n10.62.20.80,filler-plc\n"),
    good=one(_keys("filler-2-plc"), hosts="address,name\n10.62.20.80,filler-plc\n"),
    source="RFC 952 assumption 1; our own rule, because one name leads to one place",
    check=_taken,
)
