"""Derives the subnets of a device list from addresses, masks and gateways, and finds the subnet of each interface."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from netcheck.addr import WIDTH, Address, Prefix
from netcheck.intake.rows import IntakeRemarks, ListedInterface
from netcheck.plan.cells import DHCP, address_from, mac_from, mask_from, prefix_from
from netcheck.text import safe

GUESSED_LENGTH = 24  # prefix length if no row of a subnet has a mask: the most common one; common practice, no source
_LAST_OCTET = re.compile(r"\.\d{1,3}", re.ASCII)
_NUMBER = re.compile(r"\d{1,4}", re.ASCII)
# Kinds of devices that may route although the list has several of them; common practice, no source.
_ROUTES = re.compile(r"router|switch|firewall|gateway|modem|nat\b|vpn", re.IGNORECASE)
UNKNOWN = "tbd"  # the prefix of a subnet if none of its rows has an address


@dataclass(frozen=True, slots=True)
class ListedSubnet:
    """A subnet of the list: its name, prefix (None if no row gives it), and gateway and VLAN as text."""

    name: str
    prefix: Prefix | None
    gateway: str = ""
    vlan: str = ""


@dataclass(frozen=True, slots=True)
class PlacedInterface:
    """An interface with the name of its subnet."""

    interface: ListedInterface
    subnet: str


def placed_in_subnets(
    interfaces: Sequence[ListedInterface], remarks: IntakeRemarks
) -> tuple[list[ListedSubnet], list[PlacedInterface]]:
    """Return the subnets, and every interface with its subnet; every guess becomes a remark."""
    prefixes = _prefixes(interfaces, remarks)
    known = _PrefixSet(prefixes)
    homes = [known.longest(_value(one) or _gateway(one)) for one in interfaces]
    members: dict[Prefix, list[ListedInterface]] = {prefix: [] for prefix in prefixes}
    for one, home in zip(interfaces, homes, strict=True):
        if home is not None:
            members[home].append(one)
    names = _names(members)
    subnets = [_subnet(prefix, names[prefix], several) for prefix, several in members.items()]
    for subnet, several in zip(subnets, members.values(), strict=True):
        remarks.guessed += _other_vlans(subnet, several)
    by_words = {words: names[prefix] for prefix, several in members.items() for words in _words_of(several)}
    unknown: dict[str, Prefix | None] = {}  # subnets without an address in any row
    placed = []
    for one, home, name in zip(
        interfaces, homes, _subnet_names(interfaces, homes, names, by_words, remarks), strict=True
    ):
        if not name:  # neither this row nor a row above it has a known subnet
            name = _words(one) or "network"
            if name not in unknown:
                unknown[name] = _prefix_named(one)
                subnets.append(ListedSubnet(name, unknown[name], vlan=_vlan([one])))
            if unknown[name] is None:
                remarks.guessed.append(
                    f'{one.where}: no row gives the prefix of "{safe(name, 60)}"; add it to the plan'
                )
        placed.append(PlacedInterface(one, name if home is None else names[home]))
    return subnets, placed


def _value(one: ListedInterface) -> Address | None:
    try:
        return address_from(one.address) if one.address and one.address != DHCP else None
    except ValueError:
        return None


def _gateway(one: ListedInterface) -> Address | None:
    try:
        return address_from(one.gateway) if one.gateway else None
    except ValueError:
        return None


def _length(one: ListedInterface, address: Address) -> int | None:
    try:
        if one.mask:
            return mask_from(one.mask, address.family).length
    except ValueError:
        return None
    prefix = _prefix_named(one)
    return prefix.length if prefix is not None and prefix.holds(address) else None


def _prefix_named(one: ListedInterface) -> Prefix | None:
    """Return the prefix in a row's column of subnets, or None."""
    text = one.values.get("subnet", "")
    try:
        return prefix_from(text) if "/" in text else None
    except ValueError:
        return None


