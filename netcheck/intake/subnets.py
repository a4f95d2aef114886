"""Derives the subnets of a device list from its addresses, masks and gateways, and puts each interface into one."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from netcheck.addr import WIDTH, Address, Prefix
from netcheck.intake.rows import IntakeRemarks, ListedInterface
from netcheck.plan.cells import DHCP, address_from, mac_from, mask_from
from netcheck.text import safe

GUESSED_LENGTH = 24  # of a subnet of which no row gives a mask: by far the most common one, no source
_LAST_OCTET = re.compile(r"\.\d{1,3}", re.ASCII)
_NUMBER = re.compile(r"\d{1,4}", re.ASCII)
UNKNOWN = "tbd"  # the prefix of a subnet of which no row has an address


@dataclass(frozen=True, slots=True)
class ListedSubnet:
    """A subnet of the list: its name, prefix (None if no row tells it), gateway and VLAN, the last two as text."""

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
    """Return the subnets and every interface with its subnet; what was guessed becomes a remark."""
    prefixes = _prefixes(interfaces, remarks)
    homes = [_home(one, prefixes) for one in interfaces]
    names = _names(interfaces, homes, prefixes)
    subnets = [_subnet(prefix, names[prefix], interfaces, homes) for prefix in prefixes]
    by_words = {words: names[prefix] for prefix in prefixes for words in _words_of(prefix, interfaces, homes)}
    placed = []
    for one, home, name in zip(interfaces, homes, _followed(interfaces, homes, names, by_words, remarks), strict=True):
        if not name:  # no row of the list tells any subnet
            name = _words(one) or "network"
            if name not in {subnet.name for subnet in subnets}:
                subnets.append(ListedSubnet(name, None, vlan=_vlan([one])))
                remarks.guessed.append(f'{one.where}: no row tells the prefix of "{safe(name, 60)}"; write it in')
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
        return mask_from(one.mask, address.family).length if one.mask else None
    except ValueError:
        return None


def _prefixes(interfaces: Sequence[ListedInterface], remarks: IntakeRemarks) -> list[Prefix]:
    """The prefixes by how many rows agree on each; one whose addresses all lie in more common ones is a wrong mask."""
    votes: Counter[Prefix] = Counter()
    silent: list[ListedInterface] = []
    for one in interfaces:
        address = _value(one)
        if address is None:
            continue
        length = _length(one, address)
        if length is None or not 0 < length < WIDTH[address.family]:
            silent.append(one)
        else:
            votes[Prefix.of(address, length)] += 1
    found: list[Prefix] = []
    for prefix, _ in sorted(votes.items(), key=lambda item: (-item[1], item[0].family, item[0].value)):
        inside = [one for one in interfaces if _votes_for(one, prefix)]
        if all(_inside(one, found) for one in inside):
            shown = ", ".join(one.where for one in inside[:3])
            remarks.guessed.append(f"{shown}: the mask of {prefix} does not fit the other rows; it is kept as it is")
        else:
            found.append(prefix)
    for one in silent:
        address = _value(one)
        if address is not None and not _inside(one, found):
            prefix = Prefix.of(address, GUESSED_LENGTH if address.family == 4 else 64)
            found.append(prefix)
            remarks.guessed.append(f"{one.where}: no row gives a mask; the subnet is taken to be {prefix}")
    return sorted(found)


def _votes_for(one: ListedInterface, prefix: Prefix) -> bool:
    address = _value(one)
    return address is not None and prefix.holds(address) and _length(one, address) == prefix.length


def _inside(one: ListedInterface, prefixes: Iterable[Prefix]) -> bool:
    address = _value(one)
    return address is not None and any(prefix.holds(address) for prefix in prefixes)


def _home(one: ListedInterface, prefixes: Sequence[Prefix]) -> Prefix | None:
    """The longest prefix that holds an interface's address or, without an address, its gateway."""
    address = _value(one) or _gateway(one)
    fitting = [prefix for prefix in prefixes if address is not None and prefix.holds(address)]
    return max(fitting, key=lambda prefix: prefix.length, default=None)


def _words(one: ListedInterface) -> str:
    """The list's own words for a row's subnet."""
    vlan = one.values.get("vlan", "")
    return one.values.get("subnet", "") or (f"vlan-{vlan}" if vlan else "")


def _words_of(prefix: Prefix, interfaces: Sequence[ListedInterface], homes: Sequence[Prefix | None]) -> list[str]:
    """The list's words for a prefix, the most common first."""
    words = Counter(_words(one) for one, home in zip(interfaces, homes, strict=True) if home == prefix)
    return [text for text, _ in words.most_common() if text]


