"""Decides which interfaces need another address, and adds the proposals to the findings as fixes.

A check shows fixes and `netcheck suggest` lists proposals; both have the same addresses. Interfaces with accepted
findings also get an address, which is not shown. A proposal therefore stays the same when another finding is accepted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple, assert_never

from netcheck.addr import Address, Range
from netcheck.plan.model import Interface
from netcheck.rules.catalogue import RULE_NAMED
from netcheck.rules.catalogue.address import OUTSIDE_SUBNET
from netcheck.rules.catalogue.clash import TOO_NEAR
from netcheck.rules.catalogue.unreadable import UNREADABLE_VALUE
from netcheck.rules.finding import AcceptedFinding, Finding, Fix, Severity
from netcheck.rules.names import spellings
from netcheck.rules.rule import Readdress
from netcheck.rules.scene import Scene, match_hosts, planned_name
from netcheck.space.addressing import spans_of
from netcheck.space.occupancy import Placed
from netcheck.space.suggest import Suggestion, suggest
from netcheck.space.usable import private_ranges, usable_ranges
from netcheck.survey.host_table import SiteHost


class Proposal(NamedTuple):
    """One interface that needs an address: its present text, the broken rules, and the new address if there is one.

    `why` is the reason for this address, or the reason why there is none and what to do instead.
    """

    subject: str
    now: str
    rules: tuple[str, ...]
    address: Address | None
    why: str

    @property
    def keeps(self) -> bool:
        """Return whether only risks ask for another address; the interface may then keep the one that it has."""
        return bool(self.now) and all(RULE_NAMED[rule].severity is Severity.RISK for rule in self.rules)


def with_fixes(scene: Scene, findings: Iterable[Finding], accepted: Iterable[AcceptedFinding]) -> list[Finding]:
    """Return the findings; a finding gets a fix if all its subjects that must move can be placed."""
    moving = [(finding, _movers(scene, finding)) for finding in findings]
    wanted = {subject for _, subjects in moving for subject in subjects}
    free = suggest(scene.plan, scene.islands, wanted, also=_with_accepted_findings(scene, accepted)) | _of_site(
        scene, wanted
    )
    return [
        finding._replace(fix=Fix(tuple((subject, free[subject].address) for subject in subjects)))
        if subjects and all(subject in free for subject in subjects)
        else finding
        for finding, subjects in moving
    ]


class Proposals(NamedTuple):
    """A proposal for every interface that needs an address, in plan order.

    `unreadable` are interfaces whose present address cannot be read. They keep it, and their proposal has no address.
    """

    proposals: tuple[Proposal, ...]
    unreadable: tuple[Proposal, ...]

    @property
    def left(self) -> int:
        """Return the number of interfaces that need an address and could not be placed."""
        return sum(each.address is None for each in (*self.proposals, *self.unreadable))


def propose(scene: Scene, findings: Sequence[Finding], accepted: Iterable[AcceptedFinding]) -> Proposals:
    """Return a proposal for every interface that needs an address.

    An accepted finding needs no other address. An address whose only fault is that it is too near to a site host is not
    replaced by another one that is too near.
    """
    reasons: dict[str, list[str]] = {}
    for finding in findings:
        for subject in _movers(scene, finding):
            reasons.setdefault(subject, []).append(finding.rule)
    may_be_near = [subject for subject, rules in reasons.items() if rules != [TOO_NEAR.slug]]
    found = suggest(scene.plan, scene.islands, reasons, may_be_near, also=_with_accepted_findings(scene, accepted))
    found |= _of_site(scene, reasons)
    wrong_subnets = _with_wrong_subnet(scene, findings)
    proposals = tuple(
        _proposal(scene, interface, reasons, found, wrong_subnets)
        for interface in scene.plan.interfaces
        if interface.subject in reasons or interface.subject in wrong_subnets
    )
    return Proposals(proposals=proposals, unreadable=tuple(_unreadable(scene)))


def _proposal(
    scene: Scene,
    interface: Interface,
    reasons: Mapping[str, list[str]],
    found: Mapping[str, Suggestion],
    wrong_subnets: Mapping[str, str],
) -> Proposal:
    subject, now = interface.subject, interface.address.text if interface.address else ""
    if subject in found:
        choice = found[subject]
        return Proposal(subject=subject, now=now, rules=tuple(reasons[subject]), address=choice.address, why=choice.why)
    rules = tuple(reasons.get(subject, (OUTSIDE_SUBNET.slug,)))
    why = wrong_subnets.get(subject) or _why_no_address(scene, interface, rules)
    made = Proposal(subject=subject, now=now, rules=rules, address=None, why=why)
    return made._replace(why=f"{why}; it keeps {now}") if made.keeps else made


def _of_site(scene: Scene, wanted: Collection[str]) -> dict[str, Suggestion]:
    """Return the addresses that the site's lists have under the names of interfaces that need one, by subject.

    An address counts if it is the only one in the interface's subnet, a device may have it there, the plan does not use
    it, and no other host has it. Leases do not count, because they end.
    """
    plan, found = scene.plan, dict[str, Suggestion]()
    faces: dict[str, list[Interface]] = {}
    for subject in wanted:
        if (face := plan.interface_named.get(subject)) is not None and not face.dhcp:
            faces.setdefault(plan.island_of(face), []).append(face)
    for island, here in faces.items():
        names = {face.subject: spellings(planned_name(face), plan.domain) for face in here}
        hosts = scene.hosts_named[island]
        for face in here if hosts else ():
            known = [host for name in names[face.subject] for host in hosts.get(name, ())]
            if known and (suggestion := _entered(scene, face, known)) is not None:
                found[face.subject] = suggestion
    uses = Counter((plan.island_of(plan.interface_named[one]), found[one].address) for one in found)
    return {
        subject: suggestion
        for subject, suggestion in found.items()
        if uses[plan.island_of(plan.interface_named[subject]), suggestion.address] == 1
    }


def _entered(scene: Scene, interface: Interface, known: Sequence[SiteHost]) -> Suggestion | None:
    """Return the address of the hosts with an interface's name, if it is the only one and breaks no rule; else None."""
    subnet = scene.plan.subnet_of(interface)
    island, prefix = scene.islands[subnet.island], subnet.prefix.value
    known = [host for host in known if prefix is not None and prefix.holds(host.address) and not _is_lease(scene, host)]
    addresses = {host.address for host in known}
    address = addresses.pop() if len(addresses) == 1 else None
    if address is None or prefix is None or island.claims(address) or not _is_free_of_risk(scene, interface, address):
        return None
    match = match_hosts(Placed(interface, subnet, address), island.hosts.at(address), scene.plan.domain)
    if match.strangers:
        return None
    host = next(host for host in known if host.address == address)
    return Suggestion(address, f"the site has it for the device ({host.where})")


