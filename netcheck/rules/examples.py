"""Builds the small plans that explain and test the rules."""

from __future__ import annotations

from netcheck.rules.rule import Example

DAY = "2026-11-02"  # the day on which the examples are checked
PROCESS = 'prefix = "10.62.20.0/24"'
COVERED = 'taken = 2026-10-28\ncovers = ["0.0.0.0/0"]'  # where no survey is the matter, one covers all
SURVEYED = 'taken = 2026-10-28\ncovers = ["10.62.20.0/24"]'


def plan(*parts: str, site: str = "", subnet: str = PROCESS, hosts: str = "", survey: str = "") -> Example:
    """A plan with one subnet, `process`, and further parts; with a survey, which covers all and lists nobody where
    neither its hosts nor its keys are given."""
    tables = [
        f'format = 1\n\n[site]\nname = "Example"\n{site}',
        f'[[subnet]]\nname = "process"\n{subnet}',
        *parts,
    ]
    keys = survey or (SURVEYED if hosts else COVERED)
    tables.append(f'[[survey]]\nfile = "site-hosts.csv"\n{keys}')
    return Example("\n\n".join(table.strip() for table in tables) + "\n", hosts or "address\n")


def device(name: str, **interfaces: str) -> str:
    """One device; each interface by name, with its keys, in the subnet `process` where they name no other."""
    tables = [f'[[device]]\nname = "{name}"']
    for interface, keys in interfaces.items():
        subnet = "" if "subnet =" in keys else 'subnet = "process"\n'
        tables.append(f'  [[device.interface]]\nname = "{interface}"\n{subnet}{keys}'.strip().replace("\n", "\n  "))
    return "\n  ".join(tables)


def one(keys: str, *more: str, site: str = "", subnet: str = PROCESS, hosts: str = "", survey: str = "") -> Example:
    """A plan with one interface, `filler-plc/cpu`, of these keys, and further parts."""
    return plan(device("filler-plc", cpu=keys), *more, site=site, subnet=subnet, hosts=hosts, survey=survey)
