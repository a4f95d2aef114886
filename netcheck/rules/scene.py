"""The input of all rules: the plan, its surveys, and the indexes that several rules share."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from itertools import chain, compress, islice
from operator import attrgetter
from typing import NamedTuple, TypeVar

from netcheck.addr import Address, Mac, Mask
from netcheck.plan.model import Accepted, Cell, Interface, Plan, SiteRemark, Subnet
from netcheck.rules.names import PlannedName, full_name, may_be_same, planned_names, spellings
from netcheck.rules.other_plans import OtherPlans
from netcheck.rules.reachability.trace import TracedConversation
from netcheck.rules.reachability.translate import trace_conversations
from netcheck.space.addressing import Schemes, SubnetLookup, interfaces_by_family
from netcheck.space.intervals import Cover, range_of
from netcheck.space.occupancy import Island, Placed, islands_of
from netcheck.survey.host_table import SiteHost, folded_all
from netcheck.survey.model import Survey

K = TypeVar("K")
V = TypeVar("V")
_ADDRESS: Callable[[Interface], Cell[Address] | None] = attrgetter("address")
_MASK: Callable[[Interface], Cell[Mask] | None] = attrgetter("mask")
_GATEWAY: Callable[[Interface], Cell[Address] | None] = attrgetter("gateway")


def shared(keys: Collection[K], values: Iterable[V]) -> dict[K, list[V]]:
    """Return the values of each key that occurs more than once; fast if no key does, which is the usual case."""
    found: dict[K, list[V]] = {}
    if len(set(keys)) < len(keys):
        for key, value in zip(keys, values, strict=True):
            found.setdefault(key, []).append(value)
    return {key: several for key, several in found.items() if len(several) > 1}


@dataclass(frozen=True, eq=False, repr=False)
class Members:
    """A subnet with the interfaces that name it, and the distinct values typed into them.

    In a large plan nearly every subnet is correct, and its few distinct values are enough to show that. Rules check
    single interfaces only if a value is wrong. Interfaces of unknown subnets share a subnet without a readable prefix.
    """

    subnet: Subnet
    interfaces: tuple[Interface, ...]

    @cached_property
    def addresses(self) -> set[Address]:
        """Return the readable addresses."""
        return _values(self.interfaces, _ADDRESS)

    @cached_property
    def masks(self) -> set[Mask]:
        """Return the readable typed masks."""
        return _values(self.interfaces, _MASK)

    @cached_property
    def gateways(self) -> set[Address]:
        """Return the readable typed gateways."""
        return _values(self.interfaces, _GATEWAY)

    @cached_property
    def all_inside(self) -> bool:
        """Return whether every readable address is inside the prefix of the subnet."""
        prefix, addresses = self.subnet.prefix.value, self.addresses
        return prefix is None or not addresses or prefix.first <= min(addresses) <= max(addresses) <= prefix.last


def _values(interfaces: Iterable[Interface], cell_of: Callable[[Interface], Cell[V] | None]) -> set[V]:
    found = {cell.value for cell in map(cell_of, interfaces) if cell is not None}
    return {value for value in found if value is not None}


def members_of(faces: Iterable[tuple[Interface, Subnet]]) -> tuple[Members, ...]:
    """Group interfaces by the subnet that they name, in the order given."""
    subnets: dict[str, Subnet] = {}
    found: dict[str, list[Interface]] = defaultdict(list)
    for interface, subnet in faces:
        found[subnet.name].append(interface)
        subnets[subnet.name] = subnet
    return tuple(Members(subnets[name], tuple(interfaces)) for name, interfaces in found.items())


class MacColumn:
    """The interfaces with a readable MAC, in plan order; iteration yields each interface with its MAC."""

    def __init__(self, interfaces: Sequence[Interface], values: Sequence[Mac]) -> None:
        self.interfaces, self.values = interfaces, values

    def __iter__(self) -> Iterator[tuple[Interface, Mac]]:
        return zip(self.interfaces, self.values, strict=True)


class NameColumn:
    """The interfaces with a host name, in plan order; iteration yields the interface, its typed and comparable name."""

    def __init__(self, interfaces: Sequence[Interface], typed: Sequence[str], compared: Sequence[str]) -> None:
        self.interfaces, self.typed, self.compared = interfaces, typed, compared

    def __iter__(self) -> Iterator[tuple[Interface, str, str]]:
        return zip(self.interfaces, self.typed, self.compared, strict=True)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Scene:
    """A plan, its surveys, the day of the check, and the other plans of the same call.

    Four fields are filled in after all other rules. `unused` are the accepted entries that matched no finding. `wide`
    are those that match too many, each with the keys to add. `pending` are the remarks of the site without a reply.
    `run` are the slugs of the rules that were run.
    """

    plan: Plan
    surveys: tuple[Survey, ...]
    today: date
    unused: tuple[Accepted, ...] = ()
    wide: tuple[tuple[Accepted, tuple[str, ...]], ...] = ()
    pending: tuple[SiteRemark, ...] = ()
    run: tuple[str, ...] = ()
    others: OtherPlans = field(default_factory=OtherPlans)

    @cached_property
    def islands(self) -> dict[str, Island]:
        """Return the islands by name."""
        return islands_of(self.plan, self.surveys, self.others.used)

    @cached_property
    def schemes(self) -> Schemes:
        """Return the numbering scheme."""
        return Schemes(self.plan)

    @cached_property
    def lookup(self) -> SubnetLookup:
        """Return the lookup that finds the subnet of an address."""
        return SubnetLookup(self.plan)

    @cached_property
    def interfaces(self) -> tuple[tuple[Interface, Subnet], ...]:
        """Return every interface with its subnet, and each dual-stack interface a second time with its IPv6 values."""
        return tuple(interfaces_by_family(self.plan))

    @cached_property
    def members(self) -> tuple[Members, ...]:
        """Return the interfaces by subnet."""
        return members_of(self.interfaces)

    def placed(self) -> Iterator[tuple[Placed, Island]]:
        """Yield every interface with a readable address, and its island."""
        for island in self.islands.values():
            for placed in island.placed:
                yield placed, island

    @cached_property
    def macs(self) -> MacColumn:
        """Return the interfaces with a readable MAC."""
        values = [one.mac.value if one.mac else None for one in self.plan.interfaces]
        return MacColumn(list(compress(self.plan.interfaces, values)), list(filter(None, values)))

    @cached_property
    def odd_macs(self) -> tuple[tuple[Interface, Mac], ...]:
        """Return the interfaces with a MAC that no manufacturer assigns: group bit, local bit, or all zeros."""
        return tuple((one, mac) for one, mac in self.macs if mac.value >> 40 & 3 or not mac.value)

    @cached_property
    def names(self) -> NameColumn:
        """Return the interfaces with a host name."""
        texts = [one.host_name.text.strip() if one.host_name else "" for one in self.plan.interfaces]
        names = list(filter(None, texts))
        return NameColumn(list(compress(self.plan.interfaces, texts)), names, folded_all(names))

    @cached_property
    def hosts_named(self) -> dict[str, dict[str, list[SiteHost]]]:
        """Return the site hosts with the name of a planned interface, by island and by the name in comparable form."""
        domain = self.plan.domain
        devices = {one.device for one in self.plan.interfaces if not (one.host_name and one.host_name.text.strip())}
        names = {*self.names.compared, *folded_all(list(devices))}
        wanted = set(chain.from_iterable(spellings(name, domain) for name in names)) if domain else names
        return {name: island.hosts.by_names(wanted) for name, island in self.islands.items()}

    @cached_property
    def hosts_met(self) -> tuple[tuple[Placed, tuple[SiteHost, ...]], ...]:
        """Return every interface at whose address there are site hosts, with these hosts."""
        met = {name: island.hosts.by_addresses(island.met) for name, island in self.islands.items() if island.met}
        found = {name: {one: _different(rows) for one, rows in hosts.items()} for name, hosts in met.items()}
        return tuple(
            (placed, hosts[placed.address])
            for name, hosts in found.items()
            for placed in self.islands[name].placed
            if placed.address in hosts
        )

    @cached_property
    def site_matches(self) -> tuple[SiteMatch, ...]:
        """Return the site hosts at each planned address, sorted by whether they are the device or a stranger.

        The device's own DNS records do not count, because they are made before it is installed. A device whose MAC
        cannot be read is left out if the MAC would decide.
        """
        found = []
        for placed, hosts in self.hosts_met:
            others = [host for host in hosts if host.where not in self.own_records] if self.own_records else hosts
            cell = placed.interface.mac
            undecided = cell is not None and cell.value is None and any(host.mac for host in others)
            if others and not undecided:
                found.append(match_hosts(placed, others, self.plan.domain))
        return tuple(found)

    @cached_property
    def settled(self) -> frozenset[str]:
        """Return the subjects whose address is in use or reserved: installed, granted, or entered by the site."""
        granted = (one.subject for one in self.plan.interfaces if one.granted)
        matched = (one for one in self.site_matches if (one.installed or one.reservation) and not one.strangers)
        return frozenset(chain(granted, (one.placed.interface.subject for one in matched)))

    @cached_property
    def installed(self) -> frozenset[str]:
        """Return the subjects that a survey lists with their planned address and MAC."""
        return frozenset(one.placed.interface.subject for one in self.site_matches if one.installed)

    @cached_property
    def _first_holders(self) -> dict[str, Cover[Subnet]]:
        """Return, by island, the search for the first subnet in the plan that contains an address."""
        return {
            name: Cover((range_of(one.prefix.value), one) for one in island.subnets if one.prefix.value is not None)
            for name, island in self.islands.items()
        }

    def meant_subnet(self, interface: Interface) -> Subnet | None:
        """Return another subnet to which address, mask and gateway of an interface fit: only its key `subnet` is wrong.

        None if there is no such subnet, or if no gateway is typed.
        """
        address = interface.address.value if interface.address else None
        gateway = interface.gateway.value if interface.gateway else None
        named = self.plan.subnet_of(interface)
        if address is None or gateway is None or named.prefix.value is None or named.prefix.value.holds(address):
            return None
        subnet = self._first_holders[named.island].at(address)
        prefix = subnet.prefix.value if subnet else None
        if subnet is not None and prefix is not None:
            planned = subnet.gateway.value if subnet.gateway else None
            mask = interface.mask.value if interface.mask else None
            fits = mask is None or mask.length == prefix.length
            return subnet if fits and (gateway == planned if planned else prefix.holds(gateway)) else None
        return None

    @cached_property
    def conversations(self) -> tuple[TracedConversation, ...]:
        """Return the conversations, traced in both directions."""
        return trace_conversations(self.plan)

    @cached_property
    def in_zones(self) -> tuple[PlannedName, ...]:
        """Return the planned names and addresses with the DNS records about them."""
        return planned_names(self.plan, self.surveys, self.interfaces)

    @cached_property
    def named_records(self) -> frozenset[str]:
        """Return the positions of the DNS records that have a planned name."""
        records = {id(named.forward): named.forward for named in self.in_zones}  # shared by all with one name
        return frozenset(str(record.position) for several in records.values() for record in several)

    @cached_property
    def own_records(self) -> frozenset[str]:
        """Return the positions of DNS records that are no evidence of another host.

        Such a record belongs to the device that is planned at its address, or a DNS rule reports it as a record of that
        device with a wrong name.
        """
        groups = [(named.here, named.pointers if named.here else named.own) for named in self.in_zones]
        records = {id(group): group for group in chain.from_iterable(groups)}  # shared by all with one name or address
        return frozenset(str(record.position) for several in records.values() for record in several)

    @cached_property
    def marks(self) -> dict[str, set[Mac | str]]:
        """Return the MACs and the host names (in comparable form) that are planned for each device."""
        found: dict[str, set[Mac | str]] = {}
        for interface in self.plan.interfaces:
            marks = found.setdefault(interface.device, set())
            if interface.mac is not None and interface.mac.value is not None:
                marks.add(interface.mac.value)
            if interface.host_name is not None and interface.host_name.text:
                marks.add(full_name(interface.host_name.text, self.plan.domain))
        return found


MOST_DIFFERENT = 50  # hosts at one address that are compared with each interface there; common practice, no source


def _different(rows: Sequence[SiteHost]) -> tuple[SiteHost, ...]:
    """Return the rows of one address; of many rows the first ones with different MACs and names.

    Lists may repeat an address in any number of rows, and a plan may plan it for any number of interfaces.
    """
    if len(rows) <= MOST_DIFFERENT:
        return tuple(rows)
    different = {(row.mac, row.name): row for row in reversed(rows)}
    return tuple(islice(reversed(different.values()), MOST_DIFFERENT))


class SiteMatch(NamedTuple):
    """The site hosts at the address of a planned interface, sorted into the device itself and strangers.

    `installed` has the planned MAC. `reservation` is a list entry that the site made for the device: it has the planned
    host name, or it has no MAC and the interface is `granted`. All other hosts are `strangers`.
    """

    placed: Placed
    strangers: tuple[SiteHost, ...]
    installed: SiteHost | None
    reservation: SiteHost | None


def match_hosts(placed: Placed, hosts: Iterable[SiteHost], domain: str) -> SiteMatch:
    """Sort the site hosts at an address; a host without a MAC is ignored if a host with a MAC decides."""
    interface, planned = placed.interface, _mac(placed.interface)
    hosts = tuple(hosts)
    installed = next((host for host in hosts if planned is not None and host.mac == planned), None)
    reserved = [host for host in hosts if _is_reservation(interface, planned, host, domain)]
    others = [host for host in hosts if host.mac is not None and host.mac != planned and host not in reserved]
    if not others and installed is None:
        others = [host for host in hosts if host.mac is None and host not in reserved and (host.name or not reserved)]
    return SiteMatch(placed, tuple(others), installed, reserved[0] if reserved else None)


def _mac(interface: Interface) -> Mac | None:
    return None if interface.mac is None else interface.mac.value


def _is_reservation(interface: Interface, planned: Mac | None, host: SiteHost, domain: str) -> bool:
    if host.mac is not None and (planned is not None or not host.name):
        return False  # another MAC than the planned one is another device, even with the planned name
    if host.mac is None and interface.granted:
        return True
    return bool(host.name) and may_be_same(planned_name(interface), host.name, domain)


def planned_name(interface: Interface) -> str:
    """Return the name that the site uses for an interface: its host name, or else the name of its device."""
    name = interface.host_name.text.strip() if interface.host_name else ""
    return name or interface.device
