"""Reads a plan and its surveys, and derives the input of a proving run from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from netcheck.addr import Address, Mac
from netcheck.app.remarks import tell_other_sheets
from netcheck.plan.model import Plan
from netcheck.proof.targets import Scope, SiteHostSeen, scope_of
from netcheck.proof.verdict.names import Names, names_of
from netcheck.survey.host_table import HostTable
from netcheck.survey.model import hosts_of
from netcheck.survey.read import read_site


@dataclass(frozen=True)
class Ground:
    """A plan with the scope and the known MACs that follow from it."""

    plan: Plan
    aim: Scope
    names: Names


def ground(path: Path, only: Sequence[str]) -> Ground:
    """Read a plan and its surveys; *only* restricts the ports to prove."""
    plan, surveys = read_site(path)
    tell_other_sheets(plan)
    tables = {island: hosts_of(surveys, island) for island in {subnet.island for subnet in plan.subnets}}
    aim = scope_of(plan, _in_subnets(plan, tables), only)
    aim = replace(aim, surveyed=lambda address: _seen(tables, Address(4, address)))
    return Ground(plan, aim, names_of(aim, lambda mac: _surveyed(tables, mac)))


def _in_subnets(plan: Plan, tables: Mapping[str, HostTable]) -> list[SiteHostSeen]:
    """Return the site hosts inside the plan's IPv4 subnets."""
    found: list[SiteHostSeen] = []
    for subnet in plan.subnets:
        prefix = subnet.prefix.value
        if prefix is not None and prefix.family == 4:
            hosts = tables[subnet.island].between(prefix.first, prefix.last)
            found += (SiteHostSeen(h.address.value, None if h.mac is None else h.mac.value, h.name) for h in hosts)
    return found


def _seen(tables: Mapping[str, HostTable], address: Address) -> bool:
    """Return whether any survey has an address."""
    return any(table.at(address) for table in tables.values())


def _surveyed(tables: Mapping[str, HostTable], mac: int) -> str:
    """Return how the surveys know a MAC, or an empty text."""
    for table in tables.values():
        for host in table.by_mac(Mac(mac)):
            return " ".join(("site host", *([host.name] if host.name else []), f"at {host.address}"))
    return ""
