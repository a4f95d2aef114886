"""The plan, its surveys, and what a proving run takes from them: the aim, and who is known by which MAC."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from netcheck.addr import Address, Mac
from netcheck.plan.model import Plan
from netcheck.proof.targets import Scope, SiteHostSeen, scope_of
from netcheck.proof.verdict.names import Names, names_of
from netcheck.survey.host_table import HostTable
from netcheck.survey.model import hosts_of
from netcheck.survey.read import read_site


@dataclass(frozen=True)
class Ground:
    """The plan and what follows from it."""

    plan: Plan
    aim: Scope
    names: Names


def ground(path: Path, only: Sequence[str]) -> Ground:
    """Read the plan and its surveys."""
    plan, surveys = read_site(path)
    tables = {island: hosts_of(surveys, island) for island in {subnet.island for subnet in plan.subnets}}
    aim = scope_of(plan, _in_subnets(plan, tables), only)
    aim = replace(aim, surveyed=lambda address: _seen(tables, Address(4, address)))
    return Ground(plan, aim, names_of(aim, lambda mac: _surveyed(tables, mac)))


def _in_subnets(plan: Plan, tables: Mapping[str, HostTable]) -> list[SiteHostSeen]:
    """Site hosts inside the plan's IPv4 subnets, as plain values."""
    found: list[SiteHostSeen] = []
    for subnet in plan.subnets:
        prefix = subnet.prefix.value
        if prefix is not None and prefix.family == 4:
            hosts = tables[subnet.island].between(prefix.first, prefix.last)
            found += (SiteHostSeen(h.address.value, None if h.mac is None else h.mac.value, h.name) for h in hosts)
    return found


def _seen(tables: Mapping[str, HostTable], address: Address) -> bool:
    """Say whether any survey has an address."""
    return any(table.at(address) for table in tables.values())


def _surveyed(tables: Mapping[str, HostTable], mac: int) -> str:
    """Words for a MAC by the surveys."""
    for table in tables.values():
        for host in table.by_mac(Mac(mac)):
            return " ".join(("site host", *([host.name] if host.name else []), f"at {host.address}"))
    return ""
