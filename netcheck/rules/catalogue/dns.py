"""Rules on the DNS records of planned devices: name to address, and address to name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from ipaddress import ip_address

from netcheck.rules.finding import Breach, Severity, breach
from netcheck.rules.rule import Rule, one
from netcheck.rules.scene import Scene
from netcheck.survey.host_table import folded
from netcheck.survey.model import NameRecord
from netcheck.text import listed_words


def _shown(records: Sequence[NameRecord], by_name: bool) -> str:
    return listed_words(records, lambda one: f"{one.name if by_name else one.address} ({one.position})")


def _elsewhere(scene: Scene) -> Iterator[Breach]:
    """Find planned names that DNS has at another address.

    `name-taken-on-site` checks the records with exactly the planned name; this rule checks names with their domain.
    """
    planned = {(folded(each.name), each.address) for each in scene.in_zones}
    found: dict[tuple[str, int], list[NameRecord]] = {}  # all interfaces with one name have the same `forward`
    for each in scene.in_zones:
        name = folded(each.name)
        key = name, id(each.forward)
        if key not in found:
            others = [record for record in each.forward if (name, record.address) not in planned]
            found[key] = others if all(folded(record.name) != name for record in others) else []
        if (others := found[key]) and not each.here:
            message = f"DNS has {each.name} at {_shown(others, by_name=False)}, and not at {each.address}"
            yield breach(message, each.interface, others=[str(others[0].address)])
        elif each.alias is not None:
            alias = f"an alias of {each.alias.target} ({each.alias.position})"
            message = f"DNS has {each.name} as {alias}, which does not lead to {each.address}"
            yield breach(message, each.interface, others=[each.alias.target])


def _differs(scene: Scene) -> Iterator[Breach]:
    for each in scene.in_zones:
        if each.here and each.pointers and not each.own:
            pointed = _shown(each.pointers, by_name=True)
            message = f"DNS has {each.address} for {each.name}, but the PTR record of the address names {pointed}"
            yield breach(message, each.interface, others=[each.pointers[0].name])


def _unpaired(scene: Scene) -> Iterator[Breach]:
    for each in scene.in_zones:
        if each.here and not each.pointers:
            pointer = f"{ip_address(str(each.address)).reverse_pointer}."
            message = (
                f"DNS has {each.address} for {each.name} ({each.here[0].position}), and no zone given has {pointer} PTR"
            )
            yield breach(message, each.interface, others=["PTR"])
        elif each.own and not each.forward:
            kind = "A" if each.address.family == 4 else "AAAA"
            own = f"{each.address} points to {each.name} ({each.own[0].position})"
            message = f"{own}, and no zone given has its {kind} record"
            yield breach(message, each.interface, others=[kind])


def _zone(*lines: str) -> str:
    return "".join(f"{line}\n" for line in ("$ORIGIN plant.example.", "$TTL 3600", *lines))


_KEYS = 'address = "10.62.20.61"\nhost-name = "filler-plc"'
_FORWARD = "filler-plc IN A 10.62.20.61"
_POINTER = "61.20.62.10.in-addr.arpa. IN PTR filler-plc"
_GOOD = one(_KEYS, hosts=_zone(_FORWARD, _POINTER))

DNS_NAME_ELSEWHERE = Rule(
    slug="dns-name-elsewhere",
    severity=Severity.CONFLICT,
    what="A zone has the planned host name at another address only, or as an alias (CNAME) of another name.",
    why="A client that looks the device up by name connects to another host, or to an address that is no longer in "
    "use. A name that is an alias can have no address record of its own.",
    bad=one(_KEYS, hosts=_zone("filler-plc IN A 10.62.20.80", "80.20.62.10.in-addr.arpa. IN PTR filler-plc")),
    good=_GOOD,
    source="RFC 1034 sections 3.6 and 3.6.2; our own rule, because the old record of a reused name is rarely deleted",
    check=_elsewhere,
)
DNS_NAME_DIFFERS = Rule(
    slug="dns-name-differs",
    severity=Severity.RISK,
    what="A zone has the planned address for the planned name, but the PTR record of that address names another host.",
    why="Logs, alarms and access lists that use names show the wrong device, and fault finding starts at the wrong "
    "panel.",
    bad=one(_KEYS, hosts=_zone(_FORWARD, "61.20.62.10.in-addr.arpa. IN PTR old-filler")),
    good=_GOOD,
    source="RFC 1912 section 2.1: PTR and A records must match",
    check=_differs,
)
DNS_PAIR_MISSING = Rule(
    slug="dns-pair-missing",
    severity=Severity.NOTE,
    what="The zones have only one of the two records of a planned name and address: name to address, or address to "
    "name.",
    why="Some software refuses a host whose address does not resolve back to its name. Ask for both records together.",
    bad=one(_KEYS, hosts=_zone(_FORWARD)),
    good=_GOOD,
    source="RFC 1912 section 2.1: for every address there should be a matching PTR record",
    check=_unpaired,
)