def _prefixes(interfaces: Sequence[ListedInterface], remarks: IntakeRemarks) -> list[Prefix]:
    """Return the prefixes of the list in order.

    A prefix is a wrong mask if all its addresses are inside prefixes that more rows agree on. The address of a single
    row is wrong if the row's gateway, and its VLAN or subnet if it has one, belong to a prefix that more rows agree on.
    """
    votes: dict[Prefix, list[tuple[ListedInterface, Address]]] = {}
    unmasked: list[tuple[ListedInterface, Address]] = []
    for one in interfaces:
        address = _value(one)
        if address is None:
            continue
        length = _length(one, address)
        if length is None or not 0 < length < WIDTH[address.family]:
            unmasked.append((one, address))
        else:
            votes.setdefault(Prefix.of(address, length), []).append((one, address))
    found = _PrefixSet(())
    texts: dict[Prefix, set[str]] = {}  # the texts of the list for each prefix that several rows agree on
    for prefix, inside in sorted(votes.items(), key=lambda item: (-len(item[1]), item[0].family, item[0].value)):
        if all(found.longest(address) for _, address in inside):
            shown = ", ".join(one.where for one, _ in inside[:3])
            remarks.guessed.append(f"{shown}: the mask of {prefix} differs from the other rows; it is kept as it is")
        elif len(inside) == 1 and (home := _home_of_stray(inside[0][0], found, texts)) is not None:
            one, address = inside[0]
            what = f"{address} is not in {home}, the subnet of its gateway {_gateway(one)}"
            remarks.guessed.append(f"{one.where}: {what}; it is kept as it is, as a device of that subnet")
        else:
            found.add(prefix)
            if len(inside) > 1:
                texts[prefix] = {_words(one) for one, _ in inside}
    for one, address in unmasked:
        if not found.longest(address):
            prefix = Prefix.of(address, GUESSED_LENGTH if address.family == 4 else 64)
            found.add(prefix)
            remarks.guessed.append(f"{one.where}: no row gives a mask; {prefix} is assumed to be the subnet")
    return sorted(found.prefixes)


def _home_of_stray(one: ListedInterface, found: _PrefixSet, texts: Mapping[Prefix, set[str]]) -> Prefix | None:
    """Return the prefix that a row's gateway and its text for the subnet belong to, or None if they contradict."""
    home = found.longest(_gateway(one))
    return home if home is not None and home in texts and _words(one) in {"", *texts[home]} else None


class _PrefixSet:
    """A set of prefixes; finds the longest one that contains an address, in one step for each prefix length."""

    def __init__(self, prefixes: Iterable[Prefix]) -> None:
        self.prefixes: set[Prefix] = set()
        self._lengths: dict[int, list[int]] = {4: [], 6: []}  # by family, the longest first
        for prefix in prefixes:
            self.add(prefix)

    def add(self, prefix: Prefix) -> None:
        """Add a prefix."""
        self.prefixes.add(prefix)
        lengths = self._lengths[prefix.family]
        if prefix.length not in lengths:
            lengths.append(prefix.length)
            lengths.sort(reverse=True)

    def longest(self, address: Address | None) -> Prefix | None:
        """Return the longest prefix that contains an address, or None."""
        lengths = self._lengths[address.family] if address is not None else ()
        wanted = (Prefix.of(address, length) for length in lengths if address is not None)
        return next((prefix for prefix in wanted if prefix in self.prefixes), None)


def _words(one: ListedInterface) -> str:
    """Return the text of a row's subnet or VLAN in the list."""
    vlan = one.values.get("vlan", "")
    return one.values.get("subnet", "") or (f"vlan-{vlan}" if vlan else "")


def _words_of(members: Iterable[ListedInterface]) -> list[str]:
    """Return the texts of the list for the subnet of these rows, the most common first."""
    return [text for text, _ in Counter(map(_words, members)).most_common() if text]


def _names(members: Mapping[Prefix, Sequence[ListedInterface]]) -> dict[Prefix, str]:
    names: dict[Prefix, str] = {}
    taken: set[str] = set()
    for prefix, several in members.items():
        free = f"net-{str(prefix.first).replace('.', '-').replace(':', '-')}"
        while free in taken:  # prefixes of different lengths may begin at the same address
            free = f"{free}-{prefix.length}"
        names[prefix] = next((text for text in _words_of(several) if text not in taken), free)
        taken.add(names[prefix])
    return names


def _subnet(prefix: Prefix, name: str, members: Sequence[ListedInterface]) -> ListedSubnet:
    gateways = Counter(str(value) for one in members if (value := _gateway(one)) and prefix.holds(value))
    gateway = gateways.most_common(1)[0][0] if gateways else ""
    return ListedSubnet(name, prefix, gateway, _vlan(members))


def _vlan(members: Iterable[ListedInterface]) -> str:
    """Return the most common VLAN ID in the rows of a subnet, or an empty text."""
    numbers = Counter(found[0] for one in members if (found := _NUMBER.search(one.values.get("vlan", ""))))
    return numbers.most_common(1)[0][0] if numbers else ""


def _other_vlans(subnet: ListedSubnet, members: Iterable[ListedInterface]) -> Iterator[str]:
    """Yield a remark for each VLAN ID of the list that differs from the one of its subnet."""
    rows: dict[str, list[str]] = {}
    for one in members:
        vlan = _vlan([one])
        if vlan and int(vlan) != int(subnet.vlan):
            rows.setdefault(vlan, []).append(one.where)
    for vlan, places in rows.items():
        what = f"VLAN {vlan} differs from VLAN {subnet.vlan} of the other rows of {subnet.prefix}"
        yield f"{rows_as_text(places)}: {what}; the plan has {subnet.vlan}"


