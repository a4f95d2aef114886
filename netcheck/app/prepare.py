"""Prepares the commands on site: reads the plan with its surveys as the input of a run, and checks shared options.

The shared options are interface, survey file, permit, and place of the record.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING

from netcheck.addr import Address, Mac, quad
from netcheck.app.remarks import report_other_sheets
from netcheck.caution import caution_to_text
from netcheck.errors import LinkError, Problem, UsageError
from netcheck.plan.model import Plan
from netcheck.proof.targets import Scope, SiteHostSeen, scope_of
from netcheck.proof.verdict.names import Names, names_of
from netcheck.survey.host_table import HostTable
from netcheck.survey.model import hosts_of
from netcheck.survey.read import read_site
from netcheck.text import safe

if TYPE_CHECKING:
    from netcheck.wire.link import NetworkInterface


@dataclass(frozen=True)
class RunInput:
    """A plan with the scope and the known MACs that follow from it."""

    plan: Plan
    aim: Scope
    names: Names


def run_input(path: Path, only: Sequence[str]) -> RunInput:
    """Read a plan and its surveys; *only* restricts the ports to prove."""
    plan, surveys = read_site(path)
    report_other_sheets(plan)
    tables = {island: hosts_of(surveys, island) for island in {subnet.island for subnet in plan.subnets}}
    aim = scope_of(plan, _in_subnets(plan, tables), only)
    aim = replace(aim, surveyed=lambda address: _seen(tables, Address(4, address)))
    return RunInput(plan, aim, names_of(aim, lambda mac: _surveyed(tables, mac)))


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
    """Return the host of the surveys that has a MAC, in words; empty if there is none."""
    for table in tables.values():
        for host in table.by_mac(Mac(mac)):
            return " ".join(("site host", *([host.name] if host.name else []), f"at {host.address}"))
    return ""


def demand_interface(name: str) -> str:
    """Return the full name of the named interface. Without a name, raise UsageError with a list of the interfaces."""
    from netcheck.wire.station import completed

    if not name:
        raise UsageError(Problem("no interface was named", do=f"Name one with -i: {_interfaces()}"))
    return completed(name)


def demand_usable(name: str, planned: Mapping[int, str], *, carrier: bool = False) -> None:
    """Raise LinkError if an interface cannot be used, or if this computer has a planned address on any interface.

    `planned` maps addresses to the device interfaces that they are planned for. With `carrier` the interface must have
    carrier. Call this before the permit is asked for and before any frame is sent.
    """
    from netcheck.field.readiness_facts import demand_no_planned_address
    from netcheck.wire.station import found, interfaces

    there = found(name)
    if carrier and not there.carrier:
        raise LinkError.of("it has no carrier", where=safe(name), do="Plug the cable in, then start again")
    demand_no_planned_address(interfaces(), planned)


def demand_survey_file(out: Path | None) -> None:
    """Raise UsageError if a survey cannot be written to this file. Call this before anything is read or sent."""
    if out is None:
        return
    if out.suffix.casefold() not in ("", ".csv", ".txt"):
        raise UsageError.of("a survey is written as CSV", where=safe(str(out)), do="Name a .csv file")
    if not out.parent.is_dir() or out.is_dir():
        do = "Name a file in an existing folder"
        raise UsageError.of("the survey cannot be written there", where=safe(str(out)), do=do)


def permit_for(given: str) -> str:
    """Print the caution and return the permit, as given or as typed on a terminal."""
    print(caution_to_text(min(100, get_terminal_size((100, 24)).columns)), file=sys.stderr)
    if given.strip():
        return given.strip()
    if sys.stdin.isatty() and sys.stderr.isatty():
        print("Permit (work order, or who permits it): ", end="", file=sys.stderr, flush=True)
        typed = sys.stdin.readline().strip()
        if typed:
            return typed
    raise UsageError(
        Problem("no permit was given", do="Say under which work order or permission this is done: --permit TEXT")
    )


def prover_name(given: str, permit: str) -> str:
    """Return who proves: the given name, or, if the permit was typed, a name typed on the terminal; else empty."""
    if given.strip() or permit.strip() or not (sys.stdin.isatty() and sys.stderr.isatty()):
        return given.strip()
    print("Proved by (technician, company; Enter for no name): ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip()


def asked_to_continue() -> bool:
    """Ask on a terminal whether to continue; Enter means yes."""
    print("Press Enter to continue, or q and Enter to stop: ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().casefold() == ""


def _interfaces() -> str:
    from netcheck.wire.station import interfaces

    return ", ".join(
        f"{safe(one.name)} ({', '.join([one.state, *(quad(address) for address, _ in one.addresses), *_about(one)])})"
        for one in interfaces()
        if one.ethernet and not one.loopback
    )


def _about(one: NetworkInterface) -> list[str]:
    """Return the description of an interface if it differs from the name."""
    return [safe(one.description, 60)] if one.description not in ("", one.name) else []


def record_path(given: Path | None, plan: Plan) -> Path:
    """Return the record's file: the given one, else `<plan>-<date>.jsonl` in the current folder."""
    return given or Path(f"{plan.slug}-{datetime.now().astimezone().date()}.jsonl")