def _names(
    interfaces: Sequence[ListedInterface], homes: Sequence[Prefix | None], prefixes: Sequence[Prefix]
) -> dict[Prefix, str]:
    names: dict[Prefix, str] = {}
    for prefix in prefixes:
        words = [text for text in _words_of(prefix, interfaces, homes) if text not in names.values()]
        names[prefix] = words[0] if words else f"net-{str(prefix.first).replace('.', '-').replace(':', '-')}"
    return names


def _subnet(
    prefix: Prefix, name: str, interfaces: Sequence[ListedInterface], homes: Sequence[Prefix | None]
) -> ListedSubnet:
    members = [one for one, home in zip(interfaces, homes, strict=True) if home == prefix]
    gateways = Counter(str(value) for one in members if (value := _gateway(one)) and prefix.holds(value))
    gateway = gateways.most_common(1)[0][0] if gateways else ""
    return ListedSubnet(name, prefix, gateway, _vlan(members))


def _vlan(members: Iterable[ListedInterface]) -> str:
    """The most common VLAN ID of a subnet's rows, from the column of VLANs."""
    numbers = Counter(found[0] for one in members if (found := _NUMBER.search(one.values.get("vlan", ""))))
    return numbers.most_common(1)[0][0] if numbers else ""


def _followed(
    interfaces: Sequence[ListedInterface],
    homes: Sequence[Prefix | None],
    names: dict[Prefix, str],
    by_words: dict[str, str],
    remarks: IntakeRemarks,
) -> Iterator[str]:
    """Yield the name of each interface's subnet: by address, by the list's words, else that of the row above."""
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
        what = f'no address that can be read; subnet "{safe(name, 60)}" of the row above is used'
        remarks.guessed.append(f"{rows_as_text(rows)}: {what}")


def rows_as_text(rows: Sequence[str]) -> str:
    """Return several places of a list in a few words: the first ones, and how many more."""
    first = list(dict.fromkeys(rows))
    same = [first[0], *(one.rpartition("row ")[2] for one in first[1:4])]
    return ", ".join(same) + (f" and {len(first) - 4} more rows" if len(first) > 4 else "")


def with_short_addresses(interfaces: Iterable[ListedInterface], remarks: IntakeRemarks) -> Iterator[ListedInterface]:
    """Complete addresses such as `.12` with the first octets of the address above in the same subnet."""
    above: dict[str, Address] = {}
    for one in interfaces:
        value, before = _value(one), above.get(_words(one))
        if value is not None and value.family == 4:
            above[_words(one)] = value
        if before is not None and _LAST_OCTET.fullmatch(one.address):
            whole = f"{str(before).rpartition('.')[0]}{one.address}"
            remarks.guessed.append(f'{one.where}: "{one.address}" is completed to {whole}, as the address above begins')
            yield replace(one, address=whole)
        else:
            yield one


def with_interface_names(interfaces: Sequence[ListedInterface], remarks: IntakeRemarks) -> list[ListedInterface]:
    """Name interfaces without a name `lan`, `lan-2` and so on, so that no device has two of one name; all interfaces of
    a device get its kind."""
    kinds = {one.device: one.values["kind"] for one in reversed(interfaces) if "kind" in one.values}
    taken: set[tuple[str, str]] = set()
    named = []
    for one in interfaces:
        name = one.interface or "lan"
        number = 1
        while (one.device, name) in taken:
            number += 1
            name = f"{one.interface or 'lan'}-{number}"
        if number > 1:
            what = (
                f'"{safe(one.device, 60)}" has several rows or addresses; this one is its interface "{safe(name, 40)}"'
            )
            remarks.guessed.append(f"{one.where}: {what}")
        taken.add((one.device, name))
        kind = {"kind": kinds[one.device]} if one.device in kinds else {}
        named.append(replace(one, interface=name, values={**kind, **one.values}))
    return named


def routers_of(
    placed: Sequence[PlacedInterface], subnets: Iterable[ListedSubnet], remarks: IntakeRemarks
) -> dict[str, list[str]]:
    """Return the devices that have the gateway of their subnet, each with its interfaces as address/length."""
    prefixes = {one.name: one.prefix for one in subnets}
    gateways = {(one.name, one.gateway) for one in subnets if one.gateway}
    routers = dict.fromkeys(one.interface.device for one in placed if (one.subnet, one.interface.address) in gateways)
    found: dict[str, list[str]] = {}
    for one in placed:
        prefix = prefixes.get(one.subnet)
        address, device = _value(one.interface), one.interface.device
        if device in routers and prefix is not None and address is not None and prefix.holds(address):
            if device not in found:
                what = f'"{safe(device, 60)}" has the address of a gateway, and is taken for a router'
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
    """Return an interface's mask as dotted quad or length, or as the list writes it where it cannot be read."""
    address = _value(one)
    try:
        return str(mask_from(one.mask, address.family if address else 4)) if one.mask else ""
    except ValueError:
        return one.mask