def _subnet_names(
    interfaces: Sequence[ListedInterface],
    homes: Sequence[Prefix | None],
    names: dict[Prefix, str],
    by_words: dict[str, str],
    remarks: IntakeRemarks,
) -> Iterator[str]:
    """Yield the name of each interface's subnet: by its address, by the text in the list, or that of the row above.

    The name is empty if the text belongs to no known subnet.
    """
    before = next((names[home] for home in homes if home is not None), "")
    followers: dict[str, list[str]] = {}
    for one, home in zip(interfaces, homes, strict=True):
        words = _words(one)
        if home is not None:
            before = names[home]
        elif words in by_words:
            before = by_words[words]
        elif words:
            before = ""
        elif before:
            followers.setdefault(before, []).append(one.where)
        yield before
    for name, rows in followers.items():
        what = f'no readable address; subnet "{safe(name, 60)}" of the row above is used'
        remarks.guessed.append(f"{rows_as_text(rows)}: {what}")


def rows_as_text(rows: Sequence[str]) -> str:
    """Return positions in a list as a short text: the first ones and a count of the others; a sheet is named once."""
    first = list(dict.fromkeys(rows))
    sheet = first[0].rpartition("row ")[0]
    same = [first[0], *(one.removeprefix(f"{sheet}row ") for one in first[1:4])]
    return ", ".join(same) + (f" and {len(first) - 4} more rows" if len(first) > 4 else "")


def with_short_addresses(interfaces: Iterable[ListedInterface], remarks: IntakeRemarks) -> Iterator[ListedInterface]:
    """Yield the interfaces; an address such as `.12` gets the first octets of the address above it in its subnet."""
    above: dict[str, Address] = {}
    for one in interfaces:
        value, before = _value(one), above.get(_words(one))
        if value is not None and value.family == 4:
            above[_words(one)] = value
        if before is not None and _LAST_OCTET.fullmatch(one.address):
            whole = f"{str(before).rpartition('.')[0]}{one.address}"
            remarks.guessed.append(f'{one.where}: "{one.address}" is completed to {whole} from the address above')
            yield replace(one, address=whole)
        else:
            yield one


def without_repeats(interfaces: Iterable[ListedInterface], remarks: IntakeRemarks) -> Iterator[ListedInterface]:
    """Yield the interfaces without rows that repeat an earlier row; a running number may differ."""
    first: dict[object, str] = {}
    for one in interfaces:
        others = tuple((title, text) for title, text in one.extra if not text.isdecimal())
        cells = (one.device, one.interface, one.address, one.mask, one.gateway, one.mac, one.unit, one.group)
        key = (cells, others, tuple(sorted(one.values.items())))
        earlier = first.setdefault(key, one.where) if one.address not in ("", DHCP) or one.mac else one.where
        if earlier == one.where:
            yield one
        else:
            name = safe(one.device, 60)
            what = f'it repeats {earlier} ("{name}", {safe(one.address or one.mac, 60)}); left out'
            remarks.unread.append(f"{one.where}: {what}")


def with_units(interfaces: Sequence[ListedInterface], remarks: IntakeRemarks) -> list[ListedInterface]:
    """Return the interfaces; a device name that several machines use is completed, so that each device has its own.

    The name gets the text in the column of machines; without one, the heading, if both devices are in one subnet.
    """
    rows: dict[str, list[ListedInterface]] = {}
    at: dict[str, list[int]] = {}
    for index, one in enumerate(interfaces):
        rows.setdefault(one.device, []).append(one)
        at.setdefault(one.device, []).append(index)
    # Adjacent rows with addresses of several subnets are one device with an interface in each.
    apart = {name for name, places in at.items() if places[-1] - places[0] >= len(places) or _shares_subnet(rows[name])}
    by_unit = {name for name in apart if len({one.unit for one in rows[name] if one.unit}) > 1}
    by_group = {name for name, several in rows.items() if name not in by_unit and _in_one_subnet(several)}
    completed = []
    for one in interfaces:
        part = one.unit if one.device in by_unit else one.group if one.device in by_group else ""
        name = f"{part}{one.device}" if one.device[0] in "=+-" and " " not in part else f"{part} {one.device}"
        if part:
            what = f'several machines have a device "{safe(one.device, 60)}"; this one is called "{safe(name, 80)}"'
            remarks.guessed.append(f"{one.where}: {what}")
        completed.append(replace(one, device=name) if part else one)
    return completed


