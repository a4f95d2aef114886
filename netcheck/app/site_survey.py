"""Holds what listening, sweeping and identifying share: what the plan knows, and the end of such a run."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from netcheck.addr import quad
from netcheck.app.prepare import Ground, ground
from netcheck.errors import Problem, UsageError
from netcheck.field.discovery import DiscoveredHost, Discovery
from netcheck.text import safe
from netcheck.wire.links.open import Kind, kind_from_text


def today() -> date:
    """Return the date of this computer's clock."""
    return datetime.now().astimezone().date()


@dataclass(frozen=True)
class Known:
    """What plan and surveys know of hosts; nothing without a plan."""

    base: Ground | None

    @classmethod
    def by(cls, plan: Path | None) -> Known:
        """Read the plan if one was named."""
        return cls(None if plan is None else ground(plan, ()))

    @property
    def planned(self) -> dict[int, str]:
        """Return the planned addresses with their interfaces."""
        return {} if self.base is None else self.base.aim.planned

    def of_mac(self, mac: int) -> str:
        """Return how plan and surveys know a MAC; empty if they do not."""
        return "" if self.base is None else self.base.names.known_as(mac)

    def of_address(self, address: int) -> str:
        """Return who has an address by the plan or a survey; empty if nobody."""
        if self.base is None or not address:
            return ""
        if address in self.planned:
            return f"the plan gives {quad(address)} to {self.planned[address]}"
        return f"a survey has {quad(address)}" if self.base.aim.surveyed(address) else ""

    def of(self, host: DiscoveredHost) -> str:
        """Return how a host is known by MAC and address; one phrase where both are planned for one interface."""
        by_mac, interface = self.of_mac(host.mac), self.planned.get(host.address)
        if interface is not None and by_mac == f"planned for {interface}":
            return f"{interface}, as planned"
        return "; ".join(filter(None, (by_mac, self.of_address(host.address))))

    @property
    def nets(self) -> list[tuple[int, int]]:
        """Return the plan's IPv4 prefixes as (first, length)."""
        return [] if self.base is None else [(net.first, net.length) for net in self.base.aim.nets]


def terminal_width() -> int | None:
    """Return the width of the terminal, or None where standard output is not one: tables in files are not wrapped."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def vendor_of() -> Callable[[int], str | None]:
    """Return the vendor look-up, imported only when something is shown."""
    from netcheck.proof.verdict.names import vendor

    return vendor


def finish(found: Discovery, known: Known, out: Path | None, as_json: bool) -> int:
    """Write the survey, print the hosts, and return 0, or 1 where something needs attention."""
    from netcheck.files import write_text_atomically
    from netcheck.report.text.hosts import to_csv, to_entry, to_json, to_text

    if out is not None:
        write_text_atomically(out, to_csv(found))
    name = None if out is None else str(out)
    if as_json:
        print(json.dumps(to_json(found, name, vendor_of()), indent=2))
    else:
        print(to_text(found, vendor_of(), known.of, terminal_width()))
        if out is not None:
            print(f"\nwritten to {safe(str(out))}; for the plan:\n\n{to_entry(found, str(out))}")
    return 1 if found.has_faults else 0


def listening_kind(link: str) -> Kind:
    """Return the kind of a link that receives ARP; UsageError for the unprivileged one, which does not."""
    if link == "unprivileged":
        raise UsageError(
            Problem("the unprivileged link does not receive ARP", do="Use --link raw as root, or --link portable")
        )
    return kind_from_text(link)
