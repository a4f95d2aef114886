"""Rules on the surveys: their coverage, their age, and their disagreements with each other and with the plan."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from netcheck.addr import Range
from netcheck.plan.model import Subnet
from netcheck.rules.finding import Breach, Severity
from netcheck.rules.rule import PROCESS, SURVEYED, Rule, one, plan
from netcheck.rules.scene import Scene
from netcheck.space.intervals import Spans, prefixes_of, range_of
from netcheck.survey.host_table import SiteHost
from netcheck.survey.model import ServedRange
from netcheck.text import listed


def _not_surveyed(scene: Scene) -> Iterator[Breach]:
    in_use = {subnet.name for _, subnet in scene.interfaces}
    covered = {name: _covered(scene, name) for name in scene.islands}
    for subnet in scene.plan.subnets:
        if subnet.island in scene.plan.own_islands:
            continue
        spans, prefix = covered[subnet.island], subnet.prefix.value
        if subnet.name in in_use and spans is not None and prefix is not None:
            gaps = list(spans.gaps(range_of(prefix)))
            if gaps:
                yield _uncovered(subnet, gaps, whole=sum(gap.size for gap in gaps) == prefix.size)


def _covered(scene: Scene, island: str) -> Spans | None:
    """Return the addresses that the surveys of an island cover together; None if a covered prefix cannot be read."""
    failed = {survey.entry for survey in scene.surveys if survey.failed}
    entries = [entry for entry in scene.plan.surveys if entry.island == island and entry not in failed]
    cells = [cell for entry in entries for cell in entry.covers]
    prefixes = [cell.value for cell in cells if cell.value is not None]
    return Spans(map(range_of, prefixes)) if len(prefixes) == len(cells) else None


def _uncovered(subnet: Subnet, gaps: list[Range], whole: bool) -> Breach:
    parts = listed([str(prefix) for prefix in chain.from_iterable(map(prefixes_of, gaps))])
    part = f"no survey covers {parts}" if whole else f"no survey covers {parts} of {subnet.prefix.value}"
    return Breach((subnet.name,), f"{part}, so clashes there are unknown", str(subnet.position))


def _stale(scene: Scene) -> Iterator[Breach]:
    limit = scene.plan.survey_max_age
    for entry in scene.plan.surveys:
        age = (scene.today - entry.taken).days if entry.taken else 0
        if age > limit:
            message = f"the survey was taken on {entry.taken}, {age} days ago; the limit is {limit}"
            yield Breach((entry.file,), message, str(entry.position))


def _in_future(scene: Scene) -> Iterator[Breach]:
    for entry in scene.plan.surveys:
        if entry.taken is not None and entry.taken > scene.today:
            message = f"the survey is dated {entry.taken}, which is after {scene.today}, the day of the check"
            yield Breach((entry.file,), message, str(entry.position))


def _disagree(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        for hosts in island.hosts.repeated():
            first_by_mac: dict[int, SiteHost] = {}
            for host in hosts:
                if host.mac is not None:
                    first_by_mac.setdefault(host.mac.value, host)
            if len(first_by_mac) > 1:
                yield _disagreement(list(first_by_mac.values()))


def _disagreement(hosts: list[SiteHost]) -> Breach:
    files = tuple(dict.fromkeys(host.file for host in hosts))
    address = str(hosts[0].address)
    shown = listed([f"{host.mac} ({host.where})" for host in hosts])
    macs = ", ".join(str(host.mac) for host in hosts)
    return Breach(files, f"{address} is given different MACs: {shown}", hosts[0].where, address, (macs,))


def _outside_pools(scene: Scene) -> Iterator[Breach]:
    for survey in scene.surveys:
        if "leases" not in (survey.kind, *survey.kinds.values()):
            continue
        island = scene.islands[survey.island]
        for subnet in island.subnets:
            prefix = subnet.prefix.value
            unread = any(cell.value is None for cell in subnet.pools)
            hosts = survey.hosts.between(prefix.first, prefix.last) if prefix is not None and not unread else ()
            leases = (host for host in hosts if survey.is_lease(host))
            outside = [host for host in leases if island.pools.at(host.address) is None]
            if outside:
                shown = listed([f"{host.address} ({host.where})" for host in outside])
                others = tuple(dict.fromkeys(host.file for host in outside))
                leases_of = f"of {listed(list(others))}"
                what = f"{count(len(outside), 'lease', leases_of)} outside the known pools: {shown}"
                yield Breach((subnet.name,), what, str(subnet.position), others=others)


def _pools_differ(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        for subnet in island.subnets if island.served else ():
            prefix = subnet.prefix.value
            inside = [one for one in island.served if prefix is not None and prefix.overlaps_range(one.span)]
            if inside and all(cell.value is not None for cell in subnet.pools):
                yield from _pools_of(subnet, inside)


def _pools_of(subnet: Subnet, served: list[ServedRange]) -> Iterator[Breach]:
    pools, assigned = Spans(cell.value for cell in subnet.pools if cell.value), Spans(one.span for one in served)
    missing = [span for one in assigned.ranges() for span in pools.gaps(one)]
    surplus = [span for one in pools.ranges() for span in assigned.gaps(one)]
    parts = [f"{listed(list(map(str, missing)))}, which no pool of the plan has"] if missing else []
    parts += [f"not {listed(list(map(str, surplus)))}, which the plan has as a pool"] if surplus else []
    if parts:
        where = listed([str(one.position) for one in served], 3)
        what = f"a DHCP server ({where}) assigns {', and '.join(parts)}"
        others = tuple(dict.fromkeys(one.position.file for one in served))
        yield Breach((subnet.name,), what, str(subnet.position), others=others)


def count(number: int, what: str, which: str = "") -> str:
    """Return a number with its noun and verb, such as `1 lease is` or `3 leases of leases.txt are`."""
    which = f" {which}" if which else ""
    return f"{number} {what}{which} is" if number == 1 else f"{number} {what}s{which} are"


_PLACED = 'address = "10.62.20.61"'
_POOL = PROCESS + '\npools = ["10.62.20.200-10.62.20.239"]'
_LEASE = "lease {} {{\n  binding state active;\n  hardware ethernet 00:00:5e:00:53:80;\n}}\n"
_RANGE = "subnet 10.62.20.0 netmask 255.255.255.0 {{\n  range {};\n}}\n"
_OTHER = "address,mac\n10.62.20.80,00-00-5E-00-53-80\n"

NOT_SURVEYED = Rule(
    slug="not-surveyed",
    severity=Severity.RISK,
    what="Surveys do not cover all of a subnet with planned interfaces: clashes in the rest are unknown.",
    why="An address that no list mentions is unknown, not free.",
    do="Ask IT for the list, or sweep the subnet.",
    bad=one(_PLACED, survey='taken = 2026-10-28\ncovers = ["10.62.20.0/25"]'),
    good=one(_PLACED, survey=SURVEYED),
    source="our own rule, because an address that no list mentions is unknown and not free",
    check=_not_surveyed,
)
SURVEY_STALE = Rule(
    slug="survey-stale",
    severity=Severity.RISK,
    what="A survey is older than `survey-max-age`.",
    why="A plant changes every week. An address that was free when the list was made may be in use on the day of "
    "installation.",
    bad=one(_PLACED, survey='taken = 2026-09-01\ncovers = ["10.62.20.0/24"]'),
    good=one(_PLACED, survey=SURVEYED),
    source="our own rule, because a list of hosts goes out of date; the limit is `survey-max-age` of the plan",
    check=_stale,
)
SURVEY_IN_FUTURE = Rule(
    slug="survey-in-future",
    severity=Severity.RISK,
    what="A survey has a date after the day of the check.",
    why="Day and month are swapped, or the year is wrong. The age of the survey is unknown; it may be out of date.",
    bad=one(_PLACED, survey='taken = 2026-12-10\ncovers = ["10.62.20.0/24"]'),
    good=one(_PLACED, survey=SURVEYED),
    source="our own rule, because a list cannot be made in the future",
    check=_in_future,
)
LEASE_OUTSIDE_POOLS = Rule(
    slug="lease-outside-pools",
    severity=Severity.RISK,
    what="A DHCP server has leases in a subnet outside all pools that the plan knows.",
    why="The plan's list of pools is incomplete: the server assigns addresses that the plan treats as free.",
    do="Ask the site for its pools and add them to the subnet.",
    bad=one(_PLACED, subnet=_POOL, hosts=_LEASE.format("10.62.20.90")),
    good=one(_PLACED, subnet=_POOL, hosts=_LEASE.format("10.62.20.210")),
    source="our own rule, because a server assigns leases only from its pools (RFC 2131 section 4.3.1)",
    check=_outside_pools,
)
POOL_DIFFERS = Rule(
    slug="pool-differs",
    severity=Severity.RISK,
    what="The ranges in the configuration of a DHCP server differ from the pools of the plan.",
    why="The server assigns the ranges of its configuration. Copy them into `pools` of the subnet, so that nothing is "
    "planned inside them. `suggest` proposes no address in either.",
    bad=one(_PLACED, subnet=_POOL, hosts=_RANGE.format("10.62.20.200 10.62.20.249")),
    good=one(_PLACED, subnet=_POOL, hosts=_RANGE.format("10.62.20.200 10.62.20.239")),
    source="our own rule, because a server assigns addresses of its configured ranges (RFC 2131 section 4.3.1)",
    check=_pools_differ,
)
SURVEY_DISAGREES = Rule(
    slug="survey-disagrees",
    severity=Severity.RISK,
    what="Surveys give one address two different MACs.",
    why="Either two hosts already share the address, or one of the lists is out of date. A proof of this address may "
    "see either host.",
    bad=plan(subnet=PROCESS, hosts=_OTHER + "10.62.20.80,00-00-5E-00-53-81\n"),
    good=plan(subnet=PROCESS, hosts=_OTHER + "10.62.20.81,00-00-5E-00-53-81\n"),
    source="RFC 5227 section 2.4; our own rule, because one of two lists may be out of date",
    check=_disagree,
)