def _shares_subnet(rows: Iterable[ListedInterface]) -> bool:
    """Return whether two rows have different addresses of one subnet."""
    first: dict[Prefix, Address] = {}
    values = ((one, value) for one in rows if (value := _value(one)) is not None)
    return any(first.setdefault(_own_prefix(one, value), value) != value for one, value in values)


def _own_prefix(one: ListedInterface, value: Address) -> Prefix:
    return Prefix.of(value, _length(one, value) or (GUESSED_LENGTH if value.family == 4 else 64))


def _in_one_subnet(rows: Iterable[ListedInterface]) -> bool:
    """Return whether rows of different groups have different addresses of one subnet."""
    first: dict[Prefix, tuple[str, Address]] = {}
    for one in rows:
        value = _value(one)
        if value is None:
            continue
        group, address = first.setdefault(_own_prefix(one, value), (one.group, value))
        if group != one.group and address != value:
            return True
    return False


def with_interface_names(interfaces: Sequence[ListedInterface], remarks: IntakeRemarks) -> list[ListedInterface]:
    """Return the interfaces with names that are unique in their device; each gets the kind of its device.

    An interface without a name is called `lan`, `lan-2` and so on.
    """
    kinds = {one.device: one.values["kind"] for one in reversed(interfaces) if "kind" in one.values}
    taken: set[tuple[str, str]] = set()
    last: Counter[tuple[str, str]] = Counter()  # the last number that was added to a name
    named = []
    for one in interfaces:
        name = start = one.interface or "lan"
        number = 1
        while (one.device, name) in taken:
            number = last[one.device, start] = max(last[one.device, start], 1) + 1
            name = f"{start}-{number}"
        if number > 1:
            what = (
                f'"{safe(one.device, 60)}" has several rows or addresses; this one becomes interface "{safe(name, 40)}"'
            )
            remarks.guessed.append(f"{one.where}: {what}")
        taken.add((one.device, name))
        kind = {"kind": kinds[one.device]} if one.device in kinds else {}
        named.append(replace(one, interface=name, values={**kind, **one.values}))
    return named


def routers_of(
    placed: Sequence[PlacedInterface], subnets: Iterable[ListedSubnet], remarks: IntakeRemarks
) -> dict[str, list[str]]:
    """Return the devices that have the gateway of their subnet, each with its interfaces as address/length.

    A device of a kind that is common in the list, such as a drive, has the gateway's address by mistake.
    """
    prefixes = {one.name: one.prefix for one in subnets}
    gateways = {(one.name, one.gateway) for one in subnets if one.gateway}
    routers = dict.fromkeys(one.interface.device for one in placed if (one.subnet, one.interface.address) in gateways)
    kinds = {one.interface.device: one.interface.values.get("kind", "") for one in placed}
    others = Counter(kind.casefold() for device, kind in kinds.items() if kind and device not in routers)
    for device in [one for one in routers if others[kinds[one].casefold()] > 1 and not _ROUTES.search(kinds[one])]:
        del routers[device]
        where = next(one.interface.where for one in placed if one.interface.device == device)
        what = f'"{safe(device, 60)}" has the address of a gateway but is no router: other devices of the list'
        remarks.guessed.append(f'{where}: {what} are "{safe(kinds[device], 40)}" too')
    found: dict[str, list[str]] = {}
    for one in placed:
        prefix = prefixes.get(one.subnet)
        address, device = _value(one.interface), one.interface.device
        if device in routers and prefix is not None and address is not None and prefix.holds(address):
            if device not in found:
                what = f'"{safe(device, 60)}" has the address of a gateway and is treated as a router'
                remarks.guessed.append(f"{one.interface.where}: {what}")
            found.setdefault(device, []).append(f"{address}/{prefix.length}")
    return found


def unreadable_in(one: ListedInterface) -> Iterator[str]:
    """Yield the values of an interface that cannot be read, each with the reason."""
    address = _value(one)
    family = address.family if address else 4
    for what, text, read in (
        ("address", "" if one.address == DHCP else one.address, address_from),
        ("mask", one.mask, lambda text: mask_from(text, family)),
        ("gateway", one.gateway, address_from),
        ("MAC", one.mac, mac_from),
    ):
        try:
            _ = read(text) if text else None
        except ValueError as error:
            yield f"{one.where}: the {what} cannot be read and is kept as it is: {error}"


def mask_text(one: ListedInterface) -> str:
    """Return an interface's mask as a dotted quad or a length; in the list's notation if it cannot be read."""
    address = _value(one)
    try:
        return str(mask_from(one.mask, address.family if address else 4)) if one.mask else ""
    except ValueError:
        return one.mask
