"""Builds the small plans that explain the rules and test them."""

from __future__ import annotations

from netcheck.rules.rule import Example

DAY = "2026-11-02"  # the day on which the examples are checked
PROCESS = 'prefix = "10.62.20.0/24"'
COVERED = 'taken = 2026-10-28\ncovers = ["0.0.0.0/0"]'  # for rules about other things than surveys
SURVEYED = 'taken = 2026-10-28\ncovers = ["10.62.20.0/24"]'


def plan(*parts: str, site: str = "", subnet: str = PROCESS, hosts: str = "", survey: str = "") -> Example:
    """Return a plan with one subnet, `process`, further parts, and a survey. Without `hosts` and `survey`, the survey
    covers all addresses and lists no host."""
    tables = [
        f'format = 1\n\n[site]\nname = "Example"\n{site}',
        f'[[subnet]]\nname = "process"\n{subnet}',
        *parts,
    ]
    keys = survey or (SURVEYED if hosts else COVERED)
    tables.append(f'[[survey]]\nfile = "site-hosts.csv"\n{keys}')
    return Example("\n\n".join(table.strip() for table in tables) + "\n", hosts or "address\n")


def device(name: str, **interfaces: str) -> str:
    """Return one device: interfaces by name with their keys, in the subnet `process` unless the keys name another."""
    tables = [f'[[device]]\nname = "{name}"']
    for interface, keys in interfaces.items():
        subnet = "" if "subnet =" in keys else 'subnet = "process"\n'
        tables.append(f'  [[device.interface]]\nname = "{interface}"\n{subnet}{keys}'.strip().replace("\n", "\n  "))
    return "\n  ".join(tables)


def one(keys: str, *more: str, site: str = "", subnet: str = PROCESS, hosts: str = "", survey: str = "") -> Example:
    """Return a plan with one interface, `filler-plc/cpu`, with these keys, and further parts."""
    return plan(device("filler-plc", cpu=keys), *more, site=site, subnet=subnet, hosts=hosts, survey=survey)