def _is_lease(scene: Scene, host: SiteHost) -> bool:
    return any(host.file in survey.hosts.files and survey.is_lease(host) for survey in scene.surveys)


def _is_free_of_risk(scene: Scene, interface: Interface, address: Address) -> bool:
    """Return whether an address is usable, in the scheme's range and at least `keep_clear` from other site hosts."""
    subnet = scene.plan.subnet_of(interface)
    prefix = subnet.prefix.value
    scheme = scene.schemes.of(interface, subnet)
    if prefix is None or (scheme is not None and not any(one.holds(address) for one in spans_of(scheme, subnet))):
        return False
    reach = max(scene.plan.keep_clear - 1, 0)
    low, high = max(address.value - reach, 0), address.value + reach
    around = scene.islands[subnet.island].hosts.values(Range(address.family, low, high))
    usable = private_ranges(prefix) or usable_ranges(prefix)
    return all(value == address.value for value in around) and any(one.holds(address) for one in usable)


def _with_accepted_findings(scene: Scene, accepted: Iterable[AcceptedFinding]) -> set[str]:
    return {subject for each in accepted for subject in _movers(scene, each.finding)}


def _movers(scene: Scene, finding: Finding) -> tuple[str, ...]:
    """Return the subjects that need another address to resolve a finding; empty if no address resolves it."""
    match RULE_NAMED[finding.rule].readdress:
        case Readdress.NONE:
            subjects: tuple[str, ...] = ()
        case Readdress.EACH:
            subjects = finding.subjects
        case Readdress.ALL_BUT_ONE:
            subjects = _all_but_keeper(scene, finding.subjects)
        case Readdress.PRIVATE:
            subjects = tuple(subject for subject in finding.subjects if _has_private(scene, subject))
        case unknown:
            assert_never(unknown)
    if finding.severity is Severity.RISK:
        subjects = tuple(subject for subject in subjects if subject not in scene.settled)
    return tuple(subject for subject in subjects if _can_move(scene, finding, subject))


