"""A rule of the catalogue: its texts, its check, and two example plans that are its first tests.

`plan`, `device` and `one` build the texts of the examples.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from enum import Enum
from typing import NamedTuple

from netcheck.rules.finding import Breach, Severity
from netcheck.rules.scene import Scene

DAY = "2026-11-02"  # the day of the check of the examples
PROCESS = 'prefix = "10.62.20.0/24"'
COVERED = 'taken = 2026-10-28\ncovers = ["0.0.0.0/0"]'  # for rules that are not about surveys
SURVEYED = 'taken = 2026-10-28\ncovers = ["10.62.20.0/24"]'


class Readdress(Enum):
    """The subjects of a finding that get a new address as its fix."""

    NONE = "no new address resolves it"
    EACH = "a new address for each subject"
    ALL_BUT_ONE = "a new address for all subjects but one, which keeps its address"
    PRIVATE = "a new address for private use, if the subnet has one"


class Example(NamedTuple):
    """A small plan: the text of plan.toml, and the text of site-hosts.csv if `hosts` is not empty."""

    plan: str
    hosts: str = ""


class Rule(NamedTuple):
    """One rule of the catalogue.

    `what` is one sentence that states the fault. `why` says what goes wrong on a plant. `bad` is a plan that breaks the
    rule, `good` is the corrected plan. `do` says what the author of the plan should do if that is not obvious; reports
    to IT leave it out.
    """

    slug: str
    severity: Severity
    what: str
    why: str
    bad: Example
    good: Example
    source: str
    check: Callable[[Scene], Iterable[Breach]]
    readdress: Readdress = Readdress.NONE
    do: str = ""


def plan(*parts: str, site: str = "", subnet: str = PROCESS, hosts: str = "", survey: str = "") -> Example:
    """Return a plan with one subnet, `process`, further parts, and a survey.

    Without `hosts` and `survey`, the survey covers all addresses and lists no host.
    """
    tables = [
        f'format = 1\n\n[site]\nname = "Example"\n{site}',
        f'[[subnet]]\nname = "process"\n{subnet}',
        *parts,
    ]
    keys = survey or (SURVEYED if hosts else COVERED)
    tables.append(f'[[survey]]\nfile = "site-hosts.csv"\n{keys}')
    return Example("\n\n".join(table.strip() for table in tables) + "\n", hosts or "address\n")


def device(name: str, **interfaces: str) -> str:
    """Return a device with these interfaces, given by name with their keys.

    An interface is in the subnet `process`, unless its keys name another one.
    """
    tables = [f'[[device]]\nname = "{name}"']
    for interface, keys in interfaces.items():
        subnet = "" if "subnet =" in keys else 'subnet = "process"\n'
        tables.append(f'  [[device.interface]]\nname = "{interface}"\n{subnet}{keys}'.strip().replace("\n", "\n  "))
    return "\n  ".join(tables)


def one(keys: str, *more: str, site: str = "", subnet: str = PROCESS, hosts: str = "", survey: str = "") -> Example:
    """Return a plan with one interface, `filler-plc/cpu`, with these keys, and further parts."""
    return plan(device("filler-plc", cpu=keys), *more, site=site, subnet=subnet, hosts=hosts, survey=survey)