def _all_but_keeper(scene: Scene, subjects: tuple[str, ...]) -> tuple[str, ...]:
    """Return the subjects of a shared address without the one that keeps it.

    The installed subject keeps it; if none is installed, the first that the site has granted or entered; otherwise the
    first. A single subject shares its address with another plan.
    """
    if len(subjects) == 1:
        return subjects if _leaves_to_other_plan(scene, subjects[0]) else ()
    ranked = (
        [subject for subject in subjects if subject in scene.installed],
        [subject for subject in subjects if subject in scene.settled],
        list(subjects),
    )
    keeper = next(subject for group in ranked for subject in group)
    return tuple(subject for subject in subjects if subject != keeper)


def _leaves_to_other_plan(scene: Scene, subject: str) -> bool:
    """Return whether an interface must leave a shared address to another plan.

    An interface whose address is granted keeps it; otherwise the plan that was named first keeps it.
    """
    interface = scene.plan.interface_named.get(subject)
    address = interface.address.value if interface and interface.address else None
    if interface is None or address is None or subject in scene.settled:
        return False
    elsewhere = scene.others.at(scene.plan.island_of(interface), address)
    return any(one.other.keeps or one.interface.granted for one in elsewhere)


def _can_move(scene: Scene, finding: Finding, subject: str) -> bool:
    """Return whether another `address` of a subject resolves a finding.

    It does not if the finding is about a second address of the other family, an outside address of a router, or a wrong
    key `subnet`.
    """
    interface = scene.plan.interface_named.get(subject)
    if interface is None or scene.meant_subnet(interface) is not None:
        return False
    if finding.address is None or interface.address is None:
        return True
    return str(interface.address.value) == finding.address


def _has_private(scene: Scene, subject: str) -> bool:
    interface = scene.plan.interface_named.get(subject)
    prefix = scene.plan.subnet_of(interface).prefix.value if interface else None
    return prefix is not None and bool(private_ranges(prefix))


def _with_wrong_subnet(scene: Scene, findings: Iterable[Finding]) -> dict[str, str]:
    """Return what to do, by subject, for interfaces whose key `subnet` is wrong and not the address."""
    found: dict[str, str] = {}
    for finding in findings:
        interface = scene.plan.interface_named.get(finding.subjects[0])
        if finding.rule == OUTSIDE_SUBNET.slug and interface is not None:
            meant = scene.meant_subnet(interface)
            if meant is not None:
                fits = "address, mask and gateway fit" if interface.mask else "address and gateway fit"
                found[interface.subject] = f"{fits} subnet {meant.name}: set its key subnet to {meant.name}"
    return found


def _unreadable(scene: Scene) -> Iterator[Proposal]:
    for interface in scene.plan.interfaces:
        cell = interface.address
        if cell is not None and cell.value is None:
            why = f"its address cannot be read: {cell.why}"
            yield Proposal(
                subject=interface.subject, now=cell.text, rules=(UNREADABLE_VALUE.slug,), address=None, why=why
            )


def _why_no_address(scene: Scene, interface: Interface, rules: Sequence[str]) -> str:
    subnet = scene.plan.subnet_of(interface)
    if subnet.prefix.value is None:
        return f"the prefix of subnet {subnet.name} cannot be read"
    scheme = scene.schemes.of(interface, subnet)
    if scheme is not None:
        return f"no address of the scheme range {scheme.range.text} is free in subnet {subnet.name}"
    clear = scene.plan.keep_clear
    near = f" that is {clear} from every site host" if clear > 1 and list(rules) == [TOO_NEAR.slug] else ""
    return f"no address of subnet {subnet.name} is free{near}"
